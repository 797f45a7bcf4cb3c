"""Ground markers for the last three footfalls: by hand from a plan, and beside real landings."""

from dataclasses import replace
from datetime import date
from typing import Any

import numpy as np
import pytest

from analytics.answers import last_steps_layout as answer
from analytics.answers.last_steps_layout import Landed, Source
from analytics.core.conventions import NotEnoughAttempts
from analytics.core.simulator import Athlete
from analytics.core.sprint_curve import time_to
from analytics.selectors import CheckMark, Jumper, OwnRunUp, RunUps, TimedSprint
from tests.answers.run_ups import make_marks, make_run_ups, marks_of, simulated, uuid_of

# Steps from the start: 1.0, 1.1 ... 1.7, then 2.06, 2.12 and 2.00 m; eleven of them.
STEPS_M = [1.0, 1.1, 1.2, 1.3, 1.4, 1.5, 1.6, 1.7, 2.06, 2.12, 2.00]
TOE_M = 0.06 + np.concatenate([[0.0], np.cumsum(STEPS_M[::-1])])
SPLITS_M = (5.0, 10.0, 20.0, 30.0)


def planned(**fields: Any) -> Any:
    return make_marks(
        **{
            "start_mark_m": 17.04,
            "toe_m": TOE_M,
            "check_marks": (CheckMark(6, 9.7), CheckMark(4, 7.94)),
            **fields,
        }
    )


def no_attempts(marks: Any, steps: int = 11) -> RunUps:
    return make_run_ups(np.empty((0, steps + 1)), marks=marks)


def own_of(run_ups: RunUps, **fields: Any) -> OwnRunUp:
    """Return a run-up of somebody who sprinted, as in the model's worked example."""
    time_s = time_to(np.array(SPLITS_M), top_speed_mps=9.2, rise_time_s=1.15)
    jumper = Jumper(
        athlete_id=uuid_of(5, 1),
        age_years=19.0,
        take_off_foot="left",
        shoe_length_m=0.28,
        height_m=None,
        measured_date=None,
        sprints=(
            TimedSprint(
                uuid_of(6, 1), date(2026, 3, 1), "standing", SPLITS_M, tuple(time_s.tolist())
            ),
        ),
    )
    return OwnRunUp(
        **{
            "approach_id": run_ups.series.approach_id,
            "event": "long_jump",
            "steps": run_ups.steps,
            "start_style": "standing",
            "jumper": jumper,
            "run_ups": run_ups,
            "shorter": {},
            **fields,
        }
    )


class TestFromAPlan:
    def test_of_full_length_they_are_the_plans(self):
        run_ups = replace(no_attempts(planned()), shoe_length_m=0.28)

        found = answer.work_out(run_ups, own=own_of(run_ups))

        full = found.lengths[-1]
        assert (found.taken_from, full.name, full.steps) == (Source.PLAN, "full", 11)
        assert [each.place.at_m for each in full.markers] == [4.18, 2.06, 0.06]
        assert [each.foot for each in full.markers] == ["left", "right", "left"]
        # 4.18 m are 13 ft 8.57 in, and 14.93 shoes.
        assert (full.markers[0].place.feet, full.markers[0].place.inches) == (13, 8.5)
        assert full.markers[0].place.shoe_lengths == 15.0
        # The nearest check mark before them stands at 7.94 m.
        assert full.check_mark is not None
        assert (full.check_mark.at_m, full.check_footfall) == (7.94, 4)
        assert full.markers[0].after_check_mark_m == 3.76
        assert full.start_mark.at_m == 17.04

    def test_shorter_ones_are_the_first_steps_in_the_plans_rhythm(self):
        """By hand: the first five steps, 1.0 to 1.4 m; the last three, 3.9 m, as 2.06:2.12:2."""
        found = answer.work_out(no_attempts(planned()))

        short, medium, _ = found.lengths
        assert [(each.name, each.steps) for each in found.lengths] == [
            ("short", 5), ("medium", 9), ("full", 11),
        ]  # fmt: skip
        last = 3.9 * 2.00 / 6.18
        both = 3.9 * 4.12 / 6.18
        assert [each.place.at_m for each in short.markers] == pytest.approx(
            [round(0.06 + both, 2), round(0.06 + last, 2), 0.06]
        )
        assert short.start_mark.at_m == pytest.approx(0.06 + 6.0)
        assert short.check_mark is None
        assert medium.check_footfall == 4

    def test_a_take_off_beyond_the_line_is_said_with_its_sign(self):
        marks = planned(toe_m=TOE_M - 0.10, aim_m=0.0)

        place = answer.work_out(no_attempts(marks)).lengths[-1].markers[2].place

        assert (place.at_m, place.feet, place.inches) == (-0.04, 0, -1.5)

    @pytest.mark.parametrize("steps", [2, 3])
    def test_of_the_shortest_run_ups_there_is_no_shorter_one(self, steps: int):
        marks = planned(toe_m=TOE_M[: steps + 1], start_mark_m=float(TOE_M[steps]), check_marks=())

        found = answer.work_out(no_attempts(marks, steps))

        assert [(each.name, each.steps) for each in found.lengths] == [("full", steps)]


