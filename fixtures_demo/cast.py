"""Who jumps in the demo club, with which habits, and what goes wrong or right for whom.

Nobody here exists. Spreads lie where published studies put them: about 0.08 m at the board for
good jumpers, 0.11 to 0.16 m for boys and girls of 12 to 13 years.
"""

from __future__ import annotations

from datetime import date

from analytics.core.simulator import Athlete
from fixtures_demo.jumpers import (
    HALL_PLAN,
    LONG_JUMP,
    OUTDOOR_PLAN,
    SENIORS,
    TRIPLE_JUMP,
    YOUTH,
    Change,
    Jumper,
    Revision,
)

SHORT_GATES = (11.0, 6.0, 1.0)
# With few attempts from the long run-up: no more full jumps than a session has as a rule.
_SIX_EVENINGS = frozenset(
    date.fromisoformat(day)
    for day in (
        "2025-11-18",
        "2025-12-02",
        "2025-12-09",
        "2026-01-06",
        "2026-02-10",
        "2026-03-10",
    )
)

JUMPERS = (
    Jumper(
        code="A-01",
        given_name="Klara",
        family_name="Hollreit",
        birth_date=date(2001, 3, 14),
        take_off_foot="left",
        shoe_length_m=0.258,
        squad=SENIORS,
        event=LONG_JUMP,
        planned=Athlete(
            n_steps=18, top_speed_mps=9.0, effective_m=6.25, effective_sd_m=0.13, step_sd_m=0.04
        ),
        seed=1,
        story=(
            "Settled for years: steady enough for two more steps, and none has tried her yet. On "
            "six evenings in the hall she jumped from 10, 12, 14 and 16 steps, too."
        ),
        shorter_steps=(10, 12, 14, 16),
        length_days=_SIX_EVENINGS,
        length_seed=11,
    ),
    Jumper(
        code="A-02",
        given_name="Jonas",
        family_name="Feldrum",
        birth_date=date(1999, 6, 2),
        take_off_foot="right",
        shoe_length_m=0.292,
        squad=SENIORS,
        event=TRIPLE_JUMP,
        planned=Athlete(
            n_steps=16,
            top_speed_mps=9.3,
            effective_m=15.10,
            effective_sd_m=0.22,
            step_sd_m=0.035,
            steering_from=3,
            steering_gain=0.20,
        ),
        seed=7,
        story=(
            "In mid August the tape was laid from the far edge of the board: his mark stands "
            "0.20 m too far out, and he lands short."
        ),
        raises=frozenset({"level"}),
        trouble="wrong_mark",
        changes=(Change(date(2026, 8, 10), {"mark_error_m": 0.20}),),
    ),
    Jumper(
        code="A-03",
        given_name="Nora",
        family_name="Steinlech",
        birth_date=date(2004, 1, 27),
        take_off_foot="left",
        shoe_length_m=0.251,
        squad=SENIORS,
        event=LONG_JUMP,
        planned=Athlete(
            n_steps=18,
            top_speed_mps=8.8,
            effective_m=6.00,
            step_sd_m=0.04,
            steering_from=4,
            steering_gain=0.20,
        ),
        seed=4,
        story="Since July her first steps differ from one attempt to the next: an unsteady start.",
        raises=frozenset({"spread"}),
        trouble="unsteady_part",
        changes=(Change(date(2026, 7, 27), {"start_sd_m": 0.40, "persistence": 0.0}),),
    ),
    Jumper(
        code="A-04",
        given_name="Mira",
        family_name="Ostwiek",
        birth_date=date(2006, 9, 9),
        take_off_foot="left",
        shoe_length_m=0.247,
        squad=SENIORS,
        event=LONG_JUMP,
        planned=Athlete(
            n_steps=16,
            top_speed_mps=8.6,
            effective_m=5.75,
            start_sd_m=0.22,
            step_sd_m=0.075,
            perception_sd_m=0.08,
            steering_gain=0.35,
            unmeasured_no_jump_share=0.2,
        ),
        seed=3,
        story="Rehearsed her run-up all summer: since September she hits it far more steadily.",
        raises=frozenset({"progress"}),
        changes=(
            Change(
                date(2026, 8, 31),
                {
                    "start_sd_m": 0.06,
                    "step_sd_m": 0.035,
                    "perception_sd_m": 0.03,
                    "steering_gain": 0.50,
                },
            ),
        ),
    ),
    Jumper(
        code="A-05",
        given_name="Tobias",
        family_name="Grauwald",
        birth_date=date(2005, 11, 20),
        take_off_foot="right",
        shoe_length_m=0.287,
        squad=SENIORS,
        event=LONG_JUMP,
        planned=Athlete(
            n_steps=18,
            top_speed_mps=9.2,
            effective_m=6.95,
            step_sd_m=0.04,
            steering_from=3,
            steering_gain=0.20,
        ),
        seed=1,
        story="A long season: since mid August his steps shorten from attempt to attempt.",
        raises=frozenset({"level"}),
        trouble="fatigue",
        changes=(Change(date(2026, 8, 10), {"fatigue": 0.003}),),
    ),
    Jumper(
        code="A-06",
        given_name="Emil",
        family_name="Wiesgart",
        birth_date=date(2012, 4, 18),
        take_off_foot="left",
        shoe_length_m=0.262,
        squad=YOUTH,
        event=LONG_JUMP,
        planned=Athlete(
            n_steps=14,
            aim_m=0.10,
            top_speed_mps=7.4,
            effective_m=4.60,
            effective_sd_m=0.16,
            start_sd_m=0.09,
            step_sd_m=0.05,
            steering_from=4,
            steering_gain=0.30,
            gate_at_m=SHORT_GATES,
        ),
        seed=17,
        story=(
            "He has grown 5.5 cm since January, most of it since his marks were set. His steps "
            "have grown with him, his start mark has not, and he runs into the board."
        ),
        raises=frozenset({"level", "no_jump_share"}),
        trouble="growth",
        heights=(
            (date(2025, 10, 4), 1.575),
            (date(2026, 1, 10), 1.585),
            (date(2026, 4, 4), 1.595),
            (date(2026, 6, 27), 1.615),
            (date(2026, 9, 19), 1.640),
        ),
    ),
    Jumper(
        code="A-07",
        given_name="Valentin",
        family_name="Rauhecker",
        birth_date=date(2003, 2, 5),
        take_off_foot="left",
        shoe_length_m=0.295,
        squad=SENIORS,
        event=LONG_JUMP,
        planned=Athlete(
            n_steps=20, aim_m=0.0, top_speed_mps=9.8, effective_m=7.35, effective_sd_m=0.14
        ),
        seed=1,
        story="Wants every centimetre: his plan aims at the very line, and half are no jumps.",
        raises=frozenset({"no_jump_share"}),
    ),
    Jumper(
        code="A-08",
        given_name="Ida",
        family_name="Moorhold",
        birth_date=date(2009, 5, 30),
        take_off_foot="right",
        shoe_length_m=0.244,
        squad=YOUTH,
        event=TRIPLE_JUMP,
        planned=Athlete(
            n_steps=14,
            top_speed_mps=8.0,
            effective_m=11.40,
            effective_sd_m=0.20,
            step_sd_m=0.035,
            steering_from=3,
            steering_gain=0.20,
            gate_at_m=SHORT_GATES,
        ),
        seed=2,
        story=(
            "Landed short from mid May on; in July her mark was moved 0.22 m toward the pit, "
            "and a new baseline began."
        ),
        revisions=(
            HALL_PLAN,
            OUTDOOR_PLAN,
            Revision(
                date(2026, 7, 6),
                "Short in six sessions: first steps have become shorter.",
                moved_m=-0.22,
            ),
        ),
        changes=(Change(date(2026, 5, 11), {"mark_error_m": 0.22}),),
    ),
    Jumper(
        code="A-09",
        given_name="Felix",
        family_name="Achenbrand",
        birth_date=date(2008, 8, 23),
        take_off_foot="left",
        shoe_length_m=0.284,
        squad=SENIORS,
        event=LONG_JUMP,
        planned=Athlete(
            n_steps=16,
            aim_m=0.10,
            top_speed_mps=8.7,
            effective_m=6.30,
            start_sd_m=0.12,
            step_sd_m=0.08,
            steering_from=2,
            steering_gain=0.45,
        ),
        seed=3,
        start_style="walk_in",
        story=(
            "Has always looked up late: only his last two steps correct what the run brings. No "
            "chart shows it, for nothing has changed."
        ),
        trouble="late_steering",
    ),
    Jumper(
        code="A-10",
        given_name="Hanna",
        family_name="Silbrecht",
        birth_date=date(2011, 2, 11),
        take_off_foot="right",
        shoe_length_m=0.241,
        squad=YOUTH,
        event=LONG_JUMP,
        planned=Athlete(
            n_steps=14,
            top_speed_mps=7.6,
            effective_m=4.95,
            start_sd_m=0.09,
            step_sd_m=0.06,
            perception_sd_m=0.05,
            gate_at_m=SHORT_GATES,
        ),
        seed=1,
    ),
    Jumper(
        code="A-11",
        given_name="Lena",
        family_name="Torbach",
        birth_date=date(2014, 7, 7),
        take_off_foot="left",
        shoe_length_m=0.229,
        squad=YOUTH,
        event=LONG_JUMP,
        planned=Athlete(
            n_steps=12,
            aim_m=0.10,
            top_speed_mps=6.6,
            effective_m=3.90,
            effective_sd_m=0.18,
            start_sd_m=0.16,
            step_sd_m=0.08,
            perception_sd_m=0.08,
            steering_from=4,
            steering_gain=0.35,
            unmeasured_no_jump_share=0.3,
            gate_at_m=SHORT_GATES,
        ),
        seed=1,
        revisions=(OUTDOOR_PLAN,),
        story="Came in spring, twelve years old: a beginner's spread, and nothing wrong with it.",
    ),
    Jumper(
        code="A-12",
        given_name="Simon",
        family_name="Lindgart",
        birth_date=date(2010, 10, 16),
        take_off_foot="left",
        shoe_length_m=0.279,
        squad=YOUTH,
        event=TRIPLE_JUMP,
        planned=Athlete(
            n_steps=14,
            top_speed_mps=8.2,
            effective_m=12.10,
            effective_sd_m=0.24,
            start_sd_m=0.08,
            gate_at_m=SHORT_GATES,
        ),
        seed=5,
        start_style="run_in",
    ),
)
