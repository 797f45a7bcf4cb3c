"""Shall the start mark be moved, and by how much?"""

from __future__ import annotations

from dataclasses import dataclass
from enum import StrEnum

import numpy as np
import numpy.typing as npt
from scipy import stats

from analytics.core import conventions, local_level
from analytics.core.conventions import BoolArray, FloatArray, Interval, NotEnoughAttempts
from analytics.core.local_level import LevelSds


class MarkAnswer(StrEnum):
    """What to do about the start mark."""

    MOVE = "move"
    KEEP = "keep"
    LAST_STEPS = "last_steps"
    UNDECIDED = "undecided"


@dataclass(frozen=True, slots=True)
class PlaceSettings:
    """When a bias at one place counts, and what is usual there. Ours; metres.

    Attributes
    ----------
    off_m
        A bias beyond this is worth a move.
    first_m
        SD of the bias of a fresh mark about 0. A mark far worse is moved too little at first.
    error_m
        Usual SD of one attempt within a session: what is believed before the athlete's own
        attempts say, with the weight of `USUAL_DF` of them.
    """

    off_m: float
    first_m: float
    error_m: float


@dataclass(frozen=True, slots=True)
class MarkSettings:
    """Our judgement; settings of the club change them.

    Attributes
    ----------
    board, check
        Of the take-off board and of the check mark.
    sure
        Probability at which a bias counts as shown.
    session_share, attempt_share
        SD by which the bias moves from session to session, and from attempt to attempt, as shares
        of the SD of one attempt.
    """

    board: PlaceSettings = PlaceSettings(off_m=0.05, first_m=0.06, error_m=0.10)
    check: PlaceSettings = PlaceSettings(off_m=0.10, first_m=0.12, error_m=0.15)
    sure: float = 0.8
    session_share: float = 0.3
    attempt_share: float = 0.05


DEFAULT_SETTINGS = MarkSettings()

USUAL_DF = 4.0
"""Weight of the usual SD beside the athlete's own; ours."""

MIN_ATTEMPTS = 2
"""Attempts with a known board error below which nothing is said; one is enough when the check mark
was missed as well."""

MIN_CHECK_ATTEMPTS = 2
"""Attempts with a check-mark error below which the check mark is not asked."""


@dataclass(frozen=True, slots=True)
class Errors:
    """Errors at one place, in the order of the attempts.

    Attributes
    ----------
    error_m
        Shape (n,), metres, less what the wind explains (`wind`); NaN where not measured.
    beyond_m
        What an error that was not measured is known to lie below, shape (n,) or one number: at the
        board ``-aim`` for a no jump that nobody measured, NaN else.
    """

    error_m: npt.ArrayLike
    beyond_m: npt.ArrayLike = np.nan


@dataclass(frozen=True, slots=True)
class History:
    """What else is known of the attempts. Each of shape (n,).

    Attributes
    ----------
    start_mark_m
        Start mark of each attempt, metres behind the line: a change moves the bias by as much.
    session
        Labels; None for one session.
    may_have_changed
        Before these attempts the bias may have become another one: the first of a new plan
        revision or after a growth spurt. None for never.
    pass_through
        Share of a moved mark that is still there at the board (`needed_made.pass_through`).
    """

    start_mark_m: npt.ArrayLike
    session: npt.ArrayLike | None = None
    may_have_changed: npt.ArrayLike | None = None
    pass_through: float = 1.0


@dataclass(frozen=True, slots=True)
class PlaceBias:
    """The present bias at one place.

    Attributes
    ----------
    n
        Errors behind it, no jumps that nobody measured included.
    mean_m, sd_m, interval
        What is believed of the bias; positive: lands short.
    error_sd_m
        SD of one attempt that was used.
    probability_short, probability_far
        That the bias is beyond the limit on the side of landing short, and on the other.
    """

    n: int
    mean_m: float
    sd_m: float
    interval: Interval
    error_sd_m: float
    probability_short: float
    probability_far: float

    @property
    def probability_off(self) -> float:
        """The larger of both: one side only, or it would be high with no attempt at all."""
        return max(self.probability_short, self.probability_far)

    @property
    def probability_right(self) -> float:
        """That the bias is within the limit."""
        return max(0.0, 1 - self.probability_short - self.probability_far)


@dataclass(frozen=True, slots=True)
class MarkAdvice:
    """What to do about the start mark, and what speaks for it.

    Attributes
    ----------
    answer
        Move, keep, see to the last steps, or undecided.
    n
        Attempts with a known error at the board.
    board, check
        The bias at both places; `check` None where too few footfalls were measured.
    move_m
        For the answer "move": by how much, negative toward the pit; else 0.
    start_mark_m
        The mark to use from now on, to the centimetre.
    """

    answer: MarkAnswer
    n: int
    board: PlaceBias
    check: PlaceBias | None
    move_m: float
    start_mark_m: float


