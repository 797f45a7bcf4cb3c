"""Statements of the hot paths: the server keeps them prepared, and answers in binary.

Django sends each query as new text, and the server plans it anew; with row-level security planning
took three times as long as finding a row. Binary values are read without parsing.
"""

from collections.abc import Callable, Sequence
from typing import Any, Generic, LiteralString, NamedTuple, TypeVar

import psycopg
from django.db import connection
from psycopg.rows import args_row

Row = TypeVar("Row")


class Selection(NamedTuple):
    """A query for ids, as `IN (...)` takes it."""

    query: LiteralString
    parameters: tuple[Any, ...]


class Question(Generic[Row]):
    """A query that was sent, in the club scope that is open, and whose rows are read once.

    In a pipelined scope what is sent together travels together: send all that you will read, and
    read then.
    """

    def __init__(
        self, query: LiteralString, parameters: Sequence[Any], *, make: Callable[..., Row]
    ) -> None:
        """Send the query; `make` will be given the columns of each row."""
        connection.ensure_connection()
        self._cursor = psycopg.Cursor(connection.connection, row_factory=args_row(make))
        with connection.wrap_database_errors:
            self._cursor.execute(query, parameters, prepare=True, binary=True)

    def rows(self) -> list[Row]:
        with connection.wrap_database_errors, self._cursor as cursor:
            return cursor.fetchall()


def read_rows(
    query: LiteralString, parameters: Sequence[Any], *, make: Callable[..., Row]
) -> list[Row]:
    """Return what `make` makes of the columns of each row, in the club scope that is open."""
    return Question(query, parameters, make=make).rows()


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
