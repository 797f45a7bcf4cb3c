"""A curve of the second order: certified values, reference libraries, printed ratios, by hand."""

import math

import numpy as np
import pandas as pd
import pytest
import statsmodels.api as sm
import statsmodels.formula.api as smf
from hypothesis import given
from hypothesis import strategies as st

from analytics.core import conventions, quadratic
from analytics.core.conventions import Interval
from analytics.core.quadratic import Quadratic

# NIST StRD, Pontius: 20 loads, each twice. Data from memory; certified values read in stored copies
# of the file, and one wrong digit in the data would miss them.
PONTIUS_LOAD = np.tile(150_000.0 * np.arange(1, 21), 2)
PONTIUS_DEFLECTION = np.array(
    [
        *(0.11019, 0.21956, 0.32949, 0.43899, 0.54803, 0.65694, 0.76562, 0.87487, 0.98292, 1.09146),
        *(1.20001, 1.30822, 1.41599, 1.52399, 1.63194, 1.73947, 1.84646, 1.95392, 2.06128, 2.16844),
        *(0.11052, 0.22018, 0.32939, 0.43886, 0.54798, 0.65739, 0.76596, 0.87474, 0.98300, 1.09150),
        *(1.20004, 1.30818, 1.41613, 1.52408, 1.63159, 1.73965, 1.84696, 1.95445, 2.06177, 2.16829),
    ]
)


def fitted(x, y, *, groups=None) -> Quadratic:
    return quadratic.fit_quadratic(x, y, groups=conventions.group_by(groups, n=len(x)))


def turned(fit: Quadratic) -> tuple[float, Interval]:
    found = quadratic.turning_point(fit)
    assert found is not None
    return found


class TestCertifiedValues:
    def test_of_the_load_cell_are_met(self):
        fit = fitted(PONTIUS_LOAD, PONTIUS_DEFLECTION)

        (of_slope, both), (_, of_curvature) = fit.covariance
        at_zero = of_slope + 4 * fit.centre**2 * of_curvature - 4 * fit.centre * both
        assert fit.curvature == pytest.approx(-0.316081871345029e-14, rel=1e-9)
        assert math.sqrt(of_curvature) == pytest.approx(0.486652849992036e-16, rel=1e-9)
        assert fit.slope - 2 * fit.curvature * fit.centre == pytest.approx(
            0.732059160401003e-06, rel=1e-11
        )
        assert math.sqrt(at_zero) == pytest.approx(0.157817399981659e-09, rel=1e-9)
        assert fit.residual_sd == pytest.approx(0.205177424076185e-03, rel=1e-9)


