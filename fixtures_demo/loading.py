"""Put the demo club into the database, through the services that clubs use in earnest."""

from __future__ import annotations

import json
from collections.abc import Callable
from datetime import date, datetime, time
from uuid import UUID

import numpy as np

from analytics.services import refreshing, sweeping
from approaches.models import Approach, SessionKind, StartStyle
from approaches.services import pushing, records, sessions
from approaches.services.batches import read_json_batch
from approaches.services.readings import ATTEMPTS
from athletes.models import Athlete, BodyMeasurement, Consent, Foot, SprintTest
from athletes.services import coaching, joining
from athletes.services import records as athlete_records
from clubs import selectors as club_selectors
from clubs.models import Club, Event, Role, Runway, Source, SourceKind, Squad, User
from clubs.services import access, founding, people, places
from common.club_scope import club_scope
from fixtures_demo import season
from fixtures_demo.cast import JUMPERS
from fixtures_demo.jumpers import SENIORS, YOUTH, Jumper, Revision

CLUB_ID = UUID("01999f3a-7d00-7c1b-9b0a-5f2d8e4c7a61")
SLUG = "lc-ulmenfurt"
# The domain is reserved for examples (RFC 2606): no mail ever reaches anybody.
ADMIN_EMAIL = "office@ulmenfurt.example"
COACH_EMAIL = "coach@ulmenfurt.example"
ATHLETE_EMAIL, ATHLETE_WITH_LOG_IN = "mira@ulmenfurt.example", "A-04"
SOURCE_NAME = "Gates and laser at the runway"

OF_AGE_YEARS = 18
SPRINT_SPLITS_M = (5, 10, 20, 30)
# A run-up reaches about 95 % of an athlete's sprint speed (common practice, no source).
RUN_UP_SHARE = 0.95

Progress = Callable[[str, int, int], None]
"""Told what is counted, how many are done, and of how many."""


class ForeignClubError(Exception):
    """A club that is not the demo club has its short name."""


def load_club(*, progress: Progress) -> bool:
    """Load the demo club unless it is there; return whether it was loaded.

    One transaction: a load that is interrupted leaves nothing, and the next one begins anew.

    Raises
    ------
    ForeignClubError
        Another club has taken the short name.
    """
    with club_scope(CLUB_ID):
        if Club.objects.filter(id=CLUB_ID).exists():
            return False
        if club_selectors.find_club_id(SLUG) is not None:
            raise ForeignClubError(f"A club {SLUG} exists that is not the demo club.")
        club = founding.found_club(
            club_id=CLUB_ID,
            slug=SLUG,
            name="LC Ulmenfurt",
            country="AT",
            time_zone=season.ZONE.key,
        )
        squads = _add_people(club)
        source = access.add_source(club=club, name=SOURCE_NAME, kind=SourceKind.DEVICE)
        runways = _add_runways(club)
        for meeting in season.meetings():
            sessions.add_session(
                club=club,
                code=meeting.code,
                held_date=meeting.held_date,
                kind=SessionKind(meeting.kind),
                runway=runways[meeting.runway],
                weather=meeting.weather,
                field_size=meeting.field_size,
            )
        for done, jumper in enumerate(JUMPERS, 1):
            _add_jumper(club, jumper, squads[jumper.squad], source)
            progress("athletes with their season", done, len(JUMPERS))
    return True


def finish_figures(*, progress: Progress) -> int:
    """Compute the figures that wait in the demo club; return how many series still do."""
    due = [series for series in sweeping.list_due_series() if series[0] == CLUB_ID]
    for done, (club_id, approach_id, finish_class) in enumerate(due, 1):
        refreshing.refresh_series(
            club_id=club_id, approach_id=approach_id, finish_class=finish_class
        )
        progress("series with their figures", done, len(due))
    return sum(club_id == CLUB_ID for club_id, _, _ in sweeping.list_due_series())


def _add_people(club: Club) -> dict[str, Squad]:
    people.add_member(club=club, email=ADMIN_EMAIL, role=Role.ADMIN)
    coach = people.add_member(club=club, email=COACH_EMAIL, role=Role.COACH)
    squads = {name: people.add_squad(club=club, name=name) for name in (SENIORS, YOUTH)}
    for squad in squads.values():
        coaching.assign_coach(club=club, coach=coach, squad=squad, from_date=date(2025, 9, 1))
    return squads


def _add_runways(club: Club) -> dict[str, Runway]:
    # Boards 1 to 3 m from the pit for the long jump, 9 to 13 m for the triple jump.
    boards = [("long_jump", 2.0), ("triple_jump", 9.0), ("triple_jump", 11.0)]
    return {
        season.HALL: places.add_runway(
            club=club,
            name=season.HALL,
            surface="synthetic, on concrete",
            indoor=True,
            altitude_m=340.0,
            length_m=42.0,
            boards=boards,
        ),
        season.STADIUM: places.add_runway(
            club=club,
            name=season.STADIUM,
            surface="synthetic",
            altitude_m=340.0,
            direction_deg=265.0,
            length_m=46.0,
            boards=[*boards, ("triple_jump", 13.0)],
        ),
    }


