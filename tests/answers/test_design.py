"""A designed run-up in figures and words; the demo's jumpers, and whatever may be asked."""

from dataclasses import replace
from datetime import date
from itertools import pairwise
from typing import Any

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from analytics.answers import design
from analytics.answers.design import Wish
from analytics.answers.natural import (
    NOTHING_GIVEN,
    Basis,
    Given,
    GivenSprint,
    Lack,
    Nature,
    Unknown,
    nature_of,
)
from analytics.core.run_up_design import MarkChoice
from analytics.core.run_up_fit import Fit
from analytics.core.run_up_pace import LastThree, StartStyle
from analytics.core.simulator import Athlete
from analytics.core.sprint_curve import time_to
from analytics.selectors import Jumper, OwnRunUp, TimedSprint
from common.errors import InvalidInputError
from fixtures_demo.cast import JUMPERS
from fixtures_demo.loading import RUN_UP_SHARE
from tests.answers.pages import depth_0_of
from tests.answers.run_ups import make_marks, make_run_ups, simulated, uuid_of

SPLITS_M = (5.0, 10.0, 20.0, 30.0)


def sprint_of(top_speed_mps: float, rise_time_s: float, start: str = "standing") -> GivenSprint:
    time_s = time_to(np.array(SPLITS_M), top_speed_mps=top_speed_mps, rise_time_s=rise_time_s)
    return GivenSprint(start, SPLITS_M, tuple(time_s.round(2).tolist()))


def make_jumper(**fields: Any) -> Jumper:
    return Jumper(
        **{
            "athlete_id": uuid_of(5, 1),
            "age_years": 17.2,
            "take_off_foot": "left",
            "shoe_length_m": 0.28,
            "height_m": None,
            "measured_date": None,
            "sprints": (),
            **fields,
        }
    )


def stored(sprint: GivenSprint, number: int = 1) -> TimedSprint:
    return TimedSprint(
        uuid_of(6, number), date(2026, 3, number), sprint.start, sprint.at_m, sprint.time_s
    )


def own_of(run_ups: Any, **fields: Any) -> OwnRunUp:
    return OwnRunUp(
        **{
            "approach_id": run_ups.series.approach_id,
            "event": "long_jump",
            "steps": run_ups.steps,
            "start_style": "standing",
            "jumper": make_jumper(),
            "run_ups": run_ups,
            "shorter": {},
            **fields,
        }
    )


FAST = Given(sprint=sprint_of(9.2, 1.15))


class TestNature:
    def test_prefers_the_sprint_of_the_question_then_a_stored_one_then_the_body(self):
        jumper = make_jumper(
            height_m=1.75,
            # The latest tells no curve: it was flying.
            sprints=(stored(sprint_of(9.0, 1.0, "flying"), 3), stored(sprint_of(8.5, 1.1), 2)),
        )

        given, by_test, by_body = (
            nature_of(jumper, FAST),
            nature_of(jumper, NOTHING_GIVEN),
            nature_of(make_jumper(height_m=1.75), NOTHING_GIVEN),
        )

        assert isinstance(given, Nature)
        assert (given.basis, given.sprint_test) == (Basis.GIVEN_SPRINT, None)
        assert isinstance(by_test, Nature)
        assert (by_test.basis, by_test.sprint_test) == (Basis.STORED_SPRINT, uuid_of(6, 2))
        assert isinstance(by_body, Nature)
        assert by_body.basis is Basis.AGE_AND_HEIGHT

    @pytest.mark.parametrize(
        ("given", "lacking"),
        [
            (Given(), {Lack.SPRINT, Lack.AGE, Lack.HEIGHT}),
            (Given(age_years=15), {Lack.SPRINT, Lack.HEIGHT}),
            (Given(height_m=1.6), {Lack.SPRINT, Lack.AGE}),
            (Given(age_years=7.9, height_m=1.3), {Lack.SPRINT, Lack.AGE}),
        ],
    )
    def test_says_what_is_lacking(self, given: Given, lacking: set[Lack]):
        found = nature_of(None, given)

        assert isinstance(found, Unknown)
        assert set(found.lacking) == lacking

    def test_a_childs_steps_are_quicker_or_slower_by_height(self):
        """Boys of 12 to 13 years: 6.9 m/s and steps of 1.73 m (see `usual_sprints`): 4.0 Hz."""
        child = nature_of(None, Given(sprint=sprint_of(6.9, 1.0), height_m=1.53))

        assert isinstance(child, Nature)
        assert child.frequency.top_hz == pytest.approx(4.0, abs=0.05)

    def test_a_counted_step_frequency_narrows_the_start_mark(self):
        counted = design.work_out(
            Wish(given=Given(sprint=FAST.sprint, step_frequency_hz=4.3), steps=16)
        )
        usual = design.work_out(Wish(given=FAST, steps=16))

        assert counted.design is not None
        assert usual.design is not None
        widths = [
            each.design.start_mark_interval.high - each.design.start_mark_interval.low
            for each in (counted, usual)
            if each.design is not None
        ]
        assert widths[0] < 0.8 * widths[1]

    @pytest.mark.parametrize("speed_mps", [3.0, 20.0])
    def test_what_no_jumper_runs_is_no_sprint(self, speed_mps: float):
        found = nature_of(None, Given(sprint=sprint_of(speed_mps, 1.0)))

        assert isinstance(found, Unknown)
        assert found.splits_unread


