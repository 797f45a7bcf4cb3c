"""Mark advice: by hand, its rules one by one, its edges, by properties, on simulated athletes."""

from collections import Counter
from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from scipy import stats

from analytics.core import mark_advice
from analytics.core.conventions import Interval, NotEnoughAttempts
from analytics.core.mark_advice import Errors, History, MarkAdvice, MarkAnswer, MarkSettings
from tests.core import marks

NAN = float("nan")
PAGES = Path(__file__).parents[2] / "docs" / "metrics"


def advise(
    board, *, check=None, start_mark_m=34.20, settings=mark_advice.DEFAULT_SETTINGS, **history
) -> MarkAdvice:
    board = np.asarray(board, dtype=float)
    found = mark_advice.advise_mark(
        Errors(board),
        History(np.broadcast_to(start_mark_m, board.shape), **history),
        check=None if check is None else Errors(check),
        settings=settings,
    )
    assert isinstance(found, MarkAdvice)
    return found


class TestByHand:
    def test_the_bias_of_one_session(self):
        # A steady level: N(0, 0.06^2) and four errors of mean 0.15 with a known SD of 0.10.
        settings = replace(MarkSettings(), session_share=0.0, attempt_share=0.0)
        error = np.array([0.15 + 0.1, 0.15 - 0.1, 0.15 + 0.1, 0.15 - 0.1])

        found = mark_advice.advise_mark(Errors(error), History(np.full(4, 30.0)), settings=settings)

        assert isinstance(found, MarkAdvice)
        # SD: sum of squares 0.04 on 3 df and 0.04 on the 4 df of what is usual, so 0.08 / 7.
        sd = np.sqrt(0.08 / 7)
        precision = 1 / 0.06**2 + 4 / sd**2
        mean = 4 * 0.15 / sd**2 / precision
        assert found.board.error_sd_m == pytest.approx(sd)
        assert found.board.mean_m == pytest.approx(mean)
        assert found.board.sd_m == pytest.approx(precision**-0.5)
        assert found.board.probability_short == pytest.approx(
            stats.norm.sf(0.05, mean, precision**-0.5)
        )
        # 97.5 % of a normal value lie below 1.959964 SDs.
        interval = found.board.interval
        assert interval.high - mean == pytest.approx(1.959964 * precision**-0.5, rel=1e-6)
        assert mean - interval.low == pytest.approx(1.959964 * precision**-0.5, rel=1e-6)
        assert (found.answer, found.move_m) == (MarkAnswer.MOVE, -found.board.mean_m)
        assert found.start_mark_m == round(30.0 - mean, 2)

    def test_the_bias_moves_by_the_shares_of_the_page(self):
        found = advise([0.12, 0.04, 0.20, 0.12], session=[1, 1, 2, 2])

        # SD: squares of 0.04 m four times on 2 df and 4 df of the usual 0.10 m. The level is a sum
        # of moves: 0.06 m at first, 0.05 of the SD in a session and 0.3 of it between them. Its
        # last value, given the errors, as of a multivariate normal.
        variance = (4 * 0.04**2 + 4 * 0.10**2) / 6
        moves = np.array([0.06**2, 0.05**2 * variance, 0.3**2 * variance, 0.05**2 * variance])
        levels = np.cumsum(moves)[np.minimum.outer(np.arange(4), np.arange(4))]
        weights = np.linalg.solve(levels + variance * np.eye(4), levels[-1])
        assert found.board.error_sd_m == pytest.approx(variance**0.5)
        assert found.board.mean_m == pytest.approx(weights @ [0.12, 0.04, 0.20, 0.12])
        assert found.board.sd_m == pytest.approx((levels[-1, -1] - weights @ levels[-1]) ** 0.5)

    def test_landing_short_moves_the_mark_toward_the_pit_and_landing_far_away_from_it(self):
        assert advise(np.full(8, 0.15)).start_mark_m < 34.20
        assert advise(np.full(8, -0.15)).start_mark_m > 34.20


