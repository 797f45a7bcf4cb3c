"""Drawing toward the squad: the printed example, another implementation, and what it must keep."""

import math

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from scipy import stats
from statsmodels.stats.meta_analysis import combine_effects

from analytics.core import shrinkage
from analytics.core.conventions import NotEnoughAttempts
from tests.core.reference_tables import read_table

NAN = float("nan")

squads = st.lists(
    st.tuples(st.floats(-0.3, 0.3), st.floats(0.01, 0.10)),
    min_size=shrinkage.MIN_ATHLETES,
    max_size=15,
)


def means_of(mean, standard_error, **options) -> shrinkage.Shrunken:
    found = shrinkage.shrink_means(mean, standard_error, **options)
    assert isinstance(found, shrinkage.Shrunken)
    return found


def sds_of(sd, df, **options) -> shrinkage.Shrunken:
    found = shrinkage.shrink_sds(sd, df, **options)
    assert isinstance(found, shrinkage.Shrunken)
    return found


class TestPublished:
    rows = read_table("efron_morris_1977")

    def test_batting_averages_of_efron_and_morris(self):
        # Efron & Morris 1977, Scientific American 236(5):119-127: 18 averages after 45 at-bats;
        # printed c 0.212 and a grand average of 0.265.
        average = np.array([int(row["hits"]) / 45 for row in self.rows])
        everyone = average.mean()
        error = math.sqrt(everyone * (1 - everyone) / 45)

        found = means_of(average, [error] * 18)

        assert found.own_weight == pytest.approx([0.212] * 18, abs=5e-4)
        assert found.squad_value == pytest.approx(0.265, abs=5e-4)
        # Recomputed to five digits from exact hits / 45.
        assert found.estimate == pytest.approx(
            [float(row["js_exact"]) for row in self.rows], abs=6e-6
        )

    def test_comes_nearer_to_the_rest_of_the_season(self):
        # The point of the example: the total squared error falls by a factor of 3.5.
        average = np.array([int(row["hits"]) / 45 for row in self.rows])
        rest = np.array([float(row["remainder_avg"]) for row in self.rows])
        everyone = average.mean()

        found = means_of(average, [math.sqrt(everyone * (1 - everyone) / 45)] * 18)

        before, after = np.sum((average - rest) ** 2), np.sum((found.estimate - rest) ** 2)
        assert before / after == pytest.approx(3.5, abs=0.05)


class TestMeans:
    @pytest.mark.parametrize("seed", range(12))
    def test_squad_is_that_of_statsmodels(self, seed: int):
        rng = np.random.default_rng(seed)
        # Its steps stop at 0 where the squad differs little and the errors a lot.
        error = rng.uniform(0.02, 0.05, size=12)
        mean = rng.normal(0.03, np.hypot(0.06, error))

        found = means_of(mean, error)

        reference = combine_effects(mean, error**2, method_re="iterated", atol=1e-10)
        assert found.squad_sd**2 == pytest.approx(reference.tau2, rel=1e-5)
        assert found.squad_value == pytest.approx(reference.mean_effect_re, abs=1e-7)

    def test_by_hand(self):
        # Means 0, 0, 0, 0, 0.5, variance 0.01 each: squares about 0.1 are 0.2, so
        # 0.2 / (0.01 + A) = 4, A = 0.04, B = 2/4 x 0.01/0.05 = 0.1.
        found = means_of([0.0, 0.0, 0.0, 0.0, 0.5], [0.1] * 5)

        assert found.squad_value == pytest.approx(0.1)
        assert found.squad_sd == pytest.approx(0.2)
        assert found.own_weight == pytest.approx([0.9] * 5)
        assert found.estimate == pytest.approx([0.01, 0.01, 0.01, 0.01, 0.46])
        # 0.01 (1 - 0.1 x 4/5) + 2 x 0.1^2 x 0.4^2 / 2 = 0.0108.
        assert found.high[4] - found.estimate[4] == pytest.approx(
            1.959964 * math.sqrt(0.0108), abs=1e-6
        )

    def test_squad_without_differences_keeps_a_part_of_each(self):
        found = means_of([0.05, 0.06, 0.06, 0.06, 0.07], [0.05] * 5)

        assert found.squad_sd == 0
        # 1 - (k - 3) / (k - 1) for k 5.
        assert found.own_weight == pytest.approx([0.5] * 5)

    def test_draws_the_unsure_more(self):
        found = means_of([0.20, 0.20, 0.0, 0.05, 0.03, 0.06], [0.01, 0.10, 0.02, 0.02, 0.02, 0.02])

        assert found.own_weight[0] > 0.9
        assert found.own_weight[1] < 0.7
        assert found.estimate[0] > found.estimate[1]

    @given(squads)
    def test_stays_between_the_own_figure_and_the_squad(self, squad):
        mean, error = np.array(squad).T

        found = means_of(mean, error)

        low, high = np.minimum(mean, found.squad_value), np.maximum(mean, found.squad_value)
        assert np.all((low - 1e-12 <= found.estimate) & (found.estimate <= high + 1e-12))
        assert np.all((found.own_weight > 0) & (found.own_weight <= 1))
        assert np.all((found.low < found.estimate) & (found.estimate < found.high))
        assert np.all(np.isfinite([found.low, found.high]))

    @given(squads, st.floats(-3, 3), st.floats(0.01, 100))
    def test_follows_where_zero_is_and_what_a_metre_is(self, squad, offset, unit):
        mean, error = np.array(squad).T

        plain = means_of(mean, error)
        moved = means_of(offset + unit * mean, unit * error)

        expected = offset + unit * plain.estimate
        assert moved.estimate == pytest.approx(expected, abs=1e-6 * max(unit, 1))
        assert moved.own_weight == pytest.approx(plain.own_weight, abs=1e-5)

    def test_athletes_without_a_figure_get_none(self):
        mean, error = [0.20, 0.0, 0.05, 0.03, 0.06], [0.05] * 5

        plain = means_of(mean, error)
        found = means_of([NAN, *mean], [NAN, *error])

        assert found.n_athletes == 5
        assert np.isnan([found.estimate[0], found.low[0], found.high[0], found.own_weight[0]]).all()
        assert found.estimate[1:] == pytest.approx(plain.estimate)

    def test_halves_the_error_of_those_with_few_attempts(self):
        # Six athletes whose true means differ by 0.02 m, four attempts of SD 0.08 m each.
        rng = np.random.default_rng(2)
        plain, drawn = [], []
        for _ in range(800):
            truth = rng.normal(0.03, 0.02, size=10)
            mean = rng.normal(truth, 0.04)
            plain.append(mean - truth)
            drawn.append(means_of(mean, [0.04] * 10).estimate - truth)

        assert np.std(plain) == pytest.approx(0.04, rel=0.03)
        assert np.sqrt(np.mean(np.square(drawn))) < 0.027


