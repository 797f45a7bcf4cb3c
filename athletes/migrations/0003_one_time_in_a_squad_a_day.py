from typing import Any

import django.contrib.postgres.constraints
import django.contrib.postgres.fields.ranges
import django.db.models.functions.comparison
from django.contrib.postgres.operations import BtreeGistExtension
from django.db import migrations, models

# Which athlete a member is stands in the athlete's row. Whoever changes it, through whichever door,
# changes the member as well: see common.versions.
_COUNT_LINKS = """
CREATE FUNCTION penult_member_linked() RETURNS trigger LANGUAGE plpgsql AS $body$
BEGIN
    IF OLD.user_id IS DISTINCT FROM NEW.user_id THEN
        UPDATE clubs_membership SET version = version + 1
         WHERE club_id = coalesce(NEW.club_id, OLD.club_id)
           AND user_id IN (OLD.user_id, NEW.user_id);
    END IF;
    RETURN NULL;
END $body$;
CREATE TRIGGER member_linked AFTER INSERT OR DELETE OR UPDATE OF user_id ON athletes_athlete
   FOR EACH ROW EXECUTE FUNCTION penult_member_linked();
"""
_COUNT_NO_LINKS = """
DROP TRIGGER member_linked ON athletes_athlete;
DROP FUNCTION penult_member_linked();
"""


def days_in_force() -> models.Func:
    return models.Func(
        models.F("from_date"),
        models.F("until_date"),
        models.Value("[]"),
        function="daterange",
        output_field=django.contrib.postgres.fields.ranges.DateRangeField(),
    )


def once_a_day(
    model_name: str, name: str, of: list[Any], *, columns: str
) -> migrations.SeparateDatabaseAndState:
    """Add a constraint that no two rows of the same `columns` hold on the same day.

    Where two rows do, it stops and names them: only a person knows which one was meant.
    """
    table = f"athletes_{model_name}"
    constraint = django.contrib.postgres.constraints.ExclusionConstraint(
        name=name, expressions=[*((each, "=") for each in of), (days_in_force(), "&&")]
    )
    return migrations.SeparateDatabaseAndState(
        database_operations=[
            migrations.RunSQL(
                # Such a constraint is its own index, and cannot be added before it is checked. The
                # table has a few rows for each person, so nobody waits long.
                sql=[
                    "-- squawk-ignore constraint-missing-not-valid\n"
                    f"ALTER TABLE {table} ADD CONSTRAINT {name} EXCLUDE USING gist"
                    f" ({columns}, daterange(from_date, until_date, '[]') WITH &&)"
                ],
                reverse_sql=f"ALTER TABLE {table} DROP CONSTRAINT {name}",
            )
        ],
        state_operations=[migrations.AddConstraint(model_name=model_name, constraint=constraint)],
    )


class Migration(migrations.Migration):
    dependencies = [
        ("clubs", "0003_enter_by_token"),
        ("athletes", "0002_row_versions"),
    ]

    operations = [
        # A trusted extension: the owner of the database may add it.
        BtreeGistExtension(),
        once_a_day(
            "squadmember",
            "squad_member_once_a_day",
            ["club", "squad", "athlete"],
            columns="club_id WITH =, squad_id WITH =, athlete_id WITH =",
        ),
        once_a_day(
            "coachassignment",
            "assignment_once_a_day",
            ["club", "coach", django.db.models.functions.comparison.Coalesce("squad", "athlete")],
            columns="club_id WITH =, coach_id WITH =, coalesce(squad_id, athlete_id) WITH =",
        ),
        migrations.RunSQL(sql=_COUNT_LINKS, reverse_sql=_COUNT_NO_LINKS),
    ]
