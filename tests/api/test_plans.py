"""Approaches and their plans over HTTP: what may change, and how a revision follows another."""

from typing import Any

import pytest

from clubs.models import AuditEntry
from common.club_scope import club_scope
from tests import factories
from tests.api.conftest import Api, World, version_of

MARKS = {"start_mark_m": 34.3}


@pytest.fixture
def admin(world: World) -> Api:
    return world.as_("admin")


@pytest.fixture
def approach(world: World) -> str:
    return f"approaches/{world.approach.id}/"


@pytest.fixture
def plans(approach: str) -> str:
    return approach + "plans/"


@pytest.fixture
def unused(world: World, admin: Api) -> str:
    """Return the address of an approach without plan and attempt."""
    body = {
        "athlete": str(world.athlete.id),
        "code": "LJ-6",
        "event": "long_jump",
        "steps": 6,
        "start_style": "standing",
    }
    return f"approaches/{admin.post('approaches/', body).json()['id']}/"


class TestApproaches:
    def test_says_where_it_can_be_read(self, world: World, admin: Api):
        made = admin.post(
            "approaches/",
            {
                "athlete": str(world.athlete.id),
                "code": "TJ-12",
                "event": "triple_jump",
                "steps": 12,
                "start_style": "walk_in",
            },
        )

        assert (made.status_code, version_of(made)) == (201, 1)
        assert admin.client.get(made["Location"]).json() == made.json()

    def test_takes_another_code_and_keeps_its_attempts(self, world: World, admin: Api, approach):
        factories.make_attempt(world.source, world.athlete, world.session)

        changed = admin.patch(approach, {"code": "LJ-16 summer"})

        assert (changed.status_code, changed.json()["code"]) == (200, "LJ-16 summer")
        (attempt,) = admin.get("attempts/").json()["results"]
        assert attempt["approach"] == changed.json()["id"]

    def test_is_archived_and_brought_back(self, admin: Api, approach: str):
        archived = admin.patch(approach, {"archived": True}).json()
        listed = [
            [each["id"] for each in admin.get(f"approaches/?archived={flag}").json()["results"]]
            for flag in ("true", "false")
        ]
        back = admin.patch(approach, {"archived": False}).json()

        assert archived["archived_at"] is not None
        assert listed == [[archived["id"]], []]
        assert back["archived_at"] is None

    def test_is_run_otherwise_while_nothing_was_made_for_it(self, admin: Api, unused: str):
        changes = {"event": "triple_jump", "steps": 8, "start_style": "run_in"}

        changed = admin.patch(unused, changes)

        assert changed.status_code == 200
        assert changes.items() <= changed.json().items()

    @pytest.mark.parametrize(
        "changes", [{"event": "triple_jump"}, {"steps": 14}, {"start_style": "run_in"}]
    )
    def test_stays_what_plans_were_made_for(
        self, admin: Api, approach: str, changes: dict[str, Any]
    ):
        before = admin.get(approach).json()

        refused = admin.patch(approach, {"code": "LJ-14", **changes})

        (field,) = changes
        assert (refused.status_code, refused.json()["code"]) == (409, "approach_in_use")
        assert [fault["pointer"] for fault in refused.json()["errors"]] == [f"/{field}"]
        assert admin.get(approach).json() == before

    def test_stays_what_attempts_were_made_for(self, world: World, admin: Api, unused: str):
        factories.make_attempt(
            world.source,
            world.athlete,
            world.session,
            approach="LJ-6",
            start_mark_m=14.2,
            gates=None,
        )

        refused = admin.patch(unused, {"steps": 8})

        assert (refused.status_code, refused.json()["code"]) == (409, "approach_in_use")

    def test_is_told_again_what_it_is(self, admin: Api, approach: str):
        read = admin.get(approach)

        same = admin.patch(approach, {"steps": read.json()["steps"]}, if_match=read["ETag"])

        assert (same.status_code, same["ETag"]) == (200, read["ETag"])

    def test_has_a_code_of_its_own(self, admin: Api, unused: str):
        refused = admin.patch(unused, {"code": "LJ-16"})

        assert (refused.status_code, refused.json()["code"]) == (409, "already_exists")

    def test_of_a_stranger_cannot_be_changed(self, world: World, approach: str):
        refused = world.as_("coach").patch(approach, {"code": "LJ-17"})

        assert refused.status_code == 404


