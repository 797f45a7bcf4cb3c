"""The limits: the same rows by COPY, without HTTP, checks, wall, token, audit and outbox."""

from collections.abc import Sequence
from decimal import Decimal
from types import TracebackType
from typing import Any, Self
from uuid import UUID

import psycopg

from approaches.models import Approach, Plan, Session
from clubs.models import Source
from tests.bench.readings import FOOTFALLS, GATES_AT_M, Measured

# The columns that a push fills, and their types for the binary format.
COLUMNS = {
    "club_id": "uuid",
    "source_id": "uuid",
    "external_id": "text",
    "athlete_id": "uuid",
    "approach_id": "uuid",
    "plan_id": "uuid",
    "session_id": "uuid",
    "started_at": "timestamptz",
    "finish": "text",
    "phases": "varchar[]",
    "start_mark_m": "float8",
    "wind_mps": "float8",
    "outcome": "text",
    "take_off_foot_ok": "bool",
    "official_m": "numeric",
    "toe_m": "float8[]",
    "touchdown_s": "float8[]",
    "toe_off_s": "float8[]",
    "contact": "varchar[]",
    "gate_at_m": "float8[]",
    "gate_time_s": "float8[]",
    "left_out": "text",
    "fingerprint": "bytea",
    "version": "int4",
}
_NAMES = ", ".join(COLUMNS)
_INTO_TABLE = f"COPY approaches_attempt ({_NAMES}) FROM STDIN (FORMAT binary)"
_INTO_BARE = f"COPY bench_bare ({_NAMES}) FROM STDIN (FORMAT binary)"
PHASES = ["acceleration", "transition", "attack"]


class Copier:
    """Writes rows as the owner, whom row-level security does not hold."""

    def __init__(self, owner_address: str) -> None:
        self._connection = psycopg.connect(owner_address)
        with self._connection.transaction():
            columns = ", ".join(f"{name} {kind}" for name, kind in COLUMNS.items())
            self._connection.execute(f"CREATE TABLE bench_bare ({columns})")

    def copy_rows(self, rows: Sequence[Sequence[Any]]) -> None:
        """Write the rows into the table of the attempts, one by one, and commit."""
        with (
            self._connection.transaction(),
            self._connection.cursor() as cursor,
            cursor.copy(_INTO_TABLE) as copy,
        ):
            copy.set_types(list(COLUMNS.values()))
            for row in rows:
                copy.write_row(row)

    def encode(self, rows: Sequence[Sequence[Any]]) -> bytes:
        """Return the bytes that COPY takes for these rows, as the server itself writes them."""
        with self._connection.cursor() as cursor:
            with cursor.copy(_INTO_BARE) as copy:
                copy.set_types(list(COLUMNS.values()))
                for row in rows:
                    copy.write_row(row)
            with cursor.copy(f"COPY bench_bare ({_NAMES}) TO STDOUT (FORMAT binary)") as copy:
                encoded = b"".join(bytes(block) for block in copy)
        self._connection.rollback()
        return encoded

    def copy_bytes(self, encoded: bytes) -> None:
        """Write bytes that are encoded already into a table without any index, and commit."""
        with (
            self._connection.transaction(),
            self._connection.cursor() as cursor,
            cursor.copy(_INTO_BARE) as copy,
        ):
            copy.write(encoded)

    def count(self, table: str) -> int:
        with self._connection.transaction():
            (count,) = self._connection.execute(f"SELECT count(*) FROM {table}").fetchone() or (0,)
            return int(count)

    def __enter__(self) -> Self:
        return self

    def __exit__(
        self,
        kind: type[BaseException] | None,
        error: BaseException | None,
        trace: TracebackType | None,
    ) -> None:
        self._connection.close()


def as_row(
    measured: Measured, *, source: Source, approach: Approach, plan: Plan, session: Session
) -> tuple[Any, ...]:
    """Return the row that a push of this attempt would store, in the order of `COLUMNS`."""
    ids: tuple[UUID, ...] = (approach.athlete_id, approach.id, plan.id, session.id)
    return (
        source.club_id,
        source.id,
        measured.external_id,
        *ids,
        measured.started_at,
        "jump",
        PHASES,
        34.2,
        0.5,
        "valid",
        None,
        Decimal("6.41"),
        measured.toe_m,
        measured.touchdown_s,
        measured.toe_off_s,
        ["flat"] * FOOTFALLS,
        list(GATES_AT_M),
        measured.gate_time_s,
        None,
        bytes(17),
        1,
    )
