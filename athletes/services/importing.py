"""Athletes from a table or an array: all of its lines, or none."""

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import date
from typing import Any

from athletes.errors import RefusedImportError
from athletes.models import Athlete
from clubs.models import Club
from clubs.selectors import Caller, today_at
from clubs.services import auditing
from common.club_scope import club_scope
from common.errors import AlreadyExistsError, Fault
from common.refusals import refuse_duplicates

MAX_LINES = 2_000
MAX_FAULTS = 100


@dataclass(frozen=True, slots=True)
class ImportedLine:
    """One athlete of the table: where it stands, and what it says, the code among it."""

    place: str  # "Line 4" of a table, "Item 3" of an array
    fields: dict[str, Any]

    @property
    def code(self) -> str:
        return str(self.fields["code"])


@dataclass(frozen=True, slots=True)
class ImportOutcome:
    """How many athletes were new, were known as the table has them, and were changed."""

    received: int
    created: int
    known: int
    changed: int


def import_athletes(
    *,
    club: Club,
    lines: Sequence[ImportedLine],
    update: bool = False,
    dry_run: bool = False,
    caller: Caller | None = None,
) -> ImportOutcome:
    """Enter the athletes of a table whom the club does not have.

    An athlete is known by the code: sending a table again changes nothing. With `update` athletes
    whom the table describes differently are changed; columns that it does not have stay.

    Raises
    ------
    RefusedImportError
        A birth date lies ahead, a code stands twice, or, without `update`, the club has the athlete
        otherwise. Each line is named, and nothing is stored.
    AlreadyExistsError
        Somebody else entered one of the athletes at this moment.
    """
    with club_scope(club):
        codes = sorted(line.code for line in lines)
        # In the order of the codes, so that two imports at once cannot wait for each other.
        known = {
            athlete.code: athlete
            for athlete in Athlete.objects.select_for_update(no_key=True)
            .filter(code__in=codes)
            .order_by("code")
        }
        faults = _find_faults(lines, known=known, today=today_at(club), update=update)
        if faults:
            raise RefusedImportError(
                f"{len(faults)} of {len(lines)} lines cannot be taken; the first: "
                f"{faults[0].detail}",
                faults=faults[:MAX_FAULTS],
            )
        new = [
            Athlete(club=club, **line.fields)
            for line in sorted(lines, key=lambda line: line.code)
            if line.code not in known
        ]
        changes = [(known[line.code], line) for line in lines if line.code in known]
        differing = [(athlete, line) for athlete, line in changes if _differences(athlete, line)]
        if not dry_run:
            _store(club, new=new, differing=differing, caller=caller)
        return ImportOutcome(
            received=len(lines),
            created=len(new),
            known=len(lines) - len(new) - len(differing),
            changed=len(differing),
        )


def _store(
    club: Club,
    *,
    new: Sequence[Athlete],
    differing: Sequence[tuple[Athlete, ImportedLine]],
    caller: Caller | None,
) -> None:
    changed_fields: set[str] = set()
    for athlete, line in differing:
        names = _differences(athlete, line)
        for name in names:
            setattr(athlete, name, line.fields[name])
        athlete.save(update_fields=names)
        changed_fields.update(names)
    try:
        with refuse_duplicates("", "Somebody else entered one of these athletes meanwhile."):
            Athlete.objects.bulk_create(new)
    except AlreadyExistsError as error:
        raise AlreadyExistsError(f"{error.detail} Send the table again.") from error
    # The database makes the ids, and this way of storing does not tell them.
    codes = [athlete.code for athlete in new]
    made = list(Athlete.objects.filter(code__in=codes).values_list("id", flat=True))
    if made or differing:
        auditing.record_audit(
            club=club,
            caller=caller,
            action="athletes_imported",
            subjects={"athlete": [*made, *(athlete.id for athlete, _ in differing)]},
            field_names=sorted(changed_fields),
            counts={"created": len(made), "changed": len(differing)},
        )


def _differences(athlete: Athlete, line: ImportedLine) -> list[str]:
    return sorted(name for name, value in line.fields.items() if getattr(athlete, name) != value)


def _find_faults(
    lines: Sequence[ImportedLine], *, known: dict[str, Athlete], today: date, update: bool
) -> list[Fault]:
    faults = []
    first_place: dict[str, str] = {}
    for index, line in enumerate(lines):
        if line.code in first_place:
            detail = f"{line.place}: the code stands in {first_place[line.code].lower()} already."
            faults.append(Fault(f"/{index}/code", "given_twice", detail))
            continue
        first_place[line.code] = line.place
        if line.fields["birth_date"] > today:
            detail = f"{line.place}: the day lies ahead."
            faults.append(Fault(f"/{index}/birth_date", "in_the_future", detail))
        athlete = known.get(line.code)
        names = [] if athlete is None or update else _differences(athlete, line)
        if names:
            detail = (
                f"{line.place}: the club has this athlete with another {', '.join(names)}; "
                "update=true changes it."
            )
            faults.append(Fault(f"/{index}/{names[0]}", "differs", detail))
    return faults
