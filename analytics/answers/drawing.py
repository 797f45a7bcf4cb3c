"""Run-ups drawn from how an athlete runs, before anybody says a word about them."""

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import date
from typing import Any
from uuid import UUID

from analytics.answers import laid_out, natural
from analytics.answers.laid_out import LaidOut
from analytics.answers.natural import Basis, Nature, TooFar
from analytics.core import run_up_model, run_up_pace
from analytics.core.conventions import Interval
from analytics.core.run_up_design import PlanMarks, RunUpDesign
from analytics.core.run_up_learning import Learned
from analytics.core.run_up_model import Footfalls
from analytics.core.run_up_pace import Pace, RunUpSettings
from analytics.selectors import RunUps


@dataclass(frozen=True, slots=True)
class RestsOn:
    """What a design follows from.

    Attributes
    ----------
    sprint_test, sprint_date
        Of a stored sprint.
    splits_unread
        The sprint that came with the question told no speed curve, and was left aside.
    n_attempts, n_sessions
        Attempts that taught the athlete's own footfalls; 0: none did.
    own_share
        How much of the doubt about the start mark they have removed; None without them.
    n_too_far
        Attempts that no run-up near the sprint explains: not learned from.
    """

    basis: Basis
    top_speed_mps: float
    top_speed_interval: Interval | None
    rise_time_s: float
    step_frequency_hz: float
    sprint_test: UUID | None
    sprint_date: date | None
    splits: int
    splits_unread: bool
    n_attempts: int
    n_sessions: int
    own_share: float | None
    n_too_far: int


@dataclass(frozen=True, slots=True)
class Drawn:
    """A run-up before it is put into words: footfalls, pace, and what they follow from."""

    nature: Nature
    settings: RunUpSettings
    footfalls: Footfalls
    pace: Pace
    rests_on: RestsOn


def draw(nature: Nature, settings: RunUpSettings, run_ups: RunUps | None = None) -> Drawn:
    """Return where the feet will land: by the sprint, and by the attempts so far as there are."""
    footfalls = run_up_model.model_footfalls(
        nature.sprint, nature.frequency, settings, doubt=nature.doubt
    )
    learned = None if run_ups is None else natural.learn(footfalls, run_ups)
    n_sessions, own_share = 0, None
    if isinstance(learned, Learned):
        footfalls = learned.footfalls
        own_share = float(learned.own_share[-1])
        n_sessions = 0 if run_ups is None else len(set(run_ups.session_ids))
    return Drawn(
        nature=nature,
        settings=settings,
        footfalls=footfalls,
        pace=run_up_pace.run_up_pace(nature.sprint, settings),
        rests_on=RestsOn(
            basis=nature.basis,
            top_speed_mps=nature.sprint.top_speed_mps,
            top_speed_interval=nature.top_speed_interval,
            rise_time_s=nature.sprint.rise_time_s,
            step_frequency_hz=nature.frequency.top_hz,
            sprint_test=nature.sprint_test,
            sprint_date=nature.sprint_date,
            splits=nature.splits,
            splits_unread=nature.splits_unread,
            n_attempts=footfalls.n_attempts,
            n_sessions=n_sessions,
            own_share=own_share,
            n_too_far=learned.n if isinstance(learned, TooFar) else 0,
        ),
    )


def lay_out_all(
    designs: Sequence[RunUpDesign],
    pace: Pace,
    *,
    take_off_foot: str | None,
    shoe_length_m: float | None,
) -> tuple[LaidOut, ...]:
    """Return run-ups of growing length, each with its name."""
    return tuple(
        laid_out.lay_out(name, each, pace, take_off_foot=take_off_foot, shoe_length_m=shoe_length_m)
        for name, each in zip(laid_out.names_of(len(designs)), designs, strict=True)
    )


def plan_body(marks: PlanMarks) -> dict[str, Any]:
    """Return marks as the body of a new plan, without its reason."""
    return {
        "start_mark_m": marks["start_mark_m"],
        "aim_m": marks["aim_m"],
        "check_marks": marks["check_marks"],
        "phase_starts": {
            "transition": marks["transition_footfall"],
            "attack": marks["attack_footfall"],
        },
        "toe_m": marks["toe_m"],
        "last_contacts": marks["last_contacts"],
    }
