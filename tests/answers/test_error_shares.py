"""Which part of the run-up is unsteady, in figures and words."""

from dataclasses import replace

import numpy as np
import pytest

from analytics.answers import error_shares
from analytics.answers.parts import parts_of
from analytics.core.error_shares import ErrorShares
from analytics.core.simulator import Athlete
from tests.answers.run_ups import ATTACK, TRANSITION, make_marks, make_run_ups, marks_of, simulated

STEADY = Athlete(unmeasured_no_jump_share=0.0)
UNSTEADY_FIRST_STEPS = replace(
    STEADY, unsteady_steps=(16, 11), unsteady_sd_m=0.15, steering_gain=0.2
)


class TestParts:
    def test_begin_at_the_measured_footfall_or_else_at_the_mark(self):
        run_ups = simulated(STEADY, [3], seed=1, start_mark_m=np.array([26.5, 26.6, 26.7]))
        run_ups.toe_m[1, -1] = np.nan

        start_m = parts_of(run_ups).start_m

        assert start_m.tolist() == [run_ups.toe_m[0, -1], 26.6, run_ups.toe_m[2, -1]]

    def test_are_those_of_the_plan_of_each_attempt(self):
        early = marks_of(STEADY, revision=1)
        late = marks_of(STEADY, revision=2, transition_footfall=9, attack_footfall=5)
        run_ups = simulated(STEADY, [2], seed=1, marks=early)
        run_ups = replace(
            run_ups, plan_ids=[early.id, late.id], marks={early.id: early, late.id: late}
        )

        parts = parts_of(run_ups)

        assert parts.transition_m.tolist() == [run_ups.toe_m[0, TRANSITION], run_ups.toe_m[1, 9]]
        assert parts.attack_m.tolist() == [run_ups.toe_m[0, ATTACK], run_ups.toe_m[1, 5]]
        assert late.toe_m is not None
        assert np.asarray(parts.planned.transition_m)[1] == late.toe_m[9]

    def test_leave_the_marks_of_parts_open_without_planned_footfalls(self):
        marks = marks_of(STEADY, toe_m=None, check_marks=())
        found = error_shares.work_out(simulated(STEADY, [6] * 4, seed=1, marks=marks))

        assert isinstance(found.error_shares, ErrorShares)
        assert np.isnan(found.error_shares.mean_m).all()
        assert found.error_shares.board_share.sum() == pytest.approx(1)
        assert any("Planned footfalls" in each for each in error_shares.tell(found).would_change)


class TestTell:
    def test_names_the_part_that_is_unsteady_and_says_to_rehearse_it(self):
        found = error_shares.work_out(simulated(UNSTEADY_FIRST_STEPS, [6] * 5, seed=2))
        assert isinstance(found.error_shares, ErrorShares)

        said = error_shares.tell(found)

        added_cm = 100 * found.error_shares.added_sd_m[1]
        assert said.text.startswith(
            f"Most spread comes from the acceleration: {added_cm:.0f} cm. Later steps repair part"
        )
        assert said.text.endswith("this is the part to rehearse.")
        assert said.caution is not None
        assert said.caution.startswith("The coach on the spot decides.")
        assert [each.code for each in said.reasons] == [
            "start",
            "acceleration",
            "transition",
            "attack",
        ]
        shares = [float(each.numbers["board_share"] or 0) for each in said.reasons]
        assert sum(shares) == pytest.approx(1)

    def test_does_not_send_to_rehearse_what_later_steps_repair(self):
        """Steady but for the start of the run, and good eyes: hardly anything is left of it."""
        found = error_shares.work_out(simulated(STEADY, [6] * 6, seed=2))
        assert isinstance(found.error_shares, ErrorShares)
        assert found.error_shares.adds_most == 1
        assert found.error_shares.board_share[1] < 0.1

        said = error_shares.tell(found)

        assert said.text.startswith("Most spread comes from the acceleration:")
        assert said.text.endswith("from the attack.")
        assert "rehearse" not in said.text
        assert said.caution is None

    def test_names_none_when_none_stands_out(self):
        """Start and acceleration with the same spread: which is larger is chance."""
        rng = np.random.default_rng(4)
        marks = make_marks(transition_footfall=2, attack_footfall=1, start_mark_m=9.0)
        start = 9 + rng.normal(0, 0.1, 12)
        transition = 6 + (start - 9) + rng.normal(0, 0.1, 12)
        attack = 3 + (transition - 6)
        run_ups = make_run_ups(
            np.column_stack([0.06 + (attack - 3), attack, transition, start]), marks=marks
        )

        said = error_shares.tell(error_shares.work_out(run_ups))

        assert said.text.startswith("No part of the run-up stands out.")
        assert said.caution is None

    def test_says_that_there_is_no_error_to_share_out(self):
        marks = make_marks(transition_footfall=2, attack_footfall=1, start_mark_m=9.0)
        run_ups = make_run_ups([[0.06, 3.0, 6.0, 9.0]] * 9, marks=marks)

        said = error_shares.tell(error_shares.work_out(run_ups))

        assert said.text.startswith("The toe came down at the same place each time")

    def test_asks_for_phases_where_the_plan_has_none(self):
        marks = marks_of(STEADY, transition_footfall=None, attack_footfall=None)

        said = error_shares.tell(error_shares.work_out(simulated(STEADY, [9], seed=1, marks=marks)))

        assert said.more_attempts_needed == 8
        assert said.would_change == (
            "A plan that says at which footfalls transition and attack begin.",
        )
