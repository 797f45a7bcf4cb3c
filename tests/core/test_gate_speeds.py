"""Speeds between gates: by hand, against SciPy's interpolation, by simulation, by properties."""

import math
import warnings

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from scipy import interpolate

from analytics.core import gate_speeds

NAN = float("nan")
ZONES = [11.0, 6.0, 1.0]


def monoexponential_s(run_m, *, top_mps, rise_s):
    """Return when a run of ``x = M (t + tau (exp(-t/tau) - 1))`` has come so far."""
    at = np.linspace(0, 12, 120_001)
    return np.interp(run_m, top_mps * (at + rise_s * np.expm1(-at / rise_s)), at)


class TestSplits:
    def test_are_the_distance_over_the_time(self):
        speed = gate_speeds.split_speeds([30, 20, 10], [[0.0, 1.25, 2.25], [0.5, NAN, 3.0]])

        np.testing.assert_allclose(speed, [[8.0, 10.0], [NAN, NAN]])

    def test_of_the_berlin_record_are_the_published_ones(self):
        # Graubner & Nixdorf 2011: splits at 60, 70 and 80 m are 6.29, 7.10 and 7.92 s. The fastest
        # ten metres took 0.81 s (`reference/berlin2009_100m_splits.csv`).
        speed = gate_speeds.split_speeds([40, 30, 20], [[6.29, 7.10, 7.92]])

        np.testing.assert_allclose(speed, [[10 / 0.81, 10 / 0.82]])


class TestZonesByHand:
    def test_of_gates_at_the_ends(self):
        found = gate_speeds.zone_speeds(ZONES, [[4.0, 4.5, 5.02], [4.0, 4.5, 4.98]])

        np.testing.assert_allclose(found.speed_11_6_mps, [10.0, 10.0])
        np.testing.assert_allclose(found.speed_6_1_mps, [5 / 0.52, 5 / 0.48])
        np.testing.assert_allclose(found.gain_mps, [5 / 0.52 - 10, 5 / 0.48 - 10])
        assert found.measured_11_6.all()
        assert found.measured_6_1.all()

    def test_a_gate_within_5_cm_counts_at_its_true_place(self):
        found = gate_speeds.zone_speeds([11.05, 5.96, 1.0], [[4.0, 4.5, 5.0]])

        np.testing.assert_allclose(found.speed_11_6_mps, (11.05 - 5.96) / 0.5)
        np.testing.assert_allclose(found.speed_6_1_mps, (5.96 - 1.0) / 0.5)
        assert found.measured_11_6.tolist() == [True]

    def test_a_gate_6_cm_away_is_only_interpolated_from_and_marked(self):
        found = gate_speeds.zone_speeds([11.06, 6.0, 1.0], [[3.994, 4.5, 5.0]])

        np.testing.assert_allclose(found.speed_11_6_mps, [10.0], rtol=1e-3)
        assert found.measured_11_6.tolist() == [False]
        assert found.measured_6_1.tolist() == [True]

    def test_nothing_is_carried_beyond_the_first_gate_or_the_last(self):
        found = gate_speeds.zone_speeds([10.94, 6.0, 1.06], [[4.006, 4.5, 4.994]])

        assert np.isnan([found.speed_11_6_mps, found.speed_6_1_mps]).all()
        assert not found.measured_6_1.any()

    def test_the_nearest_of_several_gates_counts(self):
        found = gate_speeds.zone_speeds(
            [11.0, 6.04, 6.01, 5.97, 1.0], [[4.0, 4.49, 4.5, 4.504, 5.0]]
        )

        np.testing.assert_allclose(found.speed_11_6_mps, (11.0 - 6.01) / 0.5)

    def test_a_missing_gate_leaves_the_other_zone(self):
        found = gate_speeds.zone_speeds(ZONES, [[NAN, 4.5, 5.0], [4.0, 4.5, NAN], [4.0, NAN, 5.0]])

        np.testing.assert_allclose(found.speed_11_6_mps, [NAN, 10.0, NAN])
        np.testing.assert_allclose(found.speed_6_1_mps, [10.0, NAN, NAN])
        assert found.measured_6_1.tolist() == [True, False, False]
        for array in (found.gain_mps, found.gain_sd_mps, found.gain_clock_sd_mps):
            assert np.isnan(array).all()

    def test_no_gates_are_not_enough(self):
        found = gate_speeds.zone_speeds(np.empty((2, 0)), np.empty((2, 0)))

        assert np.isnan(found.gain_mps).tolist() == [True, True]
        assert np.isnan(found.gain_clock_sd_mps).tolist() == [True, True]

    def test_no_attempts_give_no_speeds(self):
        assert gate_speeds.zone_speeds(ZONES, np.empty((0, 3))).gain_mps.shape == (0,)


