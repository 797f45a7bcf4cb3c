import django.db.models.deletion
from django.contrib.postgres.operations import AddConstraintNotValid
from django.db import migrations, models

import common.constraints


class Migration(migrations.Migration):
    dependencies = [
        ("clubs", "0003_enter_by_token"),
        ("analytics", "0002_row_versions"),
    ]

    operations = [
        migrations.AddField(
            model_name="alert",
            name="put_off_at",
            field=models.DateTimeField(null=True),
        ),
        migrations.AddField(
            model_name="alert",
            name="put_off_by",
            field=models.ForeignKey(
                db_constraint=False,
                db_index=False,
                null=True,
                on_delete=django.db.models.deletion.PROTECT,
                related_name="+",
                to="clubs.membership",
            ),
        ),
        migrations.AlterField(
            model_name="alert",
            name="put_off_until_date",
            field=models.DateField(help_text="The day on which it is back.", null=True),
        ),
        migrations.SeparateDatabaseAndState(
            database_operations=[
                # Not valid: nobody waits while the rows that are there are read.
                migrations.RunSQL(
                    sql=(
                        "ALTER TABLE analytics_alert ADD CONSTRAINT alert_put_off_by_same_club"
                        " FOREIGN KEY (club_id, put_off_by_id)"
                        " REFERENCES clubs_membership (club_id, id) NOT VALID"
                    ),
                    reverse_sql=(
                        "ALTER TABLE analytics_alert DROP CONSTRAINT alert_put_off_by_same_club"
                    ),
                )
            ],
            state_operations=[
                migrations.AddConstraint(
                    model_name="alert",
                    constraint=common.constraints.SameClub(
                        "put_off_by", name="alert_put_off_by_same_club"
                    ),
                )
            ],
        ),
        AddConstraintNotValid(
            model_name="alert",
            constraint=models.CheckConstraint(
                condition=models.Q(
                    ("acknowledged_at__isnull", True),
                    ("put_off_until_date__isnull", True),
                    _connector="OR",
                ),
                name="alert_acknowledged_or_put_off",
            ),
        ),
    ]
