"""The door for many athletes at once."""

import re
from typing import Any

from drf_spectacular.types import OpenApiTypes
from drf_spectacular.utils import OpenApiExample, OpenApiParameter, extend_schema
from rest_framework.request import Request
from rest_framework.response import Response

from athletes.api import serializers
from athletes.errors import RefusedImportError
from athletes.services import importing
from clubs.api import permissions
from clubs.api.base import ClubView
from common.api.parsers import StrictJSONParser, Table, TableParser
from common.api.problems import faults_of
from common.errors import Fault, InvalidColumnsError, UnreadableBodyError, pointer_part

_EXAMPLE = (
    "code,given_name,family_name,birth_date,take_off_foot,shoe_length_m\r\n"
    "A-91,Jonna,Ahrens,2011-09-30,left,0.265\r\n"
    "A-92,Luka,Brandt,2010-02-11,,\r\n"
)
_NUMBER = re.compile(r"[0-9]{1,3}(\.[0-9]{1,6})?")
_OPTIONAL = ("take_off_foot", "shoe_length_m")
_REQUIRED = ("code", "given_name", "family_name", "birth_date")


class AthleteImport(ClubView):
    """Many athletes at once."""

    rights = {"POST": permissions.WRITE_ATHLETES}
    operation_names = {"POST": "athletes_import"}
    parameters = {"POST": frozenset({"dry_run", "update"})}
    problems = {
        "POST": {
            "409": "Somebody else entered one of the athletes at this moment.",
            "413": "The body is too large.",
            "415": "The body is neither JSON nor text/csv.",
            "422": "Some lines cannot be taken; nothing was stored.",
        }
    }
    parser_classes = (StrictJSONParser, TableParser)
    serializer_class = serializers.ImportOutcomeSerializer

    @extend_schema(
        request={
            "application/json": serializers.NewAthleteSerializer(many=True),
            "text/csv": OpenApiTypes.STR,
        },
        responses={200: serializers.ImportOutcomeSerializer},
        parameters=[
            OpenApiParameter("dry_run", bool, description="Check and answer, and store nothing."),
            OpenApiParameter(
                "update", bool, description="Change athletes whom the table has otherwise."
            ),
        ],
        description=(
            "Enter the athletes of a table or an array, all of them or none. An athlete is known "
            "by the code, so that sending them again changes nothing."
        ),
        examples=[
            OpenApiExample(
                "An array",
                value={  # the schema puts it into an array
                    "code": "A-94",
                    "given_name": "Ida",
                    "family_name": "Holm",
                    "birth_date": "2011-05-23",
                },
                request_only=True,
                media_type="application/json",
            ),
            OpenApiExample("Two jumpers", value=_EXAMPLE, request_only=True, media_type="text/csv"),
        ],
    )
    def post(self, request: Request, club: str) -> Response:
        outcome = importing.import_athletes(
            club=self.caller.club,
            lines=_read(request.data),
            update=self.flag("update"),
            dry_run=self.flag("dry_run"),
            caller=self.caller,
        )
        return Response(serializers.ImportOutcomeSerializer(outcome).data)


# Where an athlete stands in what was sent, and what is said of them.
_Item = tuple[str, Any]


def _read(sent: Any) -> list[importing.ImportedLine]:
    items, faults = _items_of_table(sent) if isinstance(sent, Table) else (_items_of(sent), [])
    if len(items) > importing.MAX_LINES:
        raise RefusedImportError(f"At most {importing.MAX_LINES:,} athletes are taken at once.")
    read = []
    for index, (place, fields) in items.items():
        body = serializers.NewAthleteSerializer(data=fields)
        if body.is_valid():
            said = {name: body.validated_data[name] for name in fields}
            read.append(importing.ImportedLine(place=place, fields=said))
        else:
            faults += [
                Fault(f"/{index}{fault.pointer}", fault.code, f"{place}: {fault.detail}")
                for fault in faults_of(body.errors)
            ]
    if faults:
        raise RefusedImportError(
            f"{len(faults)} cells or lines cannot be read; the first: {faults[0].detail}",
            faults=faults[: importing.MAX_FAULTS],
        )
    return read


def _items_of(sent: Any) -> dict[int, _Item]:
    if not isinstance(sent, list):
        raise UnreadableBodyError("A table, or an array of athletes, is expected.")
    return {index: (f"Item {index + 1}", item) for index, item in enumerate(sent)}


def _items_of_table(table: Table) -> tuple[dict[int, _Item], list[Fault]]:
    _check_header(table.header)
    items, faults = {}, []
    for index, (line, cells) in enumerate(table.lines):
        if len(cells) == len(table.header):
            items[index] = (f"Line {line}", _object_of(table.header, cells))
        else:
            detail = f"Line {line}: {len(cells)} cells, where the header has {len(table.header)}."
            faults.append(Fault(f"/{index}", "wrong_cell_count", detail))
    return items, faults


def _object_of(header: tuple[str, ...], cells: tuple[str, ...]) -> dict[str, Any]:
    """Return a line as the object that it stands for; an empty optional cell is null."""
    named: dict[str, Any] = dict(zip(header, cells, strict=True))
    for name in _OPTIONAL:
        if named.get(name) == "":
            named[name] = None
    length = named.get("shoe_length_m")
    if length is not None:
        named["shoe_length_m"] = _number(length)
    return named


def _number(cell: str) -> Any:
    """Return a cell as a number, or as the text that it is: the field then says what is wrong."""
    return float(cell) if _NUMBER.fullmatch(cell) else cell


def _check_header(header: tuple[str, ...]) -> None:
    faults = []
    for place, name in enumerate(header):
        pointer = f"/{pointer_part(name[:40])}"
        if name not in {*_REQUIRED, *_OPTIONAL}:
            faults.append(Fault(pointer, "unknown_column", f"There is no column {name[:40]!r}."))
        elif name in header[:place]:
            faults.append(Fault(pointer, "repeated_column", f"The column {name} is there twice."))
    faults += [
        Fault(f"/{name}", "missing_column", f"The column {name} is missing.")
        for name in _REQUIRED
        if name not in header
    ]
    if faults:
        raise InvalidColumnsError(faults[0].detail, faults=faults[:20])
