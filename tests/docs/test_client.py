"""A client that a program makes from the schema does the job, today's and a later release's.

`docs/api/clients.md` tells how to make one; its lines are executed like those of every page.
"""

import compileall
import copy
import importlib
import json
import pkgutil
import sys
import time
from collections.abc import Iterator
from datetime import datetime, timedelta, timezone
from pathlib import Path
from types import ModuleType
from typing import Any

import httpx
import pytest
from openapi_python_client import generate
from openapi_python_client.config import Config, ConfigFile, MetaType
from openapi_python_client.parser import GeneratorData

from tests.contract.openapi import read_schema
from tests.docs.conftest import Demo

SCHEMA = read_schema()
JSON = "application/json"
NAME = "penult_client_of_the_tests"
LATER = "of_a_later_release"
PATIENCE_SECONDS = 30.0


def only_json(schema: dict[str, Any]) -> dict[str, Any]:
    """Return the schema as the page has it kept: of each body the JSON, where it has one."""
    kept: dict[str, Any] = json.loads(json.dumps(schema))
    for operation in operations_of(kept):
        forms = operation.get("requestBody", {}).get("content", {})
        if JSON in forms:
            operation["requestBody"]["content"] = {JSON: forms[JSON]}
    return kept


def operations_of(schema: dict[str, Any]) -> Iterator[dict[str, Any]]:
    for address in schema["paths"].values():
        yield from address.values()


def settings_for(source: Path, target: Path) -> Config:
    return Config.from_sources(
        ConfigFile(
            post_hooks=[],  # no layout of the code: nobody reads it
            content_type_overrides={"image/svg+xml": "application/octet-stream"},
        ),
        MetaType.NONE,
        document_source=source,
        file_encoding="utf-8",
        overwrite=False,
        output_path=target,
    )


@pytest.fixture(scope="module")
def made(tmp_path_factory: pytest.TempPathFactory) -> Iterator[Path]:
    """Make a client of the schema that is checked in, without a warning."""
    folder = tmp_path_factory.mktemp("client")
    source = folder / "openapi.json"
    source.write_text(json.dumps(only_json(SCHEMA)), encoding="utf-8")

    warnings = generate(config=settings_for(source, folder / NAME))

    assert [f"{each.header} {each.detail}" for each in warnings] == []
    sys.path.insert(0, str(folder))
    yield folder / NAME
    sys.path.remove(str(folder))
    for name in [each for each in sys.modules if each.partition(".")[0] == NAME]:
        del sys.modules[name]


def module(name: str) -> ModuleType:
    return importlib.import_module(f"{NAME}.{name}")


class TestMaking:
    def test_every_address_becomes_a_function(self, made: Path):
        functions = {path.stem for path in made.glob("api/*/*.py") if path.stem != "__init__"}

        assert functions == {each["operationId"] for each in operations_of(SCHEMA)}

    def test_all_of_it_compiles_and_can_be_imported(self, made: Path):
        assert compileall.compile_dir(str(made), quiet=1)

        package = importlib.import_module(NAME)
        names = [each.name for each in pkgutil.walk_packages(package.__path__, f"{NAME}.")]
        for name in names:
            importlib.import_module(name)
        assert len(names) > 100

    def test_of_the_whole_schema_nothing_but_other_forms_of_a_body_is_left_out(
        self, tmp_path: Path
    ):
        """Tables and lines of JSON are beyond such programs; all else must be within."""
        parsed = GeneratorData.from_dict(
            copy.deepcopy(SCHEMA), config=settings_for(tmp_path, tmp_path)
        )

        assert isinstance(parsed, GeneratorData)
        told = list(parsed.errors)
        for part in parsed.endpoint_collections_by_tag.values():
            told += part.parse_errors
        other_forms = [
            f"Unsupported content type {form}"
            for operation in operations_of(SCHEMA)
            for form in operation.get("requestBody", {}).get("content", {})
            if form != JSON
        ]
        assert sorted(each.detail or "" for each in told) == sorted(other_forms)


@pytest.fixture
def admin(made: Path, demo: Demo) -> Iterator[Any]:
    yield from client_of(demo, "admin_token")


@pytest.fixture
def device(made: Path, demo: Demo) -> Iterator[Any]:
    yield from client_of(demo, "device_token")