class TestRules:
    def test_the_check_mark_says_how_far(self):
        found = advise(np.full(8, 0.08), check=np.full(8, 0.30))

        assert found.answer is MarkAnswer.MOVE
        assert found.check is not None
        assert found.move_m == -found.check.mean_m

    def test_a_check_mark_that_was_missed_moves_the_mark_though_the_board_was_met(self):
        assert advise(np.zeros(8), check=np.full(8, 0.30)).answer is MarkAnswer.MOVE

    def test_a_check_mark_that_was_met_sends_the_coach_to_the_last_steps(self):
        found = advise(np.full(12, 0.15), check=np.full(12, 0.0))

        assert (found.answer, found.move_m, found.start_mark_m) == (
            MarkAnswer.LAST_STEPS,
            0.0,
            34.20,
        )

    def test_an_error_that_both_show_is_the_marks_though_small_at_the_check_mark(self):
        found = advise(np.full(12, 0.09), check=np.full(12, 0.09))

        assert found.answer is MarkAnswer.MOVE

    def test_a_check_mark_that_does_not_say_leaves_it_undecided(self):
        found = advise(np.full(8, 0.15), check=[0.06, 0.05] + [NAN] * 6)

        assert found.answer is MarkAnswer.UNDECIDED

    def test_a_check_mark_that_was_watched_once_is_not_asked(self):
        found = advise(np.full(8, 0.15), check=[0.0] + [NAN] * 7)

        assert (found.check, found.answer) == (None, MarkAnswer.MOVE)
        assert found.check is None

    def test_both_met_keeps_the_mark(self):
        found = advise(np.tile([0.02, -0.02], 6), check=np.tile([0.04, -0.04], 6))

        assert (found.answer, found.move_m) == (MarkAnswer.KEEP, 0.0)

    def test_without_a_check_mark_the_board_decides(self):
        assert advise(np.full(8, 0.15)).answer is MarkAnswer.MOVE
        assert advise(np.tile([0.02, -0.02], 6)).answer is MarkAnswer.KEEP
        assert advise([0.1, -0.1]).answer is MarkAnswer.UNDECIDED

    def test_two_attempts_that_missed_the_check_mark_are_enough(self):
        # The board was met, as an athlete who steers does.
        found = advise([0.0, 0.0], check=[0.5, 0.5])

        assert found.answer is MarkAnswer.MOVE

    def test_one_attempt_that_leaves_it_undecided_moves_nothing(self):
        found = advise([0.6], check=[0.0])

        assert (found.answer, found.move_m, found.start_mark_m) == (
            MarkAnswer.UNDECIDED,
            0.0,
            34.20,
        )

    def test_a_bias_far_off_is_surely_not_right(self):
        assert advise(np.full(12, 0.5)).board.probability_right < 1e-6

    @pytest.mark.parametrize("side", [1, -1])
    @pytest.mark.parametrize(
        ("check_m", "share"),
        [
            # (b - 0.05) / 0.04 SDs: 0.75 on the board's side, 1.25 short of it, 2.5 on the other.
            (0.08, 0.77337),
            (0.0, 0.10565),
            (-0.05, 0.00621),
        ],
    )
    def test_the_check_mark_is_asked_of_the_boards_side(self, side, check_m, share):
        """By hand, with the standard normal table (from memory)."""
        board, check = (
            mark_advice.PlaceBias(
                n=6,
                mean_m=side * mean_m,
                sd_m=0.04,
                interval=Interval(-1, 1, 0.95),
                error_sd_m=0.1,
                probability_short=0.9 if side > 0 else 0.0,
                probability_far=0.0 if side > 0 else 0.9,
            )
            for mean_m in (0.1, check_m)
        )

        found = mark_advice._probability_same_side(board, check, mark_advice.DEFAULT_SETTINGS)

        assert found == pytest.approx(share, abs=1e-5)


