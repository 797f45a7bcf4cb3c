"""Every operation of the schema is shown by an example that is executed."""

import pytest

from tests.contract.openapi import read_schema
from tests.docs.shown import PLACE, Request, is_of, list_all_requests, list_requests

SCHEMA = read_schema()
_WITHIN = "/api/v1/clubs/{club}/"

# By operationId, each with its reason.
NOT_SHOWN: dict[str, str] = {}


def operations() -> dict[str, tuple[str, str]]:
    """Return method and path of each operation within a club, by its name."""
    return {
        operation["operationId"]: (method.upper(), path.removeprefix(_WITHIN))
        for path, methods in SCHEMA["paths"].items()
        if path.startswith(_WITHIN)
        for method, operation in methods.items()
    }


class TestOperations:
    def test_are_all_shown(self):
        requests = set(list_all_requests())
        missing = {
            name: f"{method} {path}"
            for name, (method, path) in operations().items()
            if not any(is_of(request, method, path) for request in requests)
        }

        assert missing.keys() - NOT_SHOWN.keys() == set(), missing
        # An exception that is shown by now is none.
        assert NOT_SHOWN.keys() - missing.keys() == set()

    def test_all_addresses_belong_to_a_club(self):
        assert [path for path in SCHEMA["paths"] if not path.startswith(_WITHIN)] == []

    def test_nothing_is_shown_that_the_schema_does_not_have(self):
        known = list(operations().values())
        unknown = [
            request
            for request in set(list_all_requests())
            if not any(is_of(request, method, path) for method, path in known)
        ]

        assert unknown == []


class TestReadingOfExamples:
    @pytest.mark.parametrize(
        ("commands", "requests"),
        [
            ('curl -s "$API/alerts/?open=true" -H "$COACH"\n', [("GET", "alerts/")]),
            ('curl -s "$API/squads/" -H "$A" -d \'{\n"name": "a | b"}\'\n', [("POST", "squads/")]),
            (
                'curl -s "$API/athletes/$(of athlete.json id)/" -X PATCH \\\n  -d "{}"\n',
                [("PATCH", f"athletes/{PLACE}/")],
            ),
            (
                "ETAG=$(curl -s -D - \"$API/plans/\" | cut -d ' ' -f 2)\n",
                [("GET", "plans/")],
            ),
            (
                'for Q in aim speed; do\n  curl -s "$API/approaches/$A/$Q"\ndone\n',
                [("GET", f"approaches/{PLACE}/aim"), ("GET", f"approaches/{PLACE}/speed")],
            ),
            ('curl -s "$API/"\n', [("GET", "")]),
            ("curl -s http://127.0.0.1:8000/readyz\n", []),
        ],
    )
    def test_finds_method_and_path(self, commands: str, requests: list[tuple[str, str]]):
        assert list_requests(commands) == [Request(*each) for each in requests]

    def test_a_place_stands_for_no_word_of_an_address(self):
        request = Request("GET", f"approaches/{PLACE}/{PLACE}")

        assert not is_of(request, "GET", "approaches/{approach_id}/aim")
