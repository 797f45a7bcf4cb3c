"""The database backend: Django finds it by this file's name."""

import select

from django.db.backends.postgresql import base


class DatabaseWrapper(base.DatabaseWrapper):
    """Django's own backend, which asks `SELECT 1` first thing in each request, but for that."""

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
