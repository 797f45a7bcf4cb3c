"""Error shares: the identity, the misleading books, resampling, and what is refused."""

import numpy as np
import pytest
import statsmodels.api as sm
from hypothesis import given
from hypothesis import strategies as st

from analytics.core import error_shares
from analytics.core.conventions import NotEnoughAttempts
from analytics.core.error_shares import PARTS, PlannedParts

NAN = float("nan")
PLAN = PlannedParts(start_mark_m=30.0, transition_m=20.0, attack_m=10.0, aim_m=0.06)


def run_ups(rng, n, *, start=0.0, acceleration=0.05, transition=0.05, attack=0.05, repair=0.5):
    """Return places whose parts add the given spreads; the attack repairs."""
    zero = rng.normal(0, start, n)
    one = zero + rng.normal(0, acceleration, n)
    two = one + rng.normal(0, transition, n)
    three = (1 - repair) * two + rng.normal(0, attack, n)
    return 30 + zero, 20 + one, 10 + two, 0.06 + three


def describe(places, **options) -> error_shares.ErrorShares:
    options.setdefault("planned", PLAN)
    options.setdefault("rng", np.random.default_rng(1))
    options.setdefault("n_resamples", 0)
    result = error_shares.error_shares(*places, **options)
    assert isinstance(result, error_shares.ErrorShares)
    return result


class TestTheIdentity:
    @given(seed=st.integers(0, 2**31), n=st.integers(10, 40), repair=st.floats(-0.5, 1.5))
    def test_parts_sum_to_the_error_and_shares_to_one(self, seed, n, repair):
        rng = np.random.default_rng(seed)
        places = run_ups(rng, n, start=0.03, repair=repair)
        revision = np.arange(n) % 2

        result = describe(places, revision=revision)

        assert result.mean_m.sum() == pytest.approx(float((places[3] - 0.06).mean()), abs=1e-12)
        assert result.covariance_share.sum() == pytest.approx(1.0)
        assert result.board_share.sum() == pytest.approx(1.0)
        assert np.all(result.board_share >= 0)

    @given(seed=st.integers(0, 2**31), scale=st.floats(0.1, 10))
    def test_units_do_not_matter(self, seed, scale):
        places = run_ups(np.random.default_rng(seed), 15, start=0.03)
        scaled = PlannedParts(*(scale * np.asarray(place) for place in (30.0, 20.0, 10.0, 0.06)))

        result = describe(places)
        other = describe([scale * place for place in places], planned=scaled)

        assert other.board_share == pytest.approx(result.board_share)
        assert other.added_sd_m == pytest.approx(scale * result.added_sd_m)

    def test_repair_is_the_line_of_least_squares(self):
        places = run_ups(np.random.default_rng(2), 30, start=0.03)

        result = describe(places)

        before = places[2] - 10
        fit = sm.OLS(places[3] - 0.06 - before, sm.add_constant(before)).fit()
        assert result.repair[3] == pytest.approx(-fit.params[1])
        assert result.added_sd_m[3] == pytest.approx(float(np.sqrt(fit.mse_resid)))


class TestTheBooks:
    @pytest.mark.parametrize(("repair", "share"), [(0.9, 2.0), (1.0, 0.0), (1.1, -2.0)])
    def test_mislead_where_the_attack_repairs(self, repair: float, share: float):
        # The acceleration alone is unsteady, SD 0.20; the attack adds 0.04 of its own.
        # cov / var = 0.04 (1 - g) / (0.04 (1 - g)^2 + 0.0016): 2, 0, -2.
        rng = np.random.default_rng(3)
        places = run_ups(
            rng, 200_000, acceleration=0.20, transition=0.0, attack=0.04, repair=repair
        )

        result = describe(places)

        assert result.covariance_share[1] == pytest.approx(share, abs=0.05)
        assert PARTS[result.adds_most] == "acceleration"
        assert result.added_sd_m[1] == pytest.approx(0.20, rel=0.02)

    def test_tell_of_a_mean_that_one_part_makes(self):
        rng = np.random.default_rng(4)
        start, one, two, board = run_ups(rng, 40, repair=0.0)

        result = describe((start, one + 0.30, two + 0.30, board + 0.30))

        assert result.mean_low_m[1] < 0.30 < result.mean_high_m[1]
        assert result.mean_low_m[3] < 0.0 < result.mean_high_m[3]


class TestResampling:
    def test_shows_how_sure_the_part_is(self):
        rng = np.random.default_rng(5)
        places = run_ups(rng, 40, acceleration=0.20, transition=0.05, attack=0.05)

        result = describe(places, n_resamples=500)

        assert result.adds_most_frequency[1] > 0.95
        assert np.all(result.board_share_low <= result.board_share_high)
        assert result.adds_most_frequency.sum() == pytest.approx(1.0)

    def test_is_the_same_with_the_same_seed(self):
        places = run_ups(np.random.default_rng(5), 12)

        results = [describe(places, n_resamples=50, rng=np.random.default_rng(9)) for _ in range(2)]

        assert results[0].board_share_low.tolist() == results[1].board_share_low.tolist()


class TestEdges:
    def test_a_start_met_exactly_has_nothing_to_repair(self):
        result = describe(run_ups(np.random.default_rng(6), 12, start=0.0))

        assert result.repair[:2].tolist() == [0.0, 0.0]
        assert result.added_sd_m[0] == 0.0

    def test_an_error_without_spread_has_no_shares(self):
        places = [np.full(10, place) for place in (30.0, 20.0, 10.0, 0.06)]

        result = describe(places, n_resamples=20)

        assert np.isnan(result.board_share).all()
        assert np.isnan(result.covariance_share).all()
        assert np.isnan(result.adds_most_frequency).all()
        assert result.error_sd_m == 0.0

    def test_incomplete_attempts_are_left_out_and_counted(self):
        places = [place.copy() for place in run_ups(np.random.default_rng(6), 12)]
        places[1][0] = NAN
        places[3][5] = NAN

        assert (describe(places).n, describe(places).n_incomplete) == (10, 2)

    def test_too_few_say_nothing(self):
        places = run_ups(np.random.default_rng(6), 8)

        assert error_shares.error_shares(
            *places, planned=PLAN, rng=np.random.default_rng(1), revision=[1] * 4 + [2] * 4
        ) == NotEnoughAttempts(n=8, needed=9)

    def test_bad_input_is_refused(self):
        places = run_ups(np.random.default_rng(6), 8)
        rng = np.random.default_rng(1)
        with pytest.raises(ValueError, match="one value for each"):
            error_shares.error_shares(
                places[0], places[1], places[2], places[3][:4], planned=PLAN, rng=rng
            )
        with pytest.raises(ValueError, match="finite"):
            error_shares.error_shares(*places, planned=PlannedParts(30.0, NAN, 10.0, 0.06), rng=rng)
        with pytest.raises(ValueError, match="n_resamples"):
            error_shares.error_shares(*places, planned=PLAN, rng=rng, n_resamples=-1)
