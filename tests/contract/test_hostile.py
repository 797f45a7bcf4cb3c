"""Whatever is sent to whichever address: a success, or a refusal in shape, never a server error.

`test_conformance.py` draws what a schema can say. Here is what none can: bytes that are no JSON,
half characters, keys twice, numbers beyond measure, headers that are no tags. The addresses come
from the schema, so that one added tomorrow is covered.
"""

import copy
import json
from collections.abc import Iterator
from dataclasses import dataclass, field
from typing import Any

import pytest

from clubs.models import AuditEntry
from common.club_scope import club_scope
from tests.api.conftest import Api
from tests.api.test_error_codes import documented
from tests.api.test_error_shape import check_shape
from tests.contract.openapi import JSON, Operation, list_operations
from tests.contract.stage import Stage, fill_in, undone

OPERATIONS = list_operations()
WRITES = [each for each in OPERATIONS if each.method != "GET"]
# A refused push leaves its row in quarantine, and says so.
PUSHES = {"attempts/", "attempts/batch/", "gate-runs/", "gate-runs/batch/"}

DEEP = 10_000
VALUES: list[Any] = [
    None, True, 0, -1, 0.5, 1e308, -1e308, 5e-324, 2**31, 2**63, 10**400,
    "", " ", "\0", "a\0b", "\u202e\u2066", "\ufeff", "\U0001f600", "x" * 300, "x" * 70_000,
    "NaN", "1e999", "0", "'; --", "%s", "../..", "0001-01-01", "9999-12-31", "2026-02-30",
    "0001-01-01T00:00:00+14:00", "9999-12-31T23:59:59-14:00", "2026-05-02T09:14:07-23:59",
    "2026-05-02T09:14:07", "00000000-0000-0000-0000-000000000000", "ext:\0", [], {}, [None], [[]],
    {"": ""}, list(range(50)), ["x"] * 2_000, [{"a": 1}] * 50,
]  # fmt: skip
# In place of a value as it stands in the text of a body.
PIECES = [
    b"NaN", b"-Infinity", b"1e999", b"-0", b"9" * 5_000, b"1e-9999", b'"\\ud800"', b'"\\u0000"',
    b'"\xff"', b'"\xed\xa0\x80"', b"[" * DEEP + b"]" * DEEP, b'{"a":' * DEEP + b"1" + b"}" * DEEP,
    b"", b"tru", b"'x'", b"01", b"/* */ 1",
]  # fmt: skip
BODIES = [
    b"", b"\0", b"null", b"[]", b"{}", b'""', b"1", b"\xef\xbb\xbf{}", b"{}{}", b"{", b"[[",
    b"\xff\xfe{\0}\0",
    b'{"\\ud800": 1}', b'{"\\u0000": 1}', b'{"": 1}', b'{"' + b"x" * 70_000 + b'": 1}',
    b"[" * DEEP, b"[" + b"{}," * 3_000 + b"{}]", b" " * (1024 * 1024 + 1),
]  # fmt: skip
TAGS = [
    "", '""', "1", '"1', 'W/"1"', "W/*", '"1", "2"', '"-1"', '"1e3"', '"' + "9" * 5_000 + '"',
    '"\u0661"', '"\xe9"', "\x7f", "*, *", ",", '"1-"', '"x-1"', "x" * 9_000,
]  # fmt: skip
KEYS = ["", " ", '"', '""', "\xe9", "x" * 256, "a b", "\x7f", "*"]
WORDS = [
    "", " ", "%00", "%ff", "%ed%a0%80", "%F0%9F%98%80", "x" * 3_000, "null", "-1", "0", "9" * 5_000,
    "1e999", "NaN", "true", "TRUE", "0001-01-01", "9999-12-31", "2026-02-30",
    "0001-01-01T00:00:00Z", "0001-01-01T00:00:00%2B05:00", "9999-12-31T23:59:59-14:00",
    "2026-05-02T09:14:07-23:59", "00000000-0000-0000-0000-000000000000", "%25s",
    "'", "a&{name}=b", "[]", "{{}}", "cD0x",
]  # fmt: skip
HEADERS = [
    ("Accept", "text/html;q=x, ,;"), ("Accept", "x" * 5_000), ("Accept", "*/*;q=0"),
    ("Accept", "/"),
    ("Prefer", "wait=" + "9" * 5_000), ("Prefer", 'wait="'), ("Prefer", "wait=-1, ,=;"),
    ("If-None-Match", '"' * 99), ("If-None-Match", 'W/"\xe9", *'), ("If-Match", "*"),
    ("Authorization", "Bearer"), ("Authorization", "Basic \xe9"),
    ("Authorization", "Bearer " + "x" * 9_000),
    ("Content-Encoding", "gzip"), ("X-Request-ID", "\xe9" * 300), ("Content-Length", "x"),
    ("Transfer-Encoding", "chunked"), ("Content-Type", "application/json; charset=utf-7"),
]  # fmt: skip


@dataclass(frozen=True)
class Hostile:
    """A request that is sound but for one thing."""

    what: str
    body: bytes = b""
    headers: dict[str, str] = field(default_factory=dict)
    query: str = ""


def places_in(value: Any, path: tuple[Any, ...] = ()) -> Iterator[tuple[Any, ...]]:
    """Yield where each field stands, and the first item of each list."""
    inner = (
        value.items() if isinstance(value, dict)
        else list(enumerate(value))[:1] if isinstance(value, list)
        else ()
    )  # fmt: skip
    for key, each in inner:
        yield (*path, key)
        yield from places_in(each, (*path, key))


