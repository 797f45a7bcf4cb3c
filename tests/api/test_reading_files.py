"""Lists of attempts as tables and as lines of JSON: read, and pushed back."""

import csv
import io
import json
import re
from contextlib import ExitStack
from typing import Any

import pytest
from django.db import OperationalError, connection
from django.test.utils import CaptureQueriesContext

from approaches.models import Attempt
from approaches.services import files
from common.api import streams
from common.club_scope import club_scope, current_club_id
from common.waiting import WaitingRoom
from tests import factories
from tests.api.conftest import Api, World

CSV, NDJSON = "text/csv", "application/x-ndjson"
# Numbers whose shortest decimal form has many digits, a large exponent, or none at all: the decimal
# form that Python's repr() gives reads back as the same float64 (Python documentation, "Floating
# Point Arithmetic: Issues and Limitations").
AWKWARD = [0.1 + 0.2, 2.0 / 3.0 + 1.0, 4.0]
# Ids that a table must quote, and that a spreadsheet would take for formulas.
NAMES = ["a,b", 'a "b"', "Zoë", " x ", "'x", "=1+1", "+1", "-1", "@SUM(A1)", "''=1", "'=1", "a;=1"]


def read(api: Api, path: str = "attempts/", *, accept: str = CSV) -> bytes:
    answer = api.get(path, Accept=accept)
    assert answer.status_code == 200, answer.content
    assert answer["Content-Type"].startswith(accept)
    body: bytes = b"".join(answer.streaming_content)
    assert current_club_id() is None
    return body


def read_out(answer: Any) -> None:
    """Read to the end, which lets go of the scope as the test client lets go of a connection."""
    if answer.streaming:
        b"".join(answer.streaming_content)


def rows_of(table: bytes) -> list[dict[str, str]]:
    return list(csv.DictReader(io.StringIO(table.decode(), newline="")))


def push_back(world: World, body: bytes, media_type: str) -> dict[str, Any]:
    answer = world.as_("device").post("attempts/batch/", body, content_type=media_type)
    assert answer.status_code == 200, answer.content
    said: dict[str, Any] = answer.json()
    return said


def push(world: World, **fields: Any) -> Attempt:
    return factories.make_attempt(world.source, world.athlete, world.session, **fields)


@pytest.fixture
def attempts(world: World) -> list[Attempt]:
    """Store attempts of every kind that can be pushed."""
    gaps = {
        "toe_m": [None, 2.21, None, 7.0],
        "touchdown_s": [5.312, None, None, None],
        "contact": [None, "flat", None, "heel"],
    }
    return [
        push(world),
        push(world, footfalls={"toe_m": AWKWARD}, gates=None, wind_mps=-1e-05),
        push(world, footfalls=gaps, outcome="not_judged", official_m=None),
        push(world, footfalls=None, gates=None, finish="run_through", outcome="baulk",
             official_m=None, start_mark_m=None, wind_mps=None, take_off_foot_ok=False),
        push(world, phases=["acceleration"], footfalls=None, official_m=6.4),
        *(push(world, external_id=name) for name in NAMES),
    ]  # fmt: skip


class TestPushedBack:
    @pytest.mark.parametrize("media_type", [CSV, NDJSON])
    @pytest.mark.usefixtures("attempts")
    def test_every_attempt_is_known(self, world: World, media_type: str):
        body = read(world.as_("admin"), accept=media_type)

        said = push_back(world, body, media_type)

        everyone = 5 + len(NAMES)
        assert (said["received"], said["known"], said["complete"]) == (everyone, everyone, True)

    def test_a_corrected_one_is_known_as_it_is_now(self, world: World):
        correction = {"wind_mps": 1.1, "footfalls": {"toe_m": [0.05, 2.21, 4.58]}}
        mended = world.as_("admin").post(
            f"attempts/{push(world).id}/corrections/",
            {"changes": correction, "reason": "Read wrongly."},
            If_Match="*",
        )
        assert mended.status_code == 200

        body = read(world.as_("admin"))

        assert rows_of(body)[0]["toe_m_0"] == "0.05"
        assert push_back(world, body, CSV)["known"] == 1

    def test_into_another_club_they_are_the_same_attempts(self, world: World, second_world: World):
        """The names are codes, so that a file is understood elsewhere, too."""
        push(world)
        codes = {"athlete": f"ext:{second_world.athlete.code}", "session": "2026-05-02-am"}
        (row,) = rows_of(read(world.as_("admin")))
        factories.make_session(second_world.club, code=codes["session"])
        table = io.StringIO(newline="")
        writer = csv.DictWriter(table, row)
        writer.writeheader()
        writer.writerow(row | codes)

        assert push_back(second_world, table.getvalue().encode(), CSV)["created"] == 1

        again = rows_of(read(second_world.as_("admin")))
        assert again == [row | codes]


