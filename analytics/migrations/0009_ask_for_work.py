import django.contrib.postgres.fields
import django.db.models.deletion
from django.db import migrations, models
from django.db.models.functions import Now

import clubs.models
import common.constraints
from common.wall import build_wall, key_by_club, look_across_clubs

# Heard of within the lease, a work has its worker; otherwise the worker was lost.
_IS_DUE = (
    "(w.state = 'waiting' OR (w.state = 'running'"
    " AND w.heard_at < now() - make_interval(secs => $1)))"
)
# Clubs take turns: the oldest question of each, the club that has waited longest for its turn first.
_DUE = f"""
    SELECT club_id, work_id
      FROM (SELECT w.club_id, w.id AS work_id, w.asked_at,
                   row_number() OVER (PARTITION BY w.club_id ORDER BY w.asked_at, w.id) AS place,
                   (SELECT max(s.started_at) FROM analytics_askedwork AS s
                     WHERE s.club_id = w.club_id) AS club_served_at
              FROM analytics_askedwork AS w
             WHERE {_IS_DUE} AND w.kind = ANY ($2)) AS due
     ORDER BY place, club_served_at NULLS FIRST, asked_at, work_id
     LIMIT $3
"""
_BACKLOG = f"""
    SELECT count(*) FILTER (WHERE {_IS_DUE}),
           count(*) FILTER (WHERE w.state = 'running' AND NOT {_IS_DUE}),
           min(w.asked_at) FILTER (WHERE {_IS_DUE})
      FROM analytics_askedwork AS w
     WHERE w.state IN ('waiting', 'running')
"""


class Migration(migrations.Migration):
    dependencies = [
        ("analytics", "0008_record_advice"),
        ("clubs", "0003_enter_by_token"),
    ]

    operations = [
        migrations.CreateModel(
            name="AskedWork",
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
                ("kind", models.CharField(max_length=24)),
                (
                    "asked",
                    models.JSONField(help_text="The question, with the ids that it is about."),
                ),
                (
                    "athlete_ids",
                    django.contrib.postgres.fields.ArrayField(
                        base_field=models.UUIDField(),
                        help_text="Whom it is about: who may see all of them may read it.",
                        size=None,
                    ),
                ),
                (
                    "same_question",
                    models.BinaryField(
                        help_text=(
                            "Equal for equal questions about equal attempts; empty when they "
                            "changed since."
                        ),
                        max_length=32,
                        null=True,
                    ),
                ),
                ("asked_at", models.DateTimeField(db_default=Now())),
                (
                    "state",
                    models.CharField(
                        choices=[
                            ("waiting", "Waits for its turn"),
                            ("running", "Is being worked out"),
                            ("done", "Worked out"),
                            ("failed", "Failed"),
                        ],
                        default="waiting",
                        max_length=8,
                    ),
                ),
                (
                    "taken_up",
                    models.PositiveSmallIntegerField(
                        default=0,
                        help_text="How often a worker took it up; each time has its number.",
                    ),
                ),
                ("n_done", models.PositiveIntegerField(default=0)),
                (
                    "n_parts",
                    models.PositiveIntegerField(
                        default=0, help_text="0 until a worker has counted them."
                    ),
                ),
                ("started_at", models.DateTimeField(null=True)),
                (
                    "heard_at",
                    models.DateTimeField(
                        help_text="When its worker last said how far it is.", null=True
                    ),
                ),
                ("finished_at", models.DateTimeField(null=True)),
                (
                    "forget_at",
                    models.DateTimeField(help_text="When it is deleted, its answer with it."),
                ),
                ("answer", models.JSONField(null=True)),
                ("method", models.PositiveSmallIntegerField(help_text="Version of the formulas.")),
                (
                    "failure",
                    models.CharField(
                        blank=True,
                        choices=[
                            ("took_too_long", "Took too long and was stopped"),
                            ("lost", "Its worker was lost again and again"),
                            ("broken", "Something of ours broke"),
                        ],
                        max_length=16,
                    ),
                ),
                ("last_error", models.CharField(blank=True, max_length=200)),
                (
                    "asked_by",
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
            options={
                "verbose_name_plural": "asked work",
                "indexes": [
                    models.Index(
                        condition=models.Q(("state__in", ["waiting", "running"])),
                        fields=["asked_at"],
                        name="asked_work_to_do",
                    ),
                    models.Index(fields=["club", "-asked_at", "-id"], name="asked_work_latest"),
                ],
                "constraints": [
                    common.constraints.SameClub("asked_by", name="asked_work_asked_by_same_club"),
                    models.UniqueConstraint(
                        fields=("club", "same_question"), name="asked_work_once"
                    ),
                    models.CheckConstraint(
                        condition=models.Q(("state__in", ["waiting", "running", "done", "failed"])),
                        name="asked_work_state_known",
                    ),
                    models.CheckConstraint(
                        condition=models.Q(
                            models.Q(("answer__isnull", False), ("state", "done")),
                            models.Q(
                                models.Q(("state", "done"), _negated=True),
                                ("answer__isnull", True),
                            ),
                            _connector="OR",
                        ),
                        name="asked_work_done_has_answer",
                    ),
                    models.CheckConstraint(
                        condition=models.Q(
                            models.Q(("state", "failed"), models.Q(("failure", ""), _negated=True)),
                            models.Q(models.Q(("state", "failed"), _negated=True), ("failure", "")),
                            _connector="OR",
                        ),
                        name="asked_work_failed_says_why",
                    ),
                ],
            },
        ),
        key_by_club("analytics_askedwork"),
        build_wall("analytics_askedwork"),
        look_across_clubs(
            "penult_due_work(lease_s double precision, kinds text[], at_most integer)",
            returns="TABLE (club_id uuid, work_id uuid)",
            query=_DUE,
        ),
        # What waits for a worker, what has one, and since when the oldest has waited.
        look_across_clubs(
            "penult_work_backlog(lease_s double precision)",
            returns="TABLE (waiting bigint, running bigint, oldest timestamptz)",
            query=_BACKLOG,
        ),
    ]
