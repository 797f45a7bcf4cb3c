"""Where steering begins, in figures and words."""

from dataclasses import replace

import numpy as np

from analytics.answers import steering
from analytics.core.needed_made import NeededMade
from analytics.core.simulator import Athlete
from analytics.core.spread import FootfallSpread
from tests.answers.run_ups import make_marks, make_run_ups, marks_of, simulated

STEERS = Athlete(steering_from=6, steering_gain=0.5, start_sd_m=0.2, unmeasured_no_jump_share=0.0)


class TestWorkOut:
    def test_finds_the_spread_and_the_gains_that_numpy_finds(self):
        run_ups = simulated(STEERS, [6] * 5, seed=3)

        found = steering.work_out(run_ups)

        assert isinstance(found.spread, FootfallSpread)
        assert isinstance(found.needed_and_made, NeededMade)
        np.testing.assert_allclose(found.spread.sd_m, run_ups.toe_m.std(axis=0, ddof=1), rtol=1e-9)
        slope = np.polyfit(run_ups.toe_m[:, 3], run_ups.toe_m[:, 3] - run_ups.toe_m[:, 2], 1)[0]
        np.testing.assert_allclose(found.needed_and_made.gain[2], slope, rtol=1e-9)

    def test_corrects_the_gains_for_reading_errors_when_asked(self):
        run_ups = simulated(STEERS, [6] * 5, seed=3)

        exact, corrected = (
            steering.work_out(run_ups, reading_sd_m=sd).needed_and_made for sd in (0.0, 0.02)
        )

        assert isinstance(exact, NeededMade)
        assert isinstance(corrected, NeededMade)
        assert np.all(corrected.gain < exact.gain)

    def test_centres_within_revisions_so_that_a_moved_mark_is_no_spread(self):
        """The second half of the attempts is the first one, run from a mark 1 m farther back."""
        once = simulated(STEERS, [8], seed=3)
        farther = make_marks(revision=2, start_mark_m=35.20)
        both = make_run_ups(
            np.vstack([once.toe_m, once.toe_m + np.linspace(0, 1, once.toe_m.shape[1])]),
            plan_ids=[make_marks().id] * 8 + [farther.id] * 8,
            marks=make_marks(),
        )
        both = replace(both, marks={make_marks().id: make_marks(), farther.id: farther})

        found = steering.work_out(both).spread

        assert isinstance(found, FootfallSpread)
        np.testing.assert_allclose(found.sd_m, once.toe_m.std(axis=0, ddof=1), rtol=1e-9)


class TestTell:
    def test_of_feet_that_spread_most_at_the_board_names_no_place_before_it(self):
        toe = 0.06 + 2.0 * np.arange(7) + np.zeros((8, 1))
        toe[:, 0] += np.tile([-0.05, 0.05], 4)

        text = steering.tell(steering.work_out(make_run_ups(toe))).text

        assert "nowhere do the footfalls spread more than at the board (5 cm)" in text
        assert "0 steps" not in text

    def test_says_where_steering_begins_and_how_much_it_takes_away(self):
        found = steering.work_out(simulated(STEERS, [6] * 5, seed=3))
        assert isinstance(found.spread, FootfallSpread)
        onset = found.spread.onset
        assert onset is not None

        said = steering.tell(found)

        far, near = found.spread.sd_m[onset.footfall], found.spread.sd_m[0]
        assert said.text.startswith(
            f"Steering begins {onset.footfall} steps before take-off, about "
            f"{onset.distance_m:.1f} m from the line:"
        )
        assert f"spread by {100 * far:.0f} cm there and by {100 * near:.0f} cm at the board" in (
            said.text
        )
        assert (said.more_attempts_needed, said.caution) == (0, None)

    def test_calls_it_late_when_two_steps_are_left(self):
        late = replace(STEERS, steering_from=2, steering_gain=0.7, step_sd_m=0.10)

        said = steering.tell(steering.work_out(simulated(late, [8] * 5, seed=1)))

        assert "Steering begins 2 steps before take-off" in said.text
        assert "That is late" in said.text

    def test_does_not_take_silence_for_an_athlete_who_does_not_steer(self):
        found = steering.work_out(simulated(replace(STEERS, steering_from=0), [6] * 2, seed=1))

        said = steering.tell(found)

        assert said.text.startswith("These attempts do not show where steering begins")
        assert "It does not mean that nobody steers." in said.text
        assert any("clearly smaller" in each for each in said.would_change)

    def test_says_how_many_attempts_are_missing(self):
        said = steering.tell(steering.work_out(simulated(STEERS, [4], seed=1)))

        assert said.text == (
            "Not enough attempts yet: 4 of 6 with a measured take-off toe and footfalls before "
            "it. 2 more are needed."
        )
        assert said.more_attempts_needed == 2

    def test_gives_the_chance_of_the_fall_with_its_limit(self):
        found = steering.work_out(simulated(STEERS, [6] * 5, seed=3))
        assert isinstance(found.spread, FootfallSpread)

        reasons = {each.code: each for each in steering.tell(found).reasons}

        assert reasons["fall_of_spread"].numbers["p_value"] == found.spread.fall_p_value
        assert reasons["fall_of_spread"].numbers["limit"] == 0.05
        assert 0.5 < float(reasons["place_of_onset"].numbers["within_one_footfall"] or 0) <= 1

    def test_is_the_same_for_equal_attempts(self):
        one, other = (
            steering.tell(steering.work_out(simulated(STEERS, [6] * 5, seed=3))) for _ in range(2)
        )

        assert one == other


class TestWithoutAttempts:
    def test_asks_for_all(self):
        nobody = make_run_ups(np.empty((0, 17)), marks=marks_of(STEERS))

        assert steering.tell(steering.work_out(nobody)).more_attempts_needed == 6