class TestCertainty:
    """A club that asks for certainty is answered from what is certain: the limit itself counts."""

    SURE = replace(MarkSettings(), sure=1.0)

    @pytest.mark.parametrize(
        ("board_m", "check_m", "answer"),
        [
            (0.6, None, MarkAnswer.MOVE),
            (0.0, 0.9, MarkAnswer.MOVE),
            (0.6, 0.0, MarkAnswer.LAST_STEPS),
            (0.0, 0.0, MarkAnswer.KEEP),
        ],
    )
    def test_of_many_attempts(self, board_m, check_m, answer):
        # 200 equal attempts leave a doubt of about 1 mm, and no error lies within 0.3 m of its
        # limit: float64 no longer tells the probability from 1.
        wide = replace(
            self.SURE,
            attempt_share=0.0,
            board=replace(self.SURE.board, off_m=0.3),
            check=replace(self.SURE.check, off_m=0.4),
        )

        found = advise(
            np.full(200, board_m),
            check=None if check_m is None else np.full(200, check_m),
            settings=wide,
        )

        assert found.answer is answer

    def test_that_a_board_error_is_the_marks(self):
        # At the check mark beyond the board's 0.05 m for certain, and within its own limit.
        tight = replace(self.SURE, attempt_share=0.0, check=replace(self.SURE.check, off_m=0.9))

        found = advise(np.full(200, 0.5), check=np.full(200, 0.5), settings=tight)

        assert found.answer is MarkAnswer.MOVE

    def test_of_a_single_attempt(self):
        # With errors of 1 cm one attempt 2 m off leaves no doubt.
        exact = replace(
            self.SURE,
            board=mark_advice.PlaceSettings(off_m=0.05, first_m=1.0, error_m=0.01),
            check=mark_advice.PlaceSettings(off_m=0.10, first_m=1.0, error_m=0.01),
        )

        assert advise([2.0], check=[2.0], settings=exact).answer is MarkAnswer.MOVE


class TestDefaults:
    def test_are_those_of_the_page(self):
        page = " ".join((PAGES / "mark_advice.md").read_text("utf-8").split())
        board, check = mark_advice.DEFAULT_SETTINGS.board, mark_advice.DEFAULT_SETTINGS.check

        for name in ("off_m", "error_m", "first_m"):
            said = (
                f"{getattr(board, name):.2f} m at the board and "
                f"{getattr(check, name):.2f} m at the check mark"
            )
            assert said in page, name


class TestHistory:
    def test_a_mark_that_was_moved_is_not_moved_again(self):
        error = np.append(np.full(10, 0.15), np.zeros(2))
        marks_used = np.append(np.full(10, 34.20), np.full(2, 34.05))

        assert advise(error).answer is MarkAnswer.MOVE
        moved = advise(error, start_mark_m=marks_used)
        assert moved.board.mean_m == pytest.approx(0.0, abs=0.02)
        assert moved.answer is not MarkAnswer.MOVE

    def test_a_move_reaches_the_board_as_far_as_steering_lets_it(self):
        error = np.full(12, 0.15)
        marks_used = np.append(np.full(10, 34.20), np.full(2, 33.90))

        steered = advise(error, start_mark_m=marks_used, pass_through=0.0)

        assert steered.board.mean_m == pytest.approx(advise(error).board.mean_m)

    def test_a_spurt_lets_the_latest_attempts_speak(self):
        error = np.append(np.zeros(20), np.full(3, 0.2))
        changed = np.arange(23) == 20

        spurted = advise(error, may_have_changed=changed)

        assert spurted.board.mean_m > advise(error).board.mean_m + 0.03

    def test_sessions_apart_weigh_less(self):
        error = np.append(np.zeros(6), np.full(6, 0.2))
        session = np.repeat([1, 2], 6)

        assert advise(error, session=session).board.mean_m > advise(error).board.mean_m


