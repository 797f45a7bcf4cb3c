"""The aim against brute force, against dice, and by properties."""

from dataclasses import replace

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from scipy import stats

from analytics.core import aim, next_attempts
from analytics.core.next_attempts import NextAttempts, known
from tests.core.aim_by_force import Force, Jumper, by_chance

REFERENCE = Jumper(toe_sd_m=0.08, distance_m=6.5, distance_sd_m=0.12)
TOE = np.array([0.11, 0.04, 0.15, -0.03, 0.02, -0.06, 0.05, 0.19, 0.08, 0.12, 0.06, -0.02])
EFFECTIVE = [6.31, 6.52, 6.44, 6.60, 6.38, 6.49, 6.55, 6.41]

# In value, see the design: the curve is so flat that aims say little.
NEAR_M = 0.0005


def advise(jumper: Jumper = REFERENCE, *, habit_m: float = 0.06, **options) -> aim.AimAdvice:
    return aim.best_aim(
        known(habit_m, jumper.toe_sd_m),
        known(jumper.distance_m, jumper.distance_sd_m),
        **options,
    )


def measured() -> tuple[NextAttempts, NextAttempts]:
    toe = next_attempts.expect_toe(TOE, TOE < 0)
    distance = next_attempts.expect_distance(EFFECTIVE)
    assert isinstance(toe, NextAttempts)
    assert isinstance(distance, NextAttempts)
    return toe, distance


@pytest.fixture(
    scope="module", params=[REFERENCE, Jumper(0.05, 7.2, 0.10), Jumper(0.15, 5.0, 0.25)]
)
def force(request) -> tuple[Jumper, Force]:
    return request.param, Force(request.param)


class TestReferenceValues:
    # Computed while designing: toe SD 0.08, effective distance N(6.5, 0.12), all known.
    @pytest.mark.parametrize(("attempts", "aim_m"), [(6, 0.06), (3, 0.10), (1, 0.21)])
    def test_fixed_aim(self, attempts: int, aim_m: float):
        advice = advise(attempts_left=attempts, cap_m=0.30)

        assert advice.fixed.aim_m == aim_m
        assert not advice.fixed.capped

    def test_risk_of_the_fixed_aim_for_six_is_that_of_the_normal_curve(self):
        # 0.23: Phi(-0.06 / 0.08) = 0.226627 (table).
        advice = advise(attempts_left=6)

        assert advice.fixed.probability_no_jump == pytest.approx(0.226627, abs=1e-6)

    def test_plan_with_three_left_and_nothing_scored_starts_at_0_08(self):
        advice = advise(attempts_left=3)

        assert advice.plan.aim_m == 0.08
        # Safer and safer while nothing is scored, and the last as far back as is allowed.
        assert advice.while_no_better_m == (0.08, 0.11, 0.20)

    def test_the_plan_is_flat(self):
        # Aims from 0.035 to 0.083 differ by 0.5 mm when six are left and later aims may follow.
        curve = Force(REFERENCE).plan_curve(6)

        assert curve.max() - curve[[35, 83]] == pytest.approx(0.0005, abs=0.00005)
        advice = advise(attempts_left=6)
        assert (advice.plan.good_from_m, advice.plan.good_to_m) == (0.0, 0.20)

    def test_one_attempt_left_is_capped_and_says_so(self):
        advice = advise(attempts_left=1)

        assert advice.plan.aim_m == advice.fixed.aim_m == aim.AIM_CAP_M == 0.20
        assert advice.plan.capped
        assert advice.fixed.capped


