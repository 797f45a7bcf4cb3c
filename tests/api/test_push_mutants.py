"""Good pushes with something broken in them: never a 5xx, and always the one shape."""

import gzip
import json
import random
from collections import Counter
from collections.abc import Callable
from typing import Any

import pytest

from tests.api.conftest import Api, World
from tests.api.test_error_shape import check_shape
from tests.factories import csv_of, make_reading

SEED = 20260502
ANSWERS = {
    "received",
    "created",
    "known",
    "conflicts",
    "rejected",
    "complete",
    "rows",
    "rows_omitted",
}
ROW = {"index", "line", "external_id", "code", "pointer", "detail", "send_again_helps"}
TYPES = ["application/json", "application/x-ndjson", "text/csv"]
# What stands in the way of parsers, databases and arithmetic.
VALUES: list[Any] = [
    None, True, False, 0, -0.0, 1e308, -1e308, 5e-324, 2**53 + 1, 2**64, -(2**63) - 1, 10**400,
    "", " ", "\0", "a\0b", "\u202e", "\ufeff", "\U0001f600", "x" * 65, "x" * 70_000, "NaN", "-0",
    "1e999", "1e-999", "6.410", "6,41", "'; DROP TABLE", "ext:", "ext:\u00e4", "%s", "{}", "[]",
    "2026-02-30T00:00:00Z", "0001-01-01T00:00:00+14:00", "9999-12-31T23:59:59-14:00",
    "2026-05-02T24:00:00Z", "2026-05-02T09:14:07", "1e5", [], {}, [None], [[]], {"": ""},
    {"toe_m": None}, {"toe_m": []}, {"toe_m": [None]}, {"toe_m": [1e308, -1e308]},
    {"touchdown_s": [3600, -3600]}, {"at_m": [], "time_s": []}, {"at_m": [1], "time_s": [None]},
    list(range(50)), ["attack"] * 4, {"contact": ["ball"] * 41},
]  # fmt: skip
PIECES = [
    b"\0", b"\xff", b"\xef\xbb\xbf", b'"', b"\\", b"\\u0000", b"\\ud800", b"{", b"}", b"[", b"]",
    b",", b":", b"\n", b"\r", b"\r\n", b";", b"\t", b"NaN", b"1e999", b"-", b"+", b"null", b"''",
    b"\xc3", b"\xed\xa0\x80", b"\xf4\x90\x80\x80", b"[" * 3_000, b'{"a":' * 3_000, b"9" * 500,
    b"\\\\" * 50, b'""', b"=cmd", b"\xe2\x80\xa8",
]  # fmt: skip


