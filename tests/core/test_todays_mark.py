"""Today's mark: by hand, against a published uncertainty budget, by conditioning, by properties."""

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from analytics.core import todays_mark as module
from analytics.core.todays_mark import Part, Reason, TodaysMark, learn, todays_mark

PARTS = {
    Reason.DAY: Part(-0.02, 0.06),
    Reason.WIND: Part(0.09, 0.05),
    Reason.PLAN: Part(0.0, 0.02),
    Reason.RUNWAY: Part(0.03, 0.04),
    Reason.GROWTH: Part(0.10, 0.07),
}

any_parts = st.dictionaries(
    st.sampled_from(list(Reason)),
    st.builds(Part, st.floats(-0.5, 0.5), st.floats(0, 0.3)),
)


class TestSum:
    def test_by_hand(self):
        mark = todays_mark(30.0, PARTS)

        assert mark.move_m == pytest.approx(0.20)
        # Squares: 36 + 25 + 4 + 16 + 49 = 130 square centimetres.
        assert mark.sd_m == pytest.approx(0.130**0.5 / 10**0.5)
        assert mark.start_mark_m == 30.20
        # 97.5 % of a normal value lie below 1.959964 SDs.
        assert mark.interval.high - mark.move_m == pytest.approx(1.959964 * mark.sd_m, rel=1e-6)
        assert mark.move_m - mark.interval.low == pytest.approx(1.959964 * mark.sd_m, rel=1e-6)

    def test_variances_add_as_in_a_published_budget(self):
        """Calibration of an end gauge, JCGM 100:2008, H.1: 25, 9.7, 2.9 and 16.6 nm make 32 nm.

        From memory.
        """
        budget = dict(zip(Reason, (25.0, 9.7, 2.9, 16.6), strict=False))

        mark = todays_mark(1000.0, {each: Part(0.0, sd) for each, sd in budget.items()})

        assert round(mark.sd_m) == 32

    def test_parts_stand_in_the_order_of_the_coach_and_missing_ones_are_named(self):
        mark = todays_mark(30.0, {Reason.DAY: Part(0, 0.1), Reason.WIND: Part(0.1, 0)})

        assert list(mark.parts) == [Reason.WIND, Reason.DAY]
        assert mark.not_known == (Reason.PLAN, Reason.RUNWAY, Reason.GROWTH)

    def test_nothing_known_leaves_the_plan(self):
        mark = todays_mark(30.004, {})

        assert (mark.start_mark_m, mark.move_m, mark.sd_m) == (30.0, 0.0, 0.0)
        assert mark.not_known == tuple(Reason)

    @pytest.mark.parametrize(
        ("planned", "parts", "words"),
        [
            (30.0, {Reason.WIND: Part(float("nan"), 0.1)}, "wind part"),
            (30.0, {Reason.DAY: Part(0.1, -0.1)}, "day part"),
            (30.0, {Reason.DAY: Part(0.1, float("inf"))}, "day part"),
            (float("nan"), {}, "behind the line"),
            (0.1, {Reason.DAY: Part(-0.1, 0.1)}, "behind the line"),
        ],
    )
    def test_what_is_no_mark_is_refused(self, planned, parts, words):
        with pytest.raises(ValueError, match=words):
            todays_mark(planned, parts)


class TestLearn:
    def test_is_the_conditioning_of_a_normal_vector_on_a_look_at_its_sum(self):
        mark = todays_mark(30.0, PARTS)
        # A look at the bias of the mark with an SD of 0.05 that said 0.10: a bias of the mark is
        # minus what is missing in the sum of the parts.
        means = np.array([part.move_m for part in mark.parts.values()])
        covariance = np.diag([part.sd_m**2 for part in mark.parts.values()])
        ones = np.ones(5)
        gain = covariance @ ones / (ones @ covariance @ ones + 0.05**2)
        after = means + gain * -0.10
        left = covariance - np.outer(gain, covariance @ ones)
        bias = 0.10 * mark.sd_m**2 / (mark.sd_m**2 + 0.05**2)

        learned = learn(mark, bias_m=bias, bias_sd_m=float(np.sqrt(left.sum())))

        assert [part.move_m for part in learned.parts.values()] == pytest.approx(after)
        assert [part.sd_m for part in learned.parts.values()] == pytest.approx(
            np.sqrt(np.diag(left))
        )
        assert learned.move_m == pytest.approx(mark.move_m - bias)
        assert learned.sd_m < min(0.05, mark.sd_m)

    def test_who_knows_the_sum_knows_that_one_part_pays_for_another(self):
        learned = learn(todays_mark(30.0, PARTS), bias_m=0.0, bias_sd_m=0.01)

        assert np.sqrt(sum(part.sd_m**2 for part in learned.parts.values())) > 5 * learned.sd_m

    def test_what_was_known_exactly_stays(self):
        mark = todays_mark(30.0, {Reason.PLAN: Part(0.1, 0.0), Reason.DAY: Part(0.0, 0.1)})

        learned = learn(mark, bias_m=0.04, bias_sd_m=0.05)

        assert learned.parts[Reason.PLAN] == Part(0.1, 0.0)
        assert learned.parts[Reason.DAY].move_m == pytest.approx(-0.04)
        assert learned.parts[Reason.DAY].sd_m == pytest.approx(0.05)
        assert learn(todays_mark(30.0, {}), bias_m=0.0, bias_sd_m=0.0).start_mark_m == 30.0

    @pytest.mark.parametrize(("bias", "sd"), [(float("nan"), 0.01), (0.1, 0.2), (0.1, -0.1)])
    def test_more_doubt_than_before_is_refused(self, bias, sd):
        with pytest.raises(ValueError, match="at most that before"):
            learn(todays_mark(30.0, {Reason.DAY: Part(0.0, 0.1)}), bias_m=bias, bias_sd_m=sd)