def client_of(demo: Demo, token: str) -> Iterator[Any]:
    with importlib.import_module(NAME).AuthenticatedClient(
        demo.base_url, tokens_of(demo)[token], raise_on_unexpected_status=True
    ) as client:
        yield client


def tokens_of(demo: Demo) -> dict[str, str]:
    tokens: dict[str, str] = json.loads((demo.folder / ".local/demo/tokens.json").read_text())
    return tokens


def ask(about: str, name: str, club: str, *ids: Any, **options: Any) -> Any:
    """Call a function of the client, and return the answer with its status and headers."""
    return module(f"api.{about}.{name}").sync_detailed(club, *ids, **options)


def make_run_up(admin: Any, club: str, code: str) -> Any:
    models = module("models")
    first = ask("approaches", "approaches_list", club, client=admin, page_size=1).parsed
    return ask(
        "approaches",
        "approaches_create",
        club,
        client=admin,
        body=models.NewApproachRequest(
            athlete=first.results[0].athlete,
            code=code,
            event=models.NewApproachRequestEvent.LONG_JUMP,
            steps=6,
            start_style=models.NewApproachRequestStartStyle.WALK_IN,
        ),
    )


def reading_of(approach: Any, number: int, **fields: Any) -> Any:
    models = module("models")
    return models.ReadingRequest(
        **{
            "external_id": f"{approach.code}-{number}",
            "athlete": str(approach.athlete),
            "approach": str(approach.id),
            "session": "made by a program",
            "started_at": datetime(2026, 5, 2, 9, number, tzinfo=timezone(timedelta(hours=2))),
            "finish": models.ReadingRequestFinish.JUMP,
            "outcome": models.ReadingRequestOutcome.VALID,
            "official_m": "6.41",
            "footfalls": models.FootfallsRequest(toe_m=[0.07 + number / 100, None, 4.58]),
            "gates": models.GatesRequest(at_m=[11, 6, 1], time_s=[4.154, 4.7, 5.241]),
            **fields,
        }
    )


class TestWalk:
    """The README's and the quickstart's way, made of nothing but the client."""

    def test_from_a_squad_and_a_run_up_to_figures_and_alerts(
        self, admin: Any, device: Any, demo: Demo
    ):
        club, models = tokens_of(demo)["club"], module("models")
        squad = ask(
            "squads", "squads_create", club, client=admin, body=models.NewSquadRequest("Under 20")
        )
        runway = ask(
            "runways",
            "runways_create",
            club,
            client=admin,
            body=models.NewRunwayRequest(
                name="Hall",
                surface="synthetic",
                indoor=True,
                boards=[models.NewBoardRequest(models.NewBoardRequestEvent.LONG_JUMP, 2.0)],
            ),
        )
        approach = make_run_up(admin, club, "LJ-6 walk").parsed
        marks = {
            "client": admin,
            "body": models.NewPlanRequest(
                start_mark_m=16.8, check_marks=[models.CheckMarkRequest(footfall=4, at_m=9.1)]
            ),
        }
        planned = ask("approaches", "plans_create", club, approach.id, if_match='"0"', **marks)
        late = ask("approaches", "plans_create", club, approach.id, if_match='"0"', **marks)
        again = ask(
            "approaches",
            "plans_create",
            club,
            approach.id,
            if_match=planned.headers["ETag"],
            **marks,
        )
        rows = [reading_of(approach, number) for number in range(6)]
        options = {"client": device, "make_sessions": True}
        pushed = ask("attempts", "attempts_push_batch", club, body=rows, **options).parsed
        known = ask("attempts", "attempts_push_batch", club, body=rows, **options).parsed
        other = reading_of(approach, 0, official_m="6.42")
        conflict = ask("attempts", "attempts_push_one", club, body=other, **options)
        figures = wait_for_figures(admin, club, approach, n=6)
        trend = ask("approaches", "trend_read", club, approach.id, client=admin).parsed
        alerts = ask("alerts", "alerts_list", club, client=admin, open_=True)

        assert (squad.parsed.name, runway.parsed.boards[0].to_pit_m) == ("Under 20", 2.0)
        assert [planned.status_code, late.status_code, again.status_code] == [201, 412, 201]
        assert (late.parsed.code, again.parsed.revision) == ("stale_version", 2)
        assert (pushed.created, pushed.rows, known.known) == (6, [], 6)
        assert (conflict.status_code, conflict.parsed.code) == (409, "conflict")
        assert figures.accuracy.n == 6
        assert figures.as_of.tzinfo is not None
        assert [point.toe_m for point in trend.points] == [0.07 + n / 100 for n in range(6)]
        assert alerts.status_code == 200
        assert alerts.parsed.next_ is None

    def test_a_refusal_is_a_problem_with_its_code(self, admin: Any, demo: Demo):
        club = tokens_of(demo)["club"]
        first = make_run_up(admin, club, "LJ-6 refused").parsed

        twice = make_run_up(admin, club, "LJ-6 refused")
        nobodys = ask("athletes", "athletes_read", club, first.id, client=admin)

        assert (twice.status_code, twice.parsed.code) == (409, "already_exists")
        assert (nobodys.status_code, nobodys.parsed.code) == (404, "unknown_athlete")


