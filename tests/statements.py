"""How many statements a request sends, those that Django does not see included."""

from collections.abc import Iterator
from contextlib import contextmanager
from typing import Any
from unittest import mock

import psycopg


@contextmanager
def statements() -> Iterator[list[str]]:
    """Yield a list that each statement is added to when it is sent, prepared ones as well."""
    sent: list[str] = []
    execute = psycopg.Cursor.execute

    def recorded(cursor: Any, query: Any, *given: Any, **options: Any) -> Any:
        sent.append(str(query))
        return execute(cursor, query, *given, **options)

    with mock.patch.object(psycopg.Cursor, "execute", recorded):
        yield sent
