"""The sprint profile: against a published record's splits, SciPy's curve_fit, and recovery."""

import math

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from scipy import optimize

from analytics.core import sprint_curve, sprint_profile
from analytics.core.sprint_profile import Correction, NoProfile, SprintProfile
from tests.core.reference_tables import read_table

NAN = float("nan")
OFF_S = np.array([0.01, -0.01, 0.02, 0.0, -0.01])
GATES = np.array([5.0, 10.0, 20.0, 30.0, 40.0])
BERLIN = read_table("berlin2009_100m_splits")
BERLIN_M = np.array([float(row["distance_m"]) for row in BERLIN])
BERLIN_S = np.array([float(row["berlin2009_cum_s"]) for row in BERLIN])
REACTION_S = 0.146  # Graubner & Nixdorf 2011, in the head of the table


def fit(split_m, time_s, **options) -> SprintProfile:
    found = sprint_profile.fit_profile(split_m, time_s, **options)
    assert isinstance(found, SprintProfile)
    return found


def time_to(run_m, top: float, rise: float):
    return sprint_curve.time_to(run_m, top_speed_mps=top, rise_time_s=rise)


class TestAgainstTheBerlinRecord:
    @pytest.mark.parametrize(
        ("n", "top", "rise"),
        [(10, 12.2139, 1.23830), (8, 12.2409, 1.24727), (6, 12.1472, 1.22119)],
    )
    def test_gives_the_values_of_the_table(self, n, top, rise):
        found = fit(BERLIN_M[:n], BERLIN_S[:n] - REACTION_S)

        assert found.top_speed_mps == pytest.approx(top, abs=5e-5)
        assert found.rise_time_s == pytest.approx(rise, abs=5e-6)

    def test_the_curve_itself_gives_the_independently_published_fit(self):
        # Fitted on distance given time: 12.22 m/s, 1.241 s, RMSE 0.11 m.
        def run(time, top, rise):
            return sprint_curve.distance_run(time, top_speed_mps=top, rise_time_s=rise)

        found, _ = optimize.curve_fit(run, BERLIN_S - REACTION_S, BERLIN_M, p0=(11.0, 1.0))

        left = run(BERLIN_S - REACTION_S, *found) - BERLIN_M
        assert found == pytest.approx([12.22, 1.241], abs=0.005)
        assert math.sqrt(np.mean(left**2)) == pytest.approx(0.11, abs=0.005)

    def test_the_time_shift_finds_the_reaction(self):
        found = fit(BERLIN_M, BERLIN_S, correction=Correction.TIME_SHIFT)

        assert found.time_shift_interval is not None
        assert found.time_shift_interval.low < -REACTION_S < found.time_shift_interval.high


class TestAgainstCurveFit:
    @pytest.mark.parametrize(
        ("correction", "clock"),
        [
            (Correction.NONE, time_to),
            (Correction.TIME_SHIFT, lambda x, m, tau, c: time_to(x, m, tau) - c),
            (
                Correction.FLYING_DISTANCE,
                lambda x, m, tau, f: time_to(x + f, m, tau) - time_to(f, m, tau),
            ),
        ],
    )
    def test_has_its_values_and_errors(self, correction, clock):
        rng = np.random.default_rng(5)
        gates = np.array([5.0, 10, 15, 20, 25, 30, 40])
        more = () if correction is Correction.NONE else (0.3,)
        time = clock(gates, 9.0, 1.1, *more) + rng.normal(0, 0.01, gates.size)

        found = fit(gates, time, correction=correction)

        at, covariance = optimize.curve_fit(clock, gates, time, p0=(9.0, 1.1, *more), xtol=1e-14)
        log_covariance = covariance[:2, :2] / np.outer(at[:2], at[:2])
        assert (found.top_speed_mps, found.rise_time_s) == pytest.approx(tuple(at[:2]), rel=1e-6)
        assert found.covariance == pytest.approx(
            (log_covariance[0, 0], log_covariance[0, 1], log_covariance[1, 1]), rel=1e-3
        )
        third = {
            Correction.TIME_SHIFT: found.time_shift_s,
            Correction.FLYING_DISTANCE: found.flying_distance_m,
        }
        if more:
            assert third[correction] == pytest.approx(at[2], rel=1e-5)

    def test_intervals_are_students_t_on_the_logarithm(self):
        found = fit(GATES, time_to(GATES, 9.0, 1.1) + OFF_S)

        half = 3.182446 * math.sqrt(found.covariance[0])  # t of 3 df, from memory
        assert found.df == 3
        assert math.log(found.top_speed_interval.high / found.top_speed_mps) == pytest.approx(
            half, rel=1e-6
        )
        assert found.top_speed_interval.low * found.top_speed_interval.high == pytest.approx(
            found.top_speed_mps**2
        )


