"""Bodies that no script should send: each has its documented answer, and none its way in."""

import gzip
import json
import tracemalloc
from collections.abc import Callable
from dataclasses import dataclass, field
from typing import Any

import pytest

from approaches.models import Attempt
from approaches.services.limits import MAX_BODY_BYTES, MAX_ROW_BYTES
from common.club_scope import club_scope
from tests.api.conftest import Api, World
from tests.api.test_error_shape import check_shape
from tests.factories import csv_of, make_reading

JSON, NDJSON, CSV = "application/json", "application/x-ndjson", "text/csv"
BOM = b"\xef\xbb\xbf"
# A reading whose last field can be replaced; the names are those of the scene below.
GOOD = (
    b'{"external_id": "run-1", "athlete": "ext:%s", "approach": "LJ-16", "session": "%s",'
    b' "started_at": "2026-05-02T09:14:07Z", "finish": "jump", "wind_mps": 0.8}'
)


@dataclass(frozen=True)
class Sent:
    """A body, what it says to be, and what is answered: a refusal, or the codes of its rows."""

    body: bytes
    media_type: str
    status: int
    code: str = ""
    rows: tuple[str, ...] = ()
    created: int = 0
    headers: dict[str, str] = field(default_factory=dict)


Part = Callable[[bytes, bytes], dict[str, Sent]]


def refused(body: bytes, media_type: str, status: int, code: str, **headers: str) -> Sent:
    return Sent(body, media_type, status, code, headers=headers)


def taken(body: bytes, media_type: str, *rows: str, created: int = 0, **headers: str) -> Sent:
    return Sent(body, media_type, 200, rows=rows, created=created, headers=headers)


# Their differences, and the products of these, are beyond 64-bit floating point.
FAR_GATES = b'"gates": {"at_m": [1e308, -1e308, 1e200], "time_s": [-1e308, 1e308, -1e200]}'
FAR_TOES = b'"footfalls": {"toe_m": [1e308, -1e308], "touchdown_s": [-1e308, 1e308]}'


def numbers(good: bytes, table: bytes) -> dict[str, Sent]:
    wind = b'"wind_mps": 0.8'
    nan, huge = (good.replace(b"0.8", word) for word in (b"NaN", b"1e999"))
    return {
        "NaN in an array": refused(b"[%s]" % nan, JSON, 400, "unreadable_body"),
        "NaN in a line": taken(nan, NDJSON, "not_json"),
        "NaN in a table": taken(table.replace(b"0.8", b"NaN"), CSV, "not_a_number"),
        "Infinity in a line": taken(good.replace(b"0.8", b"-Infinity"), NDJSON, "not_json"),
        "1e999 in an array": taken(b"[%s]" % huge, JSON, "number_out_of_range"),
        "1e999 in a line": taken(huge, NDJSON, "number_out_of_range"),
        "1e999 in a table": taken(table.replace(b"0.8", b"1e999"), CSV, "number_out_of_range"),
        "gates at 1e308": taken(good.replace(wind, FAR_GATES), NDJSON, "gate_off_runway"),
        "toes at 1e308": taken(good.replace(wind, FAR_TOES), NDJSON, "position_out_of_range"),
        "an offset of 23:59": taken(good.replace(b"07Z", b"07-23:59"), NDJSON, created=1),
        "400 digits": taken(good.replace(b"0.8", b"9" * 400), NDJSON, "number_out_of_range"),
        "10,000 digits": taken(good.replace(b"0.8", b"0." + b"7" * 10_000), NDJSON, created=1),
    }


def nestings(good: bytes, table: bytes) -> dict[str, Sent]:
    arrays = b"[" * 10_000 + b"]" * 10_000
    objects = b'{"a":' * 10_000 + b"1" + b"}" * 10_000
    deep = good.replace(b"wind_mps", b"wind").replace(b"0.8", objects)
    return {
        "depth 10,000 in an array": refused(arrays, JSON, 400, "unreadable_body"),
        "depth 10,000 in a field": taken(good.replace(b"0.8", arrays), NDJSON, "wrong_type"),
        "depth 10,000 in an unknown field": taken(deep, NDJSON, "unknown_field"),
    }


