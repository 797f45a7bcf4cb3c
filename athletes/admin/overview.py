"""What an athlete's page shows of the club's records: who, where, with whose consent."""

from datetime import date
from typing import Any

from athletes import selectors
from athletes.models import Athlete, BodyMeasurement, SprintTest
from clubs.admin import Section, add_section
from clubs.selectors import Caller, today_at


def record(athlete: Athlete, caller: Caller) -> dict[str, Any]:
    """Gather who the athlete is, and what was measured last."""
    return {
        "athlete": athlete,
        "age": _age(athlete.birth_date, today_at(caller.club)),
        "measurement": BodyMeasurement.objects.filter(athlete=athlete)
        .order_by("-measured_date")
        .first(),
        "sprint": SprintTest.objects.filter(athlete=athlete)
        .order_by("-tested_date", "-id")
        .first(),
    }


def squads_and_coaches(athlete: Athlete, caller: Caller) -> dict[str, Any]:
    """Gather where the athlete trains today, and who may see the athlete's attempts."""
    today = today_at(caller.club)
    return {
        "squads": selectors.list_squads_of(athlete, today=today).order_by("squad__name"),
        "assignments": selectors.list_assignments_for(athlete, today=today).order_by(
            "coach__user__email", "from_date"
        ),
    }


def consents(athlete: Athlete, caller: Caller) -> dict[str, Any]:
    return {"states": selectors.list_consent_states(athlete, today=today_at(caller.club))}


def _age(birth_date: date, today: date) -> int:
    had_birthday = (today.month, today.day) >= (birth_date.month, birth_date.day)
    return today.year - birth_date.year - (not had_birthday)


add_section(
    Athlete, Section(30, "Squads and coaches", "athletes/admin/squads.html", squads_and_coaches)
)
add_section(Athlete, Section(40, "Consents", "athletes/admin/consents.html", consents))
add_section(Athlete, Section(50, "Record", "athletes/admin/record.html", record))
