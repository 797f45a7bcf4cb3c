"""The database backend: Django finds it by this file's name."""

import select
from datetime import UTC, datetime
from typing import Any

from django.db.backends.postgresql import base
from psycopg.types.datetime import DatetimeDumper


class InUtcDumper(DatetimeDumper):
    """Send moments in UTC: PostgreSQL refuses offsets of 16 hours and more, RFC 3339 takes them."""

    def dump(self, obj: datetime) -> Any:
        return super().dump(obj.astimezone(UTC))


class DatabaseWrapper(base.DatabaseWrapper):
    """Django's own backend, but for `SELECT 1` first thing in each request, and far offsets."""

    def get_new_connection(self, conn_params: dict[str, Any]) -> Any:
        connection = super().get_new_connection(conn_params)
        connection.adapters.register_dumper(datetime, InUtcDumper)
        return connection

    def is_usable(self) -> bool:
        """Answer whether the connection still stands; ask the server only if it has said something.

        A server that ended has closed its end, which the system tells us at once. Against a host
        that vanished without a word `SELECT 1` would hang as long as the query after it.
        """
        if self.connection is None or self.connection.closed:
            return False
        if hasattr(select, "poll"):  # not everywhere
            ear = select.poll()
            ear.register(self.connection.fileno(), select.POLLIN)
            if not ear.poll(0):
                return True
        return super().is_usable()
