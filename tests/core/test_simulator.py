"""Simulated attempts: what the API would accept, and what was put in is found again."""

import dataclasses

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from analytics.core import accuracy, rolling, simulator
from analytics.core.simulator import Athlete


def made(athlete: Athlete, *, sessions: list[int], seed: int = 1) -> simulator.SimulatedAttempts:
    return simulator.simulate(
        athlete, attempts_by_session=sessions, rng=np.random.default_rng(seed)
    )


athletes = st.builds(
    Athlete,
    n_steps=st.integers(6, 22),
    top_speed_mps=st.floats(7.0, 10.5),
    mark_error_m=st.floats(-0.5, 0.5),
    start_sd_m=st.floats(0, 0.2),
    step_sd_m=st.floats(0, 0.15),
    steering_from=st.integers(0, 6),
    steering_gain=st.floats(0, 1),
    wind_sd_mps=st.floats(0, 3),
    fatigue=st.floats(0, 0.01),
    time_cv=st.floats(0, 0.05),
)


class TestAcceptable:
    @settings(deadline=None)
    @given(athletes, st.integers(0, 1000))
    def test_positions_grow_and_times_fall_going_back(self, athlete: Athlete, seed: int):
        runs = made(athlete, sessions=[8, 4], seed=seed)

        steps = np.diff(runs.toe_m, axis=1)
        times = -np.diff(runs.touchdown_s, axis=1)
        assert np.all((steps > 0) | np.isnan(steps))
        assert np.all(times > 0)
        speeds = steps / times
        speeds = speeds[~np.isnan(speeds)]
        assert speeds.min() > 0.5
        assert speeds.max() < 13
        assert np.all(runs.toe_off_s > runs.touchdown_s)
        assert np.all(runs.toe_off_s[:, 1:] < runs.touchdown_s[:, :-1])

    @settings(deadline=None)
    @given(athletes, st.integers(0, 1000))
    def test_gates_are_passed_in_order_between_the_mark_and_the_line(self, athlete, seed):
        runs = made(athlete, sessions=[6], seed=seed)

        times = np.diff(runs.gate_time_s, axis=1)
        assert np.all((times > 0) | np.isnan(times))

    def test_officials_read_whole_centimetres_of_valid_jumps_only(self):
        runs = made(Athlete(), sessions=[50])

        cm = 100 * runs.official_m[~runs.no_jump]
        assert np.all(np.isnan(runs.official_m[runs.no_jump]))
        assert np.abs(cm - np.round(cm)).max() < 1e-9
        lost = runs.effective_m - runs.true_board_m - runs.official_m
        assert np.all((lost[~runs.no_jump] > -1e-9) & (lost[~runs.no_jump] < 0.01))

    def test_only_no_jumps_may_lack_their_toe(self):
        runs = made(Athlete(unmeasured_no_jump_share=1.0, mark_error_m=-0.3), sessions=[40])

        assert np.array_equal(np.isnan(runs.toe_m[:, 0]), runs.no_jump)
        assert runs.no_jump.any()


class TestChance:
    def test_the_same_seed_gives_the_same_attempts(self):
        one, two = (made(Athlete(), sessions=[6, 6], seed=9) for _ in range(2))

        for field in dataclasses.fields(one):
            np.testing.assert_array_equal(getattr(one, field.name), getattr(two, field.name))

    def test_without_any_unsteadiness_the_plan_is_run(self):
        calm = Athlete(
            start_sd_m=0,
            session_sd_m=0,
            step_sd_m=0,
            perception_sd_m=0,
            wind_sd_mps=0,
            measurement_sd_m=0,
            time_cv=0,
        )

        runs = made(calm, sessions=[3])

        plan = simulator.plan_run_up(calm)
        assert np.abs(runs.toe_m - plan.toe_m).max() < 1e-12
        assert plan.toe_m[0] == calm.aim_m

    def test_no_sessions_make_no_attempts(self):
        assert made(Athlete(), sessions=[]).toe_m.shape == (0, 17)


