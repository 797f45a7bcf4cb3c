"""What a season brought to an athlete. Figures only; `season_words` says them.

Nothing here compares athletes.
"""

from collections.abc import Iterator
from dataclasses import dataclass
from datetime import date
from uuid import UUID

import numpy as np

from analytics.answers import expecting
from analytics.answers.season_run_up import RunUpSeason, work_out_run_up
from analytics.core import growth, jump_load
from analytics.core.growth import Growth, NotEnoughMeasures
from analytics.core.jump_load import WEEK_DAYS, JumpLoad
from analytics.selectors import RunUps
from analytics.selectors.seasons import Season, SeasonRunUp
from approaches.models import SessionKind

PAIR = 2
"""Steps fewer than the longest run-up has from which a jump still counts as one from a full one."""


@dataclass(frozen=True, slots=True)
class Best:
    """A full jump that was farther than any before it in the season."""

    attempt: UUID
    held_date: date
    session_code: str
    kind: str
    approach_code: str
    steps: int
    distance_m: float
    toe_m: float | None
    wind_mps: float | None


@dataclass(frozen=True, slots=True)
class Bests:
    """How the best of an event grew: official distances, and official plus toe-to-board."""

    event: str
    n: int
    official: tuple[Best, ...]
    effective: tuple[Best, ...]


@dataclass(frozen=True, slots=True)
class Competition:
    """One competition from one run-up.

    Attributes
    ----------
    n, n_no_jumps
        Jumps that were taken; baulks are none.
    mean_error_m, n_measured
        Mean toe against the aim; None where none was measured. Of one day: no habit.
    start_marks_m
        Those that were used, the nearest and the farthest; None where nobody said so.
    """

    session: UUID
    code: str
    held_date: date
    approach: UUID
    approach_code: str
    n: int
    n_no_jumps: int
    best_m: float | None
    best_toe_m: float | None
    best_effective_m: float | None
    n_measured: int
    mean_error_m: float | None
    wind_low_mps: float | None
    wind_high_mps: float | None
    start_marks_m: tuple[float, float] | None


@dataclass(frozen=True, slots=True)
class Length:
    """A number of steps that was jumped from."""

    event: str
    steps: int
    approach_code: str
    n: int
    first_date: date
    last_date: date
    best_m: float | None


@dataclass(frozen=True, slots=True)
class Grown:
    """Heights of the season, and what was grown between the first and the last of them.

    Attributes
    ----------
    heights
        Day and height; the last one before the season stands for its first day.
    grown_m
        None with fewer than two.
    growth
        As it stands on the last day.
    """

    heights: tuple[tuple[date, float], ...]
    grown_m: float | None
    growth: Growth | NotEnoughMeasures


@dataclass(frozen=True, slots=True)
class SeasonLoad:
    """Full jumps by weeks of seven days, the last of which ends with the season."""

    load: JumpLoad
    first_week_from_date: date
    longest_steps: int | None


@dataclass(frozen=True, eq=False)
class AthleteSeason:
    """The season of an athlete."""

    season: Season
    n: int
    n_sessions: int
    run_ups: tuple[RunUpSeason, ...]
    bests: tuple[Bests, ...]
    competitions: tuple[Competition, ...]
    lengths: tuple[Length, ...]
    grown: Grown
    load: SeasonLoad


def work_out(season: Season) -> AthleteSeason:
    """Return the figures of a season."""
    session_ids = {id_ for each in season.run_ups for id_ in each.run_ups.session_ids}
    return AthleteSeason(
        season=season,
        n=sum(len(each.run_ups) for each in season.run_ups),
        n_sessions=len(session_ids),
        run_ups=tuple(work_out_run_up(each, season) for each in season.run_ups),
        bests=tuple(_bests(season)),
        competitions=_competitions(season),
        lengths=_lengths(season),
        grown=_grown(season),
        load=_load(season),
    )


def _bests(season: Season) -> Iterator[Bests]:
    """Find how the best grew, event by event: one is not held against the other."""
    for event in sorted({each.approach.event for each in season.run_ups}):
        those = [each for each in season.run_ups if each.approach.event == event]
        official = _jumps(those, season, effective=False)
        yield Bests(
            event=event,
            n=len(official),
            official=_rising(official),
            effective=_rising(_jumps(those, season, effective=True)),
        )


def _jumps(run_ups: list[SeasonRunUp], season: Season, *, effective: bool) -> list[Best]:
    """Return the full jumps with a distance, in order."""
    jumps = []
    for found in run_ups:
        of_run_up = found.run_ups
        distance = expecting.effective_m(of_run_up) if effective else of_run_up.official_m
        for place in np.flatnonzero(of_run_up.is_jump & (distance > 0)).tolist():
            session = season.sessions[of_run_up.session_ids[place]]
            best = Best(
                attempt=of_run_up.ids[place],
                held_date=session.held_date,
                session_code=session.code,
                kind=session.kind,
                approach_code=found.approach.code,
                steps=found.approach.steps,
                distance_m=round(float(distance[place]), 3),
                toe_m=_or_none(of_run_up.board_toe_m[place]),
                wind_mps=_or_none(of_run_up.wind_mps[place]),
            )
            jumps.append((of_run_up.started_at[place], of_run_up.ids[place], best))
    return [best for _, _, best in sorted(jumps, key=lambda each: each[:2])]