class TestAgainstBruteForce:
    @pytest.mark.parametrize("attempts", [1, 3, 6])
    def test_nothing_scored(self, force, attempts: int):
        jumper, brute = force

        advice = advise(jumper, attempts_left=attempts)

        assert advice.fixed.expected_m == pytest.approx(
            brute.fixed(attempts).expected_m, abs=NEAR_M
        )
        plan = brute.plan(attempts)
        assert advice.plan.expected_m == pytest.approx(plan.expected_m, abs=NEAR_M)
        assert advice.plan.aim_m == pytest.approx(plan.aim_m, abs=0.011)

    @pytest.mark.parametrize("best_m", [6.44, 6.48])
    def test_where_a_single_centimetre_counts(self, best_m: float):
        steady = Jumper(toe_sd_m=0.02, distance_m=6.5, distance_sd_m=0.02)
        brute = Force(steady, step_m=0.01)

        advice = advise(steady, attempts_left=2, best_m=best_m)

        plan, fixed = brute.plan(2, best_m=best_m), brute.fixed(2, best_m=best_m)
        assert advice.plan.expected_m == pytest.approx(plan.expected_m, abs=0.0003)
        assert advice.fixed.expected_m == pytest.approx(fixed.expected_m, abs=0.0003)
        assert advice.plan.aim_m == pytest.approx(plan.aim_m)

    def test_a_cap_of_one_centimetre(self):
        advice = advise(attempts_left=3, cap_m=0.01)

        plan = Force(REFERENCE, farthest_m=0.01, step_m=0.01).plan(3)
        assert advice.plan.expected_m == pytest.approx(plan.expected_m, abs=NEAR_M)
        assert advice.plan.aim_m == plan.aim_m == 0.01
        assert advice.plan.capped

    def test_counting_in_cells_adds_no_spread_of_its_own(self):
        # Spreads as small as a cell: without Sheppard's correction it is 0.0004 m too much.
        fine = Jumper(toe_sd_m=0.01, distance_m=6.5, distance_sd_m=0.01)

        advice = advise(fine, attempts_left=3)

        expected = Force(fine, step_m=0.01).fixed(3).expected_m
        assert advice.fixed.expected_m == pytest.approx(expected, abs=0.0002)

    @pytest.mark.parametrize("above_m", [-0.2, 0.0, 0.1])
    def test_a_best_so_far(self, force, above_m: float):
        jumper, brute = force
        best = round(jumper.distance_m + above_m, 2)

        advice = advise(jumper, attempts_left=2, best_m=best)

        plan = brute.plan(2, best_m=best)
        assert advice.plan.expected_m == pytest.approx(plan.expected_m, abs=NEAR_M)
        assert advice.fixed.expected_m == pytest.approx(
            brute.fixed(2, best_m=best).expected_m, abs=NEAR_M
        )

    @pytest.mark.parametrize(("left", "above_m", "cut_above_m"), [
        (6, None, -0.05), (5, -0.1, 0.05), (4, 0.1, 0.0), (4, -0.3, 0.1), (6, None, 9.0),
    ])  # fmt: skip
    def test_a_cut_after_the_third(self, force, left: int, above_m, cut_above_m: float):
        jumper, brute = force
        best = None if above_m is None else round(jumper.distance_m + above_m, 2)
        cut = round(jumper.distance_m + cut_above_m, 2)

        advice = advise(jumper, attempts_left=left, best_m=best, cut_m=cut)

        plan = brute.plan(left, best_m=best or 0, cut_m=cut)
        fixed = brute.fixed(left, best_m=best or 0, cut_m=cut)
        assert advice.plan.expected_m == pytest.approx(plan.expected_m, abs=NEAR_M)
        assert advice.fixed.expected_m == pytest.approx(fixed.expected_m, abs=NEAR_M)

    def test_good_aims_are_those_that_lose_up_to_a_centimetre(self, force):
        jumper, brute = force

        advice = advise(jumper, attempts_left=2)

        curve = brute.plan_curve(2)
        good = np.flatnonzero(curve >= curve.max() - 0.01) / 1000
        assert advice.plan.good_from_m == pytest.approx(good[0], abs=0.011)
        assert advice.plan.good_to_m == pytest.approx(good[-1], abs=0.011)

    def test_truths_that_lie_askew_are_weighed_one_by_one(self):
        # Three of four that he lands 4 cm nearer than expected, one of four that 12 cm farther.
        weight, offset_m = np.array([[0.75], [0.25]]), np.array([[-0.04], [0.12]])
        toe = replace(
            known(0.06, 0.05),
            own_sd_m=np.full((2, 1), 0.05),
            session_ratio=np.zeros(2),
            shared_mean_m=0.06 + offset_m,
            shared_sd_m=np.zeros((2, 1)),
            weight=weight,
        )

        advice = aim.best_aim(toe, known(6.5, 0.12), attempts_left=1, cap_m=0.30)

        # What one attempt is worth at each whole centimetre, were the mean there.
        worth = Force(Jumper(0.05, 6.5, 0.12), farthest_m=0.42, step_m=0.01).plan_curve(1)
        aims = np.arange(4, 31)
        curve = 0.75 * worth[aims - 4] + 0.25 * worth[aims + 12]
        assert advice.plan.expected_m == pytest.approx(curve.max(), abs=NEAR_M)
        assert advice.plan.aim_m == pytest.approx(aims[curve.argmax()] / 100, abs=0.011)
        risk = weight.ravel() @ stats.norm.cdf(-(advice.plan.aim_m + offset_m.ravel()) / 0.05)
        assert advice.plan.probability_no_jump == pytest.approx(risk, abs=1e-6)


