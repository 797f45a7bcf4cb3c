"""The local level: by hand, against statsmodels, on the Nile, by properties and by quadrature."""

import numpy as np
import pytest
import statsmodels.api as sm
from hypothesis import given
from hypothesis import strategies as st
from scipy import integrate, stats
from statsmodels.tsa.statespace.kalman_filter import KalmanFilter

from analytics.core.local_level import LevelSds, follow_level

NAN = float("nan")
SDS = LevelSds(error_m=0.10, attempt_m=0.01, session_m=0.04, first_m=0.06)


def by_statsmodels(error, sds: LevelSds, state_variances, intercepts):
    """Return means, SDs and the log likelihood of statsmodels' filter with the same variances."""
    n = len(error)
    model = KalmanFilter(k_endog=1, k_states=1)
    model.bind(np.asarray(error, dtype=float)[:, None].copy())
    model["design"] = np.ones((1, 1))
    model["obs_cov"] = np.array([[sds.error_m**2]])
    model["transition"] = np.ones((1, 1))
    model["selection"] = np.ones((1, 1))
    # statsmodels moves the state after an attempt, this project before the next.
    model["state_cov"] = np.append(state_variances[1:], 0.0).reshape(1, 1, n)
    model["state_intercept"] = np.append(intercepts[1:], 0.0).reshape(1, n)
    first = sds.first_m**2 + state_variances[0]
    model.initialize_known(np.array([intercepts[0]]), np.array([[first]]))
    found = model.filter()
    return found.filtered_state[0], np.sqrt(found.filtered_state_cov[0, 0]), found.llf


class TestByHand:
    def test_two_attempts(self):
        sds = LevelSds(error_m=0.2, attempt_m=0.1, session_m=0.0, first_m=0.2)

        level = follow_level([0.4, NAN, -0.2], sds=sds)

        # v 0.04, r 0.04: half way to 0.4; then v 0.02 + 0.01 + 0.01 = 0.04, half way to -0.2.
        assert level.mean_m == pytest.approx([0.2, 0.2, 0.0])
        assert level.sd_m**2 == pytest.approx([0.02, 0.03, 0.02])

    def test_a_level_that_never_moves_is_the_normal_mean_with_a_prior(self):
        rng = np.random.default_rng(1)
        error = rng.normal(0.05, 0.1, 30)

        level = follow_level(error, sds=LevelSds(0.1, 0.0, 0.0, 0.06))

        precision = 1 / 0.06**2 + 30 / 0.1**2
        assert level.mean_m[-1] == pytest.approx(error.sum() / 0.1**2 / precision)
        assert level.sd_m[-1] == pytest.approx(precision**-0.5)

    def test_a_known_move_carries_the_level_along(self):
        rng = np.random.default_rng(2)
        error, moved = rng.normal(0, 0.1, 12), np.zeros(12)
        moved[7] = -0.30

        level = follow_level(error + np.cumsum(moved), sds=SDS, moved_m=moved)

        assert level.mean_m - np.cumsum(moved) == pytest.approx(follow_level(error, sds=SDS).mean_m)

    def test_a_jump_of_unknown_size_lets_the_next_attempt_count_more(self):
        error = np.append(np.zeros(20), 0.3)
        loosened = np.append(np.zeros(20), 0.1)

        tight = follow_level(error, sds=SDS).mean_m[-1]

        assert follow_level(error, sds=SDS, loosened_m=loosened).mean_m[-1] > 2 * tight


class TestAgainstStatsmodels:
    def test_is_its_filter_with_the_same_variances(self):
        rng = np.random.default_rng(3)
        session = np.repeat([3, 1, 2], [5, 6, 4])
        error = rng.normal(0.1, 0.1, 15)
        error[[2, 9]] = NAN
        moved, loosened = np.zeros(15), np.zeros(15)
        moved[5], loosened[11] = -0.12, 0.08
        variances = np.full(15, SDS.attempt_m**2)
        variances[0], variances[[5, 11]] = 0.0, SDS.session_m**2
        variances += loosened**2

        level = follow_level(error, sds=SDS, session=session, moved_m=moved, loosened_m=loosened)

        mean, sd, log_likelihood = by_statsmodels(error, SDS, variances, moved)
        assert level.mean_m == pytest.approx(mean, abs=1e-12)
        assert level.sd_m == pytest.approx(sd, abs=1e-12)
        assert level.log_likelihood == pytest.approx(log_likelihood, abs=1e-9)

    def test_on_the_nile(self):
        # Annual flow 1871 to 1970, open data with statsmodels; variances 15,099 and 1,469.1 as
        # Durbin & Koopman give them (from memory). The first level is made all but unknown.
        flow = sm.datasets.nile.load_pandas().data["volume"].to_numpy(dtype=float)
        sds = LevelSds(np.sqrt(15_099.0), np.sqrt(1_469.1), 0.0, 1e4)

        level = follow_level(flow, sds=sds)

        model = sm.tsa.UnobservedComponents(flow, "llevel")
        model.ssm.initialize_known(np.zeros(1), np.array([[1e8]]))
        found = model.filter([15_099.0, 1_469.1])
        assert level.mean_m == pytest.approx(found.filtered_state[0], rel=1e-9)
        assert level.log_likelihood == pytest.approx(found.llf_obs.sum(), rel=1e-9)