def _rising(jumps: list[Best]) -> tuple[Best, ...]:
    """Return each jump that was farther than all before it."""
    rising: list[Best] = []
    for jump in jumps:
        if not rising or jump.distance_m > rising[-1].distance_m:
            rising.append(jump)
    return tuple(rising)


def _or_none(value: float) -> float | None:
    return None if np.isnan(value) else float(value)


def _competitions(season: Season) -> tuple[Competition, ...]:
    found = []
    for each in season.run_ups:
        run_ups = each.run_ups
        for session_id in dict.fromkeys(run_ups.session_ids):
            session = season.sessions[session_id]
            if session.kind != SessionKind.COMPETITION.value:
                continue
            those = np.array([id_ == session_id for id_ in run_ups.session_ids], dtype=np.bool_)
            found.append(
                _competition(each, run_ups.those(those & run_ups.is_jump), season, session_id)
            )
    return tuple(sorted(found, key=lambda each: (each.held_date, each.code, each.approach_code)))


def _competition(
    found: SeasonRunUp, jumps: RunUps, season: Season, session_id: UUID
) -> Competition:
    session = season.sessions[session_id]
    error = (jumps.board_toe_m - jumps.aim_m)[~np.isnan(jumps.board_toe_m)]
    winds, marks = (values[~np.isnan(values)] for values in (jumps.wind_mps, jumps.start_mark_m))
    official, effective = jumps.official_m, expecting.effective_m(jumps)
    place = int(np.nanargmax(official)) if (official > 0).any() else None
    return Competition(
        session=session_id,
        code=session.code,
        held_date=session.held_date,
        approach=found.approach.id,
        approach_code=found.approach.code,
        n=len(jumps),
        n_no_jumps=int(np.count_nonzero(jumps.no_jump | (jumps.board_toe_m < 0))),
        best_m=None if place is None else float(official[place]),
        best_toe_m=None if place is None else _or_none(jumps.board_toe_m[place]),
        best_effective_m=None if np.isnan(effective).all() else float(np.nanmax(effective)),
        n_measured=int(error.size),
        mean_error_m=float(error.mean()) if error.size else None,
        wind_low_mps=float(winds.min()) if winds.size else None,
        wind_high_mps=float(winds.max()) if winds.size else None,
        start_marks_m=(float(marks.min()), float(marks.max())) if marks.size else None,
    )


def _lengths(season: Season) -> tuple[Length, ...]:
    """Return the numbers of steps that were jumped from, in the order of their first jumps."""
    lengths = []
    for found in season.run_ups:
        jumps = found.run_ups.those(found.run_ups.is_jump)
        if not len(jumps):
            continue
        days = [season.sessions[each].held_date for each in jumps.session_ids]
        official = jumps.official_m[jumps.official_m > 0]
        lengths.append(
            Length(
                event=found.approach.event,
                steps=found.approach.steps,
                approach_code=found.approach.code,
                n=len(jumps),
                first_date=min(days),
                last_date=max(days),
                best_m=float(official.max()) if official.size else None,
            )
        )
    return tuple(sorted(lengths, key=lambda each: (each.first_date, each.steps)))


def _grown(season: Season) -> Grown:
    days, heights = zip(*season.heights, strict=True) if season.heights else ((), ())
    first = season.from_date.toordinal()
    before = [each for each in season.heights if each[0] < first]
    inside = [*before[-1:], *(each for each in season.heights if each[0] >= first)]
    return Grown(
        heights=tuple((date.fromordinal(day), height_m) for day, height_m in inside),
        grown_m=round(inside[-1][1] - inside[0][1], 4) if len(inside) > 1 else None,
        growth=growth.follow_growth(days, heights, today=season.to_date.toordinal()),
    )


def _load(season: Season) -> SeasonLoad:
    """Count full jumps by week: from the longest run-up, and those nearly as long."""
    longest = max((each.steps for each in season.jumps), default=None)
    full = [each for each in season.jumps if longest is not None and each.steps >= longest - PAIR]
    n_weeks = -(-((season.to_date - season.from_date).days + 1) // WEEK_DAYS)
    last = season.to_date.toordinal()
    return SeasonLoad(
        load=jump_load.sum_up_load(
            [each.held_date.toordinal() for each in full],
            today=last,
            session=[str(each.session_id) for each in full],
            n_weeks=n_weeks,
        ),
        first_week_from_date=date.fromordinal(last - WEEK_DAYS * n_weeks + 1),
        longest_steps=longest,
    )