class TestPutInAndFound:
    def test_pass_through_of_a_wrong_mark_is_the_product_of_what_steering_leaves(self):
        # A mark 0.20 m too far back, steering g = 0.45 on five steps: 0.20 x 0.55^5 at the board.
        quiet = Athlete(
            mark_error_m=0.20,
            start_sd_m=0,
            session_sd_m=0,
            step_sd_m=0,
            perception_sd_m=0,
            wind_sd_mps=0,
            measurement_sd_m=0,
        )

        runs = made(quiet, sessions=[1])

        error = runs.toe_m[0] - simulator.plan_run_up(quiet).toe_m
        assert error[5:] == pytest.approx(0.20)
        assert error[0] == pytest.approx(0.20 * 0.55**5)

    def test_a_tail_wind_brings_the_foot_nearer_the_pit(self):
        # Without steering: 0.08 (D / 35)^1.5 (w - w^2 / 16) at +2 m/s over the whole run-up.
        windy = Athlete(
            start_sd_m=0,
            session_sd_m=0,
            step_sd_m=0,
            perception_sd_m=0,
            wind_sd_mps=0,
            mean_wind_mps=2.0,
            measurement_sd_m=0,
            steering_from=0,
        )

        runs = made(windy, sessions=[1])

        plan = simulator.plan_run_up(windy)
        run = plan.start_mark_m - plan.toe_m[0]
        expected = -0.08 * (run / 35) ** 1.5 * (2 - 4 / 16)
        assert runs.toe_m[0, 0] - plan.toe_m[0] == pytest.approx(expected)

    def test_persistence_is_found_as_correlation_of_neighbours(self):
        steady = Athlete(
            persistence=0.6, session_sd_m=0, start_sd_m=0.1, step_sd_m=0, wind_sd_mps=0
        )

        start = made(steady, sessions=[4000]).toe_m[:, -1]

        assert np.corrcoef(start[:-1], start[1:])[0, 1] == pytest.approx(0.6, abs=0.05)

    def test_fatigue_lets_the_athlete_land_short_late_in_the_session(self):
        tired = Athlete(fatigue=0.002, steering_from=0, start_sd_m=0.01, step_sd_m=0.01)

        board = made(tired, sessions=[6] * 40).true_board_m.reshape(40, 6)

        assert board[:, 5].mean() - board[:, 0].mean() == pytest.approx(
            0.002 * 5 * simulator.plan_run_up(tired).start_mark_m, rel=0.15
        )

    def test_a_wrong_mark_shows_as_bias(self):
        runs = made(Athlete(mark_error_m=0.8, steering_gain=0.2), sessions=[6] * 5)

        result = accuracy.accuracy(runs.toe_m[:, 0], runs.no_jump)

        assert isinstance(result, accuracy.Accuracy)
        assert result.bias_interval.low > 0

    def test_an_improver_shows_in_the_rolling_spread(self):
        rng = np.random.default_rng(2)
        early = simulator.simulate(Athlete(step_sd_m=0.12), attempts_by_session=[6] * 6, rng=rng)
        late = simulator.simulate(Athlete(step_sd_m=0.03), attempts_by_session=[6] * 6, rng=rng)
        toe = np.concatenate([early.true_board_m, late.true_board_m])

        figures = rolling.rolling_figures(toe, toe < 0)

        assert figures.sd_m[-1] < 0.7 * figures.sd_m[35]


class TestRefusals:
    @pytest.mark.parametrize(
        ("change", "words"),
        [
            ({"n_steps": 2}, "n_steps"),
            ({"steering_from": 17}, "steering_from"),
            ({"persistence": 1.0}, "persistence"),
            ({"unmeasured_no_jump_share": 1.5}, "unmeasured_no_jump_share"),
            ({"gate_at_m": (1.0, 6.0)}, "gate_at_m"),
            ({"step_sd_m": -0.1}, "step_sd_m"),
            ({"top_speed_mps": 0.0}, "top_speed_mps"),
            ({"top_speed_mps": 30.0}, "planned steps"),
            ({"first_frequency_hz": 1.0}, "first_frequency_hz"),
        ],
    )
    def test_of_habits_that_nobody_has(self, change, words):
        with pytest.raises(ValueError, match=words):
            simulator.plan_run_up(dataclasses.replace(Athlete(), **change))

    @pytest.mark.parametrize("sessions", [[-1], [[1]]])
    def test_of_sessions_that_cannot_be(self, sessions):
        with pytest.raises(ValueError, match="attempts_by_session"):
            made(Athlete(), sessions=sessions)
