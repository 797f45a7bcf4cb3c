"""Many rows at once: attempts with their points, copied by the database from real ones."""

import psycopg
from django.db.models import Model

from analytics.models import SeriesPoint
from approaches.models import Attempt

# These differ from copy to copy; every other column is that of the original.
_ATTEMPT_OWN = {
    "id": "uuidv7()",
    "external_id": "uuidv7()::text",
    "started_at": "a.started_at - copy.number * interval '1 hour'",
}
_POINT_OWN = {
    "id": "uuidv7()",
    "attempt_id": "made.id",
    "started_at": "made.started_at",
}


def multiply_attempts(address: str, *, approach_ids: list[str], copies: int) -> int:
    """Store `copies` of every attempt of the approaches, each an hour before the one before.

    With each copy goes a point, that of the series' last attempt. The address is a superuser's:
    without looking at foreign keys, which the copies keep anyway, it takes half the time. Return
    how many were stored.
    """
    attempts, points = _columns(Attempt, _ATTEMPT_OWN, "a"), _columns(SeriesPoint, _POINT_OWN, "p")
    with psycopg.connect(address) as connection:
        connection.execute("SET session_replication_role = replica")
        stored = connection.execute(
            f"""
            WITH made AS (
                INSERT INTO approaches_attempt ({", ".join(attempts)})
                SELECT {", ".join(attempts.values())}
                  FROM approaches_attempt AS a CROSS JOIN generate_series(1, %s) AS copy (number)
                 WHERE a.approach_id = ANY(%s::uuid[])
                RETURNING id, approach_id, started_at
            ), last AS (
                SELECT DISTINCT ON (approach_id) * FROM analytics_seriespoint
                 WHERE approach_id = ANY(%s::uuid[]) ORDER BY approach_id, started_at DESC
            )
            INSERT INTO analytics_seriespoint ({", ".join(points)})
            SELECT {", ".join(points.values())}
              FROM made JOIN last AS p ON p.approach_id = made.approach_id
            """,
            [copies, approach_ids, approach_ids],
        ).rowcount
        connection.execute(
            "UPDATE analytics_seriesstate SET n_attempts = n_attempts * %s"
            " WHERE approach_id = ANY(%s::uuid[])",
            [copies + 1, approach_ids],
        )
    with psycopg.connect(address, autocommit=True) as connection:
        connection.execute("VACUUM ANALYZE approaches_attempt, analytics_seriespoint")
    return stored


def _columns(model: type[Model], own: dict[str, str], original: str) -> dict[str, str]:
    """Return each column of a table with what a copy has in it."""
    names = [str(field.column) for field in model._meta.concrete_fields]
    return {name: own.get(name, f"{original}.{name}") for name in names}
