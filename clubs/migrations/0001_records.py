import django.contrib.postgres.fields
import django.db.models.deletion
import django.db.models.functions.datetime
import django.db.models.functions.text
from django.conf import settings
from django.db import migrations, models

import clubs.models
import common.constraints
from common.wall import build_wall, key_by_club, look_across_clubs


class Migration(migrations.Migration):
    initial = True

    dependencies = []

    operations = [
        migrations.CreateModel(
            name="User",
            fields=[
                ("password", models.CharField(max_length=128, verbose_name="password")),
                (
                    "last_login",
                    models.DateTimeField(blank=True, null=True, verbose_name="last login"),
                ),
                (
                    "id",
                    models.UUIDField(
                        db_default=clubs.models.DatabaseUUID(),
                        editable=False,
                        primary_key=True,
                        serialize=False,
                    ),
                ),
                ("email", models.EmailField(max_length=254, unique=True)),
                ("is_active", models.BooleanField(default=True)),
                (
                    "created_at",
                    models.DateTimeField(
                        db_default=django.db.models.functions.datetime.Now(), editable=False
                    ),
                ),
            ],
            options={
                "constraints": [
                    models.UniqueConstraint(
                        django.db.models.functions.text.Lower("email"), name="user_email_any_case"
                    )
                ],
            },
        ),
        migrations.CreateModel(
            name="Club",
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
                    "slug",
                    models.SlugField(
                        help_text="Short name in addresses.", max_length=40, unique=True
                    ),
                ),
                ("name", models.CharField(max_length=120)),
                ("country", models.CharField(help_text="Two letters, ISO 3166-1.", max_length=2)),
                (
                    "time_zone",
                    models.CharField(default="UTC", help_text="IANA name.", max_length=64),
                ),
                (
                    "settings",
                    models.JSONField(
                        blank=True,
                        default=dict,
                        help_text="Thresholds that differ from the defaults.",
                    ),
                ),
                (
                    "created_at",
                    models.DateTimeField(
                        db_default=django.db.models.functions.datetime.Now(), editable=False
                    ),
                ),
            ],
            options={
                "constraints": [
                    models.CheckConstraint(
                        condition=models.Q(("country__regex", "^[A-Z]{2}$")),
                        name="club_country_iso",
                    )
                ],
            },
        ),
        migrations.CreateModel(
            name="Membership",
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
                    "role",
                    models.CharField(
                        choices=[("admin", "Admin"), ("coach", "Coach"), ("athlete", "Athlete")],
                        max_length=8,
                    ),
                ),
                ("ended_at", models.DateTimeField(blank=True, null=True)),
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
                        on_delete=django.db.models.deletion.PROTECT,
                        related_name="memberships",
                        to=settings.AUTH_USER_MODEL,
                    ),
                ),
            ],
        ),
        migrations.CreateModel(
            name="Runway",
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
                ("name", models.CharField(max_length=80)),
                ("surface", models.CharField(max_length=60)),
                ("indoor", models.BooleanField(default=False)),
                ("altitude_m", models.FloatField(default=0)),
                (
                    "direction_deg",
                    models.FloatField(
                        blank=True, help_text="Compass direction of running.", null=True
                    ),
                ),
                ("length_m", models.FloatField(blank=True, null=True)),
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
            name="Board",
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
                    "event",
                    models.CharField(
                        choices=[("long_jump", "Long jump"), ("triple_jump", "Triple jump")],
                        max_length=12,
                    ),
                ),
                (
                    "to_pit_m",
                    models.FloatField(
                        help_text="From the take-off line to the near end of the pit."
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
                    "runway",
                    models.ForeignKey(
                        db_constraint=False,
                        db_index=False,
                        on_delete=django.db.models.deletion.PROTECT,
                        related_name="boards",
                        to="clubs.runway",
                    ),
                ),
            ],
        ),
        migrations.CreateModel(
            name="Source",
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
                ("name", models.CharField(max_length=80)),
                (
                    "kind",
                    models.CharField(
                        choices=[
                            ("device", "Timing device"),
                            ("script", "Script"),
                            ("import", "Import"),
                            ("person", "Person"),
                        ],
                        max_length=8,
                    ),
                ),
                ("closed_at", models.DateTimeField(blank=True, null=True)),
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
                    "membership",
                    models.ForeignKey(
                        blank=True,
                        db_constraint=False,
                        db_index=False,
                        help_text="Whose built-in source this is, for attempts typed in by hand.",
                        null=True,
                        on_delete=django.db.models.deletion.PROTECT,
                        related_name="sources",
                        to="clubs.membership",
                    ),
                ),
            ],
        ),
        migrations.CreateModel(
            name="AccessToken",
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
                ("public_id", models.CharField(max_length=16, unique=True)),
                (
                    "secret_hash",
                    models.BinaryField(help_text="SHA-256 of the secret.", max_length=32),
                ),
                ("name", models.CharField(max_length=80)),
                (
                    "scopes",
                    django.contrib.postgres.fields.ArrayField(
                        base_field=models.CharField(max_length=32), size=None
                    ),
                ),
                (
                    "created_at",
                    models.DateTimeField(
                        db_default=django.db.models.functions.datetime.Now(), editable=False
                    ),
                ),
                ("expires_at", models.DateTimeField(blank=True, null=True)),
                ("revoked_at", models.DateTimeField(blank=True, null=True)),
                ("last_used_date", models.DateField(blank=True, editable=False, null=True)),
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
                    "membership",
                    models.ForeignKey(
                        blank=True,
                        db_constraint=False,
                        db_index=False,
                        null=True,
                        on_delete=django.db.models.deletion.PROTECT,
                        related_name="tokens",
                        to="clubs.membership",
                    ),
                ),
                (
                    "source",
                    models.ForeignKey(
                        blank=True,
                        db_constraint=False,
                        db_index=False,
                        null=True,
                        on_delete=django.db.models.deletion.PROTECT,
                        related_name="tokens",
                        to="clubs.source",
                    ),
                ),
            ],
        ),
        migrations.CreateModel(
            name="Squad",
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
                ("name", models.CharField(max_length=80)),
                ("archived_at", models.DateTimeField(blank=True, null=True)),
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
            name="AuditEntry",
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
                ("at", models.DateTimeField(db_default=django.db.models.functions.datetime.Now())),
                (
                    "actor_kind",
                    models.CharField(help_text="token, membership or system", max_length=10),
                ),
                ("actor_id", models.UUIDField(null=True)),
                ("action", models.CharField(max_length=60)),
                ("subject_kind", models.CharField(max_length=40)),
                (
                    "subject_ids",
                    django.contrib.postgres.fields.ArrayField(
                        base_field=models.UUIDField(), default=list, size=None
                    ),
                ),
                (
                    "field_names",
                    django.contrib.postgres.fields.ArrayField(
                        base_field=models.CharField(max_length=60), default=list, size=None
                    ),
                ),
                ("counts", models.JSONField(default=dict, help_text="How many rows, by outcome.")),
                ("request_id", models.CharField(blank=True, max_length=64)),
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
            options={
                "verbose_name_plural": "audit entries",
                "indexes": [models.Index(fields=["club", "-at"], name="audit_latest")],
            },
        ),
        key_by_club("clubs_membership"),
        key_by_club("clubs_runway"),
        key_by_club("clubs_board"),
        key_by_club("clubs_source"),
        key_by_club("clubs_accesstoken"),
        key_by_club("clubs_squad"),
        key_by_club("clubs_auditentry"),
        migrations.AddConstraint(
            model_name="membership",
            constraint=models.UniqueConstraint(fields=("club", "user"), name="membership_once"),
        ),
        migrations.AddConstraint(
            model_name="membership",
            constraint=models.CheckConstraint(
                condition=models.Q(("role__in", ["admin", "coach", "athlete"])),
                name="membership_role_known",
            ),
        ),
        migrations.AddConstraint(
            model_name="runway",
            constraint=models.UniqueConstraint(fields=("club", "name"), name="runway_name_once"),
        ),
        migrations.AddConstraint(
            model_name="runway",
            constraint=models.CheckConstraint(
                condition=models.Q(
                    ("direction_deg__isnull", True),
                    models.Q(("direction_deg__gte", 0), ("direction_deg__lt", 360)),
                    _connector="OR",
                ),
                name="runway_direction_compass",
            ),
        ),
        migrations.AddConstraint(
            model_name="runway",
            constraint=models.CheckConstraint(
                condition=models.Q(
                    ("length_m__isnull", True), ("length_m__gt", 0), _connector="OR"
                ),
                name="runway_length_positive",
            ),
        ),
        migrations.AddConstraint(
            model_name="board",
            constraint=common.constraints.SameClub("runway", name="board_runway_same_club"),
        ),
        migrations.AddConstraint(
            model_name="board",
            constraint=models.UniqueConstraint(
                fields=("club", "runway", "event", "to_pit_m"), name="board_once"
            ),
        ),
        migrations.AddConstraint(
            model_name="board",
            constraint=models.CheckConstraint(
                condition=models.Q(("to_pit_m__gt", 0)), name="board_before_pit"
            ),
        ),
        migrations.AddConstraint(
            model_name="board",
            constraint=models.CheckConstraint(
                condition=models.Q(("event__in", ["long_jump", "triple_jump"])),
                name="board_event_known",
            ),
        ),
        migrations.AddConstraint(
            model_name="source",
            constraint=common.constraints.SameClub(
                "membership", name="source_membership_same_club"
            ),
        ),
        migrations.AddConstraint(
            model_name="source",
            constraint=models.UniqueConstraint(fields=("club", "name"), name="source_name_once"),
        ),
        migrations.AddConstraint(
            model_name="source",
            constraint=models.UniqueConstraint(
                condition=models.Q(("membership__isnull", False)),
                fields=("club", "membership"),
                name="source_once_per_person",
            ),
        ),
        migrations.AddConstraint(
            model_name="source",
            constraint=models.CheckConstraint(
                condition=models.Q(
                    models.Q(("kind", "person"), ("membership__isnull", False)),
                    models.Q(
                        models.Q(("kind", "person"), _negated=True), ("membership__isnull", True)
                    ),
                    _connector="OR",
                ),
                name="source_person_has_membership",
            ),
        ),
        migrations.AddConstraint(
            model_name="source",
            constraint=models.CheckConstraint(
                condition=models.Q(("kind__in", ["device", "script", "import", "person"])),
                name="source_kind_known",
            ),
        ),
        migrations.AddIndex(
            model_name="accesstoken",
            index=models.Index(fields=["club", "source"], name="token_of_source"),
        ),
        migrations.AddIndex(
            model_name="accesstoken",
            index=models.Index(fields=["club", "membership"], name="token_of_membership"),
        ),
        migrations.AddConstraint(
            model_name="accesstoken",
            constraint=common.constraints.SameClub("source", name="token_source_same_club"),
        ),
        migrations.AddConstraint(
            model_name="accesstoken",
            constraint=common.constraints.SameClub("membership", name="token_membership_same_club"),
        ),
        migrations.AddConstraint(
            model_name="accesstoken",
            constraint=models.CheckConstraint(
                condition=models.Q(
                    models.Q(("membership__isnull", True), ("source__isnull", False)),
                    models.Q(("membership__isnull", False), ("source__isnull", True)),
                    _connector="OR",
                ),
                name="token_of_source_or_person",
            ),
        ),
        migrations.AddConstraint(
            model_name="squad",
            constraint=models.UniqueConstraint(fields=("club", "name"), name="squad_name_once"),
        ),
        build_wall("clubs_membership"),
        build_wall("clubs_runway"),
        build_wall("clubs_board"),
        build_wall("clubs_source"),
        build_wall("clubs_accesstoken"),
        build_wall("clubs_squad"),
        build_wall("clubs_auditentry"),
        build_wall("clubs_club", club_column="id"),
        # A token or a log-in is looked up before its club is known; these answer ids only.
        look_across_clubs(
            "penult_club_of_slug(slug text)",
            returns="uuid",
            query="SELECT id FROM clubs_club WHERE clubs_club.slug = $1",
        ),
        look_across_clubs(
            "penult_club_of_token(public_id text)",
            returns="uuid",
            query="SELECT club_id FROM clubs_accesstoken AS t WHERE t.public_id = $1",
        ),
        look_across_clubs(
            "penult_clubs_of_user(user_id uuid)",
            returns="SETOF uuid",
            query="SELECT club_id FROM clubs_membership AS m"
            " WHERE m.user_id = $1 AND m.ended_at IS NULL",
        ),
        look_across_clubs(
            "penult_all_clubs()",
            returns="SETOF uuid",
            query="SELECT id FROM clubs_club",
        ),
    ]