@pytest.mark.usefixtures("attempts")
class TestTable:
    def test_says_what_is_stored_to_the_last_digit(self, world: World):
        """Python's own reader of tables and of numbers is the judge."""
        rows = rows_of(read(world.as_("admin")))
        pages = world.as_("admin").get("attempts/?page_size=500").json()["results"]

        assert len(rows) == len(pages)
        for row, stored in zip(rows, pages, strict=True):
            assert row["started_at"] == stored["started_at"]
            assert row["official_m"] == (stored["official_m"] or "")
            assert row["take_off_foot_ok"] == json.dumps(stored["take_off_foot_ok"]).replace(
                "null", ""
            )
            for name in ("start_mark_m", "wind_mps"):
                assert (float(row[name]) if row[name] else None) == stored[name]
            arrays = stored["footfalls"] | {
                f"gate_{name}": values for name, values in stored["gates"].items()
            }
            for name, values in (arrays | {"phases": stored["phases"]}).items():
                cells = [
                    cell for column, cell in row.items() if re.fullmatch(f"{name}_\\d+", column)
                ]
                assert [_value(cell) for cell in cells[: len(values)]] == values
                assert set(cells[len(values) :]) <= {""}

    def test_keeps_to_rfc_4180(self, world: World):
        body = read(world.as_("admin"))

        assert body.count(b"\r\n") == body.count(b"\n") == 6 + len(NAMES)  # section 2, rules 1, 2
        lines = csv.reader(io.StringIO(body.decode(), newline=""), strict=True)
        widths = {len(row) for row in lines}
        assert widths == {11 + 3 + 4 * 4 + 4 * 2}  # rule 4; the longest arrays have four

    @pytest.mark.parametrize("parted_by", [",", ";"])
    def test_no_text_begins_as_a_formula(self, world: World, parted_by: str):
        """OWASP, "CSV Injection": no cell begins with = + - @, tab, carriage return or line feed,
        wherever a spreadsheet lets a cell begin. Cells of numbers may: they are ours.
        """
        body = read(world.as_("admin"))
        texts = {row["external_id"] for row in rows_of(body)}
        cells = [
            cell
            for row in csv.reader(io.StringIO(body.decode(), newline=""), delimiter=parted_by)
            for cell in row
        ]

        assert {"'=1+1", "'+1", "'-1", "'@SUM(A1)", "a;'=1"} < texts
        risky = [cell for cell in cells if cell[:1] in {"=", "+", "-", "@", "\t", "\r", "\n"}]
        assert risky == (["-1e-05"] if parted_by == "," else [])

    @pytest.mark.parametrize("sign", ["\t", "\r", "\n", "\0"])
    def test_the_other_beginnings_are_in_no_text(self, world: World, sign: str):
        said = world.as_("device").post(
            "attempts/batch/",
            [factories.make_reading(world.athlete, world.session, external_id=f"{sign}=1")],
        )

        assert said.json()["rows"][0]["code"] == "control_character"


def _value(cell: str) -> float | str | None:
    if not cell:
        return None
    return cell if cell.isalpha() else float(cell)


