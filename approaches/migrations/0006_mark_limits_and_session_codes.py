from django.contrib.postgres.operations import AddConstraintNotValid
from django.db import migrations, models

FORM_OF_AN_ID = r"^[0-9a-f]{8}(-[0-9a-f]{4}){3}-[0-9a-f]{12}$"


class Migration(migrations.Migration):
    dependencies = [("approaches", "0005_find_waiting_gate_runs")]

    operations = [
        # A start mark of just 2 or 80 m is one, for a plan as for an attempt.
        migrations.SeparateDatabaseAndState(
            database_operations=[
                migrations.RunSQL(
                    # A list, because the comment for the lint would be cut out of a text. The
                    # wider check follows in this very transaction.
                    sql=[
                        "-- squawk-ignore ban-drop-constraint\n"
                        "ALTER TABLE approaches_plan DROP CONSTRAINT plan_start_mark_plausible"
                    ],
                    reverse_sql=(
                        "ALTER TABLE approaches_plan ADD CONSTRAINT plan_start_mark_plausible"
                        " CHECK (start_mark_m > 2 AND start_mark_m < 80) NOT VALID"
                    ),
                )
            ],
            state_operations=[
                migrations.RemoveConstraint(model_name="plan", name="plan_start_mark_plausible")
            ],
        ),
        AddConstraintNotValid(
            model_name="plan",
            constraint=models.CheckConstraint(
                condition=models.Q(("start_mark_m__gte", 2), ("start_mark_m__lte", 80)),
                name="plan_start_mark_plausible",
            ),
        ),
        AddConstraintNotValid(
            model_name="session",
            constraint=models.CheckConstraint(
                condition=models.Q(("code__iregex", FORM_OF_AN_ID), _negated=True),
                name="session_code_is_no_id",
            ),
        ),
    ]
