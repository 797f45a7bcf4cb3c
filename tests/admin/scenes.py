"""A club with a row of every kind, and a browser for one of its people."""

from datetime import date
from typing import Any

from django.db.models import Model
from django.test import Client
from django.urls import reverse

from analytics.models import AlertRule, SeriesState
from approaches.models import Attempt, FinishClass, PendingRefresh, QuarantinedRow
from approaches.services import pushing
from athletes.models import BodyMeasurement, CoachAssignment, Consent, SprintTest, SquadMember
from clubs.models import AccessToken, AuditEntry, Club, Membership, Role
from clubs.services import people, places
from common.club_scope import club_scope
from tests.factories import (
    make_advice,
    make_alert,
    make_approach,
    make_athlete,
    make_device_token,
    make_gate_run,
    make_member,
    make_plan,
    make_reading,
    make_session,
    make_source,
    make_work,
    rows_of,
)

PASSWORD = "a-long-run-up-and-a-jump"
BACKEND = "django.contrib.auth.backends.ModelBackend"

# The inlines of each page, by the prefix of their fields.
INLINES = {
    "athletes_athlete": ("squad_times", "measurements", "consents"),
    "clubs_squad": ("members",),
    "clubs_runway": ("boards",),
    "clubs_source": ("tokens",),
    "approaches_approach": ("plans",),
}

Rows = dict[type[Model], Any]


def log_in(membership: Membership) -> Client:
    """Return a browser in which the person is logged in."""
    browser = Client()
    browser.force_login(membership.user, backend=BACKEND)
    return browser


def furnish_club(club: Club) -> Rows:
    """Give the club a row of every kind that a page shows; return one of each."""
    source = make_source(club)
    make_device_token(club, source=source)
    coach = make_member(club, Role.COACH)
    athlete = make_athlete(club)
    approach = make_approach(athlete)
    plan = make_plan(approach)
    session = make_session(club)
    runway = places.add_runway(
        club=club, name="North", surface="polyurethane", boards=[("long_jump", 2.0)]
    )
    squad = people.add_squad(club=club, name="Juniors")
    pushing.record_attempts(
        club=club,
        source_id=source.id,
        rows=rows_of(make_reading(athlete, session), make_reading(athlete, session, finish="fly")),
    )
    # Five minutes off: too far to find the attempt by itself, near enough to suggest it.
    run = make_gate_run(source, athlete, started_at="2026-05-02T09:19:07.250+02:00")
    today = date(2026, 5, 2)
    of_club: dict[str, Any] = {"club": club}
    of_athlete = {**of_club, "athlete": athlete}
    with club_scope(club):
        attempt = Attempt.objects.get()
        SquadMember.objects.create(squad=squad, from_date=today, **of_athlete)
        BodyMeasurement.objects.create(measured_date=today, height_m=1.7, **of_athlete)
        Consent.objects.create(
            purpose="training_records",
            given_by="guardian",
            text_version="1",
            from_date=today,
            **of_athlete,
        )
        series = {**of_club, "approach": approach, "finish_class": FinishClass.JUMP}
        rows = [
            club,
            runway,
            runway.boards.get(),
            coach,
            source,
            AccessToken.objects.get(),
            AuditEntry.objects.filter(subject_kind="token").get(),
            athlete,
            squad,
            CoachAssignment.objects.create(
                coach=coach, squad=squad, from_date=today, until_date=None, **of_club
            ),
            SprintTest.objects.create(
                tested_date=today,
                start="standing",
                splits=[{"at_m": 10, "time_s": 1.85}],
                **of_athlete,
            ),
            approach,
            plan,
            session,
            attempt,
            run,
            QuarantinedRow.objects.get(),
            PendingRefresh.objects.get(),
            SeriesState.objects.create(method=1, n_attempts=1, through_attempt=attempt, **series),
            make_alert(attempt),
            make_work(athlete, state="failed", failure="broken", last_error="KeyError"),
            make_advice(attempt),
            AlertRule.objects.create(club=club, kind="level", thresholds={"calm_sessions": 3}),
        ]
    return {type(row): row for row in rows}


def save(browser: Client, club: Club, page: str, fields: dict[str, Any], *, row: Any = None) -> Any:
    """Send a page's form as the page would, with its inlines empty but for `fields`."""
    counts = {
        f"{prefix}-{count}": "0"
        for prefix in INLINES.get(page, ())
        for count in ("TOTAL_FORMS", "INITIAL_FORMS", "MIN_NUM_FORMS", "MAX_NUM_FORMS")
    }
    target = (
        reverse(f"admin:{page}_add")
        if row is None
        else reverse(f"admin:{page}_change", args=[row.pk])
    )
    return browser.post(target, {"_club": str(club.id), **counts, **fields})


def errors_of(answer: Any) -> dict[str, list[str]]:
    assert answer.status_code == 200
    return dict(answer.context["adminform"].form.errors)
