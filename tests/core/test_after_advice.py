"""What the attempts after an advice say about it."""

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from scipy import stats

from analytics.core import comparing
from analytics.core.after_advice import Look, MarkAfter, Verdict, look_back
from analytics.core.comparing import BlockFigures
from analytics.core.conventions import NotEnoughAttempts

# Six errors about 0 whose 95 % interval of the mean is +-0.0231 (t(0.975; 5) = 2.571, NIST/SEMATECH
# e-Handbook 1.3.6.7.2; SD 0.022, so 2.571 x 0.022 / sqrt(6)).
STEADY = np.array([-0.02, 0.02, -0.02, 0.02, -0.022, 0.022])
# The same with +-0.105.
WILD = STEADY * 4.5


def block(bias_m: float, errors: np.ndarray = STEADY) -> BlockFigures:
    figures = comparing.block_figures(bias_m + errors, np.zeros(6, dtype=bool), aim_m=0.0)
    assert isinstance(figures, BlockFigures)
    return figures


TOO_FEW = NotEnoughAttempts(n=3, needed=5)


def looked(before: object, after: object, *, move_m: float, moved_m: float) -> Look:
    return look_back(before, after, move_m=move_m, moved_m=moved_m, limit_m=0.05)  # type: ignore[arg-type]  # blocks as in the tables


class TestAMarkMovedAsAdvised:
    @pytest.mark.parametrize(
        ("bias_before", "bias_after", "move_m", "verdict"),
        [
            (0.12, 0.01, -0.12, Verdict.RIGHT),
            (-0.12, 0.01, 0.12, Verdict.RIGHT),
            (0.12, 0.10, -0.12, Verdict.NOT_SHOWN),
            (0.12, 0.20, -0.12, Verdict.WRONG),  # the other way
            (0.12, -0.13, -0.12, Verdict.WRONG),  # too far
            (-0.12, 0.13, 0.12, Verdict.WRONG),
            (0.12, -0.11, -0.12, Verdict.RIGHT),  # too far, and yet nearer
        ],
    )
    def test_was_right_if_the_bias_went_that_way_and_became_smaller(
        self, bias_before: float, bias_after: float, move_m: float, verdict: Verdict
    ):
        found = looked(block(bias_before), block(bias_after), move_m=move_m, moved_m=move_m)

        assert (found.verdict, found.mark) == (verdict, MarkAfter.AS_ADVISED)
        assert found.bias_change_m == pytest.approx(bias_after - bias_before)

    def test_says_by_how_much_with_welchs_interval(self):
        found = looked(block(0.12), block(0.01, WILD), move_m=-0.12, moved_m=-0.12)

        # SciPy's Welch interval of the difference of two means.
        reference = stats.ttest_ind(0.01 + WILD, 0.12 + STEADY, equal_var=False)
        expected = reference.confidence_interval(0.95)
        assert found.bias_change_interval is not None
        assert found.bias_change_interval.low == pytest.approx(expected.low)
        assert found.bias_change_interval.high == pytest.approx(expected.high)

    def test_gives_each_bias_its_t_interval(self):
        found = looked(block(0.12), block(0.01), move_m=-0.12, moved_m=-0.12)

        expected = stats.t.interval(0.95, 5, loc=0.12, scale=stats.sem(STEADY))
        assert found.bias_before_interval is not None
        assert (found.bias_before_interval.low, found.bias_before_interval.high) == pytest.approx(
            expected
        )

    @pytest.mark.parametrize(("before", "after"), [(TOO_FEW, block(0.0)), (block(0.1), TOO_FEW)])
    def test_says_nothing_from_too_few(self, before: object, after: object):
        found = looked(before, after, move_m=-0.12, moved_m=-0.12)

        assert (found.verdict, found.bias_change_m) == (Verdict.NOT_ENOUGH, None)

    def test_counts_from_half_of_the_move_on(self):
        marks = [
            looked(block(0.12), block(0.06), move_m=-0.12, moved_m=moved).mark
            for moved in (-0.06, -0.059, 0.0, 0.059, 0.06)
        ]

        assert marks == [
            MarkAfter.AS_ADVISED,
            MarkAfter.LEFT,
            MarkAfter.LEFT,
            MarkAfter.LEFT,
            MarkAfter.OTHERWISE,
        ]


class TestAMoveThatWasNotMade:
    @pytest.mark.parametrize(
        ("bias_after", "errors", "verdict"),
        [
            (0.12, STEADY, Verdict.RIGHT),  # still off, on the side that the advice named
            (0.03, STEADY, Verdict.RIGHT),
            (0.0, STEADY, Verdict.WRONG),  # went by itself
            (-0.12, STEADY, Verdict.WRONG),  # off on the other side
            (0.04, WILD, Verdict.NOT_SHOWN),
            (0.0, WILD, Verdict.NOT_SHOWN),
        ],
    )
    def test_was_right_if_the_bias_is_still_there(
        self, bias_after: float, errors: np.ndarray, verdict: Verdict
    ):
        short = looked(TOO_FEW, block(bias_after, errors), move_m=-0.12, moved_m=0.0)
        far = looked(TOO_FEW, block(-bias_after, -errors), move_m=0.12, moved_m=0.0)

        assert (short.verdict, far.verdict) == (verdict, verdict)
        assert short.mark is MarkAfter.LEFT


