"""How well own attempts know what another habit would change."""

from __future__ import annotations

from collections.abc import Callable, Iterator, Sequence
from dataclasses import dataclass, replace

import numpy as np
import numpy.typing as npt

from analytics.core import conventions, own_habits, what_if
from analytics.core.conventions import DEFAULT_LEVEL, IntArray, Interval, NotEnoughAttempts
from analytics.core.simulator import Athlete

MIN_RESAMPLES = 50
"""From so many on a standard error hardly gains (Efron & Tibshirani 1993, from memory)."""

COVERED = 0.9
"""What ranges that were made for 95 % cover, and are called (docs/metrics/what_if_ranges.md)."""

MIN_SESSIONS = 3
"""Sessions below which nobody can tell how days differ: two covered as little as 0.5."""

MIN_WHOLE_SESSIONS = 5
"""Sessions from which on whole ones are drawn; ours."""

Change = Callable[[Athlete], Athlete]


@dataclass(frozen=True, slots=True)
class Changes:
    """What a change of habits did in one resample: after less before.

    Attributes
    ----------
    official_m
        None where hardly a session had a valid jump.
    """

    no_jump_share: float
    mean_square_error_m2: float
    official_m: float | None


@dataclass(frozen=True, slots=True)
class KnownTo:
    """Within what a change lies, as well as own attempts know the habits.

    Attributes
    ----------
    n_resamples
        That had enough attempts.
    no_jump_share, mean_square_error_m2, official_m
        Of the change; `official_m` None where a resample had none.
    """

    n_resamples: int
    no_jump_share: Interval
    mean_square_error_m2: Interval
    official_m: Interval | None


def resampled_changes(
    toe_m: npt.ArrayLike,
    *,
    wind_mps: npt.ArrayLike,
    session: npt.ArrayLike,
    like: Athlete,
    change: Change,
    aims_m: tuple[float, float],
    rng: np.random.Generator,
    n_resamples: int,
    n_sessions: int,
    no_jump: npt.ArrayLike | None = None,
) -> Iterator[Changes | None]:
    """Draw own sessions anew, again and again, and yield what the change does in each.

    Parameters
    ----------
    toe_m, wind_mps, like, no_jump
        As `own_habits.own_habits` takes them.
    session
        Shape (n,): which session each attempt was made in.
    change
        Makes the athlete with another habit.
    aims_m
        As `what_if.what_if` takes them.
    rng
        Source of chance.
    n_resamples, n_sessions
        How many times, and how much is simulated each time.

    Yields
    ------
    Changes or None
        None where too few complete attempts were drawn.

    Raises
    ------
    ValueError
        As the two functions raise.

    Notes
    -----
    Whole sessions are drawn with replacement, since attempts of one share their day, and habits
    taken from what came out (Efron 1979, Field & Welsh 2007, from memory). With fewer than
    `MIN_WHOLE_SESSIONS` there are too few to draw from: so few whole ones would know sixteen gains
    from a handful of attempts again and again. Then attempts are drawn anew within each session
    that was drawn: what attempts differ by counts nearly twice, and makes up for what so few
    sessions cannot show of how they differ (Davison & Hinkley 1997, from memory). All resamples
    simulate with the same luck, so that they differ by what the habits are and hardly by chance.

    Examples
    --------
    >>> from analytics.core import simulator
    >>> me = Athlete(unmeasured_no_jump_share=0.0)
    >>> made = simulator.simulate(
    ...     me, attempts_by_session=[6] * 5, rng=np.random.default_rng(1)
    ... )
    >>> calmer = lambda habits: what_if.steadier(habits, first_step=5, last_step=1, factor=0.5)
    >>> changes = resampled_changes(
    ...     made.toe_m,
    ...     wind_mps=made.wind_mps,
    ...     session=made.session,
    ...     like=me,
    ...     change=calmer,
    ...     aims_m=(0.06, 0.06),
    ...     rng=np.random.default_rng(1),
    ...     n_resamples=3,
    ...     n_sessions=100,
    ... )
    >>> [each.no_jump_share < 0 for each in changes]
    [True, True, True]
    """
    toe, wind = np.asarray(toe_m, dtype=np.float64), np.asarray(wind_mps, dtype=np.float64)
    beyond = np.zeros(toe.shape[0], dtype=np.bool_) if no_jump is None else np.asarray(no_jump)
    labels = np.unique(np.asarray(session), return_inverse=True)[1]
    days = [np.flatnonzero(labels == day) for day in range(int(labels.max(initial=-1)) + 1)]
    luck = int(rng.integers(2**63))
    for _ in range(n_resamples):
        drawn = _drawn(days, rng)
        me = own_habits.own_habits(
            toe[drawn], like=like, wind_mps=wind[drawn], no_jump=beyond[drawn]
        )
        if isinstance(me, NotEnoughAttempts):
            yield None
            continue
        found = what_if.what_if(
            me,
            change(me),
            rng=np.random.default_rng(luck),
            n_sessions=n_sessions,
            aims_m=aims_m,
        )
        yield Changes(
            no_jump_share=found.no_jump_share.change,
            mean_square_error_m2=found.mean_square_error_m2.change,
            official_m=None if found.official_m is None else found.official_m.change,
        )


