"""Runways and their boards."""

from collections.abc import Iterable

from clubs.models import Board, Club, Runway
from common.club_scope import club_scope
from common.refusals import refuse_duplicates


def add_runway(
    *,
    club: Club,
    name: str,
    surface: str,
    indoor: bool = False,
    altitude_m: float = 0.0,
    direction_deg: float | None = None,
    length_m: float | None = None,
    boards: Iterable[tuple[str, float]] = (),
) -> Runway:
    """Make a runway with its boards, each an event and its distance to the pit."""
    with club_scope(club), refuse_duplicates("name", f"There is a runway {name} already."):
        runway = Runway.objects.create(
            club=club,
            name=name,
            surface=surface,
            indoor=indoor,
            altitude_m=altitude_m,
            direction_deg=direction_deg,
            length_m=length_m,
        )
        for event, to_pit_m in boards:
            Board.objects.create(club=club, runway=runway, event=event, to_pit_m=to_pit_m)
        return runway
