"""Rolling speeds and rhythm: by hand, beside pandas, and what later attempts may change."""

import dataclasses
from typing import Any

import numpy as np
import pandas as pd
import pytest
from scipy import stats

from analytics.core import gate_speeds, last_steps, rolling_run_up
from analytics.core.rolling_run_up import RollingRunUp

NAN = float("nan")
GATES_AT_M = (16.0, 11.0, 6.0, 1.0)


def run(first_s: float, second_s: float) -> list[float]:
    """Return the times at the gates of a run with these times over the two zones."""
    return [3.0, 3.6, 3.6 + first_s, 3.6 + first_s + second_s]


def steps(third_m: float, second_m: float, last_m: float) -> list[float]:
    return list(np.cumsum([0.06, last_m, second_m, third_m]))


def season(n: int = 300, seed: int = 5) -> dict[str, Any]:
    """Return invented attempts with gaps, some of them with gates elsewhere."""
    rng = np.random.default_rng(seed)
    lengths = rng.normal([2.1, 2.2, 2.0], 0.05, (n, 3))
    toe = np.cumsum(np.column_stack([rng.normal(0.06, 0.08, n), lengths[:, ::-1]]), axis=1)
    touchdown = 5.3 - np.column_stack([np.zeros(n), np.cumsum(lengths[:, ::-1] / 9, axis=1)])
    at = np.tile(GATES_AT_M, (n, 1))
    at[rng.random(n) < 0.2] = (15.0, 10.0, 5.0, 0.0)
    time = 5.3 - at / rng.normal(9, 0.2, (n, 1)) + rng.normal(0, 0.003, at.shape)
    for array, share in ((toe, 0.03), (touchdown, 0.03), (time, 0.03)):
        array[rng.random(array.shape) < share] = NAN
    time[rng.random(n) < 0.1] = NAN
    return {
        "toe_m": toe,
        "touchdown_s": touchdown,
        "gate_at_m": at,
        "gate_time_s": time,
        "revision": np.arange(n) // 83,
    }


def moved(attempts: dict[str, Any], part: slice = slice(None), **options: Any) -> RollingRunUp:
    return rolling_run_up.rolling_run_up(
        **{name: each[part] for name, each in attempts.items()}, **options
    )


class TestByHand:
    def test_a_window_of_three(self):
        # 5 m in 0.50 s are 10 m/s, in 0.625 s 8 m/s, in 0.40 s 12.5 m/s.
        times = [run(0.50, 0.50), run(0.50, 0.625), run(0.40, NAN), run(0.625, 0.50)]
        toe = [steps(2.0, 2.2, 1.8), steps(2.0, 2.0, 2.0), [0.1, 2.0, NAN, 6.0], steps(2, 2, 1)]
        down = [[5.0, 4.8, 4.55, 4.35], [5.0, 4.8, 4.6, 4.4], [NAN] * 4, [5.0, 4.9, 4.7, 4.5]]

        figures = rolling_run_up.rolling_run_up(
            toe, down, [GATES_AT_M] * 4, times, window=3, min_valid=2
        )

        assert figures.n_speeds.tolist() == figures.n_speeds_at_gates.tolist() == [1, 2, 2, 2]
        # The third attempt has no second zone, so its first one does not count either.
        assert figures.speed_11_6_mps == pytest.approx([NAN, 10, 10, 9], nan_ok=True)
        assert figures.speed_6_1_mps == pytest.approx([NAN, 9, 9, 9], nan_ok=True)
        assert figures.speed_gain_mps == pytest.approx([NAN, -1, -1, 0], nan_ok=True)
        assert figures.n_step_lengths.tolist() == figures.n_step_times.tolist() == [1, 2, 2, 2]
        # To the third-last step: 1.1 and 0.9, then 1 and 1, then 1 and 0.5.
        assert figures.length_ratio_2 == pytest.approx([NAN, 1.05, 1.05, 1.0], nan_ok=True)
        assert figures.length_ratio_1 == pytest.approx([NAN, 0.95, 0.95, 0.75], nan_ok=True)
        assert figures.length_ratio_1_sd[1] == pytest.approx(0.1 / 2**0.5)
        assert figures.time_ratio_2 == pytest.approx([NAN, 1.125, 1.125, 1.0], nan_ok=True)
        assert figures.time_ratio_1 == pytest.approx([NAN, 1.0, 1.0, 0.75], nan_ok=True)

    def test_says_how_many_speeds_were_taken_at_gates(self):
        elsewhere = [(15.0, 10.0, 5.0, 0.0)] * 3
        times = [[3.0, 3.5, 4.0, 4.5]] * 5

        figures = rolling_run_up.rolling_run_up(
            np.full((5, 4), NAN), np.full((5, 4), NAN), [GATES_AT_M] * 2 + elsewhere, times
        )

        # Steady at 10 m/s, between gates too; before the second last gate from it to the last.
        assert (figures.n_speeds[-1], figures.n_speeds_at_gates[-1]) == (5, 2)
        assert figures.speed_6_1_mps[-1] == pytest.approx(10)
        assert figures.n_step_lengths.tolist() == [0] * 5
        assert np.isnan(figures.length_ratio_2).all()

    def test_of_attempts_without_gates_is_nothing(self):
        figures = rolling_run_up.rolling_run_up(
            [steps(2.1, 2.2, 2.0)] * 5, np.full((5, 4), NAN), np.empty((5, 0)), np.empty((5, 0))
        )

        assert figures.n_speeds.tolist() == [0] * 5
        assert np.isnan(figures.speed_gain_mps).all()
        assert figures.length_ratio_2[-1] == pytest.approx(2.2 / 2.1)
        assert figures.length_ratio_2_sd[-1] == pytest.approx(0, abs=1e-12)