class TestWhatIsInIt:
    @pytest.mark.parametrize("media_type", [CSV, NDJSON])
    def test_is_what_the_filters_leave(self, world: World, media_type: str):
        push(world, started_at="2026-05-02T09:00:00Z")
        late = push(world, started_at="2026-05-03T09:00:00Z")

        body = read(
            world.as_("admin"), "attempts/?started_from=2026-05-03T00:00:00Z", accept=media_type
        )

        said = rows_of(body) if media_type == CSV else [json.loads(each) for each in body.split()]
        assert [each["external_id"] for each in said] == [late.external_id]

    def test_is_what_the_caller_may_see(self, world: World, second_world: World):
        push(world)
        push(second_world)

        assert len(rows_of(read(world.as_("admin")))) == 1
        assert rows_of(read(world.as_("coach"))) == []  # a stranger to this athlete
        assert len(rows_of(read(second_world.as_("admin")))) == 1
        stranger = Api(world.club.slug, second_world.tokens["admin"])
        assert stranger.get("attempts/", Accept=CSV).status_code == 404

    def test_is_of_one_session_where_one_is_named(self, world: World):
        push(world)
        other = factories.make_session(world.club)
        own = factories.make_attempt(world.source, world.athlete, other)

        rows = rows_of(read(world.as_("admin"), f"sessions/{other.id}/attempts/"))

        assert [row["external_id"] for row in rows] == [own.external_id]

    def test_voided_ones_only_when_asked_for(self, world: World):
        admin = world.as_("admin")
        void, kept = push(world), push(world)
        admin.post(f"attempts/{void.id}/void/", {"reason": "Sent twice."}, If_Match="*")

        def named(path: str) -> list[str]:
            return [row["external_id"] for row in rows_of(read(admin, path))]

        assert named("attempts/") == named("attempts/?voided=false") == [kept.external_id]
        assert named("attempts/?voided=true") == [void.external_id]
        assert len(admin.get("attempts/").json()["results"]) == 2

    def test_nothing_is_a_table_without_rows_and_no_line(self, world: World):
        admin = world.as_("admin")

        assert rows_of(read(admin)) == []
        assert read(admin).startswith(b"external_id,athlete,approach,session,started_at,finish,")
        assert read(admin, accept=NDJSON) == b""
        assert push_back(world, read(admin), CSV)["received"] == 0


class TestForm:
    @pytest.mark.parametrize(
        ("accept", "sent"),
        # RFC 9110, 12.4.2 and 12.5.1: the greatest weight wins, the most exact range has it, 0 is
        # "not acceptable"; without a preference it is JSON.
        [
            ("*/*", "application/json"),
            ("text/html, */*;q=0.1", "application/json"),
            ("text/*", "text/csv"),
            ("text/csv;q=0.5, application/json", "application/json"),
            ("text/csv, application/json;q=0.9", "text/csv"),
            ("application/*;q=0.2, application/x-ndjson", "application/x-ndjson"),
            ("*/*, application/json;q=0", "application/x-ndjson"),
            ("text/csv;header=present", "text/csv"),
            ("text/csv;q=0", None),
            ("text/html", None),
            ("nonsense", None),
        ],
    )
    def test_is_the_one_that_the_client_likes_best(
        self, world: World, accept: str, sent: str | None
    ):
        answer = world.as_("admin").get("attempts/", Accept=accept)
        read_out(answer)

        if sent is None:
            assert (answer.status_code, answer.json()["code"]) == (406, "not_acceptable")
        else:
            assert answer["Content-Type"].partition(";")[0] == sent
            assert "Accept" in answer["Vary"]

    def test_a_push_answers_in_json_only(self, world: World):
        reading = factories.make_reading(world.athlete, world.session)

        assert world.as_("device").post("attempts/", reading, Accept=CSV).status_code == 406

    @pytest.mark.parametrize("parameter", ["page_size=10", "cursor=x"])
    def test_has_no_pages_but_in_json(self, world: World, parameter: str):
        refused = world.as_("admin").get(f"attempts/?{parameter}", Accept=CSV)

        assert (refused.status_code, refused.json()["code"]) == (400, "invalid_parameter")

    @pytest.mark.parametrize("media_type", [CSV, NDJSON])
    def test_head_tells_what_get_would(self, world: World, media_type: str):
        push(world)
        admin = world.as_("admin")
        headers = {"Accept": media_type}

        head = admin.client.head(f"{admin.base}attempts/", headers=headers)
        whole = admin.client.get(f"{admin.base}attempts/", headers=headers)
        read_out(whole)

        passing = {"X-Request-ID", "RateLimit", "RateLimit-Policy"}
        told = [{name: each[name] for name in each.headers if name not in passing}
                for each in (head, whole)]  # fmt: skip
        assert told[0] == told[1]
        assert told[0]["Row-Count"] == "1"
        assert told[0]["Content-Disposition"].startswith("attachment")
        assert not {"Content-Length", "ETag", "Link"} & told[0].keys()
        assert current_club_id() is None


