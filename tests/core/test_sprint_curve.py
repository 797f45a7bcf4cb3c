"""The sprint curve: against printed percentages, exact arithmetic, and its own inverse."""

import warnings
from decimal import Decimal, localcontext

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from scipy import integrate, special

from analytics.core import sprint_curve

NAN = float("nan")
tops, rises = st.floats(3, 13), st.floats(0.4, 2.5)


def exact_time_s(run_m: float, *, top: float, rise: float) -> float:
    """Solve ``x = M (t + tau (exp(-t/tau) - 1))`` for t with 50 digits, by Newton's steps."""
    with localcontext() as context:
        context.prec = 50
        part = Decimal(run_m) / (Decimal(top) * Decimal(rise))
        s = (2 * part).sqrt() + part
        for _ in range(100):
            s -= (s + (-s).exp() - 1 - part) / (1 - (-s).exp())
        return float(s * Decimal(rise))


class TestAgainstPrintedPercentages:
    @pytest.mark.parametrize(
        ("top", "rise", "percent"),
        [
            # Speed as % of the maximum after 15, 20, ... 40 m, as reference/sources has them.
            (10.0, 1.2, [88.1, 92.5, 95.2, 96.9, 98.0, 98.7]),
            (8.0, 1.1, [92.8, 96.1, 97.8, 98.8, 99.3, 99.6]),
        ],
    )
    def test_of_the_top_speed(self, top, rise, percent):
        speed = sprint_curve.speed_after(
            [15, 20, 25, 30, 35, 40], top_speed_mps=top, rise_time_s=rise
        )

        np.testing.assert_allclose(100 * speed / top, percent, atol=0.05)


class TestTime:
    @pytest.mark.parametrize(
        "run_m", [1e-13, 1e-9, 1e-6, 1e-3, 0.0119999, 0.012, 0.0120001, 0.5, 5.0, 40.0, 400.0]
    )
    def test_is_exact_from_the_first_touch_of_the_ground_on(self, run_m):
        found = sprint_curve.time_to(run_m, top_speed_mps=10.0, rise_time_s=1.2)

        assert float(found) == pytest.approx(exact_time_s(run_m, top=10.0, rise=1.2), rel=1e-12)

    def test_at_the_start_is_0_where_the_bare_formula_has_none(self):
        assert np.isnan(special.lambertw(-np.exp(-1.0)).real)
        assert float(sprint_curve.time_to(0.0, top_speed_mps=10.0, rise_time_s=1.2)) == 0

    def test_after_one_rise_time_by_hand(self):
        # x = M tau / e, v = M (1 - 1/e).
        run = 10 * 1.2 / np.e

        assert sprint_curve.distance_run(1.2, top_speed_mps=10.0, rise_time_s=1.2) == pytest.approx(
            run
        )
        assert sprint_curve.time_to(run, top_speed_mps=10, rise_time_s=1.2) == pytest.approx(1.2)
        assert sprint_curve.speed_after(run, top_speed_mps=10, rise_time_s=1.2) == pytest.approx(
            10 * (1 - 1 / np.e)
        )

    def test_what_is_missing_stays_missing(self):
        for curve in (sprint_curve.time_to, sprint_curve.speed_after, sprint_curve.distance_run):
            assert np.isnan(curve(NAN, top_speed_mps=10.0, rise_time_s=1.2))

    @pytest.mark.parametrize(
        ("run_m", "top", "rise"),
        [
            (-0.1, 10, 1.2),
            (np.inf, 10, 1.2),
            (5, 0, 1.2),
            (5, 10, -1),
            (5, NAN, 1),
            (5, 10, np.inf),
        ],
    )
    def test_bad_input_is_refused(self, run_m, top, rise):
        with pytest.raises(ValueError, match=r"."):
            sprint_curve.time_to(run_m, top_speed_mps=top, rise_time_s=rise)


class TestProperties:
    @given(run=st.floats(0, 120), top=tops, rise=rises)
    @settings(max_examples=60)
    def test_there_and_back(self, run, top, rise):
        with warnings.catch_warnings():
            warnings.simplefilter("error")
            time = sprint_curve.time_to(run, top_speed_mps=top, rise_time_s=rise)
            back = sprint_curve.distance_run(time, top_speed_mps=top, rise_time_s=rise)

        assert float(back) == pytest.approx(run, rel=1e-9, abs=1e-12)

    @given(top=tops, rise=rises, end=st.floats(0.5, 8))
    @settings(max_examples=30)
    def test_the_distance_is_the_sum_of_the_speed(self, top, rise, end):
        def speed(at):
            run = sprint_curve.distance_run(at, top_speed_mps=top, rise_time_s=rise)
            return float(sprint_curve.speed_after(run, top_speed_mps=top, rise_time_s=rise))

        run = sprint_curve.distance_run(end, top_speed_mps=top, rise_time_s=rise)
        assert integrate.quad(speed, 0, end)[0] == pytest.approx(float(run), rel=1e-7)

    @given(run=st.floats(1e-10, 80), top=tops, rise=rises)
    @settings(max_examples=60)
    def test_slopes_are_those_of_small_steps(self, run, top, rise):
        by_top, by_rise = sprint_curve.time_slopes(run, top_speed_mps=top, rise_time_s=rise)

        def at(top_mps, rise_s):
            return float(sprint_curve.time_to(run, top_speed_mps=top_mps, rise_time_s=rise_s))

        h = 1e-5
        time = at(top, rise)
        assert float(by_top) == pytest.approx(
            (at(top + h, rise) - at(top - h, rise)) / (2 * h), rel=1e-4, abs=1e-9 * time
        )
        assert float(by_rise) == pytest.approx(
            (at(top, rise + h) - at(top, rise - h)) / (2 * h), rel=1e-4, abs=1e-9 * time
        )

    def test_slopes_vanish_at_the_start(self):
        by_top, by_rise = sprint_curve.time_slopes([0.0], top_speed_mps=9.0, rise_time_s=1.0)

        assert (by_top.tolist(), by_rise.tolist()) == ([0.0], [0.0])
