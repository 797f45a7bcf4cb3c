"""The take-off area: by hand, against brute force and a closed form, edges, by properties."""

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from scipy import integrate, stats

from analytics.core import next_attempts, take_off_area
from analytics.core.take_off_area import AreaAdvice, aim_in_area, official_distance

NAN = float("nan")


def advise(toe_sd: float, *, distance_sd: float = 0.15, **options) -> AreaAdvice:
    return aim_in_area(
        next_attempts.known(0.4, toe_sd), next_attempts.known(5.5, distance_sd), **options
    )


class TestOfficialDistance:
    @pytest.mark.parametrize(
        ("toe", "official"),
        [
            (0.0, 5.42),  # on the line: legal, from the foot
            (0.65, 5.42),  # within: from the foot
            (1.0, 5.42),  # at its far edge
            (1.25, 5.17),  # 0.25 m before it: 5.428 - 0.25 = 5.178
            (-0.001, NAN),  # beyond the line
            (NAN, NAN),
        ],
    )
    def test_by_hand(self, toe, official):
        assert official_distance(5.428, toe) == pytest.approx(official, nan_ok=True)

    def test_whole_centimetres_are_kept(self):
        assert official_distance([5.43, 5.29], [0.5, 0.5]).tolist() == [5.43, 5.29]

    @pytest.mark.parametrize(
        ("effective", "toe", "depth", "words"),
        [
            ([5.0, 5.0], [0.1], 1.0, "do not fit"),
            ([-5.0], [0.1], 1.0, "above 0"),
            ([float("inf")], [0.1], 1.0, "infinite"),
            ([5.0], [float("inf")], 1.0, "infinite"),
            ([5.0], [0.1], 0.0, "depth_m"),
        ],
    )
    def test_bad_input_is_refused(self, effective, toe, depth, words):
        with pytest.raises(ValueError, match=words):
            official_distance(effective, toe, depth_m=depth)


class TestOneAttempt:
    @pytest.mark.parametrize("sd", [0.08, 0.29, 0.5])
    def test_the_expectation_in_closed_form(self, sd):
        # E = mean x P(X >= 0) - E[(X - 1)+], the second by quadrature of SciPy.
        advice = advise(sd)

        for aim in (advice.best, advice.middle):
            late, _ = integrate.quad(
                lambda x, mean=aim.aim_m: (x - 1) * stats.norm.pdf(x, mean, sd), 1, 6
            )
            expected = 5.5 * stats.norm.sf(0, aim.aim_m, sd) - late
            assert aim.expected_m == pytest.approx(expected, abs=1e-3)
            assert aim.probability_no_jump == pytest.approx(stats.norm.cdf(0, aim.aim_m, sd))
            assert aim.probability_before == pytest.approx(stats.norm.sf(1, aim.aim_m, sd))
            assert aim.probability_inside == pytest.approx(
                stats.norm.cdf(1, aim.aim_m, sd) - stats.norm.cdf(0, aim.aim_m, sd)
            )

    def test_a_wide_spread_aims_behind_the_middle(self):
        # SD of class F11: 0.29 m (Theodorou & Skordilis 2012, abstract).
        advice = advise(0.29)

        assert advice.best.aim_m == pytest.approx(0.75)
        assert advice.gain_m == pytest.approx(0.18, abs=0.005)

    def test_a_small_spread_may_aim_anywhere_well_inside(self):
        advice = advise(0.05)

        assert advice.good_from_m <= 0.25
        assert advice.good_to_m >= 0.90
        assert advice.gain_m == pytest.approx(0.0, abs=1e-6)


