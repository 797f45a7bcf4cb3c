import django.contrib.postgres.fields
import django.db.models.deletion
import django.db.models.functions.datetime
from django.db import migrations, models

import clubs.models
import common.constraints
from common.wall import build_wall, key_by_club


class Migration(migrations.Migration):
    initial = True

    dependencies = [
        ("athletes", "0001_records"),
        ("clubs", "0001_records"),
    ]

    operations = [
        migrations.CreateModel(
            name="Approach",
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
                        help_text='Unique for the athlete, such as "LJ-16".', max_length=32
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
                    "steps",
                    models.PositiveSmallIntegerField(help_text="From the start mark to take-off."),
                ),
                (
                    "start_style",
                    models.CharField(
                        choices=[
                            ("standing", "Standing"),
                            ("walk_in", "Walk-in"),
                            ("run_in", "Run-in"),
                        ],
                        max_length=8,
                    ),
                ),
                ("archived_at", models.DateTimeField(blank=True, null=True)),
                (
                    "created_at",
                    models.DateTimeField(
                        db_default=django.db.models.functions.datetime.Now(), editable=False
                    ),
                ),
                (
                    "athlete",
                    models.ForeignKey(
                        db_constraint=False,
                        db_index=False,
                        on_delete=django.db.models.deletion.PROTECT,
                        related_name="approaches",
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
            options={
                "verbose_name_plural": "approaches",
            },
        ),
        migrations.CreateModel(
            name="Attempt",
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
                    "external_id",
                    models.CharField(help_text="Id that the source gave it.", max_length=64),
                ),
                ("started_at", models.DateTimeField()),
                (
                    "finish",
                    models.CharField(
                        choices=[
                            ("run_through", "Run-through"),
                            ("pop_up", "Pop-up"),
                            ("jump", "Jump"),
                        ],
                        max_length=12,
                    ),
                ),
                (
                    "phases",
                    django.contrib.postgres.fields.ArrayField(
                        base_field=models.CharField(max_length=12), size=None
                    ),
                ),
                (
                    "start_mark_m",
                    models.FloatField(help_text="The start mark that was used.", null=True),
                ),
                (
                    "wind_mps",
                    models.FloatField(help_text="Along the runway, tail wind positive.", null=True),
                ),
                (
                    "outcome",
                    models.CharField(
                        choices=[
                            ("valid", "Valid"),
                            ("no_jump", "No jump"),
                            ("baulk", "Baulk"),
                            ("not_judged", "Not judged"),
                        ],
                        max_length=10,
                    ),
                ),
                ("take_off_foot_ok", models.BooleanField(null=True)),
                ("official_m", models.DecimalField(decimal_places=2, max_digits=4, null=True)),
                (
                    "toe_m",
                    django.contrib.postgres.fields.ArrayField(
                        base_field=models.FloatField(), size=None
                    ),
                ),
                (
                    "touchdown_s",
                    django.contrib.postgres.fields.ArrayField(
                        base_field=models.FloatField(), size=None
                    ),
                ),
                (
                    "toe_off_s",
                    django.contrib.postgres.fields.ArrayField(
                        base_field=models.FloatField(), size=None
                    ),
                ),
                (
                    "contact",
                    django.contrib.postgres.fields.ArrayField(
                        base_field=models.CharField(max_length=4, null=True), size=None
                    ),
                ),
                (
                    "gate_at_m",
                    django.contrib.postgres.fields.ArrayField(
                        base_field=models.FloatField(), size=None
                    ),
                ),
                (
                    "gate_time_s",
                    django.contrib.postgres.fields.ArrayField(
                        base_field=models.FloatField(), size=None
                    ),
                ),
                (
                    "left_out",
                    models.CharField(
                        choices=[
                            ("baulk", "Baulk"),
                            ("wrong_foot", "Wrong take-off foot"),
                            ("wrong_step_count", "Wrong number of steps"),
                            ("partial", "Part of the run-up only"),
                        ],
                        max_length=16,
                        null=True,
                    ),
                ),
                (
                    "fingerprint",
                    models.BinaryField(help_text="Version byte, then the hash.", max_length=17),
                ),
                ("version", models.PositiveIntegerField(default=1)),
                ("voided_at", models.DateTimeField(null=True)),
                (
                    "created_at",
                    models.DateTimeField(
                        db_default=django.db.models.functions.datetime.Now(), editable=False
                    ),
                ),
                (
                    "approach",
                    models.ForeignKey(
                        db_constraint=False,
                        db_index=False,
                        on_delete=django.db.models.deletion.PROTECT,
                        related_name="+",
                        to="approaches.approach",
                    ),
                ),
                (
                    "athlete",
                    models.ForeignKey(
                        db_constraint=False,
                        db_index=False,
                        on_delete=django.db.models.deletion.PROTECT,
                        related_name="+",
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
                    "source",
                    models.ForeignKey(
                        db_constraint=False,
                        db_index=False,
                        on_delete=django.db.models.deletion.PROTECT,
                        related_name="+",
                        to="clubs.source",
                    ),
                ),
            ],
        ),
        migrations.CreateModel(
            name="AttemptVersion",
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
                ("version", models.PositiveIntegerField()),
                ("former", models.JSONField(help_text="The fields as they were.")),
                (
                    "replaced_at",
                    models.DateTimeField(db_default=django.db.models.functions.datetime.Now()),
                ),
                ("replaced_by", models.UUIDField(help_text="Token or membership.")),
                ("reason", models.CharField(max_length=400)),
                (
                    "attempt",
                    models.ForeignKey(
                        db_constraint=False,
                        db_index=False,
                        on_delete=django.db.models.deletion.PROTECT,
                        related_name="versions",
                        to="approaches.attempt",
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
            name="GateRun",
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
                ("external_id", models.CharField(max_length=64)),
                ("started_at", models.DateTimeField()),
                ("raw", models.JSONField()),
                (
                    "created_at",
                    models.DateTimeField(
                        db_default=django.db.models.functions.datetime.Now(), editable=False
                    ),
                ),
                (
                    "athlete",
                    models.ForeignKey(
                        db_constraint=False,
                        db_index=False,
                        null=True,
                        on_delete=django.db.models.deletion.PROTECT,
                        related_name="+",
                        to="athletes.athlete",
                    ),
                ),
                (
                    "attempt",
                    models.ForeignKey(
                        db_constraint=False,
                        db_index=False,
                        null=True,
                        on_delete=django.db.models.deletion.PROTECT,
                        related_name="gate_runs",
                        to="approaches.attempt",
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
                    "source",
                    models.ForeignKey(
                        db_constraint=False,
                        db_index=False,
                        on_delete=django.db.models.deletion.PROTECT,
                        related_name="+",
                        to="clubs.source",
                    ),
                ),
            ],
        ),
        migrations.CreateModel(
            name="PendingRefresh",
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
                    "finish_class",
                    models.CharField(
                        choices=[("jump", "Jumps and pop-ups"), ("run_through", "Run-throughs")],
                        max_length=12,
                    ),
                ),
                (
                    "first_changed_at",
                    models.DateTimeField(help_text="Start of the first attempt that changed."),
                ),
                ("revision", models.BigIntegerField(default=1)),
                (
                    "waiting_since",
                    models.DateTimeField(db_default=django.db.models.functions.datetime.Now()),
                ),
                ("failures", models.PositiveIntegerField(default=0)),
                ("last_error", models.CharField(blank=True, max_length=200)),
                (
                    "next_try_at",
                    models.DateTimeField(db_default=django.db.models.functions.datetime.Now()),
                ),
                (
                    "approach",
                    models.ForeignKey(
                        db_constraint=False,
                        db_index=False,
                        on_delete=django.db.models.deletion.PROTECT,
                        related_name="+",
                        to="approaches.approach",
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
            options={
                "verbose_name_plural": "pending refreshes",
            },
        ),
        migrations.CreateModel(
            name="Plan",
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
                ("revision", models.PositiveIntegerField()),
                ("valid_from", models.DateTimeField()),
                ("start_mark_m", models.FloatField()),
                (
                    "aim_m",
                    models.FloatField(
                        default=0.06, help_text="Toe-to-board distance that the plan wants."
                    ),
                ),
                (
                    "check_marks",
                    models.JSONField(blank=True, default=list, help_text="[{footfall, at_m}]"),
                ),
                ("transition_footfall", models.PositiveSmallIntegerField(blank=True, null=True)),
                ("attack_footfall", models.PositiveSmallIntegerField(blank=True, null=True)),
                (
                    "toe_m",
                    django.contrib.postgres.fields.ArrayField(
                        base_field=models.FloatField(),
                        blank=True,
                        default=list,
                        help_text="Planned footfalls n to 0.",
                        size=None,
                    ),
                ),
                (
                    "last_contacts",
                    django.contrib.postgres.fields.ArrayField(
                        base_field=models.CharField(max_length=4),
                        blank=True,
                        default=list,
                        help_text="Third-last to last.",
                        size=None,
                    ),
                ),
                ("reason", models.CharField(blank=True, max_length=400)),
                (
                    "created_at",
                    models.DateTimeField(
                        db_default=django.db.models.functions.datetime.Now(), editable=False
                    ),
                ),
                (
                    "approach",
                    models.ForeignKey(
                        db_constraint=False,
                        db_index=False,
                        on_delete=django.db.models.deletion.PROTECT,
                        related_name="plans",
                        to="approaches.approach",
                    ),
                ),
                (
                    "author",
                    models.ForeignKey(
                        db_constraint=False,
                        db_index=False,
                        null=True,
                        on_delete=django.db.models.deletion.PROTECT,
                        related_name="+",
                        to="clubs.membership",
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
        migrations.AddField(
            model_name="attempt",
            name="plan",
            field=models.ForeignKey(
                db_constraint=False,
                db_index=False,
                help_text="The revision that was valid at the start of the attempt.",
                null=True,
                on_delete=django.db.models.deletion.PROTECT,
                related_name="+",
                to="approaches.plan",
            ),
        ),
        migrations.CreateModel(
            name="QuarantinedRow",
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
                ("external_id", models.CharField(blank=True, max_length=64)),
                ("raw", models.TextField(help_text="The row as it was sent.")),
                ("raw_hash", models.BinaryField(max_length=16)),
                ("code", models.CharField(max_length=40)),
                ("pointer", models.CharField(blank=True, max_length=200)),
                ("detail", models.CharField(max_length=400)),
                (
                    "received_at",
                    models.DateTimeField(db_default=django.db.models.functions.datetime.Now()),
                ),
                ("expires_at", models.DateTimeField()),
                ("replayed_at", models.DateTimeField(blank=True, null=True)),
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
                    "source",
                    models.ForeignKey(
                        db_constraint=False,
                        db_index=False,
                        on_delete=django.db.models.deletion.PROTECT,
                        related_name="+",
                        to="clubs.source",
                    ),
                ),
            ],
        ),
        migrations.CreateModel(
            name="Session",
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
                        help_text='Unique in the club, such as "2026-05-02-am".', max_length=40
                    ),
                ),
                ("held_date", models.DateField()),
                (
                    "kind",
                    models.CharField(
                        choices=[
                            ("training", "Training"),
                            ("testing", "Testing"),
                            ("competition", "Competition"),
                        ],
                        max_length=12,
                    ),
                ),
                ("weather", models.CharField(blank=True, max_length=200)),
                (
                    "field_size",
                    models.PositiveSmallIntegerField(
                        blank=True, help_text="Athletes in the competition.", null=True
                    ),
                ),
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
                    "runway",
                    models.ForeignKey(
                        blank=True,
                        db_constraint=False,
                        db_index=False,
                        null=True,
                        on_delete=django.db.models.deletion.PROTECT,
                        related_name="sessions",
                        to="clubs.runway",
                    ),
                ),
            ],
        ),
        migrations.AddField(
            model_name="attempt",
            name="session",
            field=models.ForeignKey(
                db_constraint=False,
                db_index=False,
                on_delete=django.db.models.deletion.PROTECT,
                related_name="+",
                to="approaches.session",
            ),
        ),
        key_by_club("approaches_approach"),
        key_by_club("approaches_attempt"),
        key_by_club("approaches_attemptversion"),
        key_by_club("approaches_gaterun"),
        key_by_club("approaches_pendingrefresh"),
        key_by_club("approaches_plan"),
        key_by_club("approaches_quarantinedrow"),
        key_by_club("approaches_session"),
        migrations.AddConstraint(
            model_name="approach",
            constraint=common.constraints.SameClub("athlete", name="approach_athlete_same_club"),
        ),
        migrations.AddConstraint(
            model_name="approach",
            constraint=models.UniqueConstraint(
                fields=("club", "athlete", "code"), name="approach_code_once"
            ),
        ),
        migrations.AddConstraint(
            model_name="approach",
            constraint=models.UniqueConstraint(
                fields=("club", "id", "athlete"), name="approach_of_athlete"
            ),
        ),
        migrations.AddConstraint(
            model_name="approach",
            constraint=models.CheckConstraint(
                condition=models.Q(("steps__gte", 2), ("steps__lte", 30)),
                name="approach_steps_plausible",
            ),
        ),
        migrations.AddConstraint(
            model_name="approach",
            constraint=models.CheckConstraint(
                condition=models.Q(("event__in", ["long_jump", "triple_jump"])),
                name="approach_event_known",
            ),
        ),
        migrations.AddConstraint(
            model_name="approach",
            constraint=models.CheckConstraint(
                condition=models.Q(("start_style__in", ["standing", "walk_in", "run_in"])),
                name="approach_start_style_known",
            ),
        ),
        migrations.AddConstraint(
            model_name="attemptversion",
            constraint=common.constraints.SameClub("attempt", name="attempt_version_same_club"),
        ),
        migrations.AddConstraint(
            model_name="attemptversion",
            constraint=models.UniqueConstraint(
                fields=("club", "attempt", "version"), name="attempt_version_once"
            ),
        ),
        migrations.AddIndex(
            model_name="gaterun",
            index=models.Index(fields=["club", "attempt"], name="gate_run_of_attempt"),
        ),
        migrations.AddConstraint(
            model_name="gaterun",
            constraint=common.constraints.SameClub("source", name="gate_run_source_same_club"),
        ),
        migrations.AddConstraint(
            model_name="gaterun",
            constraint=common.constraints.SameClub("athlete", name="gate_run_athlete_same_club"),
        ),
        migrations.AddConstraint(
            model_name="gaterun",
            constraint=common.constraints.SameClub("attempt", name="gate_run_attempt_same_club"),
        ),
        migrations.AddConstraint(
            model_name="gaterun",
            constraint=models.UniqueConstraint(
                fields=("club", "source", "external_id"), name="gate_run_once_per_source"
            ),
        ),
        migrations.AddIndex(
            model_name="pendingrefresh",
            index=models.Index(fields=["next_try_at"], name="pending_due"),
        ),
        migrations.AddConstraint(
            model_name="pendingrefresh",
            constraint=common.constraints.SameClub("approach", name="pending_approach_same_club"),
        ),
        migrations.AddConstraint(
            model_name="pendingrefresh",
            constraint=models.UniqueConstraint(
                fields=("club", "approach", "finish_class"), name="pending_once_per_series"
            ),
        ),
        migrations.AddConstraint(
            model_name="pendingrefresh",
            constraint=models.CheckConstraint(
                condition=models.Q(("finish_class__in", ["jump", "run_through"])),
                name="pending_finish_class_known",
            ),
        ),
        migrations.AddConstraint(
            model_name="plan",
            constraint=common.constraints.SameClub("approach", name="plan_approach_same_club"),
        ),
        migrations.AddConstraint(
            model_name="plan",
            constraint=common.constraints.SameClub("author", name="plan_author_same_club"),
        ),
        migrations.AddConstraint(
            model_name="plan",
            constraint=models.UniqueConstraint(
                fields=("club", "approach", "revision"), name="plan_revision_once"
            ),
        ),
        migrations.AddConstraint(
            model_name="plan",
            constraint=models.UniqueConstraint(
                fields=("club", "approach", "valid_from"), name="plan_one_from_a_moment"
            ),
        ),
        migrations.AddConstraint(
            model_name="plan",
            constraint=models.UniqueConstraint(
                fields=("club", "id", "approach"), name="plan_of_approach"
            ),
        ),
        migrations.AddConstraint(
            model_name="plan",
            constraint=models.CheckConstraint(
                condition=models.Q(("start_mark_m__gt", 2), ("start_mark_m__lt", 80)),
                name="plan_start_mark_plausible",
            ),
        ),
        migrations.AddConstraint(
            model_name="plan",
            constraint=models.CheckConstraint(
                condition=models.Q(("aim_m__gte", 0), ("aim_m__lte", 0.5)),
                name="plan_aim_plausible",
            ),
        ),
        migrations.AddConstraint(
            model_name="plan",
            constraint=models.CheckConstraint(
                condition=models.Q(
                    ("transition_footfall__isnull", True),
                    ("attack_footfall__isnull", True),
                    ("transition_footfall__gt", models.F("attack_footfall")),
                    _connector="OR",
                ),
                name="plan_phases_in_order",
            ),
        ),
        migrations.AddIndex(
            model_name="quarantinedrow",
            index=models.Index(fields=["club", "received_at", "id"], name="quarantine_latest"),
        ),
        migrations.AddIndex(
            model_name="quarantinedrow",
            index=models.Index(fields=["expires_at"], name="quarantine_expiry"),
        ),
        migrations.AddConstraint(
            model_name="quarantinedrow",
            constraint=common.constraints.SameClub("source", name="quarantine_source_same_club"),
        ),
        migrations.AddConstraint(
            model_name="quarantinedrow",
            constraint=models.UniqueConstraint(
                fields=("club", "source", "raw_hash"), name="quarantine_once_per_row"
            ),
        ),
        migrations.AddIndex(
            model_name="session",
            index=models.Index(fields=["club", "held_date", "id"], name="session_by_day"),
        ),
        migrations.AddConstraint(
            model_name="session",
            constraint=common.constraints.SameClub("runway", name="session_runway_same_club"),
        ),
        migrations.AddConstraint(
            model_name="session",
            constraint=models.UniqueConstraint(fields=("club", "code"), name="session_code_once"),
        ),
        migrations.AddConstraint(
            model_name="session",
            constraint=models.CheckConstraint(
                condition=models.Q(("kind__in", ["training", "testing", "competition"])),
                name="session_kind_known",
            ),
        ),
        migrations.AddConstraint(
            model_name="session",
            constraint=models.CheckConstraint(
                condition=models.Q(
                    ("field_size__isnull", True), ("field_size__gt", 0), _connector="OR"
                ),
                name="session_field_size_positive",
            ),
        ),
        migrations.AddIndex(
            model_name="attempt",
            index=models.Index(
                fields=["club", "approach", "started_at", "id"], name="attempt_in_order"
            ),
        ),
        migrations.AddIndex(
            model_name="attempt",
            index=models.Index(
                fields=["club", "session", "started_at", "id"], name="attempt_by_session"
            ),
        ),
        migrations.AddIndex(
            model_name="attempt",
            index=models.Index(fields=["club", "started_at", "id"], name="attempt_of_club"),
        ),
        migrations.AddConstraint(
            model_name="attempt",
            constraint=models.UniqueConstraint(
                fields=("club", "source", "external_id"), name="attempt_once_per_source"
            ),
        ),
        migrations.AddConstraint(
            model_name="attempt",
            constraint=common.constraints.SameClub("source", name="attempt_source_same_club"),
        ),
        migrations.AddConstraint(
            model_name="attempt",
            constraint=common.constraints.SameClub(
                "approach", also=("athlete",), name="attempt_approach_same_athlete"
            ),
        ),
        migrations.AddConstraint(
            model_name="attempt",
            constraint=common.constraints.SameClub(
                "plan", also=("approach",), name="attempt_plan_same_approach"
            ),
        ),
        migrations.AddConstraint(
            model_name="attempt",
            constraint=common.constraints.SameClub("session", name="attempt_session_same_club"),
        ),
        migrations.AddConstraint(
            model_name="attempt",
            constraint=models.CheckConstraint(
                condition=models.Q(("finish__in", ["run_through", "pop_up", "jump"])),
                name="attempt_finish_known",
            ),
        ),
        migrations.AddConstraint(
            model_name="attempt",
            constraint=models.CheckConstraint(
                condition=models.Q(("outcome__in", ["valid", "no_jump", "baulk", "not_judged"])),
                name="attempt_outcome_known",
            ),
        ),
        migrations.AddConstraint(
            model_name="attempt",
            constraint=models.CheckConstraint(
                condition=models.Q(
                    ("official_m__isnull", True),
                    models.Q(("official_m__gte", 0), ("outcome", "valid")),
                    _connector="OR",
                ),
                name="attempt_official_only_valid",
            ),
        ),
        build_wall("approaches_approach"),
        build_wall("approaches_attempt"),
        build_wall("approaches_attemptversion"),
        build_wall("approaches_gaterun"),
        build_wall("approaches_pendingrefresh"),
        build_wall("approaches_plan"),
        build_wall("approaches_quarantinedrow"),
        build_wall("approaches_session"),
    ]