class TestInterpolation:
    GATES = (15.0, 10.0, 5.0, 0.0)

    def test_is_that_of_scipy(self):
        time = np.array([1.0, 1.51, 2.01, 2.53])

        found = gate_speeds.zone_speeds(self.GATES, [time])

        at = interpolate.PchipInterpolator(-np.array(self.GATES), time)([-11.0, -6.0, -1.0])
        np.testing.assert_allclose(found.speed_11_6_mps, 5 / (at[1] - at[0]))
        np.testing.assert_allclose(found.speed_6_1_mps, 5 / (at[2] - at[1]))
        assert not found.measured_11_6.any()

    def test_each_attempt_has_gates_of_its_own(self):
        at = np.array([[15, 10, 5, 0, NAN], [12, 11, 6, 1, 0], [15, 11.5, 6.5, 1.5, 0.5]])
        time = np.array(
            [[1.0, 1.51, 2.01, 2.53, NAN], [1.0, 1.1, 1.6, 2.1, 2.2], [1, 1.35, 1.85, 2.36, 2.5]]
        )

        found = gate_speeds.zone_speeds(at, time)

        for row in range(3):
            alone = gate_speeds.zone_speeds(at[row], [time[row]])
            np.testing.assert_allclose(alone.gain_mps[0], found.gain_mps[row])
            np.testing.assert_allclose(alone.gain_sd_mps[0], found.gain_sd_mps[row])
        assert found.measured_6_1.tolist() == [False, True, False]

    @pytest.mark.parametrize(
        ("at", "known"), [([12.0, 6.5, 1.0], True), ([12.0, 6.49, 1.0], False)]
    )
    def test_gates_too_far_apart_say_nothing(self, at, known):
        found = gate_speeds.zone_speeds(at, [[4.0, 4.55, 5.1]])

        assert np.isfinite(found.speed_11_6_mps[0]) == known

    def test_comes_as_near_the_truth_as_the_limit_says(self):
        # `WIDEST_GAP_M`: wrong by 0.08 m/s at most with gates every 5 m, in run-ups that reach
        # 7 to 10.5 m/s in 18 to 42 m and change by 0.3 m/s more or 0.6 less over the last metres.
        behind = np.linspace(15, 0, 15_001)
        worst = 0.0
        for top, rise, start in ((7.0, 1.0, 18), (8.5, 1.1, 30), (10.0, 1.2, 40), (10.5, 1.25, 42)):
            steady = np.diff(monoexponential_s(start - behind, top_mps=top, rise_s=rise))
            middle = (behind[1:] + behind[:-1]) / 2
            for loss in (-0.3, 0.0, 0.3, 0.6):
                for over in (3.0, 5.0):
                    step = 0.001 / (0.001 / steady - loss * np.clip((over - middle) / over, 0, 1))
                    time = np.concatenate([[0.0], np.cumsum(step)])

                    def passed(at_m, time=time):
                        return np.interp(-np.asarray(at_m), -behind, time)

                    true = gate_speeds.zone_speeds(ZONES, [passed(ZONES)]).gain_mps[0]
                    found = gate_speeds.zone_speeds(self.GATES, [passed(self.GATES)]).gain_mps[0]
                    worst = max(worst, abs(found - true))

        assert 0.06 < worst < 0.085


