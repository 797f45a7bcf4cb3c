"""Runways and their boards."""

from collections.abc import Iterable, Mapping
from typing import Any
from uuid import UUID

from django.db.models import F

from clubs import selectors
from clubs.models import Board, Club, Runway
from clubs.services import auditing
from common.club_scope import club_scope
from common.errors import Fault, InvalidInputError, NotFoundError
from common.refusals import refuse_duplicates
from common.versions import Expected, change_row

# An event, and how far its take-off line lies from the pit, in metres.
BoardPlace = tuple[str, float]


def add_runway(
    *,
    club: Club,
    name: str,
    surface: str,
    indoor: bool = False,
    altitude_m: float = 0.0,
    direction_deg: float | None = None,
    length_m: float | None = None,
    boards: Iterable[BoardPlace] = (),
    caller: selectors.Caller | None = None,
) -> Runway:
    """Make a runway with its boards.

    Raises
    ------
    AlreadyExistsError
        The club has a runway of this name.
    InvalidInputError
        A board is given twice, or lies beyond the runway.
    """
    places = _check_boards(boards, length_m=length_m)
    with club_scope(club):
        with refuse_duplicates("name", f"There is a runway {name} already."):
            runway = Runway.objects.create(
                club=club,
                name=name,
                surface=surface,
                indoor=indoor,
                altitude_m=altitude_m,
                direction_deg=direction_deg,
                length_m=length_m,
            )
        _make_boards(runway, places)
        auditing.record_audit(
            club=club, caller=caller, action="runway_added", subjects={"runway": [runway.id]}
        )
        return runway


def change_runway(
    *,
    club: Club,
    runway_id: UUID,
    expected: Expected,
    changes: Mapping[str, Any],
    caller: selectors.Caller | None = None,
) -> Runway:
    """Change a runway; `boards` among the changes takes the place of all boards that it had.

    Raises
    ------
    NotFoundError
        The club has no such runway.
    StaleVersionError
        Somebody else changed it meanwhile.
    AlreadyExistsError
        The club has a runway of the new name.
    InvalidInputError
        A board is given twice, or lies beyond the runway.
    """
    with club_scope(club):
        runway = Runway.objects.select_for_update(no_key=True).filter(id=runway_id).first()
        if runway is None:
            raise NotFoundError
        own = {name: value for name, value in changes.items() if name != "boards"}
        before = {(board.event, board.to_pit_m) for board in runway.boards.all()}
        after = set(
            _check_boards(
                changes.get("boards", before), length_m=own.get("length_m", runway.length_m)
            )
        )
        with refuse_duplicates("name", "There is a runway of this name already."):
            changed = change_row(runway, expected=expected, changes=own)
        if after != before:
            for event, to_pit_m in before - after:
                runway.boards.filter(event=event, to_pit_m=to_pit_m).delete()
            _make_boards(runway, sorted(after - before))
            if not changed:  # a board is part of its runway, and so of its version
                Runway.objects.filter(id=runway.id).update(version=F("version") + 1)
                runway.version += 1
            changed = [*changed, "boards"]
        auditing.record_change(club=club, caller=caller, subject=runway, changed=changed)
        return runway


def _make_boards(runway: Runway, places: Iterable[BoardPlace]) -> None:
    for event, to_pit_m in places:
        Board.objects.create(club_id=runway.club_id, runway=runway, event=event, to_pit_m=to_pit_m)


def _check_boards(boards: Iterable[BoardPlace], *, length_m: float | None) -> list[BoardPlace]:
    places = list(boards)
    faults = []
    for index, (event, to_pit_m) in enumerate(places):
        if (event, to_pit_m) in places[:index]:
            faults.append(Fault(f"/boards/{index}", "given_twice", "This board is given already."))
        if length_m is not None and to_pit_m >= length_m:
            faults.append(
                Fault(
                    f"/boards/{index}/to_pit_m",
                    "board_off_runway",
                    f"The runway before the pit is {length_m} m long.",
                )
            )
    if faults:
        raise InvalidInputError(faults=faults)
    return places
