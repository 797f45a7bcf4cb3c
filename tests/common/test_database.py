"""A connection that broke is noticed before a request uses it; moments arrive from anywhere."""

from collections.abc import Iterator
from datetime import UTC, datetime
from typing import Any

import pytest
from django.db import connection


@pytest.fixture
def other(db: None) -> Iterator[Any]:
    """Return a connection of its own to the tests' database."""
    other = connection.copy()
    other.connect()
    yield other
    other.close()


class TestIsUsable:
    def test_while_the_server_answers(self, other: Any):
        assert other.is_usable()

    def test_not_once_the_server_has_ended_it(self, other: Any):
        with other.cursor() as cursor:
            cursor.execute("SELECT pg_backend_pid()")
            (pid,) = cursor.fetchone()
        with connection.cursor() as cursor:
            # It waits until the process is gone, so the news has arrived.
            cursor.execute("SELECT pg_terminate_backend(%s, 5000)", [pid])

        assert not other.is_usable()

    def test_although_the_server_said_something_on_its_own(self, other: Any):
        with other.cursor() as cursor:
            cursor.execute("LISTEN hearsay")
        with connection.copy().cursor() as cursor:
            cursor.execute("NOTIFY hearsay")
            cursor.db.close()

        assert other.is_usable()

    def test_not_when_it_was_never_opened(self, db: None):
        assert not connection.copy().is_usable()


class TestMoments:
    # RFC 3339, 5.6: time-hour is 00 to 23, in an offset too.
    @pytest.mark.parametrize("offset", ["+23:59", "-23:59", "+16:00", "+05:45", "+00:00"])
    def test_of_every_offset_arrive(self, db: None, offset: str):
        moment = datetime.fromisoformat(f"2026-05-02T09:14:07.25{offset}")

        with connection.cursor() as cursor:
            cursor.execute("SELECT %s, %s::timestamptz[]", [moment, [moment]])
            row = cursor.fetchone()

        assert row == (moment.astimezone(UTC), [moment.astimezone(UTC)])