def lines(good: bytes, table: bytes) -> dict[str, Sent]:
    seven = [good.replace(b"run-1", b"run-%d" % number) for number in range(1, 8)]
    seven[6] = seven[6][:-9]
    ragged = table + table.splitlines()[1] + b","
    return {
        "BOM before an array": taken(BOM + b"[%s]" % good, JSON, created=1),
        "BOM before a line": taken(BOM + good, NDJSON, created=1),
        "BOM before a table": taken(BOM + table, CSV, created=1),
        "BOM before line 2": taken(good + b"\n" + BOM + good, NDJSON, "not_json", created=1),
        "CRLF in lines": taken(good + b"\r\n\r\n", NDJSON, created=1),
        "CRLF in a table": taken(table, CSV, created=1),
        "LF in a table": taken(table.replace(b"\r\n", b"\n"), CSV, created=1),
        "CR in a table": refused(table.replace(b"\r\n", b"\r"), CSV, 400, "unreadable_body"),
        "CR in lines": taken(good + b"\r" + good, NDJSON, "not_json"),
        "a broken line 7": taken(b"\n".join(seven), NDJSON, "not_json", created=6),
        "a broken item 7": refused(b"[%s]" % b",".join(seven), JSON, 400, "unreadable_body"),
        "a ragged line 3": taken(ragged, CSV, "wrong_cell_count", created=1),
    }


def letters(good: bytes, table: bytes) -> dict[str, Sent]:
    half, nul, umlaut = b"\xed\xa0\x80", b"a\0b", b"\xe4"
    array, wide = b"[%s]" % good, table.decode().encode("utf-16-le")
    escaped = good.replace(b"run-1", rb"a\u0000b")
    by_name = "text/csv; charset=iso-8859-1"
    return {
        "half a pair": taken(good.replace(b"LJ-16", rb"\ud800"), NDJSON, "not_json"),
        "half a pair as bytes": taken(good.replace(b"LJ-16", half), NDJSON, "not_utf8"),
        "half a pair in a table": taken(table.replace(b"LJ-16", half), CSV, "not_utf8"),
        "NUL as an escape": taken(escaped, NDJSON, "control_character"),
        "NUL as a byte": taken(good.replace(b"run-1", nul), NDJSON, "not_json"),
        "NUL in a table": taken(table.replace(b"run-1", nul), CSV, "control_character"),
        "NUL in a name": taken(good.replace(b"wind", rb"\u0000"), NDJSON, "unknown_field"),
        "NUL in a header": refused(table.replace(b"wind", nul), CSV, 400, "invalid_columns"),
        "Latin 1 in an array": taken(array.replace(b"LJ", umlaut), JSON, "not_utf8"),
        "Latin 1 in a line": taken(good.replace(b"LJ", umlaut), NDJSON, "not_utf8"),
        "Latin 1 in a table": taken(table.replace(b"LJ", umlaut), CSV, "not_utf8"),
        "Latin 1 by its name": refused(table, by_name, 415, "unsupported_media_type"),
        "UTF-8 by its name": taken(table, 'text/csv; charset="UTF-8"; header=present', created=1),
        "no header, it says": refused(
            table, "text/csv; header=absent", 415, "unsupported_media_type"
        ),
        "UTF-16": refused(array.decode().encode("utf-16"), JSON, 400, "unreadable_body"),
        "UTF-16 as a table": refused(b"\xff\xfe" + wide, CSV, 400, "unreadable_body"),
        "UTF-16 without its mark": refused(wide, CSV, 400, "unreadable_body"),
    }


def sizes(good: bytes, table: bytes) -> dict[str, Sent]:
    header, space = table.splitlines()[0], b" " * MAX_BODY_BYTES
    many = b"[" + b"1," * 5_000 + b"1]"
    too_long = b'"' + b"x" * MAX_ROW_BYTES + b'"'
    return {
        "no array": refused(b"", JSON, 400, "unreadable_body", Content_Type=JSON),
        "no line": refused(b"", NDJSON, 400, "unreadable_body", Content_Type=NDJSON),
        "no table": refused(b"", CSV, 400, "unreadable_body", Content_Type=CSV),
        "a mark and nothing else": refused(BOM, CSV, 400, "unreadable_body"),
        "an empty array": taken(b"[]", JSON),
        "a header and nothing else": taken(header, CSV),
        "10 MiB": taken(b"[" + space[2:] + b"]", JSON),
        "10 MiB and a byte": refused(space + b" ", JSON, 413, "body_too_large"),
        "10 MiB and a byte in lines": refused(space + b"\n", NDJSON, 413, "body_too_large"),
        "10 MiB and a byte as a table": refused(space + b"\n", CSV, 413, "body_too_large"),
        "a line over its limit": taken(too_long, NDJSON, "row_too_large"),
        "5,001 lines": refused(b"{}\n" * 5_001, NDJSON, 413, "too_many_rows"),
        "5,001 items": refused(many, JSON, 413, "too_many_rows"),
        "5,001 lines of a table": refused(header + b"\n," * 5_001, CSV, 413, "too_many_rows"),
    }


