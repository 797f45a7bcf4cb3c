"""Spread and onset where no jumps were not measured: by hand, by the likelihood, by simulation."""

import math

import numpy as np
import pytest
from scipy import linalg, optimize, stats
from statsmodels.tools import numdiff

from analytics.core import censored, conventions, spread
from tests.core.footfalls import NAN, describe, matrix, with_hidden


class TestSpreadAtTheBoard:
    def test_at_the_board_counts_unmeasured_no_jumps(self):
        rng = np.random.default_rng(2)
        toe = 0.06 + np.array([0, 2.0, 4.0]) + rng.normal(0, 0.08, size=(400, 3))
        no_jump = toe[:, 0] < 0
        toe[no_jump, 0] = NAN

        result = describe(toe, no_jump=no_jump)

        assert np.nanstd(toe[:, 0]) < 0.065
        assert result.sd_m[0] == pytest.approx(0.08, abs=0.01)
        assert result.n_unmeasured_no_jumps == no_jump.sum()

    def test_at_the_board_is_that_of_the_fit_that_counts_no_jumps(self):
        toe, no_jump, revision = with_hidden()
        # A gap in the take-off toe says nothing; footfall 1 does not matter here.
        toe[1, 0], toe[:, 1] = NAN, NAN

        result = describe(toe, no_jump=no_jump, revision=revision)

        fit = censored.fit_censored(toe[:, 0], no_jump, revision=revision)
        assert isinstance(fit, censored.CensoredFit)
        assert result.sd_m[0] == pytest.approx(fit.adjusted_sd_m)
        assert result.df[0] == pytest.approx(fit.df)
        assert result.df[2:].tolist() == [22.0, 22.0]

    def test_a_revision_with_no_measured_toe_says_nothing_of_the_board(self):
        toe, no_jump, revision = with_hidden()
        toe[:4, 0], no_jump[:4], revision[:4] = NAN, True, 7

        whole = describe(toe, no_jump=no_jump, revision=revision)

        alone = describe(toe[4:], no_jump=no_jump[4:], revision=revision[4:])
        assert whole.sd_m[0] == pytest.approx(alone.sd_m[0])
        assert whole.df[0] == pytest.approx(alone.df[0])

    def test_equal_toes_beyond_the_line_that_no_jumps_do_not_contradict(self):
        toe = matrix(0.0, 0.05, 0.20, n=8)
        toe[:, 0] = [-0.02] * 6 + [NAN] * 2

        result = describe(toe, no_jump=np.ones(8, bool))

        assert (result.sd_m[0], result.df[0]) == (0.0, 5.0)
        # What the hidden toes did is not known, so no fall is shown.
        assert (result.fall_p_value, result.onset) == (None, None)

    def test_a_gap_at_the_board_is_no_hidden_no_jump(self):
        toe = matrix(0.05, 0.10, 0.20)
        toe[0] = [NAN, -0.1, 2.0]

        assert describe(toe).n_unmeasured_no_jumps == 0