class TestAgainstDice:
    @pytest.mark.slow
    @pytest.mark.parametrize(("attempts", "best_m"), [(3, None), (6, None), (3, 6.5)])
    def test_a_fixed_aim_is_worth_what_two_million_competitions_give(self, attempts: int, best_m):
        # Truths drawn from the exact distributions of the normal model, not from our nodes.
        toe, distance = measured()
        advice = aim.best_aim(toe, distance, attempts_left=attempts, best_m=best_m)
        rng = np.random.default_rng(11)
        runs = 2_000_000

        def truths(values: np.ndarray) -> tuple[np.ndarray, np.ndarray]:
            n = values.size
            sd = values.std(ddof=1) * np.sqrt((n - 1) / rng.chisquare(n - 1, runs))
            return values.mean() + sd * rng.normal(size=runs) / np.sqrt(n), sd

        toe_mean, toe_sd = truths(TOE)
        mean, error = by_chance(
            toe_mean - TOE.mean() + advice.fixed.aim_m,
            toe_sd,
            *truths(np.array(EFFECTIVE)),
            attempts=attempts,
            best_m=best_m or 0.0,
            rng=rng,
        )

        assert advice.fixed.expected_m == pytest.approx(mean, abs=NEAR_M + 3 * error)


class TestAdvice:
    def test_says_what_it_rests_on_and_what_it_was_asked(self):
        toe, distance = measured()

        advice = aim.best_aim(toe, distance, attempts_left=4, best_m=6.31, cut_m=6.40)

        assert (advice.n_toes, advice.n_distances) == (12, 8)
        assert (advice.attempts_left, advice.best_m, advice.cut_m) == (4, 6.31, 6.40)
        # Who stays below the cut has one attempt left, not four.
        assert len(advice.while_no_better_m) == 1

    def test_gain_and_move_are_against_the_habit(self):
        advice = advise(habit_m=-0.02, attempts_left=3)

        assert advice.habit_m == -0.02
        assert advice.habit_probability_no_jump == pytest.approx(stats.norm.cdf(0.25), abs=1e-9)
        assert advice.move_m == pytest.approx(0.10)
        assert advice.gain_m == pytest.approx(advice.plan.expected_m - advice.habit_expected_m)
        # Three no jumps with 0.5987^3 = 0.2146 leave nothing: most of 6.5 m lost so often.
        assert 0.9 < advice.gain_m < 1.5

    def test_a_habit_far_behind_the_board_costs_all_of_it(self):
        # Never a no jump (12 SDs), and rounding down takes half a centimetre on the mean.
        advice = advise(Jumper(toe_sd_m=0.05), habit_m=0.60, attempts_left=1)

        assert advice.habit_expected_m == pytest.approx(6.5 - 0.60 - 0.005, abs=NEAR_M)

    def test_a_best_that_nobody_beats_leaves_nothing_to_gain(self):
        advice = advise(attempts_left=3, best_m=9.0)

        assert advice.plan.expected_m == advice.habit_expected_m == pytest.approx(9.0)
        assert advice.gain_m == 0
        # All aims are as good: the safest, and one farther back would be no better.
        assert advice.plan.aim_m == 0.20
        assert not advice.plan.capped

    def test_with_all_unknown_a_best_that_nobody_beats_is_what_is_expected(self):
        toe, distance = measured()

        advice = aim.best_aim(toe, distance, attempts_left=3, best_m=12.0)

        # The weights of what may be true sum to 1, and none is lost on the way.
        assert advice.plan.expected_m == pytest.approx(12.0, abs=1e-8)
        assert advice.fixed.expected_m == pytest.approx(12.0, abs=1e-8)

    def test_doubt_about_the_mean_moves_the_aim_farther_back(self):
        toe, distance = measured()
        sure = known(TOE.mean(), TOE.std(ddof=1))

        doubtful = aim.best_aim(toe, distance, attempts_left=3)

        assert doubtful.fixed.aim_m > aim.best_aim(sure, distance, attempts_left=3).fixed.aim_m

    @pytest.mark.parametrize(
        ("options", "field"),
        [
            ({"attempts_left": 0}, "attempts_left"),
            ({"attempts_left": 7}, "attempts_left"),
            ({"attempts_left": 3, "cut_m": 6.0}, "cut"),
            ({"attempts_left": 3, "best_m": 0.0}, "best_m"),
            ({"attempts_left": 3, "best_m": 30.0}, "best_m"),
            ({"attempts_left": 3, "best_m": 6.505}, "best_m"),
            ({"attempts_left": 4, "cut_m": 40.0}, "cut_m"),
            ({"attempts_left": 3, "cap_m": 0.0}, "cap_m"),
            ({"attempts_left": 3, "cap_m": 1.5}, "cap_m"),
            ({"attempts_left": 3, "cap_m": float("nan")}, "cap_m"),
        ],
    )
    def test_refuses_what_cannot_be(self, options, field: str):
        with pytest.raises(ValueError, match=field):
            advise(**options)

    @pytest.mark.parametrize(
        "options", [{"cap_m": 0.01}, {"cap_m": 1.0}, {"best_m": 0.01}, {"best_m": 29.99}]
    )
    def test_takes_the_ends_of_each_range(self, options):
        advice = advise(attempts_left=1, **options)

        assert 0 <= advice.plan.aim_m <= options.get("cap_m", aim.AIM_CAP_M)
        assert advice.plan.expected_m >= options.get("best_m", 0)

    def test_refuses_distances_without_sense(self):
        with pytest.raises(ValueError, match="spread too widely"):
            advise(Jumper(distance_sd_m=20.0), attempts_left=3)