class TestError:
    def test_is_that_of_the_derivation(self):
        # sqrt(6) v^2 / 5 sigma: the gate at 6 m moves the gain twice, the others once.
        found = gate_speeds.zone_speeds(ZONES, [[4.0, 4.5, 5.0]], clock_sd_s=0.01, place_sd_m=0)

        assert found.gain_sd_mps[0] == pytest.approx(math.sqrt(6) * 10**2 / 5 * 0.01)
        assert found.speed_11_6_sd_mps[0] == pytest.approx(math.sqrt(2) * 10**2 / 5 * 0.01)

    def test_of_a_clock_that_rounds_to_a_hundredth(self):
        found = gate_speeds.zone_speeds(ZONES, [[4.0, 4.5, 5.0]])

        assert found.gain_clock_sd_mps[0] == pytest.approx(0.14, abs=0.005)

    @pytest.mark.parametrize("gates", [ZONES, [15.0, 10.0, 5.0, 0.0], [12.0, 9.0, 4.0, 1.0, 0.0]])
    def test_is_what_simulated_clocks_show(self, gates):
        rng = np.random.default_rng(3)
        true = monoexponential_s(35 - np.array(gates), top_mps=9.5, rise_s=1.2)
        time = true + rng.normal(0, 0.004, size=(20_000, len(gates)))

        noisy = gate_speeds.zone_speeds(gates, time)
        sure = gate_speeds.zone_speeds(gates, [true], clock_sd_s=0.004, place_sd_m=0)

        assert np.std(noisy.gain_mps) == pytest.approx(sure.gain_sd_mps[0], rel=0.03)
        assert np.std(noisy.speed_11_6_mps) == pytest.approx(sure.speed_11_6_sd_mps[0], rel=0.03)
        assert np.std(noisy.speed_6_1_mps) == pytest.approx(sure.speed_6_1_sd_mps[0], rel=0.03)

    def test_is_what_simulated_places_show(self):
        rng = np.random.default_rng(4)
        placed = np.array(ZONES) + rng.normal(0, 0.01, size=(20_000, 3))
        time = monoexponential_s(35 - placed, top_mps=9.5, rise_s=1.2)

        noisy = gate_speeds.zone_speeds(ZONES, time)
        true = monoexponential_s(35 - np.array(ZONES), top_mps=9.5, rise_s=1.2)
        sure = gate_speeds.zone_speeds(ZONES, [true], clock_sd_s=0, place_sd_m=0.01)

        assert np.std(noisy.gain_mps) == pytest.approx(sure.gain_sd_mps[0], rel=0.03)
        assert np.std(noisy.speed_6_1_mps) == pytest.approx(sure.speed_6_1_sd_mps[0], rel=0.03)
        assert sure.gain_clock_sd_mps[0] == 0

    def test_a_change_between_two_attempts_is_told_from_1_96_sqrt_2_errors_on(self):
        # The minimal detectable change of a typical error of .047258 is .130993 (sources).
        assert gate_speeds.smallest_change(0.047258) == pytest.approx(0.130993, abs=1e-5)
        assert gate_speeds.smallest_change(0.1, n=8) == pytest.approx(1.959964 * 0.05)