class TestNewRevision:
    def test_is_made_from_the_latest(self, admin: Api, plans: str):
        read = admin.get(plans)

        made = admin.post(
            plans,
            {
                "start_mark_m": 34.30,
                "check_marks": [{"footfall": 6, "at_m": 13.1}],
                "phase_starts": {"transition": 10, "attack": 4},
                "reason": "Landed short.",
            },
            if_match=read["ETag"],
        )

        assert (made.status_code, made.json()["revision"], version_of(made)) == (201, 2, 2)
        assert made.json()["aim_m"] == 0.06
        assert [each["revision"] for each in admin.get(plans).json()["results"]] == [1, 2]
        assert admin.get(plans + "current/").json() == made.json()
        assert admin.client.get(made["Location"]).json() == made.json()

    def test_is_not_made_without_saying_from_which(self, admin: Api, plans: str):
        refused = admin.post(plans, MARKS)

        assert (refused.status_code, refused.json()["code"]) == (428, "version_required")

    def test_is_not_made_when_another_coach_was_faster(self, admin: Api, plans: str):
        etag = admin.get(plans + "current/")["ETag"]
        admin.post(plans, {"start_mark_m": 34.5}, if_match=etag)

        refused = admin.post(plans, MARKS, if_match=etag)

        assert (refused.status_code, refused.json()["code"]) == (412, "stale_version")
        assert admin.get(plans + "current/").json()["start_mark_m"] == 34.5

    def test_knows_of_one_that_is_valid_later(self, admin: Api, plans: str):
        ahead = {"start_mark_m": 34.5, "valid_from": "2099-01-01T00:00:00Z"}
        admin.post(plans, ahead, if_match='"1"')
        current = admin.get(plans + "current/")

        refused = admin.post(plans, MARKS, if_match=current["ETag"])

        assert (current.json()["revision"], version_of(current)) == (1, 1)
        assert refused.status_code == 412
        assert version_of(admin.get(plans)) == 2

    def test_is_the_first_where_there_was_none(self, admin: Api, unused: str):
        plans = f"{unused}plans/"
        none_yet = admin.get(plans)

        first = admin.post(plans, {"start_mark_m": 14.2}, if_match=none_yet["ETag"])
        second = admin.post(plans, {"start_mark_m": 14.3}, if_match=none_yet["ETag"])

        assert (version_of(none_yet), first.status_code, second.status_code) == (0, 201, 412)

    def test_is_made_once_however_often_it_is_sent(self, admin: Api, plans: str):
        sent = [
            admin.post(plans, MARKS, if_match="*", idempotency_key="mark-34-30") for _ in range(2)
        ]

        assert [answer.status_code for answer in sent] == [201, 201]
        assert sent[0].json() == sent[1].json()
        assert sent[1]["Answer-Repeated"] == "true"
        assert len(admin.get(plans).json()["results"]) == 2

    def test_starts_later_than_the_latest(self, admin: Api, plans: str):
        refused = admin.post(plans, MARKS | {"valid_from": "2025-12-31T00:00:00Z"}, if_match='"1"')

        assert (refused.status_code, refused.json()["code"]) == (409, "plan_out_of_order")

    @pytest.mark.parametrize("start_mark_m", [8, 48])  # of 16 steps
    def test_takes_the_nearest_and_the_farthest_mark(
        self, admin: Api, plans: str, start_mark_m: float
    ):
        made = admin.post(plans, {"start_mark_m": start_mark_m}, if_match="*")

        assert (made.status_code, made.json()["start_mark_m"]) == (201, start_mark_m)

    @pytest.mark.parametrize(
        ("fields", "pointer", "code"),
        [
            (
                {"check_marks": [{"footfall": 16, "at_m": 30}]},
                "/check_marks/0/footfall",
                "footfall_out_of_range",
            ),
            (
                {"check_marks": [{"footfall": 4, "at_m": 40}]},
                "/check_marks/0/at_m",
                "mark_off_run_up",
            ),
            (
                {"phase_starts": {"transition": 4, "attack": 6}},
                "/phase_starts/attack",
                "phases_out_of_order",
            ),
            ({"toe_m": [34.3, 0.06]}, "/toe_m", "unequal_lengths"),
            ({"toe_m": [float(k) for k in range(17)]}, "/toe_m", "positions_must_fall"),
            ({"start_mark_m": 1.0}, "/start_mark_m", "min_value"),
            ({"start_mark_m": 7.9}, "/start_mark_m", "mark_not_for_steps"),
            # 75 feet are 22.9 m.
            ({"start_mark_m": 75}, "/start_mark_m", "mark_not_for_steps"),
        ],
    )
    def test_has_marks_that_agree(
        self, admin: Api, plans: str, fields: dict[str, object], pointer: str, code: str
    ):
        refused = admin.post(plans, MARKS | fields, if_match="*")

        assert refused.status_code == 400
        fault = refused.json()["errors"][0]
        assert (fault["pointer"], fault["code"]) == (pointer, code)

    def test_is_in_the_audit(self, world: World, admin: Api, plans: str):
        made = admin.post(plans, MARKS, if_match="*").json()

        with club_scope(world.club):
            entry = AuditEntry.objects.get(action="plan_added")
        assert [str(each) for each in entry.subject_ids] == [made["id"]]


class TestOneRevision:
    def test_is_read_by_its_id(self, world: World, admin: Api, plans: str):
        read = admin.get(f"{plans}{world.plan.id}/")

        assert (read.json()["revision"], version_of(read)) == (1, 1)

    def test_of_another_approach_is_not_here(self, world: World, admin: Api, unused: str):
        assert admin.get(f"{unused}plans/{world.plan.id}/").status_code == 404