def wait_for_figures(client: Any, club: str, approach: Any, *, n: int) -> Any:
    deadline = time.monotonic() + PATIENCE_SECONDS
    while time.monotonic() < deadline:
        read = ask("approaches", "consistency_read", club, approach.id, client=client).parsed
        if read.n == n and not read.stale:
            return read
        time.sleep(0.1)
    raise AssertionError(f"No figures of {n} attempts within {PATIENCE_SECONDS:.0f} s.")


class LaterRelease(httpx.BaseTransport):
    """Answers as a later release may: more fields everywhere, and values nobody knows yet."""

    def __init__(self) -> None:
        self._wire = httpx.HTTPTransport()
        self.renamed: set[str] = set()

    def handle_request(self, request: httpx.Request) -> httpx.Response:
        answer = self._wire.handle_request(request)
        grown = self._grow(json.loads(answer.read()))
        return httpx.Response(
            answer.status_code, headers={"Content-Type": JSON}, content=json.dumps(grown)
        )

    def close(self) -> None:
        self._wire.close()

    def _grow(self, part: Any, name: str = "") -> Any:
        if isinstance(part, dict):
            return {key: self._grow(value, key) for key, value in part.items()} | {LATER: {"n": 1}}
        if isinstance(part, list):
            return [self._grow(value, name) for value in part]
        if isinstance(part, str) and name in OPEN_FIELDS:
            self.renamed.add(name)
            return LATER
        return part


def _list_open_fields() -> set[str]:
    """Return the fields that the schema says may have more values one day."""
    return {
        name
        for component in SCHEMA["components"]["schemas"].values()
        for name, described in component.get("properties", {}).items()
        if "more may come" in json.dumps(described)
    }


OPEN_FIELDS = _list_open_fields() | {"code"}  # codes are documented in docs/api/errors.md


class TestLaterRelease:
    def test_is_read_by_todays_client(self, admin: Any, demo: Demo):
        club = tokens_of(demo)["club"]
        approach = make_run_up(admin, club, "LJ-6 later").parsed
        rows = [reading_of(approach, 0), reading_of(approach, 1, athlete="ext:nobody")]
        later = LaterRelease()
        token = tokens_of(demo)["admin_token"]
        with httpx.Client(
            base_url=demo.base_url,
            headers={"Authorization": f"Bearer {token}"},
            transport=later,
        ) as wire:
            client = module("client").AuthenticatedClient(demo.base_url, token)
            client.set_httpx_client(wire)
            pushed = ask(
                "attempts",
                "attempts_push_batch",
                club,
                client=client,
                body=rows,
                make_sessions=True,
            ).parsed
            answers = [
                ask("approaches", "approaches_read", club, approach.id, client=client),
                ask("attempts", "attempts_list", club, client=client),
                ask("sessions", "sessions_list", club, client=client),
                ask("sources", "sources_list", club, client=client),
                ask("quarantine", "quarantine_list", club, client=client),
                ask("approaches", "trend_read", club, approach.id, client=client),
                ask("alerts", "alerts_list", club, client=client),
                ask("athletes", "athletes_read", club, approach.id, client=client),
            ]

        assert pushed.rows[0].code == LATER
        assert [answer.status_code for answer in answers] == [200] * 7 + [404]
        assert all(LATER in answer.parsed.additional_properties for answer in answers)
        assert answers[0].parsed.event == LATER
        assert answers[-1].parsed.code == LATER
        assert later.renamed >= {"code", "event", "outcome", "finish", "phases", "kind"}
