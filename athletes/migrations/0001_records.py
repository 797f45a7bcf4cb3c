import django.db.models.deletion
import django.db.models.functions.datetime
from django.conf import settings
from django.db import migrations, models

import clubs.models
import common.constraints
from common.wall import build_wall, key_by_club


class Migration(migrations.Migration):
    initial = True

    dependencies = [
        ("clubs", "0001_records"),
        migrations.swappable_dependency(settings.AUTH_USER_MODEL),
    ]

    operations = [
        migrations.CreateModel(
            name="Athlete",
            fields=[
                (
                    "id",
                    models.UUIDField(
                        db_default=clubs.models.DatabaseUUID(),
                        editable=False,
                        primary_key=True,
                        serialize=False,
                    ),
                ),
                (
                    "code",
                    models.CharField(
                        help_text='The club\'s own short code, such as "A-17".', max_length=32
                    ),
                ),
                ("given_name", models.CharField(max_length=80)),
                ("family_name", models.CharField(max_length=80)),
                ("birth_date", models.DateField()),
                (
                    "take_off_foot",
                    models.CharField(
                        blank=True,
                        choices=[("left", "Left"), ("right", "Right")],
                        max_length=5,
                        null=True,
                    ),
                ),
                ("shoe_length_m", models.FloatField(blank=True, null=True)),
                ("archived_at", models.DateTimeField(blank=True, null=True)),
                (
                    "created_at",
                    models.DateTimeField(
                        db_default=django.db.models.functions.datetime.Now(), editable=False
                    ),
                ),
                (
                    "club",
                    models.ForeignKey(
                        db_index=False,
                        on_delete=django.db.models.deletion.PROTECT,
                        related_name="+",
                        to="clubs.club",
                    ),
                ),
                (
                    "user",
                    models.ForeignKey(
                        blank=True,
                        null=True,
                        on_delete=django.db.models.deletion.PROTECT,
                        related_name="athletes",
                        to=settings.AUTH_USER_MODEL,
                    ),
                ),
            ],
        ),
        migrations.CreateModel(
            name="BodyMeasurement",
            fields=[
                (
                    "id",
                    models.UUIDField(
                        db_default=clubs.models.DatabaseUUID(),
                        editable=False,
                        primary_key=True,
                        serialize=False,
                    ),
                ),
                ("measured_date", models.DateField()),
                ("height_m", models.FloatField()),
                ("leg_length_m", models.FloatField(blank=True, null=True)),
                (
                    "athlete",
                    models.ForeignKey(
                        db_constraint=False,
                        db_index=False,
                        on_delete=django.db.models.deletion.PROTECT,
                        related_name="measurements",
                        to="athletes.athlete",
                    ),
                ),
                (
                    "club",
                    models.ForeignKey(
                        db_index=False,
                        on_delete=django.db.models.deletion.PROTECT,
                        related_name="+",
                        to="clubs.club",
                    ),
                ),
            ],
        ),
        migrations.CreateModel(
            name="CoachAssignment",
            fields=[
                (
                    "id",
                    models.UUIDField(
                        db_default=clubs.models.DatabaseUUID(),
                        editable=False,
                        primary_key=True,
                        serialize=False,
                    ),
                ),
                ("from_date", models.DateField()),
                ("until_date", models.DateField(blank=True, null=True)),
                (
                    "athlete",
                    models.ForeignKey(
                        blank=True,
                        db_constraint=False,
                        db_index=False,
                        null=True,
                        on_delete=django.db.models.deletion.PROTECT,
                        related_name="assignments",
                        to="athletes.athlete",
                    ),
                ),
                (
                    "club",
                    models.ForeignKey(
                        db_index=False,
                        on_delete=django.db.models.deletion.PROTECT,
                        related_name="+",
                        to="clubs.club",
                    ),
                ),
                (
                    "coach",
                    models.ForeignKey(
                        db_constraint=False,
                        db_index=False,
                        on_delete=django.db.models.deletion.PROTECT,
                        related_name="assignments",
                        to="clubs.membership",
                    ),
                ),
                (
                    "squad",
                    models.ForeignKey(
                        blank=True,
                        db_constraint=False,
                        db_index=False,
                        null=True,
                        on_delete=django.db.models.deletion.PROTECT,
                        related_name="assignments",
                        to="clubs.squad",
                    ),
                ),
            ],
        ),
        migrations.CreateModel(
            name="Consent",
            fields=[
                (
                    "id",
                    models.UUIDField(
                        db_default=clubs.models.DatabaseUUID(),
                        editable=False,
                        primary_key=True,
                        serialize=False,
                    ),
                ),
                (
                    "purpose",
                    models.CharField(
                        choices=[
                            ("training_records", "Training records"),
                            ("sharing_with_coaches", "Sharing with coaches"),
                            ("research", "Research"),
                        ],
                        max_length=24,
                    ),
                ),
                (
                    "given_by",
                    models.CharField(
                        choices=[("athlete", "The athlete"), ("guardian", "A guardian")],
                        max_length=8,
                    ),
                ),
                ("text_version", models.CharField(max_length=20)),
                ("from_date", models.DateField()),
                ("withdrawn_date", models.DateField(blank=True, null=True)),
                (
                    "athlete",
                    models.ForeignKey(
                        db_constraint=False,
                        db_index=False,
                        on_delete=django.db.models.deletion.PROTECT,
                        related_name="consents",
                        to="athletes.athlete",
                    ),
                ),
                (
                    "club",
                    models.ForeignKey(
                        db_index=False,
                        on_delete=django.db.models.deletion.PROTECT,
                        related_name="+",
                        to="clubs.club",
                    ),
                ),
            ],
        ),
        migrations.CreateModel(
            name="SprintTest",
            fields=[
                (
                    "id",
                    models.UUIDField(
                        db_default=clubs.models.DatabaseUUID(),
                        editable=False,
                        primary_key=True,
                        serialize=False,
                    ),
                ),
                ("tested_date", models.DateField()),
                (
                    "start",
                    models.CharField(
                        choices=[
                            ("block", "Block start"),
                            ("standing", "Standing start"),
                            ("flying", "Flying start"),
                        ],
                        max_length=8,
                    ),
                ),
                ("splits", models.JSONField(help_text="[{at_m, time_s}], both growing.")),
                (
                    "athlete",
                    models.ForeignKey(
                        db_constraint=False,
                        db_index=False,
                        on_delete=django.db.models.deletion.PROTECT,
                        related_name="sprint_tests",
                        to="athletes.athlete",
                    ),
                ),
                (
                    "club",
                    models.ForeignKey(
                        db_index=False,
                        on_delete=django.db.models.deletion.PROTECT,
                        related_name="+",
                        to="clubs.club",
                    ),
                ),
            ],
        ),
        migrations.CreateModel(
            name="SquadMember",
            fields=[
                (
                    "id",
                    models.UUIDField(
                        db_default=clubs.models.DatabaseUUID(),
                        editable=False,
                        primary_key=True,
                        serialize=False,
                    ),
                ),
                ("from_date", models.DateField()),
                ("until_date", models.DateField(blank=True, null=True)),
                (
                    "athlete",
                    models.ForeignKey(
                        db_constraint=False,
                        db_index=False,
                        on_delete=django.db.models.deletion.PROTECT,
                        related_name="squad_times",
                        to="athletes.athlete",
                    ),
                ),
                (
                    "club",
                    models.ForeignKey(
                        db_index=False,
                        on_delete=django.db.models.deletion.PROTECT,
                        related_name="+",
                        to="clubs.club",
                    ),
                ),
                (
                    "squad",
                    models.ForeignKey(
                        db_constraint=False,
                        db_index=False,
                        on_delete=django.db.models.deletion.PROTECT,
                        related_name="members",
                        to="clubs.squad",
                    ),
                ),
            ],
        ),
        key_by_club("athletes_athlete"),
        key_by_club("athletes_bodymeasurement"),
        key_by_club("athletes_coachassignment"),
        key_by_club("athletes_consent"),
        key_by_club("athletes_sprinttest"),
        key_by_club("athletes_squadmember"),
        migrations.AddConstraint(
            model_name="athlete",
            constraint=models.UniqueConstraint(fields=("club", "code"), name="athlete_code_once"),
        ),
        migrations.AddConstraint(
            model_name="athlete",
            constraint=models.UniqueConstraint(
                condition=models.Q(("user__isnull", False)),
                fields=("club", "user"),
                name="athlete_once_per_user",
            ),
        ),
        migrations.AddConstraint(
            model_name="athlete",
            constraint=models.CheckConstraint(
                condition=models.Q(("code", ""), _negated=True), name="athlete_has_code"
            ),
        ),
        migrations.AddConstraint(
            model_name="athlete",
            constraint=models.CheckConstraint(
                condition=models.Q(
                    ("shoe_length_m__isnull", True),
                    models.Q(("shoe_length_m__gt", 0.1), ("shoe_length_m__lt", 0.5)),
                    _connector="OR",
                ),
                name="athlete_shoe_length_plausible",
            ),
        ),
        migrations.AddConstraint(
            model_name="bodymeasurement",
            constraint=common.constraints.SameClub("athlete", name="measurement_athlete_same_club"),
        ),
        migrations.AddConstraint(
            model_name="bodymeasurement",
            constraint=models.UniqueConstraint(
                fields=("club", "athlete", "measured_date"), name="measurement_once_a_day"
            ),
        ),
        migrations.AddConstraint(
            model_name="bodymeasurement",
            constraint=models.CheckConstraint(
                condition=models.Q(("height_m__gt", 0.8), ("height_m__lt", 2.6)),
                name="measurement_height_plausible",
            ),
        ),
        migrations.AddConstraint(
            model_name="bodymeasurement",
            constraint=models.CheckConstraint(
                condition=models.Q(
                    ("leg_length_m__isnull", True),
                    models.Q(("leg_length_m__gt", 0.3), ("leg_length_m__lt", models.F("height_m"))),
                    _connector="OR",
                ),
                name="measurement_leg_plausible",
            ),
        ),
        migrations.AddIndex(
            model_name="coachassignment",
            index=models.Index(fields=["club", "coach"], name="assignment_of_coach"),
        ),
        migrations.AddConstraint(
            model_name="coachassignment",
            constraint=common.constraints.SameClub("coach", name="assignment_coach_same_club"),
        ),
        migrations.AddConstraint(
            model_name="coachassignment",
            constraint=common.constraints.SameClub("squad", name="assignment_squad_same_club"),
        ),
        migrations.AddConstraint(
            model_name="coachassignment",
            constraint=common.constraints.SameClub("athlete", name="assignment_athlete_same_club"),
        ),
        migrations.AddConstraint(
            model_name="coachassignment",
            constraint=models.CheckConstraint(
                condition=models.Q(
                    models.Q(("athlete__isnull", True), ("squad__isnull", False)),
                    models.Q(("athlete__isnull", False), ("squad__isnull", True)),
                    _connector="OR",
                ),
                name="assignment_squad_or_athlete",
            ),
        ),
        migrations.AddConstraint(
            model_name="coachassignment",
            constraint=models.CheckConstraint(
                condition=models.Q(
                    ("until_date__isnull", True),
                    ("until_date__gte", models.F("from_date")),
                    _connector="OR",
                ),
                name="assignment_ends_after_start",
            ),
        ),
        migrations.AddConstraint(
            model_name="consent",
            constraint=common.constraints.SameClub("athlete", name="consent_athlete_same_club"),
        ),
        migrations.AddConstraint(
            model_name="consent",
            constraint=models.UniqueConstraint(
                fields=("club", "athlete", "purpose", "from_date"), name="consent_once_a_day"
            ),
        ),
        migrations.AddConstraint(
            model_name="consent",
            constraint=models.CheckConstraint(
                condition=models.Q(
                    ("withdrawn_date__isnull", True),
                    ("withdrawn_date__gte", models.F("from_date")),
                    _connector="OR",
                ),
                name="consent_ends_after_start",
            ),
        ),
        migrations.AddIndex(
            model_name="sprinttest",
            index=models.Index(fields=["club", "athlete", "tested_date"], name="sprint_test_day"),
        ),
        migrations.AddConstraint(
            model_name="sprinttest",
            constraint=common.constraints.SameClub("athlete", name="sprint_test_athlete_same_club"),
        ),
        migrations.AddIndex(
            model_name="squadmember",
            index=models.Index(fields=["club", "athlete"], name="squad_member_of_athlete"),
        ),
        migrations.AddConstraint(
            model_name="squadmember",
            constraint=common.constraints.SameClub("squad", name="squad_member_squad_same_club"),
        ),
        migrations.AddConstraint(
            model_name="squadmember",
            constraint=common.constraints.SameClub(
                "athlete", name="squad_member_athlete_same_club"
            ),
        ),
        migrations.AddConstraint(
            model_name="squadmember",
            constraint=models.UniqueConstraint(
                condition=models.Q(("until_date__isnull", True)),
                fields=("club", "squad", "athlete"),
                name="squad_member_open_once",
            ),
        ),
        migrations.AddConstraint(
            model_name="squadmember",
            constraint=models.CheckConstraint(
                condition=models.Q(
                    ("until_date__isnull", True),
                    ("until_date__gte", models.F("from_date")),
                    _connector="OR",
                ),
                name="squad_member_ends_after_start",
            ),
        ),
        build_wall("athletes_athlete"),
        build_wall("athletes_bodymeasurement"),
        build_wall("athletes_coachassignment"),
        build_wall("athletes_consent"),
        build_wall("athletes_sprinttest"),
        build_wall("athletes_squadmember"),
    ]