def advise_mark(
    board: Errors,
    history: History,
    *,
    check: Errors | None = None,
    settings: MarkSettings = DEFAULT_SETTINGS,
) -> MarkAdvice | NotEnoughAttempts:
    """Say whether the start mark should be moved, and by how much.

    Parameters
    ----------
    board
        Errors at the take-off board, landed short positive.
    history
        Start marks used, sessions, changes.
    check
        Errors at a check mark that is passed before steering sets in.
    settings
        Limits.

    Returns
    -------
    MarkAdvice or NotEnoughAttempts
        `MIN_ATTEMPTS` attempts with a known board error are needed; one when its check mark was
        measured as well.

    Raises
    ------
    ValueError
        Shapes that do not fit, infinite values, start marks or a pass-through that are not finite.

    Notes
    -----
    The present bias b at each place is followed by `local_level`, known moves of the mark taken
    into account: in full at the check mark, times the pass-through at the board. With d the limit
    of the place (0.05 m at the board, 0.10 m at the check mark) and P >= 0.8 for "shown":

    - b at the check mark shown beyond d, on one side: **move** by -b of the check mark, where
      steering has not hidden it yet.
    - b at the board shown beyond d: if the check mark, too, is shown on this side of the board's
      d, **move** by -b of the check mark; if it is shown not to be, the mark is right and the
      **last steps** are the trouble; else **undecided**. Without a check mark **move** by -b of
      the board.
    - b shown within d at the board, and at the check mark where there is one: **keep**.
    - Else **undecided**: more attempts tell.

    Never the last error, which would carry that attempt's chance into all that follow, and never
    divided by the pass-through, which few attempts know badly (`needed_made.pass_through`).

    After a move the foot lands at the check mark's place plus b less the move: where the move is
    taken from the check mark, the check mark stays where it is. Where it is taken from the board,
    nobody knows where the foot will pass: set the check mark anew in a run-through.

    Edge cases: the first attempt alone moves the mark only if board and check mark are both shown
    off on the same side.

    Source: the local level, see `local_level`; limits and rules are ours, their quality measured
    on simulated athletes.

    Examples
    --------
    >>> advice = advise_mark(
    ...     Errors([0.16, 0.11, 0.19, 0.13, 0.15, 0.12]), History(np.full(6, 34.20))
    ... )
    >>> advice.answer.value, round(advice.move_m, 2), advice.start_mark_m
    ('move', -0.12, 34.08)
    """
    board_error, beyond = _check_errors(board, name="board")
    n = board_error.size
    marks = _check_history(history, n=n)
    known = int(np.count_nonzero(~np.isnan(board_error) | ~np.isnan(beyond)))
    at_check = None if check is None else _check_errors(check, name="check", n=n)
    checked = 0 if at_check is None else int(np.count_nonzero(~np.isnan(at_check[0])))
    if known == 0 or (known < MIN_ATTEMPTS and checked == 0):
        return NotEnoughAttempts(n=known, needed=MIN_ATTEMPTS)

    moved = np.diff(marks, prepend=marks[:1])
    board_bias = _bias(
        board_error,
        beyond,
        moved=moved * history.pass_through,
        history=history,
        place=settings.board,
        settings=settings,
    )
    check_bias = None
    if at_check is not None and checked >= min(MIN_CHECK_ATTEMPTS, known):
        check_bias = _bias(
            *at_check, moved=moved, history=history, place=settings.check, settings=settings
        )
    answer, move = _weigh(board_bias, check_bias, known=known, settings=settings)
    return MarkAdvice(
        answer=answer,
        n=known,
        board=board_bias,
        check=check_bias,
        move_m=move,
        start_mark_m=round(float(marks[-1]) + move, 2),
    )


def _weigh(
    board: PlaceBias, check: PlaceBias | None, *, known: int, settings: MarkSettings
) -> tuple[MarkAnswer, float]:
    board_off = board.probability_off >= settings.sure
    if check is None:
        if board_off:
            return MarkAnswer.MOVE, -board.mean_m
        return _keep_or_wait(settings, board), 0.0
    check_off = check.probability_off >= settings.sure
    same_side = _probability_same_side(board, check, settings)
    if known < MIN_ATTEMPTS and not (check_off and board_off and same_side >= settings.sure):
        return MarkAnswer.UNDECIDED, 0.0
    if check_off or (board_off and same_side >= settings.sure):
        return MarkAnswer.MOVE, -check.mean_m
    if board_off:
        apart = same_side <= 1 - settings.sure
        return (MarkAnswer.LAST_STEPS if apart else MarkAnswer.UNDECIDED), 0.0
    return _keep_or_wait(settings, board, check), 0.0