class TestProperties:
    @settings(max_examples=25, deadline=None)
    @given(
        st.floats(0.01, 0.4),
        st.floats(3.0, 8.5),
        st.floats(0.03, 0.4),
        st.integers(1, 6),
        st.one_of(st.none(), st.integers(200, 900)),
        st.floats(-0.3, 0.6),
    )
    def test_finite_and_in_order(
        self, toe_sd: float, distance: float, sd: float, left: int, best, habit: float
    ):
        jumper = Jumper(toe_sd, distance, sd)
        best_m = None if best is None else best / 100

        advice = advise(jumper, habit_m=habit, attempts_left=left, best_m=best_m)

        plan, fixed = advice.plan, advice.fixed
        for choice in (plan, fixed):
            assert 0 <= choice.good_from_m <= choice.aim_m <= choice.good_to_m <= 0.20
            assert 0 <= choice.probability_no_jump <= 0.5
            assert (best_m or 0) <= choice.expected_m + 1e-9
        # A plan may always keep to one aim. Both are quadratures, right within far less than the
        # 0.0005 m that they promise, not to the last digit.
        assert plan.expected_m >= fixed.expected_m - 1e-6
        assert advice.gain_m >= 0
        assert len(advice.while_no_better_m) == left
        assert advice.while_no_better_m[0] == plan.aim_m

    @settings(max_examples=15, deadline=None)
    @given(st.floats(0.02, 0.2), st.integers(2, 6))
    def test_more_attempts_are_worth_more_and_allow_more_risk(self, toe_sd: float, left: int):
        fewer = advise(Jumper(toe_sd), attempts_left=left - 1)
        more = advise(Jumper(toe_sd), attempts_left=left)

        assert more.plan.expected_m > fewer.plan.expected_m
        assert more.fixed.aim_m <= fewer.fixed.aim_m

    @settings(max_examples=15, deadline=None)
    @given(st.floats(0.02, 0.2), st.floats(1.1, 2))
    def test_more_spread_at_the_board_is_worth_less(self, toe_sd: float, times: float):
        steady = advise(Jumper(toe_sd), attempts_left=3)
        wild = advise(Jumper(times * toe_sd), attempts_left=3)

        assert wild.plan.expected_m < steady.plan.expected_m

    @settings(max_examples=15, deadline=None)
    @given(st.integers(-200, 200))
    def test_a_longer_jumper_with_a_best_as_much_longer_aims_the_same(self, centimetres: int):
        ours = advise(attempts_left=3, best_m=6.40)
        longer = Jumper(0.08, 6.5 + centimetres / 100, 0.12)

        theirs = advise(longer, attempts_left=3, best_m=round(6.40 + centimetres / 100, 2))

        assert theirs.plan.aim_m == ours.plan.aim_m
        assert theirs.gain_m == pytest.approx(ours.gain_m, abs=1e-6)