def packed(good: bytes, table: bytes) -> dict[str, Sent]:
    whole = gzip.compress(good)
    as_gzip = {"Content_Encoding": "gzip"}
    return {
        "a gzip": taken(gzip.compress(table), CSV, created=1, **as_gzip),
        "a gzip that does not say so": refused(whole, JSON, 400, "unreadable_body"),
        "a gzip bomb": refused(BOMB, NDJSON, 413, "body_too_large", **as_gzip),
        "a truncated gzip": refused(whole[:-9], NDJSON, 400, "unreadable_gzip", **as_gzip),
        "no gzip": refused(good, NDJSON, 400, "unreadable_gzip", **as_gzip),
        "more than a gzip": refused(whole + good, NDJSON, 400, "unreadable_gzip", **as_gzip),
        "another encoding": refused(
            good, NDJSON, 415, "unsupported_encoding", Content_Encoding="br"
        ),
    }


def types(good: bytes, table: bytes) -> dict[str, Sent]:
    form, parts = "application/x-www-form-urlencoded", "multipart/form-data; boundary=x"
    return {
        "a form": refused(b"a=1", form, 415, "unsupported_media_type"),
        "parts": refused(b"x", parts, 415, "unsupported_media_type"),
        "no type": refused(good, "", 415, "unsupported_media_type"),
        "an object": refused(good, JSON, 400, "unreadable_body"),
        "a string": refused(b'"run-1"', JSON, 400, "unreadable_body"),
        "a table that is JSON": refused(good, CSV, 400, "unreadable_body"),
        "JSON that is a table": refused(table, JSON, 400, "unreadable_body"),
        "lines that are a table": taken(table, NDJSON, "not_json", "not_json"),
    }


BOMB = gzip.compress(bytes(20 * MAX_BODY_BYTES))


PARTS = (numbers, nestings, lines, letters, sizes, packed, types)
NAMES = [(part, name) for part in PARTS for name in part(b"", b"x\r\nx")]


def example(world: World) -> tuple[bytes, bytes]:
    """Return an attempt that can be stored, as a line of JSON and as a table."""
    good = GOOD % (world.athlete.code.encode(), world.session.code.encode())
    return good, csv_of(json.loads(good))


def whole_corpus(world: World) -> dict[str, Sent]:
    return {name: sent for part in PARTS for name, sent in part(*example(world)).items()}


def send(device: Api, sent: Sent) -> Any:
    return device.post("attempts/batch/", sent.body, sent.media_type, **sent.headers)


class TestEachBody:
    @pytest.mark.parametrize(("part", "name"), NAMES, ids=[name for _, name in NAMES])
    def test_has_its_answer(self, world: World, part: Part, name: str):
        sent = part(*example(world))[name]

        answer = send(world.as_("device"), sent)

        if sent.code:
            check_shape(answer, sent.status, sent.code)
        else:
            assert answer.status_code == 200, answer.content
            told = answer.json()
            assert tuple(row["code"] for row in told["rows"]) == sent.rows
            assert (told["created"], told["rejected"]) == (sent.created, len(sent.rows))
        with club_scope(world.club):
            assert Attempt.objects.count() == sent.created

    def test_is_answered_in_shape_at_the_door_for_one(self, world: World):
        device = world.as_("device")

        for name, sent in whole_corpus(world).items():
            answer = device.post("attempts/", sent.body, sent.media_type, **sent.headers)

            assert answer.status_code in {200, 201, 400, 409, 413, 415, 422}, name
            if answer.status_code >= 400:
                check_shape(answer, answer.status_code, answer.json()["code"])


class TestMemory:
    @pytest.mark.slow  # tracing every allocation
    def test_stays_flat_however_often_they_come(self, world: World):
        device, bodies = world.as_("device"), whole_corpus(world)
        for sent in bodies.values():
            send(device, sent)  # caches and lazy imports
        tracemalloc.start()
        try:
            before, _ = tracemalloc.get_traced_memory()
            for sent in bodies.values():
                send(device, sent)
            after, peak = tracemalloc.get_traced_memory()
        finally:
            tracemalloc.stop()

        assert after - before < 2e6
        # The test's own client copies a body before it is read in pieces and put together again.
        assert peak - before < 5 * MAX_BODY_BYTES


def test_a_good_attempt_of_the_corpus_is_good(world: World):
    """What is refused above is refused for what was changed, and for nothing else."""
    sent = make_reading(world.athlete, world.session)

    assert world.as_("device").post("attempts/", sent).status_code == 201
