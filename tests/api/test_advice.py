"""Advice over HTTP: decided on, and published as a plan."""

from datetime import timedelta
from typing import Any

import jsonschema  # type: ignore[import-untyped]  # no stubs among the pins
import pytest

from analytics.models import Advice
from approaches.models import Attempt, Plan
from clubs.models import AuditEntry, Role
from clubs.services.access import PERSON_SCOPES
from common.club_scope import club_scope
from tests import factories
from tests.api.conftest import Api, World, version_of
from tests.api.jumpers import AIM_M, DAY, DAYS_LATER, DECLINED, SHORT, STEADY, STEP_M, STEPS, Jumper
from tests.contract.openapi import find_operation, read_schema


@pytest.fixture
def jumper(world: World) -> Jumper:
    jumper = Jumper(world)
    jumper.jump(SHORT)
    return jumper


class TestADecision:
    def test_is_recorded_with_what_was_advised(self, world: World, jumper: Jumper):
        asked = jumper.read()

        made = jumper.decide(**DECLINED)

        recorded = made.json()
        assert made.status_code == 201, recorded
        assert (recorded["kind"], recorded["finish"], recorded["answer"]) == (
            "mark",
            "jump",
            "move",
        )
        assert recorded["figures"]["move_m"] == asked["advice"]["move_m"]
        assert recorded["figures"]["board"] == asked["advice"]["board"]
        assert (recorded["text"], recorded["reasons"]) == (asked["text"], asked["reasons"])
        assert (recorded["n"], recorded["method"]) == (asked["n"], asked["method"])
        assert (recorded["through_attempt"], recorded["as_of"]) == (
            asked["through_attempt"],
            asked["as_of"],
        )
        assert (recorded["decision"], recorded["reason"]) == ("declined", "The runway was wet.")
        assert (recorded["plan_revision"], recorded["published_plan"]) == (1, None)
        assert recorded["decided_by"] is not None

    def test_is_read_where_it_says(self, jumper: Jumper):
        made = jumper.decide(**DECLINED)

        read = jumper.admin.client.get(made["Location"])

        assert (read.status_code, read.json()) == (200, made.json())
        assert jumper.admin.get(jumper.advice).json()["results"] == [made.json()]

    def test_is_what_the_schema_says(self, jumper: Jumper):
        id_ = jumper.decide(**DECLINED).json()["id"]
        waiting = jumper.latest()
        jumper.jump_later(STEADY, start_mark_m=34.20)

        for what, answers in {
            "{advice_id}/": [waiting, jumper.read(f"advice/{id_}/")],
            "summary": [jumper.read("advice/summary")],
        }.items():
            described = find_operation("GET", "approaches/{approach_id}/advice/" + what)
            assert described is not None
            content = described.described["responses"]["200"]["content"]["application/json"]
            for answer in answers:
                jsonschema.validate(answer, {**read_schema(), **content["schema"]})

    def test_is_in_the_audit_without_its_reason(self, world: World, jumper: Jumper):
        made = jumper.decide(**DECLINED).json()

        with club_scope(world.club):
            entry = AuditEntry.objects.get(action="advice_decided")
        assert [str(each) for each in entry.subject_ids] == [made["id"]]

    def test_is_made_once_however_often_it_is_sent(self, jumper: Jumper):
        body = jumper.seen(**DECLINED)

        sent = [jumper.admin.post(jumper.advice, body, idempotency_key="wet-day") for _ in range(2)]

        assert [each.status_code for each in sent] == [201, 201]
        assert sent[0].json() == sent[1].json()
        assert sent[1]["Answer-Repeated"] == "true"
        assert len(jumper.admin.get(jumper.advice).json()["results"]) == 1

    def test_declined_needs_a_reason(self, jumper: Jumper):
        refused = jumper.decide(decision="declined")

        assert refused.status_code == 400
        assert [(each["pointer"], each["code"]) for each in refused.json()["errors"]] == [
            ("/reason", "required")
        ]

    @pytest.mark.parametrize(
        "other",
        [
            {"answer": "keep"},
            {"start_mark_m": 34.0},
            {"through_attempt": "019a0000-0000-7000-8000-000000000017"},
        ],
    )
    def test_is_about_the_advice_of_now(self, jumper: Jumper, other: dict[str, Any]):
        refused = jumper.decide(**DECLINED | other)

        assert (refused.status_code, refused.json()["code"]) == (409, "advice_changed")
        assert jumper.admin.get(jumper.advice).json()["results"] == []

    def test_is_read_again_when_an_attempt_came(self, jumper: Jumper):
        body = jumper.seen(**DECLINED)
        jumper.jump([0.12], begin=DAY + timedelta(days=1))

        refused = jumper.admin.post(jumper.advice, body)

        assert (refused.status_code, refused.json()["code"]) == (409, "advice_changed")

    def test_cannot_invent_an_advice(self, jumper: Jumper):
        refused = jumper.admin.post(jumper.advice, jumper.seen(move_m=-0.5, **DECLINED))

        assert refused.status_code == 400
        assert refused.json()["errors"][0]["code"] == "unknown_field"

    def test_needs_an_advice(self, world: World):
        jumper = Jumper(world)
        attempt = factories.make_attempt(world.source, world.athlete, world.session, gates=None)

        refused = jumper.admin.post(
            jumper.advice,
            {
                "kind": "mark",
                "through_attempt": str(attempt.id),
                "answer": "undecided",
                "decision": "followed",
            },
        )

        assert (refused.status_code, refused.json()["code"]) == (409, "no_advice")
        assert "1 of 2" in refused.json()["detail"]

    def test_is_no_business_of_a_strangers_coach(self, world: World, jumper: Jumper):
        refused = world.as_("coach").post(jumper.advice, jumper.seen(**DECLINED))

        assert refused.status_code == 404