class TestAMarkToKeep:
    @pytest.mark.parametrize(
        ("bias_after", "errors", "verdict"),
        [
            (0.01, STEADY, Verdict.RIGHT),
            (0.05, STEADY, Verdict.NOT_SHOWN),
            (0.12, STEADY, Verdict.WRONG),
            (-0.12, STEADY, Verdict.WRONG),
            (0.01, WILD, Verdict.NOT_SHOWN),
        ],
    )
    def test_was_right_if_the_bias_stayed_small(
        self, bias_after: float, errors: np.ndarray, verdict: Verdict
    ):
        found = looked(TOO_FEW, block(bias_after, errors), move_m=0.0, moved_m=0.0)

        assert (found.verdict, found.mark) == (verdict, MarkAfter.LEFT)

    @pytest.mark.parametrize(
        ("moved_m", "mark"),
        [(34.22 - 34.20, MarkAfter.LEFT), (34.17 - 34.20, MarkAfter.OTHERWISE)],
    )
    def test_stands_within_what_a_tape_allows(self, moved_m: float, mark: MarkAfter):
        found = looked(TOO_FEW, block(0.0), move_m=0.0, moved_m=moved_m)

        assert found.mark is mark


class TestAMarkMovedOtherwise:
    @pytest.mark.parametrize("moved_m", [0.12, np.nan])
    def test_tries_no_advice(self, moved_m: float):
        found = looked(block(0.12), block(0.0), move_m=-0.12, moved_m=moved_m)
        waiting = looked(block(0.12), TOO_FEW, move_m=-0.12, moved_m=moved_m)

        assert (found.verdict, waiting.verdict) == (Verdict.NOT_TRIED, Verdict.NOT_ENOUGH)
        assert found.mark is (MarkAfter.UNKNOWN if np.isnan(moved_m) else MarkAfter.OTHERWISE)


class TestProperties:
    @given(
        st.floats(-0.5, 0.5),
        st.floats(-0.5, 0.5),
        st.floats(-0.5, 0.5),
        st.floats(-0.5, 0.5),
    )
    def test_the_other_side_of_the_line_is_judged_alike(
        self, before: float, after: float, move_m: float, moved_m: float
    ):
        one = looked(block(before), block(after), move_m=move_m, moved_m=moved_m)
        other = looked(
            block(-before, -STEADY), block(-after, -STEADY), move_m=-move_m, moved_m=-moved_m
        )

        assert (one.verdict, one.mark) == (other.verdict, other.mark)

    def test_blocks_without_any_spread_are_judged(self):
        none = np.zeros(6)

        found = looked(block(0.12, none), block(0.0, none), move_m=-0.12, moved_m=-0.12)

        assert found.verdict is Verdict.RIGHT
        assert found.bias_after_interval is not None
        assert found.bias_after_interval.low == found.bias_after_interval.high

    @pytest.mark.parametrize(
        ("move_m", "limit_m", "level", "named"),
        [
            (np.nan, 0.05, 0.95, "move_m"),
            (np.inf, 0.05, 0.95, "move_m"),
            (0.1, -0.01, 0.95, "limit_m"),
            (0.1, 0.05, 1.0, "level"),
        ],
    )
    def test_refuses_what_says_nothing(
        self, move_m: float, limit_m: float, level: float, named: str
    ):
        with pytest.raises(ValueError, match=named):
            look_back(TOO_FEW, TOO_FEW, move_m=move_m, moved_m=0.0, limit_m=limit_m, level=level)


class TestChance:
    """Marks 0.12 m off and moved by as much; spread 0.10 m, sessions that differ by 0.03 m."""

    @pytest.mark.parametrize(
        ("n", "n_sessions", "right"),
        # As printed in docs/metrics/after_advice.md, simulated 1,500 times; here 300 times, so that
        # the bounds are three standard errors of a share.
        [(12, 1, 0.03), (12, 3, 0.41), (20, 4, 0.67)],
    )
    def test_calls_moves_right_as_often_as_is_printed_and_next_to_none_wrong(
        self, n: int, n_sessions: int, right: float
    ):
        rng = np.random.default_rng(11)
        sessions = np.repeat(np.arange(n_sessions), n // n_sessions)

        def draw(mean_m: float) -> BlockFigures:
            days = rng.normal(0, 0.03, n_sessions)[sessions]
            figures = comparing.block_figures(
                mean_m + days + rng.normal(0, 0.1, n),
                np.zeros(n, dtype=bool),
                aim_m=0.0,
                session=sessions,
            )
            assert isinstance(figures, BlockFigures)
            return figures

        verdicts = [
            looked(draw(0.12), draw(0.0), move_m=-0.12, moved_m=-0.12).verdict for _ in range(300)
        ]

        share = verdicts.count(Verdict.RIGHT) / 300
        assert abs(share - right) < 3 * np.sqrt(right * (1 - right) / 300)
        assert verdicts.count(Verdict.WRONG) / 300 < 0.025
