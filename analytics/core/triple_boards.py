"""Which triple-jump board is far enough from the pit, and not too far. Safety first."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import numpy.typing as npt
from scipy import special

from analytics.core import conventions, next_attempts
from analytics.core.conventions import BOARD_WIDTH_M, FloatArray, NotEnoughAttempts

MIN_ATTEMPTS = 10
"""Complete attempts below which no board is proposed: a risk of one in a hundred is not seen in
fewer, and rests on the shape of a curve (our judgement)."""

NEEDED = 0.99
"""How likely an attempt must go well for its board to be proposed."""

SAND_MARGIN_M = 0.50
"""How far beyond the near end of the pit, and before its far end, a landing must come down (our
judgement)."""

RUNWAY_MARGIN_M = 0.50
"""How far before the pit the last take-off on the runway must stand: the foot itself, and room
(our judgement)."""


@dataclass(frozen=True, slots=True)
class BoardRisk:
    """What attempts from one board would probably do.

    Attributes
    ----------
    to_pit_m
        From the take-off line to the near end of the pit.
    probability_in_sand
        That the landing comes down in the sand, with the margin, in both directions.
    probability_on_runway
        That the last take-off, into the jump, stands on the runway, with the margin.
    probability_well
        At least so likely both go well, whatever they have to do with each other.
    n_would_have_missed
        Of the athlete's own attempts, those that would have missed sand or runway, by the margin.
    safe
        `probability_well` is what is needed, and none would have missed.
    """

    to_pit_m: float
    probability_in_sand: float
    probability_on_runway: float
    probability_well: float
    n_would_have_missed: int
    safe: bool


@dataclass(frozen=True, slots=True)
class BoardProposal:
    """Which board fits.

    Attributes
    ----------
    n, n_sessions
        Complete attempts and their sessions.
    reach_m, last_take_off_m
        Means: where the landing and the take-off into the jump come down beyond the line.
    boards
        One for each board, in the order asked.
    proposed_to_pit_m
        The safest of those that are safe; None if none is.
    """

    n: int
    n_sessions: int
    reach_m: float
    last_take_off_m: float
    boards: tuple[BoardRisk, ...]
    proposed_to_pit_m: float | None


def propose_board(
    hop_m: npt.ArrayLike,
    step_m: npt.ArrayLike,
    jump_m: npt.ArrayLike,
    *,
    session: npt.ArrayLike,
    boards_to_pit_m: npt.ArrayLike,
    board_toe_m: npt.ArrayLike | None = None,
    pit_length_m: float | None = None,
    needed: float = NEEDED,
    sand_margin_m: float = SAND_MARGIN_M,
    runway_margin_m: float = RUNWAY_MARGIN_M,
) -> BoardProposal | NotEnoughAttempts:
    """Judge the boards of a runway by the athlete's own hop, step and jump.

    Parameters
    ----------
    hop_m, step_m, jump_m
        Shape (n,), above 0, metres from toe to toe, the jump to the nearest mark in the sand; NaN
        where not measured. Full attempts from the run-up that is to be used, no others.
    session
        Shape (n,), labels: the next attempts are those of a new session.
    boards_to_pit_m
        Shape (b,), above 0: from each board's take-off line to the near end of the pit.
    board_toe_m
        Shape (n,), toe-to-board distances; where missing, the worse for each question is taken:
        0.20 m behind the line for the landing, on the line for the last take-off.
    pit_length_m
        Length of the pit along the runway; None where not known, then its far end is not judged.
    needed
        Probability that a board must have, from 0.99 to less than 1: it may be asked for more.
    sand_margin_m, runway_margin_m
        0 or more, see `SAND_MARGIN_M` and `RUNWAY_MARGIN_M`.

    Returns
    -------
    BoardProposal or NotEnoughAttempts
        `MIN_ATTEMPTS` attempts with hop, step and jump are needed.

    Raises
    ------
    ValueError
        Shapes that do not fit, phases or boards that are not above 0, infinite values, a negative
        margin, less than 0.99 needed, a pit shorter than its two margins.

    Notes
    -----
    Beyond the line the landing comes down at ``hop + step + jump - toe``, the last take-off at
    ``hop + step - toe``. Each is expected by `next_attempts.expect_toe`, which knows that few
    attempts tell little of mean and SD and that sessions differ: without sessions Student's t. The
    phases belong together (a long hop costs the step), so their sums are taken attempt by attempt,
    never their SDs added. Landing and last take-off belong together, too; nothing is assumed of
    it: ``P(both well) >= 1 - P(no sand) - P(no runway)``.

    Nothing here knows of a bad landing, a wet runway, a head wind or tired legs beyond what the own
    attempts hold.

    Edge cases: one own attempt that would have missed is enough to refuse a board, however likely
    the next goes well. Several boards are safe: the one with the highest probability is proposed,
    of equal ones the one nearer the pit.

    Source: prediction by Student's t, NIST/SEMATECH e-Handbook; limits and margins are ours.

    Examples
    --------
    >>> hop = [4.6, 4.7, 4.5, 4.8, 4.6, 4.7, 4.6, 4.5, 4.7, 4.6]
    >>> step = [3.7, 3.8, 3.9, 3.7, 3.8, 3.7, 3.8, 3.8, 3.9, 3.7]
    >>> jump = [4.3, 4.4, 4.2, 4.5, 4.3, 4.4, 4.3, 4.4, 4.2, 4.3]
    >>> found = propose_board(
    ...     hop, step, jump, session=[1] * 5 + [2] * 5, boards_to_pit_m=[9.0, 11.0, 13.0]
    ... )
    >>> found.proposed_to_pit_m, [board.safe for board in found.boards]
    (11.0, [False, True, False])
    """
    phases, labels, toe = _check_attempts(hop_m, step_m, jump_m, session, board_toe_m)
    boards = _check_boards(
        boards_to_pit_m,
        pit_length_m=pit_length_m,
        needed=needed,
        margins=(sand_margin_m, runway_margin_m),
    )
    known = ~np.isnan(phases).any(axis=1)
    n = int(known.sum())
    if n < MIN_ATTEMPTS:
        return NotEnoughAttempts(n=n, needed=MIN_ATTEMPTS)
    total = phases[known].sum(axis=1)
    both = phases[known, :2].sum(axis=1)
    toe = toe[known]
    # A missing toe: behind the board for what must come far, on the line for what must not, and
    # so for the far end of the pit.
    behind = np.where(np.isnan(toe), BOARD_WIDTH_M, toe)
    ahead = np.where(np.isnan(toe), 0.0, toe)
    landing, far_landing, last = total - behind, total - ahead, both - ahead

    near = boards + sand_margin_m
    far = np.full(boards.size, np.inf)
    if pit_length_m is not None:
        far = boards + pit_length_m - sand_margin_m
    end = boards - runway_margin_m
    short = _probability_below(landing, labels[known], near)
    long = 1 - _probability_below(far_landing, labels[known], far)
    off = 1 - _probability_below(last, labels[known], end)
    well = np.maximum(1 - short - long - off, 0.0)
    missed = ((landing[:, None] < near) | (far_landing[:, None] > far) | (last[:, None] > end)).sum(
        axis=0
    )
    safe = (well >= needed) & (missed == 0)
    proposed = None
    if np.any(safe):
        best = np.flatnonzero(safe & (well == well[safe].max()))
        proposed = float(boards[best].min())
    return BoardProposal(
        n=n,
        n_sessions=int(np.unique(labels[known]).size),
        reach_m=float(landing.mean()),
        last_take_off_m=float(last.mean()),
        boards=tuple(
            BoardRisk(
                to_pit_m=float(boards[each]),
                probability_in_sand=float(max(1 - short[each] - long[each], 0.0)),
                probability_on_runway=float(1 - off[each]),
                probability_well=float(well[each]),
                n_would_have_missed=int(missed[each]),
                safe=bool(safe[each]),
            )
            for each in range(boards.size)
        ),
        proposed_to_pit_m=proposed,
    )


def _probability_below(
    values: FloatArray, labels: conventions.IntArray, limits: FloatArray
) -> FloatArray:
    """Return for each limit how likely the next attempt, in a new session, comes down below it."""
    expected = next_attempts.expect_toe(
        values, np.zeros(values.size, dtype=np.bool_), session=labels
    )
    if isinstance(expected, NotEnoughAttempts):  # fewer than are needed here already
        raise TypeError(f"{expected} after {MIN_ATTEMPTS} were counted")
    spread = np.hypot(expected.own_sd_m, expected.shared_sd_m)
    below = special.ndtr((limits[:, None, None] - expected.shared_mean_m) / spread)
    return np.asarray(np.minimum(np.sum(expected.weight * below, axis=(1, 2)), 1.0))


def _check_attempts(
    hop_m: npt.ArrayLike,
    step_m: npt.ArrayLike,
    jump_m: npt.ArrayLike,
    session: npt.ArrayLike,
    board_toe_m: npt.ArrayLike | None,
) -> tuple[FloatArray, conventions.IntArray, FloatArray]:
    parts = [np.asarray(each, dtype=np.float64) for each in (hop_m, step_m, jump_m)]
    if parts[0].ndim != 1 or len({part.shape for part in parts}) > 1:
        raise ValueError("hop_m, step_m and jump_m need one value for each attempt")
    phases = np.column_stack(parts)
    if np.any(phases <= 0) or np.any(np.isinf(phases)):
        raise ValueError("hop_m, step_m and jump_m must be finite and above 0")
    n = phases.shape[0]
    toe = np.full(n, np.nan) if board_toe_m is None else np.asarray(board_toe_m, dtype=np.float64)
    if toe.shape != (n,):
        raise ValueError(f"board_toe_m needs one value for each of {n} attempts, got {toe.shape}")
    conventions.check_not_infinite(toe, name="board_toe_m")
    return phases, conventions.group_by(session, n=n).index, toe


def _check_boards(
    boards_to_pit_m: npt.ArrayLike,
    *,
    pit_length_m: float | None,
    needed: float,
    margins: tuple[float, float],
) -> FloatArray:
    boards = np.asarray(boards_to_pit_m, dtype=np.float64)
    if boards.ndim != 1 or not np.all((boards > 0) & np.isfinite(boards)):
        raise ValueError("boards_to_pit_m must be a list of distances above 0")
    # Less would be a board that we would not stand beside.
    if not NEEDED <= needed < 1:
        raise ValueError(f"needed must be at least {NEEDED} and less than 1, got {needed}")
    if not all(0 <= margin < float("inf") for margin in margins):
        raise ValueError(f"margins must be finite and 0 or more, got {margins}")
    if pit_length_m is not None and not 2 * margins[0] < pit_length_m < float("inf"):
        raise ValueError(f"a pit must be longer than its two margins, got {pit_length_m}")
    return boards