class TestReferenceLibrary:
    @pytest.mark.parametrize("n_groups", [1, 3])
    def test_is_least_squares_with_a_level_for_each_group(self, n_groups: int):
        rng = np.random.default_rng(1)
        x = np.tile([8.0, 10, 12, 14, 16], 6)
        group = np.repeat(np.arange(n_groups), 30 // n_groups)
        y = 9 - 0.02 * (x - 17) ** 2 + 0.3 * group + rng.normal(0, 0.2, 30)

        fit = fitted(x, y, groups=group)

        off = x - x.mean()
        dummies = np.equal.outer(group, np.arange(n_groups)).astype(float)
        model = sm.OLS(y, np.column_stack([off, off**2, dummies])).fit()
        assert [fit.slope, fit.curvature] == pytest.approx(model.params[:2])
        assert fit.covariance == pytest.approx(model.cov_params()[:2, :2])
        assert fit.df == model.df_resid
        contrast = np.zeros(2 + n_groups)
        contrast[:2] = 2, (18 - fit.centre) ** 2 - (16 - fit.centre) ** 2
        reference = model.t_test(contrast)
        rise, error, interval = quadratic.change(fit, 16, 18)
        assert rise == pytest.approx(reference.effect[0])
        assert error == pytest.approx(reference.sd[0, 0])
        assert [interval.low, interval.high] == pytest.approx(reference.conf_int()[0])
        bend = quadratic.curvature_interval(fit)
        assert [bend.low, bend.high] == pytest.approx(model.conf_int()[1])

    @pytest.mark.parametrize("bump", [0.0, 0.3])
    def test_lack_of_fit_is_the_f_test_of_nested_models(self, bump: float):
        rng = np.random.default_rng(2)
        x = np.tile([8.0, 10, 12, 14, 16], 6)
        group = np.repeat(["a", "b"], 15)
        y = 9 - 0.02 * (x - 17) ** 2 + bump * (x == 12) + rng.normal(0, 0.2, 30)

        found = fitted(x, y, groups=group).lack_of_fit_p

        rows = pd.DataFrame({"x": x, "y": y, "g": group})
        curve = smf.ols("y ~ x + I(x**2) + C(g)", rows).fit()
        levels = smf.ols("y ~ C(x) + C(g)", rows).fit()
        assert found == pytest.approx(sm.stats.anova_lm(curve, levels)["Pr(>F)"][1])

    def test_a_curve_that_does_not_fit_is_noticed(self):
        x = np.tile([8.0, 10, 12, 14, 16], 6)
        y = np.where(x == 12, 1.0, 0.0) + np.repeat([0.1, -0.1], 15)

        found = fitted(x, y).lack_of_fit_p
        assert found is not None
        assert found < 1e-6


class TestRatio:
    def test_is_that_of_a_printed_example(self):
        # Ratio of 14 to 7 with standard errors of 3 and 2, 10 degrees of freedom, 90 %: 1.051413
        # to 4.414296, printed in the example of the open-source package dcstats.
        found = quadratic.ratio_interval(14, 7, variances=(9, 4), covariance=0, df=10, level=0.9)

        assert found is not None
        assert found.low == pytest.approx(1.051413, abs=1e-6)
        assert found.high == pytest.approx(4.414296, abs=1e-6)

    def test_is_that_of_a_printed_hump(self):
        # Species of 14 plots against the logarithm of their biomass (Al-Mufti), the hump of a
        # curve of the second order with its limits 5.255827 and 6.782979 by Fieller and the normal
        # curve, printed in the manual of the R package vegan; quasi-Poisson, so by statsmodels.
        mass = [140, 230, 310, 310, 400, 510, 610, 670, 860, 900, 1050, 1160, 1900, 2480]
        species = [1, 4, 3, 9, 18, 30, 20, 14, 3, 2, 3, 2, 5, 2]
        x = np.log(mass)
        model = sm.GLM(
            species, np.column_stack([np.ones(14), x, x**2]), family=sm.families.Poisson()
        ).fit(scale="X2")
        covariance = model.cov_params()

        found = quadratic.ratio_interval(
            -model.params[1],
            2 * model.params[2],
            variances=(covariance[1, 1], 4 * covariance[2, 2]),
            covariance=-2 * covariance[1, 2],
            df=math.inf,
        )

        assert found is not None
        # The printed fit stopped a little before its maximum.
        assert -model.params[1] / (2 * model.params[2]) == pytest.approx(6.243371, abs=1e-5)
        assert found.low == pytest.approx(5.255827, abs=5e-5)
        assert found.high == pytest.approx(6.782979, abs=5e-5)

    def test_without_an_end_is_none(self):
        # 2 / 1.5 is within 1.96: the denominator may be 0.
        known = {"covariance": 0.0, "df": math.inf}

        assert quadratic.ratio_interval(1, 2, variances=(0.1, 2.25), **known) is None
        assert quadratic.ratio_interval(1, 2, variances=(0.1, 1.0), **known) is not None

    @given(
        top=st.floats(-5, 5),
        bottom=st.floats(3, 10),
        share=st.floats(-0.9, 0.9),
        scale=st.floats(0.1, 10),
    )
    def test_holds_the_estimate_and_follows_its_units(self, top, bottom, share, scale):
        given = {"variances": (0.5, 0.3), "covariance": share * math.sqrt(0.15), "df": 8}

        found = quadratic.ratio_interval(top, bottom, **given)
        scaled = quadratic.ratio_interval(
            scale * top,
            bottom,
            variances=(0.5 * scale**2, 0.3),
            covariance=scale * given["covariance"],
            df=8,
        )

        assert found is not None
        assert scaled is not None
        assert found.low <= top / bottom <= found.high
        assert scaled.low == pytest.approx(scale * found.low, abs=1e-9)
        assert scaled.high == pytest.approx(scale * found.high, abs=1e-9)


class TestTurningPoint:
    def test_of_an_exact_curve_is_one_point(self):
        x = np.arange(6.0)

        place, interval = turned(fitted(x, 5 - (x - 2) ** 2))

        assert place == pytest.approx(2)
        assert interval.low == pytest.approx(2, abs=1e-6)
        assert interval.high == pytest.approx(2, abs=1e-6)

    def test_moves_with_the_places(self):
        y = [0, 3, 4, 5, 4, 3, 1]

        one = turned(fitted(np.arange(7.0), y))
        moved = turned(fitted(np.arange(7.0) + 10, y))

        assert moved[0] == pytest.approx(one[0] + 10)
        assert moved[1].low == pytest.approx(one[1].low + 10)

    def test_is_where_the_gain_of_the_next_place_is_nothing(self):
        """By profile: places at which the slope of the curve is not shown to differ from 0."""
        # Uneven places: slope and curvature err together.
        fit = fitted([0, 1, 2, 3, 4, 5, 9], [0, 3, 4, 5, 4, 3, -14])

        _, interval = turned(fit)
        assert abs(fit.covariance[0, 1]) > 0.01 * fit.covariance[1, 1]

        for end in (interval.low, interval.high):
            _, _, slope = quadratic.change(fit, end - 1e-4, end + 1e-4)
            assert min(abs(slope.low), abs(slope.high)) < 1e-3 * (slope.high - slope.low)

    def test_is_none_for_a_line(self):
        rng = np.random.default_rng(3)
        x = np.arange(12.0)

        assert quadratic.turning_point(fitted(x, x + rng.normal(0, 1, 12))) is None


class TestEdges:
    def test_a_perfect_fit_has_no_lack_of_fit(self):
        x = np.tile(np.arange(5.0), 2)

        fit = fitted(x, x**2)

        assert fit.lack_of_fit_p is None
        assert fit.residual_sd == pytest.approx(0, abs=1e-9)
        _, _, interval = quadratic.change(fit, 4, 5)
        assert [interval.low, interval.high] == pytest.approx([9, 9], abs=1e-6)

    def test_places_seen_once_have_no_lack_of_fit(self):
        assert fitted([1, 2, 3, 4, 5], [0, 3, 4, 5, 4]).lack_of_fit_p is None

    def test_three_places_have_no_lack_of_fit(self):
        assert fitted([1, 2, 3, 1, 2, 3], [0, 3, 4, 1, 3, 5]).lack_of_fit_p is None

    @pytest.mark.parametrize(
        ("x", "y", "groups", "words"),
        [
            ([1, 2, 3], [1, 2, 3], None, "degree of freedom"),
            ([1, 2, 3, 4], [1, 2, 3], None, "do not fit"),
            ([1, 2, 3, math.nan], [1, 2, 3, 4], None, "finite"),
            ([1, 2, 3, 4], [1, 2, 3, math.inf], None, "finite"),
            ([2, 2, 2, 2], [1, 2, 3, 4], None, "slope from curvature"),
            ([1, 2, 1, 2], [1, 2, 3, 4], None, "slope from curvature"),
            ([1, 2, 1, 2, 1, 2], [1, 2, 3, 4, 5, 6], [1, 1, 2, 2, 2, 2], "slope from curvature"),
        ],
    )
    def test_bad_input_is_refused(self, x, y, groups, words):
        with pytest.raises(ValueError, match=words):
            fitted(x, y, groups=groups)

    def test_no_level_is_refused(self):
        fit = fitted(np.arange(6.0), [0, 3, 4, 5, 4, 3])

        with pytest.raises(ValueError, match="level"):
            quadratic.change(fit, 1, 2, level=0)
        with pytest.raises(ValueError, match="level"):
            quadratic.turning_point(fit, level=1)


class TestProperties:
    @given(
        y=st.lists(st.floats(-100, 100), min_size=8, max_size=8),
        shift=st.floats(-50, 50),
    )
    def test_levels_change_nothing_but_levels(self, y, shift):
        x = np.tile([6.0, 8.0, 10.0, 12.0], 2)
        group = np.repeat([1, 2], 4)

        one = fitted(x, y, groups=group)
        other = fitted(x, np.array(y) + shift * (group == 2), groups=group)

        assert other.slope == pytest.approx(one.slope, abs=1e-9)
        assert other.curvature == pytest.approx(one.curvature, abs=1e-9)
        assert other.residual_sd == pytest.approx(one.residual_sd, abs=1e-6)
        assert np.isfinite(quadratic.change(one, 12, 14)[:2]).all()

    @given(y=st.lists(st.floats(-100, 100), min_size=8, max_size=8), middle=st.floats(6, 14))
    def test_changes_add_up(self, y, middle):
        fit = fitted(np.tile([6.0, 8.0, 10.0, 12.0], 2), y)

        parts = quadratic.change(fit, 6, middle)[0] + quadratic.change(fit, middle, 14)[0]
        assert parts == pytest.approx(quadratic.change(fit, 6, 14)[0], abs=1e-8)
