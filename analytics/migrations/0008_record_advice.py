import django.db.models.deletion
from django.db import migrations, models

import clubs.models
import common.constraints
from common.wall import build_wall, key_by_club


class Migration(migrations.Migration):
    dependencies = [
        ("analytics", "0007_speeds_and_rhythm_of_points"),
        ("approaches", "0008_plans_name_their_advice"),
        ("clubs", "0003_enter_by_token"),
    ]

    operations = [
        migrations.CreateModel(
            name="Advice",
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
                ("kind", models.CharField(choices=[("mark", "Start mark")], max_length=12)),
                (
                    "answer",
                    models.CharField(help_text="What was advised, in one word.", max_length=16),
                ),
                ("figures", models.JSONField(help_text="The numbers as they were given.")),
                ("told", models.JSONField(help_text="Text and reasons as they were told.")),
                (
                    "n",
                    models.PositiveIntegerField(help_text="Attempts that it was worked out from."),
                ),
                ("first_started_at", models.DateTimeField(help_text="Start of the first of them.")),
                ("through_started_at", models.DateTimeField()),
                (
                    "as_of",
                    models.DateTimeField(
                        help_text="When the newest of them was stored or corrected."
                    ),
                ),
                ("method", models.PositiveSmallIntegerField(help_text="Version of the formulas.")),
                (
                    "decision",
                    models.CharField(
                        choices=[("followed", "Followed"), ("declined", "Declined")], max_length=8
                    ),
                ),
                ("reason", models.CharField(blank=True, max_length=200)),
                ("decided_at", models.DateTimeField()),
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
                    "decided_by",
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
                    "plan",
                    models.ForeignKey(
                        db_constraint=False,
                        db_index=False,
                        help_text="The revision that was in force.",
                        null=True,
                        on_delete=django.db.models.deletion.PROTECT,
                        related_name="+",
                        to="approaches.plan",
                    ),
                ),
                (
                    "published_plan",
                    models.ForeignKey(
                        db_constraint=False,
                        db_index=False,
                        help_text="The revision that was made from it.",
                        null=True,
                        on_delete=django.db.models.deletion.PROTECT,
                        related_name="+",
                        to="approaches.plan",
                    ),
                ),
                (
                    "through_attempt",
                    models.ForeignKey(
                        db_constraint=False,
                        db_index=False,
                        on_delete=django.db.models.deletion.PROTECT,
                        related_name="+",
                        to="approaches.attempt",
                    ),
                ),
            ],
            options={
                "verbose_name_plural": "advice",
                "indexes": [
                    models.Index(
                        fields=["club", "approach", "-decided_at", "-id"], name="advice_latest"
                    )
                ],
                "constraints": [
                    common.constraints.SameClub("approach", name="advice_approach_same_club"),
                    common.constraints.SameClub("through_attempt", name="advice_attempt_same_club"),
                    common.constraints.SameClub("plan", name="advice_plan_same_club"),
                    common.constraints.SameClub("decided_by", name="advice_decided_by_same_club"),
                    common.constraints.SameClub(
                        "published_plan", name="advice_published_plan_same_club"
                    ),
                    models.CheckConstraint(
                        condition=models.Q(("kind__in", ["mark"])), name="advice_kind_known"
                    ),
                    models.CheckConstraint(
                        condition=models.Q(("decision__in", ["followed", "declined"])),
                        name="advice_decision_known",
                    ),
                    models.CheckConstraint(
                        condition=models.Q(
                            ("decision", "followed"),
                            ("published_plan__isnull", True),
                            _connector="OR",
                        ),
                        name="advice_published_is_followed",
                    ),
                    models.CheckConstraint(
                        condition=models.Q(
                            ("decision", "followed"),
                            models.Q(("reason", ""), _negated=True),
                            _connector="OR",
                        ),
                        name="advice_declined_with_reason",
                    ),
                ],
            },
        ),
        key_by_club("analytics_advice"),
        build_wall("analytics_advice"),
    ]