class TestSds:
    def test_log_variance_has_the_bias_and_the_spread_that_are_taken_out(self):
        # Against SciPy's chi-square of 3 degrees of freedom, by integration.
        chi_square = stats.chi2(3)
        mean = chi_square.expect(lambda x: np.log(x / 3))
        square = chi_square.expect(lambda x: np.log(x / 3) ** 2)

        found = sds_of([0.08] * 5, [3] * 5)

        # All alike: each stands at the squad's mean, where its own bias has been taken out.
        assert 2 * np.log(found.squad_value / 0.08) == pytest.approx(-mean, abs=1e-6)
        half = np.log(found.high[0] / found.estimate[0]) * 2 / 1.959964
        # B = 2/4 with A = 0: V (1 - 0.5 x 0.8).
        assert half**2 == pytest.approx(0.6 * (square - mean**2), rel=1e-5)

    def test_draws_a_small_sd_of_few_attempts_up(self):
        found = sds_of([0.03, 0.08, 0.09, 0.11, 0.07, 0.10], [3, 40, 40, 40, 40, 40])

        assert found.estimate[0] > 0.05
        assert found.estimate[3] == pytest.approx(0.11, abs=0.015)

    @given(
        st.lists(st.tuples(st.floats(0.01, 0.5), st.integers(1, 60)), min_size=5, max_size=12),
        st.floats(0.01, 100),
    )
    def test_follows_the_unit(self, squad, unit):
        sd, df = np.array(squad).T

        plain, other = sds_of(sd, df), sds_of(unit * sd, df)

        assert other.estimate == pytest.approx(unit * plain.estimate, rel=1e-6)
        assert other.squad_value == pytest.approx(unit * plain.squad_value, rel=1e-6)
        assert other.squad_sd == pytest.approx(plain.squad_sd, abs=1e-6)
        assert np.all((plain.low < plain.estimate) & (plain.estimate < plain.high))

    def test_spread_of_the_squad_is_recovered(self):
        # True SDs around 0.08 m, their logarithms with an SD of 0.3.
        rng = np.random.default_rng(3)
        df = np.resize([5, 9, 19, 39], 400)
        truth = 0.08 * np.exp(rng.normal(0, 0.3, size=400))

        found = sds_of(truth * np.sqrt(rng.chisquare(df) / df), df)

        assert found.squad_value == pytest.approx(0.08, rel=0.05)
        assert found.squad_sd == pytest.approx(0.3, abs=0.04)

    def test_athletes_without_an_sd_get_none(self):
        found = sds_of([NAN, 0.08, 0.09, 0.11, 0.07, 0.10], [NAN, 4, 4, 4, 4, 4])

        assert found.n_athletes == 5
        assert np.isnan(found.estimate[0])


class TestEdges:
    def test_four_athletes_are_too_few(self):
        assert shrinkage.shrink_means([0.1] * 4 + [NAN], [0.1] * 5) == NotEnoughAttempts(4, 5)
        assert shrinkage.shrink_sds([0.1] * 4, [3] * 4) == NotEnoughAttempts(4, 5)

    @pytest.mark.parametrize(
        ("mean", "error", "message"),
        [
            ([0.1] * 5, [0.1] * 4, "one value for each athlete"),
            ([[0.1] * 5], [[0.1] * 5], "one value for each athlete"),
            ([0.1] * 4 + [math.inf], [0.1] * 5, "infinite"),
            ([0.1] * 5, [0.1] * 4 + [0.0], "standard_error"),
            ([0.1] * 5, [0.1] * 4 + [NAN], "standard_error"),
        ],
    )
    def test_refuses_means(self, mean, error, message):
        with pytest.raises(ValueError, match=message):
            shrinkage.shrink_means(mean, error)

    @pytest.mark.parametrize(
        ("sd", "df", "message"),
        [
            ([0.1] * 5, [3] * 4, "one value for each athlete"),
            ([0.1] * 4 + [0.0], [3] * 5, "sd must be above 0"),
            ([0.1] * 4 + [math.inf], [3] * 5, "infinite"),
            ([0.1] * 5, [3] * 4 + [0.5], "df"),
            ([0.1] * 5, [3] * 4 + [math.inf], "df"),
        ],
    )
    def test_refuses_sds(self, sd, df, message):
        with pytest.raises(ValueError, match=message):
            shrinkage.shrink_sds(sd, df)

    def test_refuses_a_level_outside_its_range(self):
        with pytest.raises(ValueError, match="level"):
            shrinkage.shrink_means([0.1] * 5, [0.1] * 5, level=1.0)