class TestRecovery:
    @pytest.mark.parametrize(
        ("correction", "clock_s", "flying_m"),
        [
            (Correction.NONE, 0.0, 0.0),
            (Correction.TIME_SHIFT, 0.25, 0.0),
            (Correction.TIME_SHIFT, -0.4, 0.0),
            (Correction.FLYING_DISTANCE, 0.0, 0.5),
            (Correction.FLYING_DISTANCE, 0.0, 0.0),
        ],
    )
    def test_finds_what_exact_splits_hold(self, correction, clock_s, flying_m):
        time = time_to(GATES + flying_m, 8.5, 1.1) - time_to(flying_m, 8.5, 1.1) - clock_s

        found = fit(GATES, time, correction=correction)

        assert found.top_speed_mps == pytest.approx(8.5, rel=1e-4)
        assert found.rise_time_s == pytest.approx(1.1, rel=1e-3)
        assert found.time_shift_s == (
            pytest.approx(clock_s, abs=1e-5) if correction is Correction.TIME_SHIFT else None
        )
        assert found.flying_distance_m == (
            pytest.approx(flying_m, abs=1e-4) if correction is Correction.FLYING_DISTANCE else None
        )
        assert found.share_reached == pytest.approx(
            float(sprint_curve.speed_after(40 + flying_m, top_speed_mps=8.5, rise_time_s=1.1))
            / 8.5,
            rel=1e-4,
        )

    @pytest.mark.parametrize(("flying_m", "left"), [(0.1, 0.76), (0.5, 0.55)])
    def test_a_gate_start_without_correction_makes_the_rise_too_quick(self, flying_m, left):
        time = time_to(GATES + flying_m, 8.5, 1.1) - time_to(flying_m, 8.5, 1.1)

        assert fit(GATES, time).rise_time_s / 1.1 == pytest.approx(left, abs=0.01)
        shifted = fit(GATES, time, correction=Correction.TIME_SHIFT)
        assert shifted.rise_time_s / 1.1 == pytest.approx(1.0, abs=0.07)


class TestWhatIsNotEnough:
    @pytest.mark.parametrize(
        ("correction", "needed"), [(Correction.NONE, 4), (Correction.TIME_SHIFT, 5)]
    )
    def test_needs_two_splits_more_than_parameters(self, correction, needed):
        few = GATES[: needed - 1]

        found = sprint_profile.fit_profile(few, time_to(few, 9, 1), correction=correction)

        assert found == NoProfile(n=needed - 1, needed=needed)
        assert str(found) == f"not enough splits ({needed - 1} of {needed})"

    def test_a_missing_split_does_not_count(self):
        time = time_to(GATES, 9.0, 1.1)
        time[[1, 2]] = NAN

        assert sprint_profile.fit_profile(GATES, time) == NoProfile(n=3, needed=4)

    @pytest.mark.parametrize(
        "time_s",
        [
            GATES / 9.0,  # at full speed from the start
            np.sqrt(2 * GATES / 3.0),  # ever faster
            np.array([1.0, 1.1, 3.5, 3.6, 6.0]),  # no curve at all
        ],
    )
    def test_splits_that_do_not_tell_give_no_profile(self, time_s):
        found = sprint_profile.fit_profile(GATES, time_s)

        assert isinstance(found, NoProfile)
        assert "do not tell" in str(found)

    @pytest.mark.parametrize(
        ("split", "time", "options"),
        [
            ([0.0, 5, 10, 20], [0.1, 1.3, 2.0, 3.2], {}),
            ([5.0, 10, 10, 20], [1.3, 2.0, 2.1, 3.2], {}),
            ([5.0, 10, 15, 20], [1.3, 2.0, 1.9, 3.2], {}),
            ([5.0, 10, 15, 20], [1.3, 2.0, 2.6], {}),
            ([5.0, 10, 15, np.inf], [1.3, 2.0, 2.6, 3.2], {}),
            ([5.0, 10, 15, 20], [1.3, 2.0, 2.6, 3.2], {"level": 0}),
            ([5.0, 10, 15, 20], [1.3, 2.0, 2.6, 3.2], {"correction": "both"}),
        ],
    )
    def test_bad_input_is_refused(self, split, time, options):
        with pytest.raises(ValueError, match=r"."):
            sprint_profile.fit_profile(split, time, **options)


class TestProperties:
    @given(top=st.floats(5, 12), rise=st.floats(0.7, 1.6), factor=st.floats(0.5, 2))
    @settings(max_examples=15)
    def test_other_units_of_length_scale_the_top_speed_only(self, top, rise, factor):
        time = time_to(GATES, top, rise) + OFF_S

        found, other = fit(GATES, time), fit(GATES * factor, time)

        assert other.top_speed_mps == pytest.approx(found.top_speed_mps * factor, rel=1e-5)
        assert other.rise_time_s == pytest.approx(found.rise_time_s, rel=1e-5)
        assert other.residual_sd_s == pytest.approx(found.residual_sd_s, rel=1e-5)