class TestTheDemo:
    @pytest.mark.parametrize("jumper", JUMPERS, ids=lambda each: each.code)
    def test_designs_about_what_its_coaches_planned(self, jumper: Any):
        """The plans of the demo were made otherwise: by the simulator, not by this model."""
        habits = jumper.planned
        sprint = sprint_of(habits.top_speed_mps / RUN_UP_SHARE, habits.rise_time_s)

        found = design.work_out(
            Wish(
                given=Given(sprint=sprint, step_frequency_hz=habits.top_frequency_hz),
                steps=habits.n_steps,
                start_style=StartStyle(jumper.start_style),
                aim_m=habits.aim_m,
                runway_m=45,
            )
        )

        planned = jumper.planned_toe_m(jumper.revisions[0])
        assert found.design is not None
        interval = found.design.start_mark_interval
        # Walkers and runners in were simulated like those who stand.
        slack_m = 0.0 if jumper.start_style == "standing" else 2.0
        assert interval.low - slack_m < planned[-1] < interval.high + slack_m
        assert [each.at_m for each in found.design.last_three] == pytest.approx(
            planned[[2, 1, 0]].tolist(), abs=0.25
        )
        assert found.runway is not None
        assert found.runway.fit in {Fit.FITS, Fit.TIGHT}


class TestLearning:
    def test_leaves_attempts_aside_that_are_another_run_ups(self):
        """Sixteen steps of 3.2 m are nobody's who sprints at 6 m/s: the model stands."""
        toe = np.tile(0.06 + 3.2 * np.arange(17), (6, 1))
        run_ups = make_run_ups(toe, marks=make_marks(start_mark_m=float(toe[0, -1])))
        slow = Wish(given=Given(sprint=sprint_of(6.0, 1.2)))

        found = design.work_out(slow, make_jumper(), own_of(run_ups))
        alone = design.work_out(Wish(given=slow.given, steps=16), make_jumper())

        assert found.rests_on is not None
        assert (found.rests_on.n_too_far, found.rests_on.n_attempts) == (6, 0)
        assert found.design == alone.design
        assert any("fit no run-up" in each for each in design.tell(found).would_change)

    def test_leaves_an_attempt_aside_that_names_another_mark(self):
        run_ups = simulated(Athlete(unmeasured_no_jump_share=0.0), [6, 6], seed=3)
        used = run_ups.start_mark_m.copy()
        used[4] += 5.0

        found = design.work_out(
            Wish(given=FAST), make_jumper(), own_of(replace(run_ups, start_mark_m=used))
        )

        assert found.rests_on is not None
        assert found.rests_on.n_attempts == 11

    def test_moves_attempts_of_another_aim_by_the_difference(self):
        run_ups = simulated(Athlete(unmeasured_no_jump_share=0.0), [6, 6], seed=3)

        here, farther = (
            design.work_out(Wish(given=FAST, aim_m=aim_m), make_jumper(), own_of(run_ups))
            for aim_m in (0.06, 0.16)
        )

        assert here.design is not None
        assert farther.design is not None
        moved_m = farther.design.start_mark.at_m - here.design.start_mark.at_m
        assert moved_m == pytest.approx(0.10, abs=0.011)