class TestWindPart:
    def test_of_a_usual_athlete_after_35_m(self):
        # 0.14 m for +2 m/s, 0.18 m for -2 m/s (our derivation, docs/metrics/wind.md).
        assert module.wind_part(-0.08, slope_sd_m=0, wind_mps=2).move_m == pytest.approx(0.14)
        assert module.wind_part(-0.08, slope_sd_m=0, wind_mps=-2).move_m == pytest.approx(-0.18)

    def test_spread_is_that_of_simulated_winds_and_slopes(self):
        rng = np.random.default_rng(3)
        slope = rng.normal(-0.08, 0.05, size=200_000)
        wind = rng.normal(1.5, 0.6, size=slope.size)

        part = module.wind_part(-0.08, slope_sd_m=0.05, wind_mps=1.5, wind_sd_mps=0.6)

        # To first order in gusts: 1.2 % too wide here.
        assert part.sd_m == pytest.approx(np.std(-slope * (wind - wind**2 / 16)), rel=0.02)

    def test_no_wind_that_is_sure_moves_nothing(self):
        assert module.wind_part(-0.08, slope_sd_m=0.05, wind_mps=0.0) == Part(0.0, 0.0)

    @pytest.mark.parametrize("change", [{"slope_sd_m": -1}, {"wind_mps": float("nan")}])
    def test_refuses_what_is_no_wind(self, change):
        with pytest.raises(ValueError, match="wind's slope"):
            module.wind_part(-0.08, **({"slope_sd_m": 0.1, "wind_mps": 1.0} | change))


class TestGrowthPart:
    def test_by_hand(self):
        # 2 cm on 1.60 m lengthen 24 m by 1.25 %: 0.30 m; half of it is 0.15 m. Two readings of
        # 4 mm each: 24 x 1.414214 x 0.0025 = 0.084853 m.
        part = module.growth_part(24.0, height_then_m=1.60, height_now_m=1.62, height_sd_m=0.004)

        assert part.move_m == pytest.approx(0.30)
        assert part.sd_m == pytest.approx(np.sqrt(0.15**2 + 0.084853**2), rel=1e-5)

    def test_nobody_shrinks(self):
        part = module.growth_part(24.0, height_then_m=1.60, height_now_m=1.59, height_sd_m=0.004)

        assert part.move_m == 0.0
        assert part.sd_m == pytest.approx(0.084853, rel=1e-5)

    @pytest.mark.parametrize(
        "change", [{"height_then_m": 0.0}, {"height_now_m": float("inf")}, {"height_sd_m": -1}]
    )
    def test_refuses_what_is_no_body(self, change):
        with pytest.raises(ValueError, match="lengths must be"):
            module.growth_part(
                24.0, **({"height_then_m": 1.6, "height_now_m": 1.6, "height_sd_m": 0.0} | change)
            )


class TestRunwayPart:
    def test_who_lands_short_there_begins_nearer_to_the_pit(self):
        assert module.runway_part(0.04, effect_sd_m=0.03) == Part(-0.04, 0.03)


class TestProperties:
    @given(any_parts, st.floats(10, 45))
    def test_the_sum_is_finite_and_no_steadier_than_its_least_known_part(self, parts, planned):
        mark = todays_mark(planned, parts)

        assert np.isfinite([mark.move_m, mark.sd_m, mark.start_mark_m]).all()
        assert mark.interval.low <= mark.move_m <= mark.interval.high
        assert mark.sd_m >= max((part.sd_m for part in parts.values()), default=0) - 1e-12
        assert set(mark.parts) | set(mark.not_known) == set(Reason)

    @given(any_parts, st.floats(-0.3, 0.3), st.floats(0, 1))
    def test_parts_always_add_up_to_the_move(self, parts, bias, kept):
        mark = todays_mark(30.0, parts)

        learned = learn(mark, bias_m=bias if mark.sd_m else 0.0, bias_sd_m=kept * mark.sd_m)

        assert isinstance(learned, TodaysMark)
        assert sum(part.move_m for part in learned.parts.values()) == pytest.approx(learned.move_m)
        if mark.sd_m > 1e-150:
            assert learned.move_m == pytest.approx(mark.move_m - bias, abs=1e-9)
        for reason, part in learned.parts.items():
            assert part.sd_m <= mark.parts[reason].sd_m + 1e-12
