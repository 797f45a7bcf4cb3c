from django.db import migrations, models

_DUE = "penult_due_series(at_most integer, method integer)"
# Versions of rows only grow and no rule is ever deleted, so the sum grows with every change.
_ATTEMPTS_FIRST = """
    SELECT club_id, approach_id, finish_class
      FROM (SELECT p.club_id, p.approach_id, p.finish_class::text, 0 AS turn
              FROM approaches_pendingrefresh AS p
             WHERE p.next_try_at <= now()
             UNION ALL
            SELECT s.club_id, s.approach_id, s.finish_class::text, 1 AS turn
              FROM analytics_seriesstate AS s
             WHERE (s.judge_due_at <= now() OR s.method < $2)
               AND NOT EXISTS (SELECT FROM approaches_pendingrefresh AS p
                                WHERE p.club_id = s.club_id AND p.approach_id = s.approach_id
                                  AND p.finish_class = s.finish_class AND p.next_try_at > now())
             UNION ALL
            SELECT s.club_id, s.approach_id, s.finish_class::text, 2 AS turn
              FROM (SELECT club_id, sum(version) AS stamp
                      FROM analytics_alertrule GROUP BY club_id) AS r
              JOIN analytics_seriesstate AS s
                   ON s.club_id = r.club_id AND s.rules_stamp < r.stamp
             WHERE NOT EXISTS (SELECT FROM approaches_pendingrefresh AS p
                                WHERE p.club_id = s.club_id AND p.approach_id = s.approach_id
                                  AND p.finish_class = s.finish_class AND p.next_try_at > now())
           ) AS due
     GROUP BY club_id, approach_id, finish_class
     ORDER BY min(turn)
     LIMIT $1
"""
# What the function was before.
_ANY_ORDER = (
    "SELECT p.club_id, p.approach_id, p.finish_class FROM approaches_pendingrefresh AS p"
    " WHERE p.next_try_at <= now()"
    " UNION"
    " SELECT s.club_id, s.approach_id, s.finish_class FROM analytics_seriesstate AS s"
    " WHERE (s.judge_due_at <= now() OR s.method < $2)"
    " AND NOT EXISTS (SELECT FROM approaches_pendingrefresh AS p"
    " WHERE p.club_id = s.club_id AND p.approach_id = s.approach_id"
    " AND p.finish_class = s.finish_class AND p.next_try_at > now())"
    " LIMIT $1"
)


def replace(query: str) -> str:
    """Return the statement that gives the function another body; its rights stay."""
    return (
        f"CREATE OR REPLACE FUNCTION {_DUE}"
        " RETURNS TABLE (club_id uuid, approach_id uuid, finish_class text)"
        " LANGUAGE sql STABLE SECURITY DEFINER"
        f" SET search_path = pg_catalog, public, pg_temp AS $body$ {query} $body$"
    )


class Migration(migrations.Migration):
    atomic = False  # an index cannot be built concurrently within a transaction

    dependencies = [("analytics", "0005_stamps_of_alert_rules")]

    operations = [
        migrations.SeparateDatabaseAndState(
            database_operations=[
                migrations.RunSQL(
                    sql=(
                        "CREATE INDEX CONCURRENTLY IF NOT EXISTS series_state_by_rules"
                        " ON analytics_seriesstate (club_id, rules_stamp)"
                    ),
                    reverse_sql="DROP INDEX CONCURRENTLY IF EXISTS series_state_by_rules",
                )
            ],
            state_operations=[
                migrations.AddIndex(
                    model_name="seriesstate",
                    index=models.Index(
                        fields=["club", "rules_stamp"], name="series_state_by_rules"
                    ),
                )
            ],
        ),
        migrations.RunSQL(sql=replace(_ATTEMPTS_FIRST), reverse_sql=replace(_ANY_ORDER)),
    ]
