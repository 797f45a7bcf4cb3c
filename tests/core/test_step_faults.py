"""Stutter and over-stride: planted ones are found, ordinary steps are not, needed ones excused."""

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from analytics.core import step_faults
from analytics.core.conventions import NotEnoughAttempts
from analytics.core.step_faults import StepFaults

NAN = float("nan")
STEP_M, STEP_S = 2.2, 0.24


def ordinary(rng, n=20, *, sd=0.02, k=8):
    """Return footfalls and touchdowns of even steps, each length with the given SD."""
    length = STEP_M + rng.normal(0, sd, (n, k - 1))
    toe = 0.06 + np.concatenate([np.zeros((n, 1)), np.cumsum(length, axis=1)], axis=1)
    time = STEP_S + rng.normal(0, 0.002, (n, k - 1))
    down = -np.concatenate([np.zeros((n, 1)), np.cumsum(time, axis=1)], axis=1)
    return toe, down


def shorten(toe, down, attempt, *, steps, by_m, by_s):
    for step in steps:
        toe[attempt, step:] -= by_m
        down[attempt, step:] += by_s


def describe(toe, **options) -> StepFaults:
    result = step_faults.step_faults(toe, **options)
    assert isinstance(result, StepFaults)
    return result


class TestAStutter:
    def test_is_two_short_quick_steps(self):
        toe, down = ordinary(np.random.default_rng(1))
        shorten(toe, down, 7, steps=(3, 4), by_m=0.25, by_s=0.03)

        result = describe(toe, touchdown_s=down)

        assert np.flatnonzero(result.stutter).tolist() == [7]
        assert result.z[7, 2] < -2
        assert result.z[7, 3] < -2

    def test_is_not_one_short_step(self):
        toe, down = ordinary(np.random.default_rng(1))
        shorten(toe, down, 7, steps=(3,), by_m=0.25, by_s=0.03)

        assert not describe(toe, touchdown_s=down).stutter[7]

    def test_is_not_two_short_steps_at_a_slower_beat(self):
        toe, down = ordinary(np.random.default_rng(1))
        shorten(toe, down, 7, steps=(3, 4), by_m=0.25, by_s=-0.03)

        assert not describe(toe, touchdown_s=down).stutter[7]

    def test_is_excused_where_the_correction_was_needed(self):
        toe, down = ordinary(np.random.default_rng(1))
        # The run came 0.50 m too near: steps 4 and 3 take it back, a quarter metre each.
        shorten(toe, down, 7, steps=(3, 4), by_m=0.25, by_s=0.03)
        # Footfall 4 is 0.50 m near, footfall 3 a quarter: half of the first, all of the second.
        gain = np.array([0.0, 0.0, 1.0, 0.5, 0.0, 0.0, 0.0])

        result = describe(toe, touchdown_s=down, gain=gain)

        assert not result.stutter[7]
        assert result.excused[7, 2:4].all()

    def test_of_a_habitual_stutterer_stands_out_against_the_plan_only(self):
        toe, down = ordinary(np.random.default_rng(1))
        planned = 0.06 + STEP_M * np.arange(8)
        for attempt in range(20):
            shorten(toe, down, attempt, steps=(3, 4), by_m=0.25, by_s=0.03)

        result = describe(toe, touchdown_s=down, planned_toe_m=planned)

        assert result.n_stutters == 0
        assert result.habitual_short_steps.tolist() == [False, False, True, True, False]


class TestAnOverStride:
    def test_is_a_long_step_that_brakes(self):
        toe, down = ordinary(np.random.default_rng(2))
        shorten(toe, down, 5, steps=(1,), by_m=-0.25, by_s=-0.06)

        result = describe(toe, touchdown_s=down)

        assert np.flatnonzero(result.over_stride).tolist() == [5]

    def test_is_not_a_long_step_at_full_speed(self):
        toe, down = ordinary(np.random.default_rng(2))
        shorten(toe, down, 5, steps=(1,), by_m=-0.25, by_s=-0.02)

        assert not describe(toe, touchdown_s=down).over_stride[5]


class TestWithoutTrouble:
    def test_a_few_centimetres_are_never_flagged(self):
        toe, down = ordinary(np.random.default_rng(3), sd=0.002)
        shorten(toe, down, 7, steps=(3, 4), by_m=0.05, by_s=0.01)

        # Against the floor of 0.03 m, 0.05 m is a z of -1.7.
        assert not describe(toe, touchdown_s=down).stutter[7]

    def test_nothing_is_flagged_without_times(self):
        toe, down = ordinary(np.random.default_rng(1))
        shorten(toe, down, 7, steps=(3, 4), by_m=0.25, by_s=0.03)

        result = describe(toe)

        assert (result.n_stutters, result.n_over_strides) == (0, 0)
        assert result.z[7, 2] < -2

    def test_ordinary_steps_are_seldom_flagged(self):
        rng = np.random.default_rng(4)
        flagged = judged = 0
        for _ in range(200):
            toe, down = ordinary(rng, n=20, sd=0.06)
            result = describe(toe, touchdown_s=down)
            flagged += result.n_stutters + result.n_over_strides
            judged += result.n

        # Simulated: under 3 in 100 attempts.
        assert flagged / judged < 0.03

    @pytest.mark.slow
    @pytest.mark.parametrize(("n", "rate"), [(10, 0.078), (15, 0.056), (20, 0.050), (40, 0.036)])
    def test_tails_of_the_robust_z_are_heavier_than_normal(self, n: int, rate: float, monkeypatch):
        monkeypatch.setattr(step_faults, "MIN_ATTEMPTS", 10)
        rng = np.random.default_rng(n)
        below = []
        for _ in range(400):
            toe, _ = ordinary(rng, n=n, sd=1.0 / 3, k=4)
            below.append((describe(toe).z <= -2).mean())

        assert np.mean(below) == pytest.approx(rate, abs=0.008)


class TestEdges:
    def test_fourteen_attempts_are_not_enough(self):
        toe, _ = ordinary(np.random.default_rng(1), n=14)

        assert step_faults.step_faults(toe) == NotEnoughAttempts(n=14, needed=15)

    def test_missing_footfalls_flag_nothing(self):
        toe, down = ordinary(np.random.default_rng(1))
        shorten(toe, down, 7, steps=(3, 4), by_m=0.25, by_s=0.03)
        toe[7, 3] = NAN

        assert not describe(toe, touchdown_s=down).stutter[7]

    def test_equal_lengths_have_z_0(self):
        toe = np.tile(0.06 + STEP_M * np.arange(6), (16, 1))

        assert np.abs(describe(toe).z).max() < 1e-12

    @pytest.mark.parametrize(
        ("toe", "options"),
        [
            ([[0.1, 2.2]] * 16, {}),
            ([[0.1, 2.2, 4.4]] * 16, {"touchdown_s": [[1.0]]}),
            ([[0.1, 2.2, 4.4]] * 16, {"planned_toe_m": [0.1]}),
            ([[0.1, 2.2, 4.4]] * 16, {"gain": [0.1, np.inf]}),
        ],
    )
    def test_bad_input_is_refused(self, toe, options):
        with pytest.raises(ValueError, match=r"."):
            step_faults.step_faults(toe, **options)

    @given(seed=st.integers(0, 2**31), shift=st.floats(-5, 5))
    def test_shift_does_not_matter(self, seed, shift):
        toe, down = ordinary(np.random.default_rng(seed), n=16, sd=0.1)

        result, other = describe(toe, touchdown_s=down), describe(toe + shift, touchdown_s=down)

        assert other.z == pytest.approx(result.z, abs=1e-6)