class Mutants:
    """Pushes of a few attempts, each broken in one to three places."""

    def __init__(self, world: World, rng: random.Random) -> None:
        self._world, self._rng = world, rng

    def one(self) -> tuple[str, bytes, str, dict[str, str]]:
        """Return an address with its options, a body, its type and its headers."""
        rng = self._rng
        rows = [self._reading() for _ in range(rng.randrange(1, 4))]
        if rng.random() < 0.6:
            self._break_values(rng.choice(rows))
        media_type = rng.choice(TYPES)
        body = self._written(rows, media_type)
        if rng.random() < 0.6:
            for _ in range(rng.randrange(1, 4)):
                body = self._break_bytes(body)
        headers = {}
        if rng.random() < 0.2:
            headers["Content-Encoding"] = rng.choice(["gzip", "gzip", "gzip", "br", "GZIP", ""])
            body = gzip.compress(body, mtime=0)
            if rng.random() < 0.4:
                body = self._break_bytes(body)
        if rng.random() < 0.05:
            media_type = rng.choice([*TYPES, "text/plain", "text/csv; charset=utf-16", "/", ""])
        options = [f"{name}=true" for name in _OPTIONS if rng.random() < 0.2]
        return f"attempts/batch/?{'&'.join(options)}", body, media_type, headers

    def _reading(self) -> dict[str, Any]:
        world, rng = self._world, self._rng
        reading = make_reading(world.athlete, world.session)
        if rng.random() < 0.3:
            reading["external_id"] = f"run-{rng.randrange(20)}"  # known, or in conflict
        if rng.random() < 0.2:
            reading["session"] = f"made-{rng.randrange(5)}"
        return reading

    def _break_values(self, reading: dict[str, Any]) -> None:
        rng = self._rng
        for _ in range(rng.randrange(1, 3)):
            name = rng.choice([*reading, "", "a/b~c", "\0", "toe_m", "version", "x" * 300])
            value = rng.choice(VALUES)
            inner = reading.get(name)
            if isinstance(inner, dict) and rng.random() < 0.7:
                key = rng.choice([*inner, "toes"])
                array = inner.get(key)
                if isinstance(array, list) and array and rng.random() < 0.7:
                    value = [*array]
                    value[rng.randrange(len(value))] = rng.choice(VALUES)
                value = inner | {key: value}
            reading[name] = value

    def _written(self, rows: list[dict[str, Any]], media_type: str) -> bytes:
        if media_type == "text/csv":
            return csv_of(*rows)
        written = [json.dumps(row, ensure_ascii=self._rng.random() < 0.5).encode() for row in rows]
        return b"[%s]" % b",".join(written) if media_type == TYPES[0] else b"\n".join(written)

    def _break_bytes(self, body: bytes) -> bytes:
        rng = self._rng
        at, other = sorted(rng.randrange(len(body) + 1) for _ in range(2))
        ways: list[Callable[[], bytes]] = [
            lambda: body[:at],
            lambda: body[at:],
            lambda: body[:at] + body[other:],
            lambda: body[:other] + body[at:],
            lambda: body[:at] + rng.choice(PIECES) + body[at:],
            lambda: body[:at] + rng.choice(PIECES) + body[at + 1 :],
            lambda: body[:at] + bytes([rng.randrange(256)]) + body[at + 1 :],
            lambda: body[:at] + rng.randbytes(8) + body[other:],
            lambda: body.replace(b'"', rng.choice(PIECES), 1),
        ]
        return rng.choice(ways)()


_OPTIONS = ("dry_run", "make_sessions", "all_or_nothing")


def push_mutants(world: World, count: int) -> Counter[int]:
    rng = random.Random(SEED)  # noqa: S311  # a repeatable course of events, no secret
    mutants, device = Mutants(world, rng), world.as_("device")
    statuses: Counter[int] = Counter()
    for number in range(count):
        path, body, media_type, headers = mutants.one()
        answer = device.client.generic(
            "POST", device.base + path, body, content_type=media_type, headers=headers
        )
        statuses[answer.status_code] += 1
        check_answer(answer, f"mutant {number}: {path} {media_type} {headers} {body[:2_000]!r}")
    check_still_serving(world, device)
    return statuses


def check_answer(answer: Any, told: str) -> None:
    assert answer.status_code in {200, 400, 413, 415, 422}, told
    if answer.status_code != 200:
        check_shape(answer, answer.status_code, answer.json()["code"])
        return
    said = answer.json()
    assert set(said) == ANSWERS, told
    assert said["received"] == sum(
        said[name] for name in ("created", "known", "conflicts", "rejected")
    )
    assert said["complete"] == (said["conflicts"] + said["rejected"] == 0)
    assert len(said["rows"]) + said["rows_omitted"] == said["conflicts"] + said["rejected"], told
    assert all(set(row) == ROW and row["code"] for row in said["rows"]), told


def check_still_serving(world: World, device: Api) -> None:
    answer = device.post("attempts/", make_reading(world.athlete, world.session))
    assert answer.status_code == 201


class TestMutants:
    def test_five_hundred_are_answered_in_the_one_shape(self, world: World):
        statuses = push_mutants(world, 500)

        # A generator that breaks too little, or too much, would show nothing.
        assert statuses[200] > 100
        assert statuses[400] > 50

    @pytest.mark.slow
    @pytest.mark.timeout(900)
    def test_ten_thousand_are_answered_in_the_one_shape(self, world: World):
        statuses = push_mutants(world, 10_000)

        assert statuses.total() == 10_000