def _keep_or_wait(settings: MarkSettings, *places: PlaceBias) -> MarkAnswer:
    right = all(place.probability_right >= settings.sure for place in places)
    return MarkAnswer.KEEP if right else MarkAnswer.UNDECIDED


def _probability_same_side(board: PlaceBias, check: PlaceBias, settings: MarkSettings) -> float:
    """Return how sure it is that the check mark is missed on the board's side by its limit, too.

    Steering only takes away from the error of a mark: what the board shows of it, the check mark
    shows too.
    """
    side = 1.0 if board.probability_short >= board.probability_far else -1.0
    return float(stats.norm.sf((settings.board.off_m - side * check.mean_m) / check.sd_m))


def _bias(
    error: FloatArray,
    beyond: FloatArray,
    *,
    moved: FloatArray,
    history: History,
    place: PlaceSettings,
    settings: MarkSettings,
) -> PlaceBias:
    error_sd = _error_sd(error - np.cumsum(moved), history, place)
    level = local_level.follow_level(
        error,
        sds=LevelSds(
            error_m=error_sd,
            attempt_m=settings.attempt_share * error_sd,
            session_m=settings.session_share * error_sd,
            first_m=place.first_m,
        ),
        session=history.session,
        moved_m=moved,
        loosened_m=place.first_m * _may_have_changed(history, n=error.size),
        below_m=beyond,
    )
    mean, sd = float(level.mean_m[-1]), float(level.sd_m[-1])
    half = float(stats.norm.ppf(0.5 + conventions.DEFAULT_LEVEL / 2)) * sd
    return PlaceBias(
        n=int(np.count_nonzero(~np.isnan(error) | ~np.isnan(beyond))),
        mean_m=mean,
        sd_m=sd,
        interval=Interval(mean - half, mean + half, conventions.DEFAULT_LEVEL),
        error_sd_m=error_sd,
        probability_short=float(stats.norm.sf((place.off_m - mean) / sd)),
        probability_far=float(stats.norm.cdf((-place.off_m - mean) / sd)),
    )


def _error_sd(error: FloatArray, history: History, place: PlaceSettings) -> float:
    """Return the SD of one attempt within a session, drawn toward the usual one."""
    changed = np.cumsum(_may_have_changed(history, n=error.size))
    groups = conventions.group_by(history.session, changed, n=error.size)
    measured = ~np.isnan(error)
    within = conventions.group_by(groups.index[measured], n=int(measured.sum()))
    left = conventions.centred(error[measured], within) if within.n_groups else np.zeros(0)
    df = left.size - within.n_groups
    return float(np.sqrt((left @ left + USUAL_DF * place.error_m**2) / (df + USUAL_DF)))


def _may_have_changed(history: History, *, n: int) -> BoolArray:
    if history.may_have_changed is None:
        return np.zeros(n, dtype=np.bool_)
    changed = np.asarray(history.may_have_changed)
    if changed.shape != (n,) or changed.dtype != np.bool_:
        raise ValueError(f"may_have_changed needs one boolean for each of {n} attempts")
    return changed


def _check_errors(
    errors: Errors, *, name: str, n: int | None = None
) -> tuple[FloatArray, FloatArray]:
    error = np.asarray(errors.error_m, dtype=np.float64)
    if error.ndim != 1 or (n is not None and error.size != n):
        raise ValueError(f"{name} needs one error for each attempt, got shape {error.shape}")
    beyond = np.asarray(errors.beyond_m, dtype=np.float64)
    if beyond.shape not in {(), error.shape}:
        raise ValueError(f"beyond_m needs one value for each attempt, got shape {beyond.shape}")
    conventions.check_not_infinite(error, name=f"the errors at the {name}")
    conventions.check_not_infinite(beyond, name="beyond_m")
    return error, np.where(np.isnan(error), np.broadcast_to(beyond, error.shape), np.nan)


def _check_history(history: History, *, n: int) -> FloatArray:
    marks = np.asarray(history.start_mark_m, dtype=np.float64)
    if marks.shape != (n,) or not np.all(np.isfinite(marks)):
        raise ValueError(f"start_mark_m needs one finite mark for each of {n} attempts")
    if not np.isfinite(history.pass_through):
        raise ValueError(f"pass_through must be finite, got {history.pass_through}")
    return marks
