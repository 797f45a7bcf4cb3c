"""Statements of the hot paths: the server keeps them prepared, and answers in binary.

Django sends each query as new text, and the server plans it anew; with row-level security planning
took three times as long as finding a row. Binary values are read without parsing.
"""

from collections.abc import Callable, Sequence
from typing import Any, LiteralString, NamedTuple, TypeVar

import psycopg
from django.db import connection
from psycopg.rows import args_row

Row = TypeVar("Row")


class Selection(NamedTuple):
    """A query for ids, as `IN (...)` takes it."""

    query: LiteralString
    parameters: tuple[Any, ...]


def read_rows(
    query: LiteralString, parameters: Sequence[Any], *, make: Callable[..., Row]
) -> list[Row]:
    """Return what `make` makes of the columns of each row, in the club scope that is open."""
    connection.ensure_connection()
    with (
        connection.wrap_database_errors,
        psycopg.Cursor(connection.connection, row_factory=args_row(make)) as cursor,
    ):
        cursor.execute(query, parameters, prepare=True, binary=True)
        return cursor.fetchall()


def write(statement: LiteralString, parameters: Sequence[Any]) -> None:
    """Run a statement that answers nothing, in the club scope that is open."""
    connection.ensure_connection()
    with connection.wrap_database_errors, psycopg.Cursor(connection.connection) as cursor:
        cursor.execute(statement, parameters, prepare=True)


def find_row(
    query: LiteralString, parameters: Sequence[Any], *, make: Callable[..., Row]
) -> Row | None:
    """Return what `make` makes of the first row, or None."""
    return next(iter(read_rows(query, parameters, make=make)), None)