class TestFewAttempts:
    def test_one_is_not_enough(self):
        found = mark_advice.advise_mark(Errors([0.6]), History([34.2]))

        assert found == NotEnoughAttempts(n=1, needed=2)

    def test_one_is_enough_when_the_check_mark_was_missed_as_well(self):
        assert advise([0.6], check=[0.9]).answer is MarkAnswer.MOVE

    def test_one_that_met_the_check_mark_is_not(self):
        assert advise([0.6], check=[0.0]).answer is MarkAnswer.UNDECIDED

    def test_one_that_missed_on_the_other_side_is_not(self):
        assert advise([-0.6], check=[0.9]).answer is MarkAnswer.UNDECIDED

    def test_none_is_none(self):
        found = mark_advice.advise_mark(Errors([NAN]), History([34.2]), check=Errors([0.5]))

        assert found == NotEnoughAttempts(n=0, needed=2)

    def test_no_jumps_that_nobody_measured_speak(self):
        beyond = mark_advice.advise_mark(Errors(np.full(8, NAN), -0.06), History(np.full(8, 34.2)))

        assert isinstance(beyond, MarkAdvice)
        assert (beyond.n, beyond.answer) == (8, MarkAnswer.MOVE)
        assert beyond.move_m > 0
        # Nothing was measured, so one attempt spreads as is usual.
        assert beyond.board.error_sd_m == pytest.approx(0.10)

    def test_what_each_place_rests_on_is_counted_there(self):
        # Two toes, a no jump that nobody measured, a gap; the check mark was watched three times.
        found = mark_advice.advise_mark(
            Errors([0.1, 0.0, NAN, NAN], [NAN, NAN, -0.06, NAN]),
            History(np.full(4, 34.2)),
            check=Errors([0.1, 0.0, 0.1, NAN]),
        )

        assert isinstance(found, MarkAdvice)
        assert found.check is not None
        assert (found.n, found.board.n, found.check.n) == (3, 3, 3)

    @pytest.mark.parametrize(
        ("board", "history", "check", "words"),
        [
            (Errors([[0.1]]), History([34.2]), None, "board needs one error"),
            (Errors([0.1, 0.2]), History([34.2]), None, "start_mark_m"),
            (Errors([0.1]), History([NAN]), None, "start_mark_m"),
            (Errors([0.1]), History([34.2]), Errors([0.1, 0.2]), "check needs one error"),
            (Errors([float("inf")]), History([34.2]), None, "infinite"),
            (Errors([0.1], [0.1, 0.2]), History([34.2]), None, "beyond_m"),
            (Errors([0.1]), History([34.2], pass_through=NAN), None, "pass_through"),
            (
                Errors([0.1, 0.2]),
                History([34.2, 34.2], may_have_changed=[0, 1]),
                None,
                "may_have_changed",
            ),
        ],
    )
    def test_bad_input_is_refused(self, board, history, check, words):
        with pytest.raises(ValueError, match=words):
            mark_advice.advise_mark(board, history, check=check)


class TestSimulatedAthletes:
    """The whole table stands in docs/metrics/decisions.md."""

    @pytest.mark.parametrize(
        ("athlete", "mark_error_m", "answer", "least"),
        [
            ("steers", 0.30, MarkAnswer.MOVE, 0.9),
            ("does not steer", 0.20, MarkAnswer.MOVE, 0.9),
            ("steers", 0.0, MarkAnswer.KEEP, 0.5),
        ],
    )
    def test_are_advised_rightly_after_12(self, athlete, mark_error_m, answer, least):
        counts = Counter(
            marks.advised(athlete, mark_error_m, n=12, seed=seed).answer for seed in range(40)
        )

        assert counts[answer] >= least * 40, counts

    def test_whose_mark_is_right_are_seldom_moved(self):
        for athlete in marks.ATHLETES:
            counts = Counter(
                marks.advised(athlete, 0.0, n=20, seed=seed).answer for seed in range(40)
            )
            assert counts[MarkAnswer.MOVE] <= 0.1 * 40, (athlete, counts)


class TestProperties:
    @given(
        error=st.lists(st.one_of(st.just(NAN), st.floats(-1, 1)), min_size=2, max_size=15),
        check=st.floats(-1, 1),
    )
    def test_mirrored_errors_mirror_the_advice(self, error, check):
        error = np.array([0.0, 0.01, *error])
        at_check = np.full(error.size, check)

        found, mirrored = advise(error, check=at_check), advise(-error, check=-at_check)

        assert mirrored.answer is found.answer
        assert mirrored.move_m == pytest.approx(-found.move_m, abs=1e-12)

    @given(
        error=st.lists(st.floats(-1, 1), min_size=2, max_size=15),
        scale=st.sampled_from([0.0, 1e-9, 1.0]),
    )
    def test_is_finite_and_probabilities_are_shares(self, error, scale):
        found = advise(scale * np.array(error))

        assert np.isfinite([found.move_m, found.start_mark_m, found.board.sd_m]).all()
        assert 0 <= found.board.probability_right <= 1
        assert 0 <= found.board.probability_off <= 1
        assert found.board.interval.low < found.board.mean_m < found.board.interval.high
        # A move only ever shrinks the mean error of the attempts: it is drawn toward no move.
        assert abs(found.move_m) <= np.max(np.abs(error)) + 1e-12