class TestPublishing:
    def test_makes_the_next_revision_from_the_advice(self, jumper: Jumper):
        advised = jumper.read()["advice"]["start_mark_m"]

        made = jumper.decide(publish=True, reason="Three sessions short.", if_match='"1"')

        recorded = made.json()
        assert made.status_code == 201, recorded
        assert recorded["published_revision"] == 2
        plan = jumper.read("plans/current/")
        assert (plan["id"], plan["advice"]) == (recorded["published_plan"], recorded["id"])
        assert (plan["revision"], plan["start_mark_m"]) == (2, advised)
        assert plan["aim_m"] == AIM_M
        assert plan["valid_from"] == recorded["decided_at"]
        size = round(100 * abs(recorded["figures"]["move_m"]))
        assert plan["reason"] == (
            f"Start mark moved by {size} cm toward the pit, as advised from 10 attempts."
            " Three sessions short."
        )

    def test_leaves_a_history_that_can_be_read(self, jumper: Jumper):
        jumper.decide(publish=True, if_match='"1"')

        first, second = jumper.read("plans/")["results"]

        assert (first["advice"], first["revision"]) == (None, 1)
        assert second["advice"] == jumper.latest()["id"]
        assert second["reason"].startswith("Start mark moved by ")

    def test_needs_the_revision_that_it_is_made_from(self, jumper: Jumper):
        without = jumper.decide(publish=True)
        stale = jumper.decide(publish=True, if_match='"0"')

        assert (without.status_code, without.json()["code"]) == (428, "version_required")
        assert (stale.status_code, stale.json()["code"]) == (412, "stale_version")
        assert jumper.admin.get(jumper.advice).json()["results"] == []

    def test_needs_the_scope_for_plans(self, world: World, jumper: Jumper):
        token = factories.make_person_token(
            factories.make_member(world.club, Role.ADMIN), scopes=PERSON_SCOPES - {"plans:write"}
        )
        api = Api(world.club.slug, token)

        refused = api.post(jumper.advice, jumper.seen(publish=True), if_match='"1"')
        recorded = api.post(jumper.advice, jumper.seen())

        assert (refused.status_code, refused.json()["code"]) == (403, "missing_scope")
        assert recorded.status_code == 201

    @pytest.mark.parametrize(
        ("fields", "pointer", "code"),
        [
            (DECLINED, "/publish", "published_but_declined"),
            ({"start_mark_m": None}, "/start_mark_m", "required"),
        ],
    )
    def test_is_of_what_was_read_and_followed(
        self, jumper: Jumper, fields: dict[str, Any], pointer: str, code: str
    ):
        refused = jumper.decide(publish=True, if_match="*", **fields)

        assert refused.status_code == 400
        assert [(each["pointer"], each["code"]) for each in refused.json()["errors"]] == [
            (pointer, code)
        ]

    def test_is_of_a_mark_that_moves(self, world: World):
        jumper = Jumper(world)
        jumper.jump(2 * STEADY)
        asked = jumper.read()["advice"]["answer"]

        refused = jumper.decide(publish=True, if_match='"1"')

        assert asked == "keep"
        assert refused.status_code == 400
        assert refused.json()["errors"][0]["code"] == "nothing_to_publish"

    def test_needs_a_plan(self, world: World):
        athlete = factories.make_athlete(world.club)
        approach = factories.make_approach(athlete)
        jumper = Jumper(World(**{**vars(world), "athlete": athlete, "approach": approach}))
        jumper.jump(SHORT)

        refused = jumper.decide(publish=True, if_match="*")

        assert (refused.status_code, refused.json()["code"]) == (409, "plan_missing")
        assert jumper.admin.get(jumper.advice).json()["results"] == []

    def test_waits_for_a_revision_that_was_planned_ahead(self, jumper: Jumper):
        ahead = {"start_mark_m": 34.5, "valid_from": "2099-01-01T00:00:00Z"}
        assert jumper.admin.post(jumper.path + "plans/", ahead, if_match='"1"').status_code == 201

        refused = jumper.decide(publish=True, if_match='"2"')

        assert (refused.status_code, refused.json()["code"]) == (409, "plan_out_of_order")

    def test_gives_later_attempts_the_new_revision(self, world: World, jumper: Jumper):
        made = jumper.decide(publish=True, if_match='"1"').json()
        jumper.jump_later(STEADY, start_mark_m=None)

        with club_scope(world.club):
            plans = Attempt.objects.filter(approach=world.approach).order_by("started_at")
            of_plans = [str(each) for each in plans.values_list("plan_id", flat=True)]
        assert of_plans == [str(world.plan.id)] * 10 + [made["published_plan"]] * 10
        # Whoever asks again, in another transaction, is not told to move the mark once more.
        with club_scope(world.club):
            Plan.objects.filter(id=made["published_plan"]).update(valid_from=DAY + DAYS_LATER)
        assert jumper.read()["advice"]["answer"] != "move"


