"""Heights: by hand, by calendar, against simulated measuring; what must never look firm."""

import math
from datetime import date

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from analytics.core import cautions, growth
from analytics.core.growth import Growth, GrowthSettings, NotEnoughMeasures


def followed(day, height_m, *, today: float | None = None, **options) -> Growth:
    found = growth.follow_growth(
        day, height_m, today=max(day) if today is None else today, **options
    )
    assert isinstance(found, Growth)
    return found


def velocity_of(found: Growth) -> tuple[float, float, float]:
    """Return the velocity and the ends of its interval."""
    assert found.velocity_m_per_year is not None
    assert found.velocity_interval is not None
    return found.velocity_m_per_year, found.velocity_interval.low, found.velocity_interval.high


class TestVelocity:
    def test_by_hand_over_a_year(self):
        days = [date(2025, 3, 1).toordinal(), date(2026, 3, 1).toordinal()]

        found = followed(days, [1.50, 1.56])

        # 6 cm in 365 of 365.25 days; SD of a difference of two heights 0.5 sqrt(2) cm.
        assert found.velocity_m_per_year == pytest.approx(0.06 * 365.25 / 365)
        velocity, low, high = velocity_of(found)
        assert [velocity - low, high - velocity] == pytest.approx(
            [1.959964 * 0.005 * math.sqrt(2) * 365.25 / 365] * 2
        )
        assert (found.over_days, found.fast, found.caution_open) == (365.0, False, False)

    def test_interval_over_just_90_days_is_as_the_page_says(self):
        found = followed([0, 90], [1.50, 1.52])

        velocity, _, high = velocity_of(found)
        assert high - velocity == pytest.approx(0.056, abs=0.0005)

    def test_is_from_the_last_measuring_far_enough_before(self):
        found = followed([0, 100, 150, 200], [1.50, 1.52, 1.53, 1.55])

        assert found.over_days == 100
        assert found.velocity_m_per_year == pytest.approx(0.03 / (100 / 365.25))

    @pytest.mark.parametrize(("apart", "is_told"), [(89, False), (90, True)])
    def test_needs_90_days(self, apart: int, is_told: bool):
        found = followed([0, apart], [1.50, 1.51])

        assert (found.velocity_m_per_year is not None) is is_told
        assert (found.velocity_interval is not None) is is_told
        assert (found.fast is not None) is is_told

    def test_heights_of_one_week_are_one_measuring(self):
        one = followed([0, 7, 100], [1.50, 1.51, 1.54])
        two = followed([0, 8, 100], [1.50, 1.51, 1.54])

        assert one.n == 2
        assert one.over_days == 96.5
        assert one.velocity_m_per_year == pytest.approx(0.035 / (96.5 / 365.25))
        # The mean of two errs less than one height.
        velocity, _, high = velocity_of(one)
        assert high - velocity == pytest.approx(
            1.959964 * 0.005 * math.sqrt(1 + 1 / 2) / (96.5 / 365.25)
        )
        assert two.n == 3

    @pytest.mark.parametrize(("height", "fast"), [(1.5699, False), (1.57, True)])
    def test_of_7_cm_a_year_is_fast(self, height: float, fast: bool):
        found = followed([0, 365.25], [1.50, height + 1e-12])

        assert (found.fast, found.caution_open) == (fast, fast)

    def test_covers_simulated_growth(self):
        rng = np.random.default_rng(1)
        covered = 0
        for _ in range(400):
            heights = np.array([1.50, 1.50, 1.53]) + rng.normal(0, 0.005, 3)
            _, low, high = velocity_of(followed([0, 1, 183], heights))
            covered += low < 0.03 / (182.5 / 365.25) < high
        assert covered / 400 == pytest.approx(0.95, abs=0.035)

    def test_an_athlete_of_5_cm_a_year_is_called_fast_as_often_as_the_page_says(self):
        rng = np.random.default_rng(2)
        true = 0.05 * 90 / 365.25

        def share(times: int) -> float:
            days = np.repeat([0.0, 90.0], times)
            fast = 0
            for _ in range(400):
                heights = 1.5 + true * (days > 0) + rng.normal(0, 0.005, days.size)
                fast += followed(days, heights).fast is True
            return fast / 400

        assert share(1) == pytest.approx(0.24, abs=0.07)
        assert share(2) == pytest.approx(0.16, abs=0.06)