def n_drawn(session: npt.ArrayLike) -> int:
    """Return how many sessions, or else attempts, `resampled_changes` draws at a time.

    That is what a range has its degrees of freedom from.

    Parameters
    ----------
    session
        Shape (n,): which session each attempt was made in.

    Examples
    --------
    >>> n_drawn([0, 0, 1, 1, 2, 3, 4]), n_drawn([0, 0, 1, 1])
    (5, 4)
    """
    labels = np.asarray(session)
    n_days = int(np.unique(labels).size)
    return n_days if n_days >= MIN_WHOLE_SESSIONS else int(labels.size)


def known_to(
    changes: Sequence[Changes], *, estimate: Changes, drawn: int
) -> KnownTo | NotEnoughAttempts:
    """Return within what the changes lie.

    Parameters
    ----------
    changes
        Of the resamples that had one.
    estimate
        From the attempts as they are.
    drawn
        How many sessions or attempts were drawn at a time (`n_drawn`), at least 2.

    Returns
    -------
    KnownTo or NotEnoughAttempts
        `MIN_RESAMPLES` are needed; n counts resamples.

    Raises
    ------
    ValueError
        Fewer than 2 drawn.

    Notes
    -----
    The estimate, give or take t on ``drawn - 1`` degrees of freedom times the SD over resamples
    times ``sqrt(drawn / (drawn - 1))``: a resample knows its own mean, and so spreads too little by
    that much. t is that of 95 %; with few sessions, and habits that the model does not know, it
    covered about `COVERED` (docs/metrics/what_if.md), which is the level that is stated. The middle
    95 % of the resamples in its place covered less.

    Examples
    --------
    >>> changes = [Changes(n / 60, 0.0, None) for n in range(61)]
    >>> found = known_to(changes, estimate=Changes(0.5, 0.0, None), drawn=8)
    >>> round(found.no_jump_share.low, 2), found.official_m is None
    (-0.25, True)
    """
    if drawn < 2:
        raise ValueError(f"a range needs 2 drawn at a time at least, got {drawn}")
    if len(changes) < MIN_RESAMPLES:
        return NotEnoughAttempts(n=len(changes), needed=MIN_RESAMPLES)
    distances = [each.official_m for each in changes if each.official_m is not None]
    return KnownTo(
        n_resamples=len(changes),
        no_jump_share=_range(
            [each.no_jump_share for each in changes], estimate.no_jump_share, drawn
        ),
        mean_square_error_m2=_range(
            [each.mean_square_error_m2 for each in changes], estimate.mean_square_error_m2, drawn
        ),
        official_m=(
            _range(distances, estimate.official_m, drawn)
            if estimate.official_m is not None and len(distances) == len(changes)
            else None
        ),
    )


def _drawn(days: Sequence[IntArray], rng: np.random.Generator) -> IntArray:
    """Return the places of attempts whose sessions are drawn, and where these are few they too."""
    chosen = [days[day] for day in rng.integers(len(days), size=len(days))]
    if len(days) < MIN_WHOLE_SESSIONS:
        chosen = [rng.choice(day, size=day.size) for day in chosen]
    return np.concatenate(chosen)


def _range(values: Sequence[float], estimate: float, drawn: int) -> Interval:
    made = conventions.t_interval(
        estimate=estimate,
        standard_error=float(np.std(values, ddof=1) * np.sqrt(drawn / (drawn - 1))),
        df=drawn - 1,
        level=DEFAULT_LEVEL,
    )
    return replace(made, level=COVERED)
