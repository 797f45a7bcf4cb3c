"""Who may do what, over every route, method and kind of caller.

What is expected stands in docs/api/rights.md, address by address; `GRANTS` below says the same by
resource, apart from the routes and from the code. A new route needs one row of the page.
"""

import re
from dataclasses import dataclass
from datetime import date, timedelta
from pathlib import Path
from typing import Any

import pytest

from athletes.models import CoachAssignment
from athletes.services import coaching
from clubs.services.access import DEVICE_SCOPES, PERSON_SCOPES
from common.club_scope import club_scope
from tests.api.test_isolation import ROUTES, Route
from tests.conftest import Keep
from tests.contract.openapi import Operation, find_operation
from tests.contract.stage import CALLERS, DEAD_TOKENS, Stage, make_dead_tokens, make_stage, undone

PAGE = Path(__file__).parents[2] / "docs" / "api" / "rights.md"
METHODS = ("GET", "POST", "PUT", "PATCH", "DELETE")
# A token without the scope, one with no other scope, and those that are good for nothing.
OF_EACH_ROW = 2 + len(DEAD_TOKENS)

# What each role may do with what a club keeps, as it was decided: r reads, w writes. A coach does
# so for athletes in their charge, an athlete for themselves, a device for its source.
GRANTS = {
    "The club and its places": {"admin": "rw", "coach": "r", "athlete": "r", "device": ""},
    "Members, sources and their tokens": {"admin": "rw", "coach": "", "athlete": "", "device": ""},
    "Own tokens": {"admin": "rw", "coach": "rw", "athlete": "rw", "device": ""},
    "Audit": {"admin": "r", "coach": "", "athlete": "", "device": ""},
    "Athletes": {"admin": "rw", "coach": "r", "athlete": "r", "device": ""},
    "Measurements and sprint tests": {"admin": "rw", "coach": "rw", "athlete": "r", "device": ""},
    "Coach assignments": {"admin": "rw", "coach": "r", "athlete": "", "device": ""},
    "Approaches, plans and sessions": {"admin": "rw", "coach": "rw", "athlete": "r", "device": "r"},
    "Designing a run-up": {"admin": "w", "coach": "w", "athlete": "", "device": ""},
    "Attempts": {"admin": "rw", "coach": "rw", "athlete": "r", "device": "w"},
    "Gate runs": {"admin": "rw", "coach": "rw", "athlete": "r", "device": "w"},
    "Attempts by hand": {"admin": "rw", "coach": "rw", "athlete": "r", "device": ""},
    "Quarantine": {"admin": "rw", "coach": "", "athlete": "", "device": "rw"},
    "Figures": {"admin": "r", "coach": "r", "athlete": "r", "device": ""},
    "Work that was asked for": {"admin": "rw", "coach": "rw", "athlete": "rw", "device": ""},
    "Advice that was decided on": {"admin": "rw", "coach": "rw", "athlete": "r", "device": ""},
    "Alerts": {"admin": "rw", "coach": "rw", "athlete": "r", "device": ""},
    "Alert rules": {"admin": "rw", "coach": "r", "athlete": "r", "device": ""},
}
HOW_TO_ADD = """docs/api/rights.md does not know {route}.
Add a row below the heading that fits, say who may, and teach own_ids of
tests/api/test_isolation.py the ids in the address:
| `{route}` | `the:scope` | {cells} |
"""


@dataclass(frozen=True)
class Row:
    """One line of the page: what each kind of caller is answered at one route."""

    resource: str
    method: str
    path: str
    scope: str
    cells: dict[str, str]

    def __str__(self) -> str:
        return f"{self.method} {self.path or './'}"

    @property
    def operation(self) -> Operation:
        found = find_operation(self.method, self.path)
        assert found is not None, f"docs/api/openapi.yaml does not know {self}"
        return found


def read_page() -> tuple[dict[str, dict[str, str]], list[Row]]:
    """Return what the page grants by resource, and its rows by route."""
    heading, grants, rows = "", {}, []
    for line in PAGE.read_text(encoding="utf-8").splitlines():
        cells = [cell.strip() for cell in line.strip("|").split("|")]
        if line.startswith("## "):
            heading = line.removeprefix("## ")
        elif route := re.fullmatch(r"`([A-Z]+) (\S+)`", cells[0]):
            rows.append(
                Row(
                    heading,
                    route[1],
                    route[2].removeprefix("./"),
                    cells[1].strip("`"),
                    dict(zip(CALLERS, cells[2:], strict=True)),
                )
            )
        elif heading == "By resource" and cells[-1] in {"-", "reads", "writes", "reads, writes"}:
            letters = ["".join(word[0] for word in re.findall(r"\w+", cell)) for cell in cells[1:]]
            grants[cells[0]] = dict(
                zip(("admin", "coach", "athlete", "device"), letters, strict=True)
            )
    return grants, rows


GRANTS_OF_PAGE, ROWS = read_page()


def methods_of(route: Route) -> set[str]:
    return {method for method in METHODS if hasattr(route.view.view_class, method.lower())}


@pytest.fixture(scope="module")
def kept_stage(keep: Keep[Stage]) -> Stage:
    return keep(make_stage)


