"""Who jumps: what is known of an athlete that a run-up is laid out for."""

from collections.abc import Mapping
from dataclasses import dataclass
from datetime import date
from uuid import UUID

from analytics.core import run_up_lengths
from analytics.selectors.run_ups import RunUps, read_run_ups_for
from analytics.selectors.series import Series
from approaches import selectors as approach_selectors
from approaches.models import Approach, FinishClass
from athletes import selectors as athlete_selectors
from athletes.models import Athlete
from clubs.selectors import Caller

# Older sprints are of another athlete; the latest that tells a curve is taken.
MOST_SPRINTS = 10
_DAYS_OF_YEAR = 365.25


@dataclass(frozen=True, slots=True)
class TimedSprint:
    """A stored sprint test."""

    id: UUID
    tested_date: date
    start: str
    at_m: tuple[float, ...]
    time_s: tuple[float, ...]


@dataclass(frozen=True, slots=True)
class Jumper:
    """What is known of an athlete today.

    Attributes
    ----------
    height_m, measured_date
        The latest measurement; None without one.
    sprints
        The latest first.
    """

    athlete_id: UUID
    age_years: float
    take_off_foot: str | None
    shoe_length_m: float | None
    height_m: float | None
    measured_date: date | None
    sprints: tuple[TimedSprint, ...]


@dataclass(frozen=True, slots=True, eq=False)
class OwnRunUp:
    """A stored run-up of an athlete, with its latest attempts of one kind.

    Attributes
    ----------
    shorter
        Attempts from the athlete's other run-ups of the event and the start, by number of steps.
    """

    approach_id: UUID
    event: str
    steps: int
    start_style: str
    jumper: Jumper
    run_ups: RunUps
    shorter: Mapping[int, RunUps]


def read_jumper_for(caller: Caller, athlete_id: UUID, *, today: date) -> Jumper:
    """Return what is known of an athlete whom the caller may see.

    Raises
    ------
    UnknownAthleteError
        There is none, or it is a stranger.
    """
    return _jumper_of(
        athlete_selectors.get_athlete_for(caller, athlete_id, today=today), today=today
    )


def read_own_run_up_for(
    caller: Caller,
    approach_id: UUID,
    *,
    last: int,
    today: date,
    finish_class: FinishClass = FinishClass.JUMP,
    with_shorter: bool = False,
) -> OwnRunUp:
    """Return a run-up of an athlete whom the caller may see, with its `last` attempts.

    With `with_shorter` also the attempts from the athlete's short and medium run-ups; of several
    with as many steps the one that was made last.

    Raises
    ------
    NotFoundError
        There is no such run-up, or it is a stranger's.
    """
    approach = approach_selectors.get_approach_for(caller, approach_id, today=today)
    athlete = athlete_selectors.get_athlete_for(caller, approach.athlete_id, today=today)
    others = Approach.objects.filter(
        athlete=athlete,
        event=approach.event,
        start_style=approach.start_style,
        steps__in=run_up_lengths.short_and_medium(approach.steps) if with_shorter else (),
    ).order_by("created_at", "id")
    by_steps = {each.steps: each.id for each in others}

    def read(of: UUID) -> RunUps:
        return read_run_ups_for(caller, Series(of, finish_class), last=last, today=today)

    return OwnRunUp(
        approach_id=approach.id,
        event=approach.event,
        steps=approach.steps,
        start_style=approach.start_style,
        jumper=_jumper_of(athlete, today=today),
        run_ups=read(approach.id),
        shorter={steps: read(of) for steps, of in by_steps.items()},
    )


def _jumper_of(athlete: Athlete, *, today: date) -> Jumper:
    measured = (
        athlete_selectors.list_measurements(athlete)
        .filter(measured_date__lte=today)
        .order_by("-measured_date")
        .first()
    )
    sprints = (
        athlete_selectors.list_sprint_tests(athlete)
        .filter(tested_date__lte=today)
        .order_by("-tested_date", "-id")[:MOST_SPRINTS]
    )
    return Jumper(
        athlete_id=athlete.id,
        age_years=(today - athlete.birth_date).days / _DAYS_OF_YEAR,
        take_off_foot=athlete.take_off_foot,
        shoe_length_m=athlete.shoe_length_m,
        height_m=None if measured is None else measured.height_m,
        measured_date=None if measured is None else measured.measured_date,
        sprints=tuple(
            TimedSprint(
                id=each.id,
                tested_date=each.tested_date,
                start=each.start,
                at_m=tuple(float(split["at_m"]) for split in each.splits),
                time_s=tuple(float(split["time_s"]) for split in each.splits),
            )
            for each in sprints
        ),
    )
