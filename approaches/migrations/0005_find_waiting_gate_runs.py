from django.db import migrations, models


def index(index: models.Index, *, on: str) -> migrations.SeparateDatabaseAndState:
    """Build an index of gate runs beside what goes on; running it again does no harm."""
    return migrations.SeparateDatabaseAndState(
        database_operations=[
            migrations.RunSQL(
                sql=(
                    f"CREATE INDEX CONCURRENTLY IF NOT EXISTS {index.name}"
                    f" ON approaches_gaterun {on}"
                ),
                reverse_sql=f"DROP INDEX CONCURRENTLY IF EXISTS {index.name}",
            )
        ],
        state_operations=[migrations.AddIndex(model_name="gaterun", index=index)],
    )


class Migration(migrations.Migration):
    atomic = False  # an index cannot be built concurrently within a transaction

    dependencies = [("approaches", "0004_hold_gate_runs_to_their_matches")]

    operations = [
        index(
            models.Index(
                condition=models.Q(("attempt__isnull", True)),
                fields=["club", "started_at"],
                name="gate_run_waiting",
            ),
            on="(club_id, started_at) WHERE attempt_id IS NULL",
        ),
        index(
            models.Index(
                condition=models.Q(
                    ("attempt__isnull", True),
                    models.Q(("attempt_external_id", ""), _negated=True),
                ),
                fields=["club", "attempt_external_id"],
                name="gate_run_waiting_by_name",
            ),
            on="(club_id, attempt_external_id)"
            " WHERE attempt_id IS NULL AND attempt_external_id <> ''",
        ),
    ]