CASES = {
    "a first guess": Wish(given=FAST, steps=16),
    "fits": Wish(given=FAST, steps=16, runway_m=45, shoe_length_m=0.28, take_off_foot="right"),
    "tight": Wish(given=FAST, steps=16, runway_m=28),
    "too long": Wish(given=FAST, steps=16, runway_m=20),
    "no run-up fits": Wish(given=FAST, steps=16, runway_m=5),
    "proposed": Wish(given=Given(sprint=FAST.sprint, age_years=12.0), runway_m=15),
    "age and height": Wish(given=Given(age_years=12.0, height_m=1.5)),
    "short": Wish(given=FAST, steps=5, start_style=StartStyle.WALK_IN),
    "running in": Wish(given=FAST, steps=18, start_style=StartStyle.RUN_IN),
    "nothing": Wish(),
    "splits unread": Wish(given=Given(sprint=GivenSprint("flying", (5.0, 10.0), (1.0, 1.6)))),
    "splits unread, a body": Wish(
        given=Given(
            sprint=GivenSprint("standing", (5.0, 10.0), (1.3, 2.0)), age_years=16, height_m=1.7
        )
    ),
}


@pytest.mark.parametrize("wish", CASES.values(), ids=CASES)
class TestWords:
    def test_can_be_translated_whole(self, wish: Wish, monkeypatch: pytest.MonkeyPatch):
        found = design.work_out(wish)
        active = "django.utils.translation._trans"
        monkeypatch.setattr(f"{active}.gettext", lambda message: f"[{message}]")
        monkeypatch.setattr(
            f"{active}.ngettext", lambda one, many, n: f"[{one if n == 1 else many}]"
        )

        said = design.tell(found)

        texts = [said.text, *(each.text for each in said.reasons), *said.would_change]
        assert [text for text in texts if depth_0_of(text).strip()] == []

    def test_leave_no_gap_and_give_each_reason_a_number(self, wish: Wish):
        said = design.tell(design.work_out(wish))

        for text in (said.text, *(each.text for each in said.reasons), *said.would_change):
            assert text[0].isupper(), text
            assert text.endswith("."), text
            assert not any(odd in text for odd in ("nan", "None", "{", "..", "  ")), text
        assert all(each.numbers for each in said.reasons)
        assert said.caution is not None


@st.composite
def wishes(draw: st.DrawFn) -> Wish:
    """Draw whatever the door lets through."""
    n = draw(st.integers(2, 8))
    at_m = np.cumsum(draw(st.lists(st.floats(0.5, 15), min_size=n, max_size=n)))
    speeds = draw(st.lists(st.floats(0.5, 13), min_size=n, max_size=n))
    time_s = np.cumsum(np.diff(at_m, prepend=0.0) / np.array(speeds))
    sprint = GivenSprint(
        draw(st.sampled_from(["standing", "block", "flying"])),
        tuple(at_m.tolist()),
        tuple(time_s.tolist()),
    )
    part = st.floats(0.7, 1.4)
    return Wish(
        given=Given(
            sprint=draw(st.sampled_from([None, sprint, FAST.sprint])),
            step_frequency_hz=draw(st.none() | st.floats(3, 5.5)),
            age_years=draw(st.none() | st.floats(4, 100)),
            height_m=draw(st.none() | st.floats(1, 2.3)),
        ),
        steps=draw(st.none() | st.integers(4, 30)),
        start_style=draw(st.sampled_from(list(StartStyle))),
        aim_m=draw(st.none() | st.floats(0, 0.5)),
        rhythm=LastThree(draw(part), draw(part), draw(part)),
        start_effort=draw(st.floats(0.5, 1)),
        speed_share=draw(st.floats(0.85, 1)),
        choice=MarkChoice(
            early_run_m=draw(st.none() | st.floats(1, 40)),
            coach_footfall=draw(st.none() | st.integers(1, 20)),
        ),
        runway_m=draw(st.none() | st.floats(5, 200)),
    )


@settings(max_examples=40, deadline=None)
@given(wishes())
def test_whatever_is_asked_is_answered_or_refused_by_name(wish: Wish):
    refused: set[str] = set()
    found = None
    try:
        found = design.work_out(wish)
    except InvalidInputError as refusal:
        refused = {each.code for each in refusal.faults}

    if found is None:
        known = {"footfall_out_of_range", "mark_off_run_up", "start_mark_out_of_range"}
        assert refused
        assert refused <= known
        return
    assert design.tell(found).text
    assert (found.design is None) == bool(found.lacking)
    if found.plan is not None:
        places = found.plan["toe_m"]
        assert all(before > after for before, after in pairwise(places))
        assert places[0] == found.plan["start_mark_m"]
        marks = [each["at_m"] for each in found.plan["check_marks"]]
        assert marks == sorted(marks, reverse=True)
        assert all(0 < each < found.plan["start_mark_m"] for each in marks)