def replaced(body: Any, path: tuple[Any, ...], value: Any) -> Any:
    changed = copy.deepcopy(body)
    part = changed
    for key in path[:-1]:
        part = part[key]
    part[path[-1]] = value
    return changed


def hostile_bodies(sound: Any) -> Iterator[Hostile]:
    """Yield bodies that are the sound one but for a value, a piece of its text, or all of it."""
    for path in places_in(sound):
        name = "/".join(map(str, path))
        for value in VALUES:
            yield Hostile(
                f"{name} {str(value)[:30]!r}", json.dumps(replaced(sound, path, value)).encode()
            )
        text = json.dumps(replaced(sound, path, "<here>")).encode()
        for piece in PIECES:
            yield Hostile(f"{name} {piece[:30]!r}", text.replace(b'"<here>"', piece))
    text = json.dumps(sound).encode()
    if text.startswith(b"{") and sound:
        first = json.dumps(next(iter(sound))).encode()
        yield Hostile("a key twice", text[:-1] + b", " + first + b": 1}")
        yield Hostile("a key twice, escaped", text[:-1] + b', "\\u0061": 1, "a": 1}')
    for body in BODIES:
        yield Hostile(f"body {body[:30]!r}", body)


def hostile_requests(operation: Operation, stage: Stage) -> Iterator[Hostile]:
    """Yield the requests of one operation, each wrong in one way."""
    sound = sound_body(operation, stage)
    text = b"" if sound is None else json.dumps(sound).encode()
    if sound is not None:
        yield from hostile_bodies(sound)
    if "If-Match" in operation.headers:
        yield from (Hostile(f"If-Match {tag[:20]!r}", text, {"If-Match": tag}) for tag in TAGS)
    if "Idempotency-Key" in operation.headers:
        for key in KEYS:
            yield Hostile(f"Idempotency-Key {key[:20]!r}", text, {"Idempotency-Key": key})
    for name, value in HEADERS:
        yield Hostile(f"{name} {value[:20]!r}", text, {name: value})
    asked = [each["name"] for each in operation.described["parameters"] if each["in"] == "query"]
    for name in [*asked, "unknown", "%00"]:
        for word in WORDS:
            query = f"{name}={word.replace('{name}', name)}"
            yield Hostile(query[:60], text, query=query)


def sound_body(operation: Operation, stage: Stage) -> Any:
    found = [each for each in operation.examples() if each.media_type == JSON]
    return fill_in(found[0].value, stage.ids) if found else None


def send(stage: Stage, operation: Operation, hostile: Hostile) -> tuple[Any, int]:
    """Return the answer, and how many entries the audit got by it."""
    headers = {"If-Match": "*"} if "If-Match" in operation.headers else {}
    if "Idempotency-Key" in operation.headers:
        headers["Idempotency-Key"] = "hostile"
    api = Api(stage.club.slug, stage.tokens["admin"])
    path = api.base + operation.path.format(**stage.ids)
    given = headers | hostile.headers
    with undone():
        before = count_audited(stage)
        answer = api.client.generic(
            operation.method,
            f"{path}?{hostile.query}",
            hostile.body,
            content_type=given.pop("Content-Type", JSON),
            headers=given,
        )
        audited = count_audited(stage) - before
    return answer, audited


def count_audited(stage: Stage) -> int:
    with club_scope(stage.club):
        return AuditEntry.objects.count()


CODES = documented()
# What may be wrong with a request before it reaches an operation (docs/api/index.md).
OF_EVERY_ADDRESS = {400, 406, 411, 413, 415}


def list_wrong_answers(stage: Stage, operation: Operation, *, step: int) -> list[str]:
    """Send each `step`th of the requests, and tell of the answers that are wrong."""
    start = OPERATIONS.index(operation) % step  # another share for each operation
    wrong = []
    for hostile in list(hostile_requests(operation, stage))[start::step]:
        answer, audited = send(stage, operation, hostile)
        fault = find_fault(operation, answer, audited)
        if fault:
            wrong.append(f"{hostile.what}: {fault}: {answer.status_code} {answer.content[:200]!r}")
    return wrong


def find_fault(operation: Operation, answer: Any, audited: int) -> str:
    """Return what is wrong with an answer, if anything is."""
    status = answer.status_code
    if status >= 500:
        return "a server error"
    if str(status) not in operation.described["responses"] and status not in OF_EVERY_ADDRESS:
        return "a status that the schema does not name"
    if status < 400:
        return ""
    problem = check_shape(answer, status, answer.json()["code"])
    codes = {problem["code"], *(fault["code"] for fault in problem["errors"])}
    if not codes <= CODES:
        return f"codes without documentation: {codes - CODES}"
    if audited and operation.path not in PUSHES:
        return "refused, and done all the same"
    return ""


@pytest.mark.parametrize("operation", OPERATIONS, ids=lambda each: each.name)
class TestHostileRequests:
    def test_are_refused_in_shape(self, stage: Stage, operation: Operation):
        assert list_wrong_answers(stage, operation, step=199 if operation in WRITES else 59) == []

    @pytest.mark.slow
    def test_are_all_refused_in_shape(self, stage: Stage, operation: Operation):
        assert list_wrong_answers(stage, operation, step=1) == []