class TestPlan:
    def test_two_centimetres_since_the_plan_ask_for_another_look(self):
        heights = [1.60, 1.61, 1.62]

        found = followed([0, 50, 100], heights, plan_day=10)

        assert found.since_plan_m == pytest.approx(0.02)
        assert found.since_plan_interval is not None
        assert found.since_plan_interval.low == pytest.approx(0.02 - 1.959964 * 0.005 * 2**0.5)
        assert (found.recheck_marks, found.caution_open) == (True, True)
        assert followed([0, 50, 100], [1.60, 1.61, 1.619], plan_day=10).recheck_marks is False

    @pytest.mark.parametrize(
        ("plan_day", "since_m"), [(0, 0.05), (49, 0.05), (50, 0.03), (99, 0.03), (-5, 0.05)]
    )
    def test_stands_on_the_last_measuring_until_its_day_or_the_first(self, plan_day, since_m):
        found = followed([0, 50, 100], [1.60, 1.62, 1.65], plan_day=plan_day)

        assert found.since_plan_m == pytest.approx(since_m)

    @pytest.mark.parametrize("plan_day", [100, 120, None])
    def test_without_a_later_measuring_says_nothing(self, plan_day):
        found = followed([0, 100], [1.60, 1.62], plan_day=plan_day, today=120)

        assert (found.since_plan_m, found.since_plan_interval, found.recheck_marks) == (None,) * 3

    def test_the_mean_of_two_measures_counts(self):
        found = followed([0, 0, 100, 100], [1.60, 1.604, 1.618, 1.63], plan_day=0)

        assert found.since_plan_m == pytest.approx(0.022)


class TestCaution:
    def test_is_not_known_from_one_measuring(self):
        assert followed([0], [1.60]).caution_open is None

    @pytest.mark.parametrize(("today", "is_open"), [(320, False), (321, None)])
    def test_is_not_known_from_old_heights(self, today: int, is_open):
        assert followed([0, 200], [1.60, 1.61], today=today).caution_open is is_open

    def test_once_open_stays_open_with_old_heights(self):
        assert followed([0, 200], [1.60, 1.70], today=900).caution_open is True

    def test_carries_its_words(self):
        found = followed([0, 200], [1.60, 1.61]).caution

        assert cautions.NO_DIAGNOSIS in found
        assert cautions.COACH_DECIDES in found

    def test_a_height_far_below_an_earlier_one_asks_to_measure_again(self):
        assert followed([0, 50, 100], [1.60, 1.57, 1.61]).measure_again
        # 3 SDs of a difference are 2.1 cm.
        assert followed([0, 50], [1.60, 1.5785]).measure_again
        assert not followed([0, 50], [1.60, 1.579]).measure_again


class TestInput:
    def test_none_is_not_enough(self):
        assert growth.follow_growth([], [], today=5) == NotEnoughMeasures(n=0, needed=1)
        assert growth.follow_growth([6], [1.6], today=5) == NotEnoughMeasures(n=0, needed=1)

    def test_later_heights_are_left_out_and_the_order_does_not_matter(self):
        known = followed([0, 100], [1.50, 1.52], today=110)

        assert followed([100, 0, 120], [1.52, 1.50, 1.60], today=110) == known

    def test_settings_are_heeded(self):
        found = followed(
            [0, 40],
            [1.50, 1.51],
            plan_day=0,
            settings=GrowthSettings(apart_days=30, recheck_m=0.01, fast_m_per_year=0.10),
        )

        assert (found.fast, found.recheck_marks) == (False, True)

    @pytest.mark.parametrize(
        ("day", "height", "options", "words"),
        [
            ([0, 1], [1.5], {}, "day and height_m"),
            ([math.nan], [1.5], {}, "day must be finite"),
            ([0], [0.0], {}, "height_m"),
            ([0], [math.inf], {}, "height_m"),
            ([0], [1.5], {"plan_day": math.nan}, "plan_day"),
            ([0], [1.5], {"today": math.inf}, "today"),
            ([0], [1.5], {"level": 1.0}, "level"),
        ],
    )
    def test_bad_input_is_refused(self, day, height, options, words):
        with pytest.raises(ValueError, match=words):
            growth.follow_growth(day, height, **{"today": 5, **options})

    @given(
        days=st.lists(st.integers(0, 800), min_size=1, max_size=8),
        start=st.floats(1.0, 2.0),
        taller=st.floats(-0.3, 0.3),
        shift=st.integers(-1000, 1000),
    )
    def test_counts_of_days_and_tall_people_are_alike(self, days, start, taller, shift):
        heights = start + 0.0001 * np.array(days)

        one = followed(days, heights, plan_day=100)
        other = followed([day + shift for day in days], heights + taller, plan_day=100 + shift)

        assert (one.n, one.fast, one.caution_open) == (other.n, other.fast, other.caution_open)
        if one.velocity_m_per_year is not None:
            assert other.velocity_m_per_year == pytest.approx(one.velocity_m_per_year, abs=1e-9)
            assert one.velocity_m_per_year == pytest.approx(0.036525)
