import django.db.models.deletion
import django.db.models.functions.datetime
from django.db import migrations, models

import clubs.models
import common.constraints
from common.wall import build_wall, key_by_club, look_across_clubs


class Migration(migrations.Migration):
    initial = True

    dependencies = [
        ("approaches", "0001_records"),
        ("clubs", "0001_records"),
    ]

    operations = [
        migrations.CreateModel(
            name="Alert",
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
                    "kind",
                    models.CharField(
                        choices=[
                            ("level", "Level at the board"),
                            ("spread", "Spread at the board"),
                            ("no_jump_share", "Share of no jumps"),
                            ("progress", "Spread lower than before"),
                        ],
                        max_length=16,
                    ),
                ),
                (
                    "opened_at",
                    models.DateTimeField(help_text="When the attempt that opened it was made."),
                ),
                ("evidence", models.JSONField()),
                ("closed_at", models.DateTimeField(null=True)),
                ("closed_because", models.CharField(blank=True, max_length=20)),
                ("acknowledged_at", models.DateTimeField(null=True)),
                ("put_off_until_date", models.DateField(null=True)),
                ("put_off_reason", models.CharField(blank=True, max_length=400)),
                (
                    "created_at",
                    models.DateTimeField(
                        db_default=django.db.models.functions.datetime.Now(), editable=False
                    ),
                ),
                (
                    "acknowledged_by",
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
                (
                    "opened_at_attempt",
                    models.ForeignKey(
                        db_constraint=False,
                        db_index=False,
                        on_delete=django.db.models.deletion.PROTECT,
                        related_name="+",
                        to="approaches.attempt",
                    ),
                ),
                (
                    "plan",
                    models.ForeignKey(
                        db_constraint=False,
                        db_index=False,
                        null=True,
                        on_delete=django.db.models.deletion.PROTECT,
                        related_name="+",
                        to="approaches.plan",
                    ),
                ),
            ],
            options={
                "indexes": [models.Index(fields=["club", "-opened_at", "id"], name="alert_latest")],
                "constraints": [
                    common.constraints.SameClub("approach", name="alert_approach_same_club"),
                    common.constraints.SameClub("plan", name="alert_plan_same_club"),
                    common.constraints.SameClub(
                        "opened_at_attempt", name="alert_attempt_same_club"
                    ),
                    common.constraints.SameClub(
                        "acknowledged_by", name="alert_acknowledged_by_same_club"
                    ),
                    models.UniqueConstraint(
                        fields=("club", "kind", "approach", "finish_class", "opened_at_attempt"),
                        name="alert_once_per_point",
                    ),
                ],
            },
        ),
        migrations.CreateModel(
            name="AlertRule",
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
                    "kind",
                    models.CharField(
                        choices=[
                            ("level", "Level at the board"),
                            ("spread", "Spread at the board"),
                            ("no_jump_share", "Share of no jumps"),
                            ("progress", "Spread lower than before"),
                        ],
                        max_length=16,
                    ),
                ),
                ("is_active", models.BooleanField(default=True)),
                ("thresholds", models.JSONField(blank=True, default=dict)),
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
                "constraints": [
                    models.UniqueConstraint(fields=("club", "kind"), name="alert_rule_once"),
                    models.CheckConstraint(
                        condition=models.Q(
                            ("kind__in", ["level", "spread", "no_jump_share", "progress"])
                        ),
                        name="alert_rule_kind_known",
                    ),
                ],
            },
        ),
        migrations.CreateModel(
            name="SeriesPoint",
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
                ("started_at", models.DateTimeField()),
                ("plan_revision", models.PositiveIntegerField(null=True)),
                ("n", models.PositiveIntegerField(help_text="Attempts in the window.")),
                (
                    "n_measured",
                    models.PositiveIntegerField(help_text="Of these, with a measured toe."),
                ),
                ("n_no_jumps", models.PositiveIntegerField()),
                ("n_on_board", models.PositiveIntegerField()),
                ("toe_m", models.FloatField(null=True)),
                ("no_jump", models.BooleanField()),
                ("bias_m", models.FloatField(null=True)),
                ("bias_low_m", models.FloatField(null=True)),
                ("bias_high_m", models.FloatField(null=True)),
                ("spread_m", models.FloatField(null=True)),
                ("spread_low_m", models.FloatField(null=True)),
                ("spread_high_m", models.FloatField(null=True)),
                ("share_on_board", models.FloatField(null=True)),
                ("share_no_jump", models.FloatField(null=True)),
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
                    "attempt",
                    models.ForeignKey(
                        db_constraint=False,
                        db_index=False,
                        on_delete=django.db.models.deletion.PROTECT,
                        related_name="+",
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
            options={
                "indexes": [
                    models.Index(
                        fields=["club", "approach", "finish_class", "started_at", "attempt"],
                        name="series_point_in_order",
                    )
                ],
                "constraints": [
                    common.constraints.SameClub("approach", name="series_point_approach_same_club"),
                    common.constraints.SameClub("attempt", name="series_point_attempt_same_club"),
                    models.UniqueConstraint(
                        fields=("club", "attempt", "approach", "finish_class"),
                        name="series_point_once",
                    ),
                ],
            },
        ),
        migrations.CreateModel(
            name="SeriesState",
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
                ("method", models.PositiveSmallIntegerField(help_text="Version of the formulas.")),
                (
                    "revision",
                    models.BigIntegerField(default=0, help_text="Grows with each refresh."),
                ),
                ("n_attempts", models.PositiveIntegerField(default=0)),
                (
                    "figures",
                    models.JSONField(default=dict, help_text="Figures over the latest window."),
                ),
                (
                    "judge_due_at",
                    models.DateTimeField(
                        help_text="When the session that is still open will have finished.",
                        null=True,
                    ),
                ),
                (
                    "unjudged_since",
                    models.DateTimeField(
                        help_text="Start of the first session that the charts have not judged.",
                        null=True,
                    ),
                ),
                (
                    "computed_at",
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
                (
                    "through_attempt",
                    models.ForeignKey(
                        db_constraint=False,
                        db_index=False,
                        null=True,
                        on_delete=django.db.models.deletion.PROTECT,
                        related_name="+",
                        to="approaches.attempt",
                    ),
                ),
            ],
            options={
                "indexes": [
                    models.Index(
                        condition=models.Q(("judge_due_at__isnull", False)),
                        fields=["judge_due_at"],
                        name="series_state_to_judge",
                    ),
                    models.Index(fields=["method"], name="series_state_by_method"),
                ],
                "constraints": [
                    common.constraints.SameClub("approach", name="series_state_approach_same_club"),
                    common.constraints.SameClub(
                        "through_attempt", name="series_state_attempt_same_club"
                    ),
                    models.UniqueConstraint(
                        fields=("club", "approach", "finish_class"), name="series_state_once"
                    ),
                ],
            },
        ),
        migrations.CreateModel(
            name="SessionPoint",
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
                ("first_started_at", models.DateTimeField()),
                ("last_started_at", models.DateTimeField()),
                (
                    "figures",
                    models.JSONField(
                        help_text="What was measured in the session, and the chart points."
                    ),
                ),
                (
                    "chart_state",
                    models.JSONField(help_text="What the next session point starts from."),
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
                (
                    "last_attempt",
                    models.ForeignKey(
                        db_constraint=False,
                        db_index=False,
                        on_delete=django.db.models.deletion.PROTECT,
                        related_name="+",
                        to="approaches.attempt",
                    ),
                ),
                (
                    "plan",
                    models.ForeignKey(
                        db_constraint=False,
                        db_index=False,
                        null=True,
                        on_delete=django.db.models.deletion.PROTECT,
                        related_name="+",
                        to="approaches.plan",
                    ),
                ),
                (
                    "session",
                    models.ForeignKey(
                        db_constraint=False,
                        db_index=False,
                        on_delete=django.db.models.deletion.PROTECT,
                        related_name="+",
                        to="approaches.session",
                    ),
                ),
            ],
            options={
                "indexes": [
                    models.Index(
                        fields=["club", "approach", "finish_class", "first_started_at"],
                        name="session_point_in_order",
                    )
                ],
                "constraints": [
                    common.constraints.SameClub(
                        "approach", name="session_point_approach_same_club"
                    ),
                    common.constraints.SameClub("session", name="session_point_session_same_club"),
                    common.constraints.SameClub("plan", name="session_point_plan_same_club"),
                    common.constraints.SameClub(
                        "last_attempt", name="session_point_attempt_same_club"
                    ),
                    models.UniqueConstraint(
                        fields=("club", "approach", "finish_class", "session", "plan"),
                        name="session_point_once",
                        nulls_distinct=False,
                    ),
                ],
            },
        ),
        key_by_club("analytics_alert"),
        key_by_club("analytics_alertrule"),
        key_by_club("analytics_seriespoint"),
        key_by_club("analytics_seriesstate"),
        key_by_club("analytics_sessionpoint"),
        build_wall("analytics_alert"),
        build_wall("analytics_alertrule"),
        build_wall("analytics_seriespoint"),
        build_wall("analytics_seriesstate"),
        build_wall("analytics_sessionpoint"),
        # What is put off after a failure waits, whatever else speaks for it.
        look_across_clubs(
            "penult_due_series(at_most integer, method integer)",
            returns="TABLE (club_id uuid, approach_id uuid, finish_class text)",
            query="SELECT p.club_id, p.approach_id, p.finish_class FROM approaches_pendingrefresh AS p"
            " WHERE p.next_try_at <= now()"
            " UNION"
            " SELECT s.club_id, s.approach_id, s.finish_class FROM analytics_seriesstate AS s"
            " WHERE (s.judge_due_at <= now() OR s.method < $2)"
            " AND NOT EXISTS (SELECT FROM approaches_pendingrefresh AS p"
            " WHERE p.club_id = s.club_id AND p.approach_id = s.approach_id"
            " AND p.finish_class = s.finish_class AND p.next_try_at > now())"
            " LIMIT $1",
        ),
        # Since when the oldest refresh that is due has been due: one that is put off is not late.
        look_across_clubs(
            "penult_refresh_backlog()",
            returns="TABLE (waiting bigint, poisoned bigint, oldest timestamptz)",
            query="SELECT count(*), count(*) FILTER (WHERE failures > 0),"
            " min(greatest(waiting_since, next_try_at)) FILTER (WHERE next_try_at <= now())"
            " FROM approaches_pendingrefresh",
        ),
    ]