def _add_jumper(club: Club, jumper: Jumper, squad: Squad, source: Source) -> None:
    """Enter an athlete with everything known of them."""
    joined = jumper.revisions[0].from_date
    athlete = athlete_records.add_athlete(
        club=club,
        code=jumper.code,
        given_name=jumper.given_name,
        family_name=jumper.family_name,
        birth_date=jumper.birth_date,
        take_off_foot=Foot(jumper.take_off_foot),
        shoe_length_m=jumper.shoe_length_m,
        user=_log_in_of(club, jumper),
    )
    joining.add_squad_member(club=club, squad=squad, athlete=athlete, from_date=joined)
    _add_consents(club, athlete, jumper, joined)
    BodyMeasurement.objects.bulk_create(
        BodyMeasurement(club=club, athlete=athlete, measured_date=day, height_m=height_m)
        for day, height_m in jumper.heights
    )
    _add_sprint_tests(club, athlete, jumper, joined)
    for each in (jumper, *(jumper.from_other(steps) for steps in jumper.shorter_steps)):
        _add_run_up(club, athlete, each)
    outcome = pushing.record_attempts(
        club=club,
        source_id=source.id,
        rows=read_json_batch(json.dumps(season.history(jumper)).encode(), ATTEMPTS),
    )
    if not outcome.complete:
        # The season is ours: a row that the club refuses is a mistake in it.
        raise ValueError(f"{jumper.code}: {outcome.rows[0]}")


def _add_run_up(club: Club, athlete: Athlete, jumper: Jumper) -> None:
    approach = records.add_approach(
        club=club,
        athlete=athlete,
        code=jumper.approach_code,
        event=Event(jumper.event),
        steps=jumper.planned.n_steps,
        start_style=StartStyle(jumper.start_style),
    )
    for revision in jumper.revisions:
        _add_plan(club, approach, jumper, revision)


def _log_in_of(club: Club, jumper: Jumper) -> User | None:
    if jumper.code != ATHLETE_WITH_LOG_IN:
        return None
    return people.add_member(club=club, email=ATHLETE_EMAIL, role=Role.ATHLETE).user


def _add_consents(club: Club, athlete: Athlete, jumper: Jumper, from_date: date) -> None:
    of_age_date = jumper.birth_date.replace(year=jumper.birth_date.year + OF_AGE_YEARS)
    given_by = Consent.GivenBy.ATHLETE if of_age_date <= from_date else Consent.GivenBy.GUARDIAN
    Consent.objects.bulk_create(
        Consent(
            club=club,
            athlete=athlete,
            purpose=purpose,
            given_by=given_by,
            text_version="2025-09",
            from_date=from_date,
        )
        for purpose in (Consent.Purpose.TRAINING_RECORDS, Consent.Purpose.SHARING_WITH_COACHES)
    )


def _add_sprint_tests(club: Club, athlete: Athlete, jumper: Jumper, joined: date) -> None:
    tests = [
        meeting
        for meeting in season.meetings()
        if meeting.kind == "testing"
        and meeting.squad == jumper.squad
        and meeting.held_date >= joined
    ]
    SprintTest.objects.bulk_create(
        SprintTest(
            club=club,
            athlete=athlete,
            tested_date=meeting.held_date,
            start=SprintTest.Start.STANDING,
            splits=_splits(jumper, meeting.held_date),
        )
        for meeting in tests
    )


def _splits(jumper: Jumper, day: date) -> list[dict[str, float]]:
    """Return split times on the speed curve that the run-up follows, too."""
    habits = jumper.habits_on(day)
    top_mps, rise_s = habits.top_speed_mps / RUN_UP_SHARE, habits.rise_time_s
    time_s = np.linspace(0.0, 10.0, 10_001)
    run_m = top_mps * (time_s + rise_s * np.expm1(-time_s / rise_s))
    return [
        {"at_m": float(at_m), "time_s": round(float(np.interp(at_m, run_m, time_s)), 2)}
        for at_m in SPRINT_SPLITS_M
    ]


def _add_plan(club: Club, approach: Approach, jumper: Jumper, revision: Revision) -> None:
    toe_m = [float(place) for place in jumper.planned_toe_m(revision)]
    steps = jumper.planned.n_steps
    records.add_plan(
        club=club,
        approach_id=approach.id,
        valid_from=datetime.combine(revision.from_date, time(), tzinfo=season.ZONE),
        reason=revision.reason,
        marks=records.Marks(
            start_mark_m=toe_m[-1],
            aim_m=jumper.planned.aim_m,
            # The fifth footfall after the start, and the coach's mark four steps from the board.
            check_marks=[
                {"footfall": footfall, "at_m": toe_m[footfall]} for footfall in (steps - 5, 4)
            ],
            transition_footfall=steps - 6,
            # Of a short run-up the transition is a single step.
            attack_footfall=min(5, steps - 7),
            toe_m=toe_m[::-1],
            last_contacts=["ball", "flat", "flat"],
        ),
    )