class TestRefusals:
    @pytest.mark.parametrize(
        ("at", "time", "options"),
        [
            (ZONES, [4.0, 4.5, 5.0], {}),
            ([11.0, 6.0], [[4.0, 4.5, 5.0]], {}),
            ([6.0, 11.0, 1.0], [[4.0, 4.5, 5.0]], {}),
            (ZONES, [[4.0, 4.5, 4.5]], {}),
            ([11.0, 6.0, 11.0], [[4.0, NAN, 5.0]], {}),
            (ZONES, [[5.0, NAN, 4.0]], {}),
            (ZONES, [[4.0, 4.5, float("inf")]], {}),
            (ZONES, [[4.0, 4.5, 5.0]], {"clock_sd_s": -0.01}),
            (ZONES, [[4.0, 4.5, 5.0]], {"place_sd_m": NAN}),
        ],
    )
    def test_bad_input_is_refused(self, at, time, options):
        with pytest.raises(ValueError, match=r"."):
            gate_speeds.zone_speeds(at, time, **options)

    @pytest.mark.parametrize("options", [{"n": 0}, {"level": 1.0}, {"n": NAN}])
    def test_a_change_of_nothing_is_refused(self, options):
        with pytest.raises(ValueError, match=r"."):
            gate_speeds.smallest_change(0.1, **options)

    def test_a_negative_sd_is_refused(self):
        with pytest.raises(ValueError, match="SD"):
            gate_speeds.smallest_change(-0.1)


class TestProperties:
    steps = st.lists(st.floats(0.05, 2.0), min_size=6, max_size=6)

    @given(steps=steps, shift=st.floats(-5, 5))
    @settings(max_examples=40)
    def test_when_the_clock_started_changes_nothing(self, steps, shift):
        time = np.cumsum(steps)

        found = gate_speeds.zone_speeds([16, 12, 9, 4, 1.5, 0], [time])
        later = gate_speeds.zone_speeds([16, 12, 9, 4, 1.5, 0], [time + shift])

        np.testing.assert_allclose(later.speed_6_1_mps, found.speed_6_1_mps, rtol=1e-6)

    @given(steps=steps, factor=st.floats(0.2, 5))
    @settings(max_examples=40)
    def test_twice_the_time_is_half_the_speed(self, steps, factor):
        time = np.cumsum(steps)

        with warnings.catch_warnings():
            warnings.simplefilter("error")
            found = gate_speeds.zone_speeds([16, 12, 9, 4, 1.5, 0], [time], place_sd_m=0)
            slower = gate_speeds.zone_speeds([16, 12, 9, 4, 1.5, 0], [time * factor], place_sd_m=0)

        np.testing.assert_allclose(slower.gain_mps * factor, found.gain_mps, rtol=1e-6, atol=1e-9)
        np.testing.assert_allclose(slower.gain_sd_mps * factor**2, found.gain_sd_mps, rtol=1e-4)
        assert np.isfinite(found.gain_sd_mps).all()

    @given(steps=steps)
    @settings(max_examples=40)
    def test_interpolated_times_rise_however_uneven_the_run(self, steps):
        found = gate_speeds.zone_speeds([16, 12, 9, 4, 1.5, 0], [np.cumsum(steps)])

        assert found.speed_11_6_mps[0] > 0
        assert found.speed_6_1_mps[0] > 0


class TestZoneMeans:
    @pytest.mark.parametrize("gates_at_m", [(31, 11, 6, 1), (15, 10, 5, 0), (11.04, 11, 6.05, 1)])
    def test_are_the_speeds_without_their_errors(self, gates_at_m):
        rng = np.random.default_rng(4)
        at = np.tile(np.array(gates_at_m, dtype=np.float64), (40, 1))
        time = 5 - at / rng.normal(9, 0.3, (40, 1))
        time[rng.random(time.shape) < 0.1] = np.nan

        means = gate_speeds.zone_means(at, time)

        whole = gate_speeds.zone_speeds(at, time)
        np.testing.assert_array_equal(means.speed_11_6_mps, whole.speed_11_6_mps)
        np.testing.assert_array_equal(means.speed_6_1_mps, whole.speed_6_1_mps)
        np.testing.assert_array_equal(means.measured, whole.measured_11_6 & whole.measured_6_1)

    def test_of_no_gates_are_unknown(self):
        means = gate_speeds.zone_means(np.empty((2, 0)), np.empty((2, 0)))

        assert np.isnan(means.speed_6_1_mps).all()
        assert not means.measured.any()