class TestFall:
    """From the footfall of the largest spread to the board."""

    def by_direct_maximisation(self, far, near, hidden, revision) -> float:
        """Return p from the same model, by SciPy's optimiser and numerical derivatives."""
        dummies = (revision[:, None] == np.unique(revision)).astype(float)
        x = far - dummies @ (dummies.T @ far / dummies.sum(axis=0))
        design = np.column_stack([dummies, x])
        far_df = far.size - dummies.shape[1]
        n_means = design.shape[1]

        def minus_log(at: np.ndarray) -> float:
            mean, sd = design @ at[:-1], math.exp(at[-1])
            seen = stats.norm.logpdf(near[~hidden], mean[~hidden], sd).sum()
            return -float(seen + stats.norm.logcdf(0.0, mean[hidden], sd).sum())

        start = np.append(np.zeros(n_means), math.log(0.1))
        found = optimize.minimize(minus_log, start, method="BFGS", options={"gtol": 1e-6})
        information = numdiff.approx_hess(found.x, minus_log)
        covariance = np.linalg.inv(information)
        df = 1 / (2 * covariance[-1, -1]) - n_means

        def log_ratio(at: np.ndarray) -> float:
            own = math.exp(2 * at[-2]) * (df + n_means) / df
            return math.log((at[-3] ** 2 * math.exp(at[-1]) + own) / math.exp(at[-1]))

        # An SD of df degrees of freedom: its log has the variance 1 / (2 df), log variance 2 / df.
        at = np.append(found.x, math.log(x @ x / far_df))
        gradient = numdiff.approx_fprime(at, log_ratio, centered=True)
        whole = linalg.block_diag(covariance, 2 / far_df)
        return float(stats.t.cdf(log_ratio(at) / math.sqrt(gradient @ whole @ gradient), df))

    @pytest.mark.parametrize(("seed", "n_revisions"), [(3, 2), (8, 2), (9, 1)])
    def test_is_that_of_the_likelihood_maximised_directly(self, seed: int, n_revisions: int):
        toe, no_jump, revision = with_hidden(seed=seed)
        revision = revision % n_revisions
        # Neither a gap at the far footfall, nor one between, nor one at the board takes part.
        toe[0, 2], toe[5, 1] = NAN, NAN
        toe[2, 0], no_jump[2] = NAN, False
        toe[:, 3] = NAN

        result = describe(toe, no_jump=no_jump, revision=revision)

        assert result.largest_at == 2
        used = ~np.isnan(toe[:, 2]) & (~np.isnan(toe[:, 0]) | no_jump)
        hidden = np.isnan(toe[used, 0])
        assert hidden.sum() >= 3
        reference = self.by_direct_maximisation(toe[used, 2], toe[used, 0], hidden, revision[used])
        assert 1e-4 < reference < 0.5
        assert result.fall_p_value == pytest.approx(reference, rel=1e-3)

    def test_with_nothing_hidden_and_many_attempts_it_is_pitman_and_morgan(self):
        # 1000 attempts whose spread falls little: both are normal deviates of the same fall.
        far, error = np.random.default_rng(5).normal(size=(2, 1000))
        near = 0.6 * far + 0.75 * error
        groups = conventions.group_by(None, n=1000)

        ours = spread._censored_fall_p_value(far, near, np.zeros(1000, bool), groups)

        plain = spread.fall_of_spread(far, near)
        assert ours is not None
        assert 1e-6 < plain < 0.1
        assert stats.norm.isf(ours) == pytest.approx(stats.norm.isf(plain), rel=0.05)

    def test_steering_is_found(self):
        rng = np.random.default_rng(6)
        shown = []
        for _ in range(100):
            far, near = rng.normal(size=(2, 20)) * [[0.25], [0.08]]
            toe = np.column_stack([0.06 + near, 2.1 + far / 2, 4.2 + far])
            no_jump = toe[:, 0] < 0
            toe[no_jump, 0] = NAN
            shown.append(describe(toe, no_jump=no_jump).onset is not None)

        assert np.mean(shown) > 0.9

    def test_a_revision_with_no_measured_pair_says_nothing(self):
        toe, no_jump, revision = with_hidden()
        toe[:4, 0], no_jump[:4], revision[:4] = NAN, True, 7

        whole = describe(toe, no_jump=no_jump, revision=revision)

        alone = describe(toe[4:], no_jump=no_jump[4:], revision=revision[4:])
        assert whole.fall_p_value == pytest.approx(alone.fall_p_value)

    def test_far_distances_that_are_equal_where_the_board_is_known_show_nothing(self):
        toe, no_jump, _ = with_hidden()
        known = ~np.isnan(toe[:, 0]) | no_jump
        toe[:6, 0], no_jump[:6] = NAN, False
        known[:6] = False
        toe[known, 2:] = [4.2, 6.3]
        toe[~known, 2] = 4.2 + np.linspace(-2, 2, 6)

        result = describe(toe, no_jump=no_jump)

        assert (result.largest_at, result.fall_p_value, result.onset) == (2, None, None)

    def test_far_distances_that_differ_only_where_the_toe_is_hidden_show_nothing(self):
        toe, no_jump, _ = with_hidden()
        toe[:, 3] = NAN
        toe[~no_jump, 2] = 4.2
        toe[no_jump, 2] = 4.2 + np.linspace(-1, 1, no_jump.sum())

        result = describe(toe, no_jump=no_jump)

        assert (result.largest_at, result.fall_p_value, result.onset) == (2, None, None)

    def test_measured_toes_on_an_exact_line_show_nothing(self):
        toe, no_jump, _ = with_hidden()
        toe[:, 0] = np.where(no_jump, NAN, 0.06 + 0.25 * (toe[:, 2] - 4.0))

        assert describe(toe, no_jump=no_jump).fall_p_value is None

    @pytest.mark.parametrize(("gaps", "said"), [(0, True), (1, False)])
    def test_needs_six_pairs(self, gaps: int, said: bool):
        # Each footfall was seen six times and more; together at the board and far, six or five.
        toe = matrix(0.02, 0.05, 0.20, n=7)
        toe[0, 0] = NAN
        toe[1 : 1 + gaps, 2] = NAN

        assert (describe(toe).fall_p_value is not None) is said
