"""What is stored of an athlete's season: run-ups, plans, days, alerts, advice, body."""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from datetime import date, datetime, time, timedelta
from typing import Any
from uuid import UUID
from zoneinfo import ZoneInfo

from django.db.models import Q

from analytics.models import Advice, Alert
from analytics.selectors.run_ups import RunUps, read_run_ups
from analytics.selectors.series import Series
from approaches.models import Approach, Attempt, FinishClass, PendingRefresh, Plan, Session
from athletes import selectors as athlete_selectors
from athletes.models import Athlete
from clubs.models import Club
from clubs.selectors import Caller
from common import prepared

MOST_ATTEMPTS = 5000
"""Of one run-up in one season: ten times as many as a busy one has."""


@dataclass(frozen=True, slots=True)
class SeasonSession:
    """A day on which somebody jumped."""

    id: UUID
    code: str
    held_date: date
    kind: str


@dataclass(frozen=True, slots=True)
class SeasonJump:
    """A full jump that was landed or was a no jump, for the count of the load."""

    held_date: date
    session_id: UUID
    steps: int


@dataclass(frozen=True, eq=False)
class SeasonRunUp:
    """One run-up with its jumps and pop-ups of the season.

    Attributes
    ----------
    plans
        Revisions that were in force on a day of the season, in order.
    n_run_throughs
        Of the season; they are a series of their own.
    """

    approach: Approach
    plans: Sequence[Plan]
    run_ups: RunUps
    n_run_throughs: int


@dataclass(frozen=True, eq=False)
class Season:
    """Everything that a season report is made of.

    Attributes
    ----------
    heights
        Day, as `date.toordinal` counts, and height of every measurement until the last day.
    is_stale
        Newer attempts wait to be computed, so that alerts may be behind.
    """

    athlete: Athlete
    from_date: date
    to_date: date
    run_ups: Sequence[SeasonRunUp]
    sessions: Mapping[UUID, SeasonSession]
    alerts: Sequence[Alert]
    advice: Sequence[Advice]
    heights: Sequence[tuple[int, float]]
    jumps: Sequence[SeasonJump]
    is_stale: bool

    @property
    def key(self) -> tuple[Any, ...]:
        """Return what tells what was measured in this season from any other."""
        sessions = tuple(sorted(self.sessions.values(), key=lambda each: each.id))
        plans = (plan.id for each in self.run_ups for plan in each.plans)
        body = (self.athlete.birth_date, *self.heights, *self.jumps)
        run_ups = ((each.run_ups.key, each.n_run_throughs) for each in self.run_ups)
        return (self.from_date, self.to_date, sessions, *plans, *body, *run_ups)


_JUMPS = """
    SELECT s.held_date, a.session_id, r.steps
      FROM approaches_attempt AS a
      JOIN approaches_session AS s ON s.club_id = a.club_id AND s.id = a.session_id
      JOIN approaches_approach AS r ON r.club_id = a.club_id AND r.id = a.approach_id
     WHERE a.approach_id = ANY(%s) AND a.started_at >= %s AND a.started_at < %s
       AND a.finish = 'jump' AND a.outcome <> 'baulk' AND a.voided_at IS NULL
       AND a.left_out IS DISTINCT FROM 'partial' AND a.left_out IS DISTINCT FROM 'baulk'
     ORDER BY s.held_date, a.started_at, a.id
"""


def read_season_for(
    caller: Caller, athlete_id: UUID, *, from_date: date, to_date: date, today: date
) -> Season:
    """Return the season of an athlete whom the caller may see, both days included.

    Raises
    ------
    UnknownAthleteError
        There is none, or it is a stranger.
    """
    athlete = athlete_selectors.get_athlete_for(caller, athlete_id, today=today)
    return read_season(caller.club, athlete, from_date=from_date, to_date=to_date)


def read_season(club: Club, athlete: Athlete, *, from_date: date, to_date: date) -> Season:
    """Return the season of an athlete of the club in scope, both days included."""
    between = moments_of(club, from_date, to_date)
    approaches = list(Approach.objects.filter(athlete=athlete).order_by("event", "steps", "code"))
    ids = [each.id for each in approaches]
    found = [_read_run_up(each, between) for each in approaches]
    run_ups = [each for each in found if len(each.run_ups) or each.n_run_throughs]
    session_ids = {id_ for each in run_ups for id_ in each.run_ups.session_ids}
    sessions = Session.objects.filter(id__in=session_ids)
    return Season(
        athlete=athlete,
        from_date=from_date,
        to_date=to_date,
        run_ups=run_ups,
        sessions={
            each.id: SeasonSession(each.id, each.code, each.held_date, each.kind)
            for each in sessions
        },
        alerts=list(
            Alert.objects.filter(approach_id__in=ids)
            .filter(_overlaps(between))
            .order_by("opened_at", "id")
        ),
        advice=list(
            Advice.objects.filter(
                approach_id__in=ids, decided_at__gte=between[0], decided_at__lt=between[1]
            ).order_by("decided_at", "id")
        ),
        heights=[
            (each.measured_date.toordinal(), each.height_m)
            for each in athlete_selectors.list_measurements(athlete)
            .filter(measured_date__lte=to_date)
            .order_by("measured_date", "id")
        ],
        jumps=prepared.read_rows(_JUMPS, (ids, *between), make=SeasonJump),
        is_stale=PendingRefresh.objects.filter(approach_id__in=ids).exists(),
    )


def moments_of(club: Club, from_date: date, to_date: date) -> tuple[datetime, datetime]:
    """Return when the first day begins and the last is over, where the club is."""
    zone = ZoneInfo(club.time_zone)
    return (
        datetime.combine(from_date, time(), zone),
        datetime.combine(to_date + timedelta(days=1), time(), zone),
    )


def _read_run_up(approach: Approach, between: tuple[datetime, datetime]) -> SeasonRunUp:
    begin, end = between
    plans = list(Plan.objects.filter(approach=approach, valid_from__lt=end).order_by("revision"))
    # The last one from before the season is in force on its first day.
    earlier = [each for each in plans if each.valid_from <= begin]
    return SeasonRunUp(
        approach=approach,
        plans=[*earlier[-1:], *(each for each in plans if each.valid_from > begin)],
        run_ups=read_run_ups(
            Series(approach.id, FinishClass.JUMP), last=MOST_ATTEMPTS, between=between
        ),
        n_run_throughs=Attempt.objects.filter(
            approach=approach,
            finish="run_through",
            started_at__gte=begin,
            started_at__lt=end,
            voided_at=None,
            left_out=None,
        ).count(),
    )


def _overlaps(between: tuple[datetime, datetime]) -> Q:
    begin, end = between
    return Q(opened_at__lt=end) & (Q(closed_at=None) | Q(closed_at__gte=begin))
