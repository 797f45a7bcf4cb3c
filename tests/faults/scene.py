"""Make clubs in a stack's database and print them: `python -m tests.faults.scene 3`.

A program of its own, since it must speak to the stack's database, not to the tests' one.
"""

import json
import secrets
import sys
from dataclasses import asdict, dataclass
from datetime import date, timedelta
from typing import Any, Self

FIRST_DATE = date(2026, 5, 2)
SERIES_PER_CLUB = 4
# Enough for a chart to find its baseline, and then to see something else.
SESSIONS_PER_CLUB = 8


@dataclass(frozen=True)
class Scene:
    """A club that can be pushed for; attempts of one athlete are one series."""

    club: str
    club_id: str
    device_token: str
    reader_token: str
    sessions: list[str]
    series: dict[str, str]  # an athlete's code, and the approach

    @classmethod
    def from_json(cls, fields: dict[str, Any]) -> Self:
        return cls(**fields)


def make_scene() -> Scene:
    from clubs.models import Role  # noqa: PLC0415  # Django must be set up first
    from tests import factories  # noqa: PLC0415  # the same

    # Several runs of this program share a database.
    club = factories.make_club(slug=f"club-{secrets.token_hex(4)}")
    admin = factories.make_member(club, Role.ADMIN)
    series = {}
    for _ in range(SERIES_PER_CLUB):
        athlete = factories.make_athlete(club)
        approach = factories.make_approach(athlete)
        factories.make_plan(approach)
        series[athlete.code] = str(approach.id)
    return Scene(
        club=club.slug,
        club_id=str(club.id),
        device_token=factories.make_device_token(club),
        reader_token=factories.make_person_token(admin),
        sessions=[
            factories.make_session(club, held_date=FIRST_DATE + timedelta(days=day)).code
            for day in range(SESSIONS_PER_CLUB)
        ],
        series=series,
    )


def main(count: int) -> None:
    import django  # noqa: PLC0415  # only the program needs it, not who reads a scene

    django.setup()
    for _ in range(count):
        sys.stdout.write(json.dumps(asdict(make_scene())) + "\n")


if __name__ == "__main__":
    main(int(sys.argv[1]))