class TestCheckMarks:
    @pytest.fixture
    def watched(self, world: World) -> Jumper:
        """Return a jumper whose run-up is off by the same from the start on."""
        with club_scope(world.club):
            toe_m = [round(AIM_M + STEP_M * k, 2) for k in range(STEPS, -1, -1)]
            Plan.objects.filter(id=world.plan.id).update(
                start_mark_m=34.20,
                toe_m=toe_m,
                check_marks=[
                    {"footfall": 13, "at_m": 27.0},
                    {"footfall": 11, "at_m": 22.0},
                    {"footfall": 6, "at_m": round(AIM_M + 6 * STEP_M, 2)},
                ],
            )
        jumper = Jumper(world)
        jumper.jump([each + 0.1 for each in SHORT], footfalls=(0, 6, 11))
        return jumper

    def test_move_where_they_would_be_missed_and_nowhere_else(self, watched: Jumper):
        made = watched.decide(publish=True, if_match='"1"').json()

        assert made["figures"]["footfall"] == 6
        move_m = made["figures"]["move_m"]
        plan = watched.read("plans/current/")
        # Footfall 11 comes down 0.22 m behind 23.16 m, less the move.
        assert plan["check_marks"] == [
            {"footfall": 13, "at_m": 27.0},
            {"footfall": 11, "at_m": round(AIM_M + 11 * STEP_M + 0.22 + move_m, 2)},
            {"footfall": 6, "at_m": round(AIM_M + 6 * STEP_M, 2)},
        ]
        assert "1 check mark set anew." in plan["reason"]

    def test_leave_the_planned_footfalls_but_the_one_on_the_mark(self, watched: Jumper):
        before = watched.read("plans/current/")["toe_m"]
        made = watched.decide(publish=True, if_match='"1"').json()

        after = watched.read("plans/current/")["toe_m"]

        assert after[1:] == before[1:]
        moved = made["figures"]["start_mark_m"] - 34.20
        assert after[0] == pytest.approx(before[0] + moved)

    def test_are_where_the_errors_are_looked_back_on(self, watched: Jumper):
        watched.decide(publish=True, if_match='"1"')

        found = watched.latest()["afterwards"]

        assert (found["footfall"], found["before"]["n"]) == (6, 10)
        assert found["before"]["bias_m"] == pytest.approx(0.22)


class TestTheList:
    def test_has_the_latest_first_and_pages(self, jumper: Jumper):
        ids = [jumper.decide(**DECLINED).json()["id"] for _ in range(3)]

        page = jumper.admin.get(f"{jumper.advice}?page_size=2").json()
        rest = jumper.admin.client.get(page["next"]).json()

        found = [each["id"] for each in page["results"] + rest["results"]]
        assert found == ids[::-1]

    def test_is_filtered(self, jumper: Jumper):
        jumper.decide(**DECLINED)
        followed = jumper.decide().json()

        listed = jumper.admin.get(f"{jumper.advice}?decision=followed&kind=mark&finish=jump")

        assert [each["id"] for each in listed.json()["results"]] == [followed["id"]]

    def test_is_read_by_the_athlete(self, world: World, jumper: Jumper):
        jumper.decide(**DECLINED)

        assert world.as_("athlete").get(jumper.advice).status_code == 404  # a stranger's


class TestTheRecord:
    def test_keeps_an_etag(self, world: World, jumper: Jumper):
        made = jumper.decide(**DECLINED)

        assert version_of(made) == 1
        with club_scope(world.club):
            assert Advice.objects.get().version == 1