class TestWithoutPlannedFootfalls:
    def test_the_sprint_says_where_they_go(self):
        """docs/metrics/run_up_design.md: 3.97, 1.91 and 0.06 m of sixteen steps."""
        run_ups = no_attempts(make_marks(start_mark_m=27.5), 16)

        found = answer.work_out(run_ups, own=own_of(run_ups))

        assert found.taken_from is Source.MODEL
        full = found.lengths[-1]
        assert [each.place.at_m for each in full.markers] == pytest.approx(
            [3.97, 1.91, 0.06], abs=0.011
        )
        # The run begins where the plan says, whatever the sprint would have.
        assert full.start_mark.at_m == 27.5
        assert "first guess" in answer.tell(found).text

    def test_attempts_teach_them(self):
        run_ups = simulated(
            Athlete(unmeasured_no_jump_share=0.0), [6, 6], seed=1, marks=make_marks(aim_m=0.06)
        )
        marks = marks_of(Athlete())
        run_ups = replace(run_ups, start_mark_m=np.full(12, marks.start_mark_m))

        found = answer.work_out(run_ups, own=own_of(run_ups))

        assert found.taken_from is Source.OWN_FOOTFALLS
        assert "athlete's own" in answer.tell(found).text

    def test_nothing_known_is_said(self):
        run_ups = no_attempts(make_marks(), 16)
        nobody = replace(own_of(run_ups).jumper, sprints=())

        found = answer.work_out(run_ups, own=own_of(run_ups, jumper=nobody))

        assert (found.taken_from, found.lengths) == (None, ())
        said = answer.tell(found)
        assert "not known" in said.text
        assert said.caution is not None


class TestWhereTheFeetLand:
    def landings(self, third: list[float]) -> RunUps:
        """Return attempts whose third-last foot lands so; the others as planned."""
        toe = np.tile(TOE_M, (len(third), 1))
        toe[:, 2] = third
        return make_run_ups(toe, marks=planned())

    def test_stands_beside_its_marker(self):
        """4.10, 4.20, 4.30, 4.20, 4.20: mean 4.20, SD 0.0707, t(4) 2.776 x 0.0707 / sqrt 5."""
        found = answer.work_out(self.landings([4.10, 4.20, 4.30, 4.20, 4.20]))

        landed = found.lengths[-1].markers[0].landed
        assert isinstance(landed, Landed)
        assert landed.n == 5
        assert landed.mean_m == pytest.approx(4.20)
        assert landed.sd_m == pytest.approx(0.0707, abs=1e-4)
        assert landed.interval.high - landed.mean_m == pytest.approx(0.0878, abs=1e-4)
        assert landed.off_m == pytest.approx(0.02)
        assert "4.20 m ± 7 cm" in answer.tell(found).text

    def test_of_four_is_not_enough(self):
        found = answer.work_out(self.landings([4.10, 4.20, 4.30, 4.20]))

        assert found.lengths[-1].markers[0].landed == NotEnoughAttempts(n=4, needed=5)
        assert "really land" not in answer.tell(found).text

    def test_counts_the_attempts_of_the_latest_plan_alone(self):
        run_ups = self.landings([9.0] * 6 + [4.2] * 5)
        latest = planned(revision=2)
        run_ups = replace(
            run_ups,
            marks={**run_ups.marks, latest.id: latest},
            marks_now=latest,
            plan_ids=[*run_ups.plan_ids[:6], *[latest.id] * 5],
        )

        landed = answer.work_out(run_ups).lengths[-1].markers[0].landed

        assert isinstance(landed, Landed)
        assert landed.n == 5
        assert landed.mean_m == pytest.approx(4.2)

    def test_at_the_board_an_unmeasured_no_jump_lies_beyond_the_line(self):
        toe = np.tile(TOE_M, (8, 1))
        toe[:, 0] = [0.14, 0.05, 0.11, 0.02, 0.17, 0.08, np.nan, np.nan]
        no_jump = np.isnan(toe[:, 0])
        run_ups = make_run_ups(toe, marks=planned(), no_jump=no_jump)

        landed = answer.work_out(run_ups).lengths[-1].markers[2].landed

        # The example of docs/metrics/censored.md.
        assert isinstance(landed, Landed)
        assert landed.n == 8
        assert landed.mean_m == pytest.approx(0.0603, abs=1e-4)

    def test_at_other_lengths_comes_from_the_run_ups_of_so_many_steps(self):
        run_ups = no_attempts(planned())
        short = make_run_ups(np.tile(TOE_M[:6], (6, 1)), marks=make_marks())

        found = answer.work_out(run_ups, own=own_of(run_ups, shorter={5: short}))

        landed = found.lengths[0].markers[1].landed
        assert isinstance(landed, Landed)
        assert landed.n == 6
        assert landed.mean_m == pytest.approx(2.06)
        assert found.lengths[1].markers[1].landed == NotEnoughAttempts(n=0, needed=5)
