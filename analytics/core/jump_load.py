"""How many full-approach jumps did the athlete do, in a session and in a week?"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

from analytics.core import cautions, conventions
from analytics.core.conventions import FloatArray, IntArray

WEEK_DAYS = 7

NO_PUBLISHED_LIMIT = (
    "No published limit exists. 4 to 8 full-approach jumps a session are common practice; what this"
    " athlete bears is for the coach to judge."
)


@dataclass(frozen=True, slots=True)
class LoadSettings:
    """The club's own limits of full-approach jumps.

    Attributes
    ----------
    session_jumps
        In one session; the upper end of common practice unless the club says otherwise.
    week_jumps
        In seven days running; None where the club has set none.
    """

    session_jumps: int = 8
    week_jumps: int | None = None


DEFAULT_SETTINGS = LoadSettings()


@dataclass(frozen=True, slots=True)
class JumpLoad:
    """Full-approach jumps that were written down.

    Attributes
    ----------
    n
        Jumps until today.
    session_day, session_jumps
        The last session and its jumps; None and 0 where there was none.
    week_jumps
        In the seven days that end with today.
    most_in_session, most_in_week
        The most in any session, and in any seven days running.
    weeks
        Jumps in the last weeks of seven days, the one that ends with today last.
    session_limit, week_limit
        The club's.
    over_session, over_week
        More than the limit in a session of the last seven days, and in these days; None without a
        limit.
    caution_open
        One of both; None where no jump was ever written down.
    caution
        To be shown with it.
    """

    n: int
    session_day: float | None
    session_jumps: int
    week_jumps: int
    most_in_session: int
    most_in_week: int
    weeks: tuple[int, ...]
    session_limit: int
    week_limit: int | None
    over_session: bool
    over_week: bool | None
    caution_open: bool | None
    caution: str


def sum_up_load(
    day: npt.ArrayLike,
    *,
    today: float,
    session: npt.ArrayLike | None = None,
    n_weeks: int = 4,
    settings: LoadSettings = DEFAULT_SETTINGS,
) -> JumpLoad:
    """Count the full-approach jumps of sessions and weeks.

    Parameters
    ----------
    day
        Shape (n,), whole days on any one count: one for each attempt that ran the full run-up and
        finished as a jump, no jumps included, for the body lands all the same. In any order.
    today
        On the same count; later jumps are left out.
    session
        Shape (n,), labels; None for one session each day.
    n_weeks
        Weeks to count.
    settings
        The club's limits.

    Raises
    ------
    ValueError
        Shapes that do not fit, days that are not whole, fewer than one week, limits below 1.

    Notes
    -----
    Counts, and no more: no published limit exists, and loads are individual and change while a
    body matures (DiFiori et al. 2014; Jayanthi et al. 2022, abstracts), so they are held against
    what the club has set. What nobody wrote down is not in them: jumps elsewhere, other sports,
    landings in drills.

    Edge cases: exactly the limit is not over it. A session after midnight is one session where
    labels are given; its day is that of its last jump.

    Source: 4 to 8 full-approach jumps a session are common practice, no source.

    Examples
    --------
    >>> found = sum_up_load([0] * 6 + [3] * 9, today=4, settings=LoadSettings(week_jumps=20))
    >>> found.session_jumps, found.over_session, found.week_jumps, found.over_week
    (9, True, 15, False)
    >>> found.weeks
    (0, 0, 0, 15)
    """
    days, sessions = _check(day, session, today=today, n_weeks=n_weeks, settings=settings)
    n = int(days.size)
    per_session = np.bincount(sessions) if n else np.zeros(1, dtype=np.int64)
    ago = today - days
    weeks = tuple(
        int(np.count_nonzero((ago >= WEEK_DAYS * back) & (ago < WEEK_DAYS * (back + 1))))
        for back in reversed(range(n_weeks))
    )
    last_day = float(days[-1]) if n else None
    in_session = int(per_session[sessions[-1]]) if n else 0
    in_week = int(np.count_nonzero(ago < WEEK_DAYS))
    of_week = per_session[sessions[ago < WEEK_DAYS]]
    over_session = bool(of_week.max(initial=0) > settings.session_jumps)
    over_week = None if settings.week_jumps is None else in_week > settings.week_jumps
    # In order, so the jumps of the seven days that end with each jump are those since this place.
    since = np.searchsorted(days, days - WEEK_DAYS, side="right")
    to = np.searchsorted(days, days, side="right")
    return JumpLoad(
        n=n,
        session_day=last_day,
        session_jumps=in_session,
        week_jumps=in_week,
        most_in_session=int(per_session.max()),
        most_in_week=int((to - since).max(initial=0)),
        weeks=weeks,
        session_limit=settings.session_jumps,
        week_limit=settings.week_jumps,
        over_session=over_session,
        over_week=over_week,
        caution_open=(over_session or bool(over_week)) if n else None,
        caution=f"{NO_PUBLISHED_LIMIT} {cautions.NO_DIAGNOSIS} {cautions.COACH_DECIDES}",
    )


def _check(
    day: npt.ArrayLike,
    session: npt.ArrayLike | None,
    *,
    today: float,
    n_weeks: int,
    settings: LoadSettings,
) -> tuple[FloatArray, IntArray]:
    """Return the days of the jumps until today, in order, and the numbers of their sessions."""
    days = np.asarray(day, dtype=np.float64)
    if days.ndim != 1:
        raise ValueError(f"day must have one dimension, got shape {days.shape}")
    if not np.isfinite([*days, today]).all() or np.any(np.append(days, today) % 1 != 0):
        raise ValueError("day and today must be whole days")
    if n_weeks < 1:
        raise ValueError(f"n_weeks must be at least 1, got {n_weeks}")
    limits = (settings.session_jumps, settings.week_jumps)
    if any(limit is not None and limit < 1 for limit in limits):
        raise ValueError(f"limits must be at least 1, got {limits}")
    labels = conventions.group_by(days if session is None else session, n=days.size).index
    order = np.argsort(days, kind="stable")
    order = order[days[order] <= today]
    return days[order], labels[order]
