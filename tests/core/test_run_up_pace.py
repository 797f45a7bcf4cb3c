"""The speed curve of a run-up: against printed shares of top speed and SciPy."""

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from scipy import integrate, optimize

from analytics.core.run_up_pace import (
    Pace,
    RunUpSettings,
    Sprint,
    Start,
    StartStyle,
    run_after,
    run_up_pace,
    speed_after,
    time_after,
)
from tests.core.reference_tables import read_table

paces = st.builds(Pace, st.floats(4, 13), st.floats(0.5, 2.5), st.floats(0, 1.5))


class TestPublished:
    @pytest.mark.parametrize(
        ("pace", "percent"),
        [
            # Speed in percent of the highest after 15, 20, 25, 30, 35 and 40 m, computed from the
            # curve of Furusawa, Hill & Parkinson 1927 by other means (reference, sources).
            (Pace(10.0, 1.2), [88.1, 92.5, 95.2, 96.9, 98.0, 98.7]),
            (Pace(8.0, 1.1), [92.8, 96.1, 97.8, 98.8, 99.3, 99.6]),
        ],
    )
    def test_share_of_the_top_speed(self, pace: Pace, percent: list[float]):
        speed = speed_after(pace, [15, 20, 25, 30, 35, 40])

        assert (100 * speed / pace.top_speed_mps).round(1).tolist() == percent

    def test_splits_of_berlin_2009(self):
        # Fit of the ten splits of the 100 m of Berlin 2009 less the reaction of 0.146 s, with its
        # RMSE of 0.107 m, which agrees with an independently published one of 0.11 m.
        rows = read_table("berlin2009_100m_splits")
        time = np.array([float(row["berlin2009_cum_s"]) for row in rows]) - 0.146
        distance = np.array([float(row["distance_m"]) for row in rows])

        left = run_after(Pace(12.219, 1.241), time) - distance

        assert np.sqrt(np.mean(left**2)) == pytest.approx(0.107, abs=0.001)


class TestLibraries:
    def test_the_run_is_the_integral_of_the_speed(self):
        pace = Pace(9.3, 1.15, entered_s=0.3)

        def speed(time: float) -> float:
            return float(speed_after(pace, run_after(pace, time)))

        assert integrate.quad(speed, 0, 2.5)[0] == pytest.approx(float(run_after(pace, 2.5)))

    @pytest.mark.parametrize("run_m", [1e-13, 1e-9, 1e-6, 0.01, 7.0, 45.0])
    def test_the_time_is_the_root_of_the_run(self, run_m: float):
        pace = Pace(9.3, 1.15)

        root = optimize.brentq(lambda t: float(run_after(pace, t)) - run_m, 0, 60, xtol=1e-15)

        # A run this short is lost in rounding on the way there and back.
        assert float(time_after(pace, run_m)) == pytest.approx(root, rel=1e-5, abs=2e-8)


class TestByHand:
    def test_share_and_effort_change_speed_and_first_acceleration(self):
        # 10 m/s with 1.2 s: first acceleration 8.33 m/s^2. With 0.9 of the speed and 0.75 of the
        # effort 9 m/s and 6.25 m/s^2, so 9 / 6.25 = 1.44 s.
        pace = run_up_pace(
            Sprint(10.0, 1.2), RunUpSettings(steps=16, speed_share=0.9, start_effort=0.75)
        )

        assert (pace.top_speed_mps, pace.rise_time_s) == pytest.approx((9.0, 1.44))
        assert pace.entered_s == 0.0

    def test_a_walk_in_enters_the_curve_at_its_speed(self):
        # 8 m/s and 1 s: 2 m/s are reached after -ln(1 - 2/8) = 0.2877 s.
        pace = run_up_pace(
            Sprint(8.0, 1.0),
            RunUpSettings(
                steps=16, start_style=StartStyle.WALK_IN, speed_share=1.0, start_effort=1.0
            ),
        )

        assert pace.entered_s == pytest.approx(0.2877, abs=5e-5)
        assert float(speed_after(pace, 0.0)) == pytest.approx(2.0)

    def test_the_start_can_be_said(self):
        wanted = RunUpSettings(steps=16, start_style=StartStyle.WALK_IN, start=Start(1.2))

        pace = run_up_pace(Sprint(9.0, 1.1), wanted)

        assert float(speed_after(pace, 0.0)) == pytest.approx(1.2)


class TestProperties:
    @settings(deadline=None, max_examples=30)
    @given(paces, st.floats(0, 60))
    def test_there_and_back(self, pace: Pace, run_m: float):
        assert float(run_after(pace, time_after(pace, run_m))) == pytest.approx(run_m, abs=1e-6)

    @settings(deadline=None, max_examples=30)
    @given(paces)
    def test_starts_at_nothing_and_stays_below_the_top(self, pace: Pace):
        run = np.linspace(0, 50, 11)

        time, speed = time_after(pace, run), speed_after(pace, run)

        assert time[0] == pytest.approx(0, abs=1e-7)
        assert np.all(np.diff(time) > 0)
        assert np.all(np.diff(speed) > 0)
        assert speed[-1] < pace.top_speed_mps

    @settings(deadline=None, max_examples=30)
    @given(paces, st.floats(0.5, 2))
    def test_other_units_change_nothing(self, pace: Pace, unit: float):
        scaled = Pace(pace.top_speed_mps * unit, pace.rise_time_s, pace.entered_s)

        assert float(time_after(scaled, 20 * unit)) == pytest.approx(float(time_after(pace, 20)))


class TestRefusals:
    @pytest.mark.parametrize(
        ("profile", "wanted", "match"),
        [
            (Sprint(0.0, 1.2), RunUpSettings(16), "top_speed_mps"),
            (Sprint(9.0, float("nan")), RunUpSettings(16), "rise_time_s"),
            (Sprint(9.0, 0.09), RunUpSettings(16), "rise_time_s"),
            (Sprint(9.0, 1.2), RunUpSettings(16, start_effort=0.0), "start_effort"),
            (Sprint(9.0, 1.2), RunUpSettings(16, speed_share=-1.0), "speed_share"),
            (Sprint(9.0, 1.2), RunUpSettings(3), "steps"),
            (Sprint(9.0, 1.2), RunUpSettings(31), "steps"),
            (Sprint(9.0, 1.2), RunUpSettings(16, aim_m=-0.01), "aim_m"),
            (Sprint(9.0, 1.2), RunUpSettings(16, start=Start(8.6)), "entry speed"),
            (Sprint(9.0, 1.2), RunUpSettings(16, start=Start(-0.1)), "entry speed"),
            (Sprint(9.0, 1.2), RunUpSettings(16, start=Start(0.0, -0.1)), "push_s"),
        ],
    )
    def test_what_cannot_be_run(self, profile: Sprint, wanted: RunUpSettings, match: str):
        with pytest.raises(ValueError, match=match):
            run_up_pace(profile, wanted)