class TestSeveralAttempts:
    @pytest.mark.parametrize("attempts", [3, 6])
    def test_brute_force(self, attempts):
        rng = np.random.default_rng(1)
        n = 200_000
        toe = rng.normal(0.5, 0.29, size=(n, attempts))
        distance = rng.normal(5.5, 0.15, size=(n, attempts))
        result = np.where(toe < 0, 0.0, distance - np.maximum(toe - 1, 0))

        best = advise(0.29, attempts_left=attempts).middle.expected_m

        # Standard error of the mean below 0.5 mm.
        assert best == pytest.approx(result.max(axis=1).mean(), abs=0.0015)

    def test_a_best_so_far_is_kept(self):
        rng = np.random.default_rng(2)
        toe = rng.normal(0.5, 0.29, size=(200_000, 2))
        result = np.where(toe < 0, 0.0, rng.normal(5.5, 0.15, size=toe.shape))
        result -= np.maximum(toe - 1, 0) * (toe >= 0)

        advice = advise(0.29, attempts_left=2, best_m=5.60)

        assert advice.middle.expected_m == pytest.approx(
            np.maximum(result.max(axis=1), 5.60).mean(), abs=0.0015
        )
        assert advise(0.29, best_m=20.0).best.expected_m == 20.0

    def test_the_middle_is_nearly_as_good_as_any_aim_for_the_best_of_six(self):
        advice = advise(0.29, attempts_left=6)

        assert 0 <= advice.gain_m < 0.001
        assert advice.good_from_m <= 0.5 <= advice.good_to_m

    def test_what_is_not_known_of_the_athlete_is_integrated(self):
        rng = np.random.default_rng(3)
        toe, distance = rng.normal(0.5, 0.25, size=8), rng.normal(5.5, 0.15, size=8)
        few = next_attempts.expect_toe(toe, toe < 0)
        far = next_attempts.expect_distance(distance)
        assert isinstance(few, next_attempts.NextAttempts)
        assert isinstance(far, next_attempts.NextAttempts)

        advice = aim_in_area(few, far)

        assert (advice.n_toes, advice.n_distances) == (8, 8)
        # Student's t: (0 - 0.5) / (s sqrt(1 + 1/8)), 7 df.
        s = toe.std(ddof=1)
        assert advice.middle.probability_no_jump == pytest.approx(
            stats.t.cdf(-0.5 / (s * np.sqrt(1 + 1 / 8)), 7), abs=0.003
        )


class TestSaysWhatIsFromMemory:
    def test_in_the_result_and_on_the_page(self):
        advice = advise(0.29)

        assert advice.from_memory == take_off_area.FROM_MEMORY
        assert len(advice.from_memory) == 3

    @pytest.mark.parametrize(
        ("change", "words"),
        [
            ({"attempts_left": 0}, "attempts_left"),
            ({"attempts_left": 21}, "attempts_left"),
            ({"best_m": 0.0}, "best_m"),
            ({"best_m": NAN}, "best_m"),
            ({"depth_m": NAN}, "depth_m"),
        ],
    )
    def test_bad_input_is_refused(self, change, words):
        with pytest.raises(ValueError, match=words):
            advise(0.29, **change)


class TestProperties:
    @given(st.floats(0.3, 6), st.floats(-0.5, 2.5))
    def test_nobody_is_given_more_than_was_jumped(self, effective, toe):
        official = official_distance(effective, toe)

        if toe < 0:
            assert np.isnan(official)
        else:
            assert official <= effective + 1e-9
            assert official >= effective - max(toe - 1, 0) - 0.01 - 1e-9

    @settings(max_examples=15)
    @given(st.floats(0.02, 0.6), st.integers(1, 3))
    def test_more_attempts_are_never_worse_and_shares_sum_to_one(self, sd, attempts):
        fewer, more = (advise(sd, attempts_left=n) for n in (attempts, attempts + 1))

        assert more.best.expected_m >= fewer.best.expected_m - 1e-9
        for aim in (fewer.best, fewer.middle):
            total = aim.probability_no_jump + aim.probability_inside + aim.probability_before
            assert total == pytest.approx(1)
        assert fewer.gain_m >= -1e-9
        assert fewer.good_from_m <= fewer.best.aim_m <= fewer.good_to_m