class TestBeyondTheLine:
    def test_is_the_level_given_that_it_was_beyond(self):
        # N(0, 0.06^2) and an error N(level, 0.10^2) that lay below -0.06: by quadrature.
        def weight(level: float) -> float:
            return stats.norm.pdf(level, 0, 0.06) * stats.norm.cdf(-0.06, level, 0.10)

        share, mean, square = (
            integrate.quad(lambda level, k=k: level**k * weight(level), -0.6, 0.6, epsabs=1e-13)[0]
            for k in range(3)
        )

        level = follow_level([NAN], sds=SDS, below_m=-0.06)

        assert level.mean_m[0] == pytest.approx(mean / share, rel=1e-8)
        assert level.sd_m[0] == pytest.approx(np.sqrt(square / share - (mean / share) ** 2))
        assert level.log_likelihood == pytest.approx(np.log(share), rel=1e-8)

    def test_leaving_it_out_would_make_the_level_too_safe(self):
        rng = np.random.default_rng(5)
        toe = rng.normal(0.02, 0.08, 400)
        seen = np.where(toe < 0, NAN, toe)
        sds = LevelSds(0.08, 0.0, 0.0, 0.2)

        told = follow_level(seen - 0.06, sds=sds, below_m=np.where(toe < 0, -0.06, NAN))
        untold = follow_level(seen - 0.06, sds=sds)

        assert told.mean_m[-1] == pytest.approx(0.02 - 0.06, abs=0.01)
        assert untold.mean_m[-1] > 0.0

    def test_far_beyond_stays_finite(self):
        level = follow_level([NAN, NAN], sds=SDS, below_m=[-1e6, 1e6])

        assert np.all(np.isfinite(level.mean_m))
        assert np.all(level.sd_m > 0)


class TestEdges:
    def test_no_attempt_says_nothing(self):
        level = follow_level([], sds=SDS)

        assert level.mean_m.size == 0
        assert level.log_likelihood == 0

    @pytest.mark.parametrize(
        ("options", "words"),
        [
            ({"error_m": [[0.1]]}, "one dimension"),
            ({"error_m": [float("inf")]}, "infinite"),
            ({"moved_m": [0.1, 0.2]}, "moved_m must be one number"),
            ({"loosened_m": NAN}, "loosened_m must be finite"),
            ({"below_m": float("inf")}, "below_m must not"),
            ({"session": [1, 2]}, "labels"),
            ({"sds": LevelSds(0.0, 0.0, 0.0, 0.1)}, "that of an attempt above 0"),
            ({"sds": LevelSds(0.1, -0.1, 0.0, 0.1)}, "0 or more"),
            ({"sds": LevelSds(0.1, 0.0, 0.0, float("inf"))}, "finite"),
        ],
    )
    def test_bad_input_is_refused(self, options, words):
        with pytest.raises(ValueError, match=words):
            follow_level(**({"error_m": [0.1], "sds": SDS} | options))


class TestProperties:
    @given(
        error=st.lists(st.one_of(st.just(NAN), st.floats(-2, 2)), min_size=1, max_size=12),
        by=st.floats(0.1, 10),
    )
    def test_units_do_not_matter(self, error, by):
        sds = LevelSds(*(by * getattr(SDS, name) for name in SDS.__slots__))

        level, scaled = follow_level(error, sds=SDS), follow_level(by * np.array(error), sds=sds)

        assert scaled.mean_m == pytest.approx(by * level.mean_m, abs=1e-12)
        assert scaled.sd_m == pytest.approx(by * level.sd_m)

    @given(
        error=st.lists(st.one_of(st.just(NAN), st.floats(-2, 2)), min_size=1, max_size=12),
        below=st.one_of(st.just(NAN), st.floats(-3, 3)),
    )
    def test_is_finite_and_never_surer_than_the_data_allow(self, error, below):
        level = follow_level(error, sds=SDS, below_m=below)

        assert np.all(np.isfinite(level.mean_m))
        assert np.all((level.sd_m > 0) & (level.sd_m <= np.hypot(0.06, 0.01 * np.sqrt(12))))
        assert np.isfinite(level.log_likelihood)

    @given(error=st.lists(st.floats(-2, 2), min_size=1, max_size=12))
    def test_mirrored_errors_mirror_the_level(self, error):
        level, mirrored = follow_level(error, sds=SDS), follow_level(-np.array(error), sds=SDS)

        assert mirrored.mean_m == pytest.approx(-level.mean_m)
        assert mirrored.sd_m == pytest.approx(level.sd_m)