@pytest.mark.usefixtures("attempts")
class TestStream:
    def test_is_read_by_the_hundreds_from_a_cursor_of_the_database(
        self, world: World, monkeypatch: pytest.MonkeyPatch
    ):
        monkeypatch.setattr(files, "ROWS_AT_ONCE", 5)
        with CaptureQueriesContext(connection) as queries:
            answer = world.as_("admin").get("attempts/", Accept=CSV)
            pieces = list(answer.streaming_content)

        assert [piece.count(b"\r\n") for piece in pieces] == [6, 5, 5, 2]
        assert len([each for each in queries if "DECLARE" in each["sql"]]) == 1

    def test_a_failure_before_the_first_byte_is_a_problem(
        self, world: World, monkeypatch: pytest.MonkeyPatch
    ):
        monkeypatch.setattr(files, "_cells_of", _fail)

        answer = world.as_("admin").get("attempts/", Accept=CSV)

        assert (answer.status_code, answer.json()["code"]) == (503, "unavailable")
        assert current_club_id() is None

    def test_a_failure_on_the_way_breaks_it_off_and_leaves_the_scope(
        self, world: World, monkeypatch: pytest.MonkeyPatch
    ):
        """How a client sees it is in tests/faults/test_streams.py."""
        monkeypatch.setattr(files, "ROWS_AT_ONCE", 5)
        answer = world.as_("admin").get("attempts/", Accept=CSV)
        pieces = iter(answer.streaming_content)
        got = next(pieces)
        monkeypatch.setattr(files, "_cells_of", _fail)

        with pytest.raises(OperationalError):
            next(pieces)

        assert got.count(b"\r\n") - 1 < int(answer["Row-Count"])
        assert current_club_id() is None

    def test_a_client_that_goes_leaves_nothing_behind(
        self, world: World, monkeypatch: pytest.MonkeyPatch
    ):
        monkeypatch.setattr(files, "ROWS_AT_ONCE", 5)
        answer = world.as_("admin").get("attempts/", Accept=CSV)
        next(iter(answer.streaming_content))
        answer._iterator.close()  # as the server does when it cannot send any more

        assert current_club_id() is None
        assert len(rows_of(read(world.as_("admin")))) == 5 + len(NAMES)  # the seat is free, too

    def test_few_are_sent_at_once(self, world: World, monkeypatch: pytest.MonkeyPatch):
        room = WaitingRoom(1)
        monkeypatch.setattr(streams, "_room", room)
        with room.seat():
            refused = world.as_("admin").get("attempts/", Accept=CSV)

        assert (refused.status_code, refused.json()["code"]) == (503, "busy")
        assert refused["Retry-After"] == "5"
        assert world.as_("admin").get("attempts/").status_code == 200

    def test_a_seat_is_given_back_with_the_scope(self, world: World):
        with club_scope(world.club, read_only=True):
            for _ in range(3):
                with ExitStack() as scope:
                    streams.take_seat(scope)


def _fail(*_: Any) -> list[Any]:
    raise OperationalError("The connection is lost.")
