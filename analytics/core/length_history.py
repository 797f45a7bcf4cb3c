"""What is known of the attempts from which the number of steps is judged."""

from __future__ import annotations

from dataclasses import dataclass, fields

import numpy as np
import numpy.typing as npt

from analytics.core import conventions
from analytics.core.conventions import BoolArray, FloatArray, IntArray


@dataclass(frozen=True, slots=True)
class LengthHistory:
    """Attempts of one approach that finished as jumps, in order, of finished sessions only.

    Attributes
    ----------
    board_toe_m
        Shape (n,), metres behind the take-off line, negative beyond; NaN where not measured.
    no_jump
        Shape (n,), booleans.
    session
        Shape (n,), labels.
    revision
        Shape (n,), labels of the plan revision; None for one.
    gain_mps
        Shape (n,): speed from 6 to 1 m less that from 11 to 6 m before the line; NaN where not
        measured, None for nowhere.
    pattern_held
        Shape (n,): 1 where the pattern of the last three steps was held, 0 where not, NaN where
        not measured (`length_conditions.medium_long_short`); None for nowhere.
    """

    board_toe_m: npt.ArrayLike
    no_jump: npt.ArrayLike
    session: npt.ArrayLike
    revision: npt.ArrayLike | None = None
    gain_mps: npt.ArrayLike | None = None
    pattern_held: npt.ArrayLike | None = None


@dataclass(frozen=True, slots=True)
class CheckedHistory:
    """As `LengthHistory`, every array given and numbers for labels."""

    toe_m: FloatArray
    no_jump: BoolArray
    session: IntArray
    revision: IntArray
    gain_mps: FloatArray
    pattern_held: FloatArray

    def where(self, chosen: IntArray) -> CheckedHistory:
        """Return the attempts at these places."""
        return CheckedHistory(*(getattr(self, each.name)[chosen] for each in fields(self)))


def check_history(history: LengthHistory) -> CheckedHistory:
    """Refuse arrays that are not one value for each attempt.

    Raises
    ------
    ValueError
        Shapes that do not fit, infinite values, a pattern that is neither 0 nor 1.

    Examples
    --------
    >>> check_history(LengthHistory([0.1, -0.1], [False] * 2, ["a", "b"])).no_jump.tolist()
    [False, True]
    """
    toe, no_jump = conventions.check_attempts(history.board_toe_m, history.no_jump)
    held = _one_for_each(history.pattern_held, toe.size, name="pattern_held")
    if not np.isin(held[~np.isnan(held)], (0.0, 1.0)).all():
        raise ValueError("pattern_held must be 0, 1 or NaN")
    return CheckedHistory(
        toe_m=toe,
        no_jump=no_jump,
        session=conventions.group_by(history.session, n=toe.size).index,
        revision=conventions.group_by(history.revision, n=toe.size).index,
        gain_mps=_one_for_each(history.gain_mps, toe.size, name="gain_mps"),
        pattern_held=held,
    )


def known_until(checked: CheckedHistory, back: int, *, latest: int) -> CheckedHistory:
    """Return the latest attempts, up to the end of a session, whose board position is known.

    Parameters
    ----------
    checked
        From `check_history`.
    back
        0 for the last session, 1 for the one before it.
    latest
        At most so many.

    Notes
    -----
    An attempt of which nothing is known at the board would only push a known one out.

    Examples
    --------
    >>> checked = check_history(LengthHistory([0.1, 0.2, 0.3], [False] * 3, [7, 8, 9]))
    >>> known_until(checked, 1, latest=5).toe_m.tolist()
    [0.1, 0.2]
    """
    last = int(checked.session.max(initial=-1)) - back
    known = (~np.isnan(checked.toe_m) | checked.no_jump) & (checked.session <= last)
    return checked.where(np.flatnonzero(known)[-latest:])


def _one_for_each(values: npt.ArrayLike | None, n: int, *, name: str) -> FloatArray:
    array = np.full(n, np.nan) if values is None else np.asarray(values, dtype=np.float64)
    if array.shape != (n,):
        raise ValueError(f"{name} needs one value for each of {n} attempts, got {array.shape}")
    conventions.check_not_infinite(array, name=name)
    return array