@pytest.fixture
def stage(kept_stage: Stage, db: None) -> Stage:
    return kept_stage


@pytest.fixture(scope="module")
def dead_tokens(keep: Keep[dict[str, str]], kept_stage: Stage) -> dict[str, str]:
    return keep(lambda: make_dead_tokens(kept_stage))


def results_of(answer: Any) -> list[Any]:
    listed: list[Any] = answer.json()["results"]
    return listed


def check_cell(row: Row, who: str, answer: Any) -> None:
    expected, said = row.cells[who], (str(row), who, answer.content[:300])
    if expected == "403":
        assert (answer.status_code, answer.json()["code"]) == (403, "not_allowed"), said
    elif expected == "own":  # the stage's question was asked by nobody there is
        assert (answer.status_code, answer.json()["code"]) == (403, "asked_by_others"), said
    elif expected == "404":
        assert answer.status_code == 404, said
        assert answer.json()["code"] in {"not_found", "unknown_athlete"}, said
    elif expected == "422":
        assert answer.status_code == 422, said
        assert answer.json()["errors"][0]["code"] == "unknown_athlete", said
    else:
        assert answer.status_code in row.operation.successes, said
    if expected == "none":
        if row.method == "GET":
            assert results_of(answer) == [], said
        else:
            assert answer.json()["created"] == 0, said
            assert {each["code"] for each in answer.json()["rows"]} == {"unknown_athlete"}, said
    if expected == "yes" and "none" in row.cells.values():
        seen = results_of(answer) if row.method == "GET" else answer.json()["created"]
        assert seen, f"the stage of tests/contract holds nothing for {row}: add it to own_ids"


class TestThePage:
    def test_grants_by_resource_what_was_decided(self):
        assert GRANTS_OF_PAGE == GRANTS

    def test_knows_every_route_and_method(self):
        known = {(row.method, row.path) for row in ROWS}
        cells = " | ".join("?" * len(CALLERS))
        for route in ROUTES:
            for method in sorted(methods_of(route)):
                shown = f"{method} {route.path or './'}"
                assert (method, route.path) in known, HOW_TO_ADD.format(route=shown, cells=cells)

    def test_knows_no_other_and_none_twice(self, tell):
        real = [(method, route.path) for route in ROUTES for method in methods_of(route)]

        assert sorted(real) == sorted((row.method, row.path) for row in ROWS)
        tell(
            f"{len(ROWS)} routes and methods x {len(CALLERS) + OF_EACH_ROW} kinds of caller"
            f" = {len(ROWS) * (len(CALLERS) + OF_EACH_ROW)} answers"
        )

    @pytest.mark.parametrize("row", ROWS, ids=str)
    def test_says_of_a_route_what_it_says_of_its_resource(self, row: Row):
        needed = "r" if row.method == "GET" else "w"
        for who, cell in row.cells.items():
            role = who.removeprefix("other ")
            if needed not in GRANTS[row.resource][role]:
                assert cell == "403", who
            elif role == who and "{own_" not in row.path:  # what is one's own is one person's
                assert cell in {"yes", "own"}, who
            else:
                assert cell in {"yes", "none", "404", "422"}, who


@pytest.mark.parametrize("row", ROWS, ids=str)
class TestEveryRow:
    def test_answers_each_kind_of_caller_as_the_page_says(self, stage: Stage, row: Row):
        for who in CALLERS:
            with undone():
                check_cell(row, who, stage.send(row.operation, token=stage.tokens[who]))

    def test_needs_the_scope_and_no_other(self, stage: Stage, row: Row):
        for who in ("admin", "device"):
            if row.cells[who] != "yes":
                continue
            every = DEVICE_SCOPES if who == "device" else PERSON_SCOPES
            with undone():
                token = stage.token_of(who, scopes=set(every) - {row.scope})
                answer = stage.send(row.operation, token=token)
                assert (answer.status_code, answer.json()["code"]) == (403, "missing_scope"), who
            with undone():
                token = stage.token_of(who, scopes={row.scope})
                answer = stage.send(row.operation, token=token)
                assert answer.status_code not in {401, 403, 404}, (who, answer.content[:300])

    def test_is_closed_to_tokens_that_are_good_for_nothing(
        self, stage: Stage, dead_tokens: dict[str, str], row: Row
    ):
        for why, token in dead_tokens.items():
            answer = stage.send(row.operation, token=token)
            assert (answer.status_code, answer.json()["code"]) == (401, "not_authenticated"), why


class TestACoach:
    def test_has_the_charge_of_an_athlete_from_the_next_request_on_and_no_longer(
        self, stage: Stage
    ):
        coach = stage.as_("other coach")
        path = f"athletes/{stage.athlete.id}/"

        before = coach.get(path).status_code
        assigned = coaching.assign_coach(
            club=stage.club,
            coach=stage.members["other coach"],
            athlete=stage.athlete,
            from_date=date(2026, 1, 1),
        )
        during = coach.get(path).status_code
        with club_scope(stage.club):
            CoachAssignment.objects.filter(id=assigned.id).update(
                until_date=date(2026, 1, 1) + timedelta(days=1)
            )
        after = coach.get(path).status_code

        assert (before, during, after) == (404, 200, 404)