class TestAgainstReferences:
    def test_equals_a_recomputation_with_pandas_and_scipy(self):
        attempts = season()

        figures = moved(attempts)

        speeds = gate_speeds.zone_speeds(attempts["gate_at_m"], attempts["gate_time_s"])
        ratios = last_steps.step_ratios(attempts["toe_m"], touchdown_s=attempts["touchdown_s"])
        gain = speeds.gain_mps
        expected = {
            "speed_11_6_mps": np.where(np.isnan(gain), NAN, speeds.speed_11_6_mps),
            "speed_6_1_mps": np.where(np.isnan(gain), NAN, speeds.speed_6_1_mps),
            "speed_gain_mps": gain,
        }
        three = ~np.isnan(attempts["toe_m"]).any(axis=1)
        timed = ~np.isnan(attempts["touchdown_s"]).any(axis=1)
        for name in ("length_ratio_2", "length_ratio_1"):
            expected[name] = np.where(three, getattr(ratios, name), NAN)
        for name in ("time_ratio_2", "time_ratio_1"):
            expected[name] = np.where(timed, getattr(ratios, name), NAN)
        for name, values in expected.items():
            groups = pd.Series(values).groupby(attempts["revision"])
            mean = groups.rolling(20, min_periods=5).mean().to_numpy()
            sd = groups.rolling(20, min_periods=5).std().to_numpy()
            n = groups.rolling(20, min_periods=0).count().to_numpy()
            np.testing.assert_allclose(getattr(figures, name), mean, atol=1e-12, rtol=0)
            if hasattr(figures, f"{name}_sd"):
                np.testing.assert_allclose(getattr(figures, f"{name}_sd"), sd, atol=1e-12, rtol=0)
            stem, mps, _ = name.partition("_mps")
            if hasattr(figures, f"{stem}_low{mps}"):
                with np.errstate(invalid="ignore"):
                    half = stats.t.ppf(0.975, n - 1) * sd / np.sqrt(n)
                for end, ours in (
                    (mean - half, f"{stem}_low{mps}"),
                    (mean + half, f"{stem}_high{mps}"),
                ):
                    np.testing.assert_allclose(getattr(figures, ours), end, atol=1e-12, rtol=0)

    def test_the_gain_is_the_difference_of_the_means(self):
        figures = moved(season(seed=6))

        apart = figures.speed_6_1_mps - figures.speed_11_6_mps
        np.testing.assert_allclose(figures.speed_gain_mps, apart, atol=1e-12)


class TestProperties:
    @pytest.mark.parametrize("position", [0, 1, 18, 19, 20, 82, 83, 120, 299])
    def test_a_tail_gives_the_same_figures_as_the_whole(self, position: int):
        attempts = season()
        start = max(0, position - 19)

        whole, tail = moved(attempts), moved(attempts, slice(start, None))

        for field in dataclasses.fields(whole):
            np.testing.assert_array_equal(
                getattr(whole, field.name)[position:],
                getattr(tail, field.name)[position - start :],
                err_msg=field.name,
            )

    def test_a_later_attempt_changes_no_earlier_figure(self):
        attempts = season()

        whole, before = moved(attempts), moved(attempts, slice(150))

        for field in dataclasses.fields(whole):
            np.testing.assert_array_equal(
                getattr(whole, field.name)[:150], getattr(before, field.name), err_msg=field.name
            )

    def test_units_of_time_and_length_leave_ratios_alone(self):
        attempts = season()
        other = attempts | {
            "toe_m": 100 * attempts["toe_m"],
            "touchdown_s": 1000 * attempts["touchdown_s"],
        }

        metres, centimetres = moved(attempts), moved(other)

        for name in ("length_ratio_2", "length_ratio_1_sd", "time_ratio_2", "time_ratio_1_high"):
            np.testing.assert_allclose(
                getattr(metres, name), getattr(centimetres, name), atol=1e-12
            )


class TestRefusals:
    def test_of_gates_out_of_order(self):
        attempts = season(20)
        attempts["gate_at_m"] = attempts["gate_at_m"][:, ::-1]

        with pytest.raises(ValueError, match="order passed"):
            moved(attempts)

    def test_of_too_few_footfalls(self):
        attempts = season(20)
        attempts["toe_m"] = attempts["toe_m"][:, :3]

        with pytest.raises(ValueError, match="four footfalls"):
            moved(attempts)
