"""What ails the service: what stops it, and what only makes it slower to notice things."""

from collections.abc import Callable

import redis
from django.db import DatabaseError, connection
from django.db.migrations.executor import MigrationExecutor

from common import broker

# Beat asks for a sweep every few seconds; this long without one, beat or the workers are down.
LONGEST_WITHOUT_SWEEP_S = 30.0

Check = Callable[[], str | None]
_checks: list[Check] = []


def register(check: Check) -> None:
    """Have `check` asked, too: it returns what is wrong in one sentence, or None."""
    if check not in _checks:
        _checks.append(check)


def find_stopper() -> str | None:
    """Return what makes it impossible to serve, or None."""
    try:
        with connection.cursor() as cursor:
            cursor.execute("SELECT 1")
        return None if _is_migrated() else "The database lacks migrations of this release."
    except DatabaseError:
        return "The database does not answer."


def list_complaints() -> list[str]:
    """Return what is wrong although pushes and reads still work."""
    complaints = [complaint for check in _checks if (complaint := check()) is not None]
    try:
        since = broker.seconds_since_sweep()
    except redis.RedisError:
        return ["The broker does not answer; figures wait for it.", *complaints]
    if since is None or since > LONGEST_WITHOUT_SWEEP_S:
        complaints.insert(0, "No sweep of late: beat or the workers are down.")
    return complaints


class _Migrations:
    """Whether the database fits this release: looked up until it does, and then known."""

    applied = False


def _is_migrated() -> bool:
    if not _Migrations.applied:
        executor = MigrationExecutor(connection)
        _Migrations.applied = not executor.migration_plan(executor.loader.graph.leaf_nodes())
    return _Migrations.applied
