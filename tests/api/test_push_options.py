"""What may be asked of a push: only to check, all or nothing, how much is answered."""

from typing import Any

import pytest

from approaches.models import Attempt, PendingRefresh, QuarantinedRow
from clubs.models import AuditEntry
from common.club_scope import club_scope
from tests.api.conftest import World
from tests.factories import make_reading


def stored(world: World) -> dict[str, int]:
    with club_scope(world.club):
        return {
            model.__name__: model.objects.count()
            for model in (Attempt, QuarantinedRow, PendingRefresh, AuditEntry)
        }


class TestDryRunOfOne:
    @pytest.mark.parametrize(
        ("fields", "status", "code"),
        [
            ({}, 200, None),
            ({"external_id": "known"}, 200, None),
            ({"external_id": "known", "wind_mps": -1}, 409, "conflict"),
            ({"wind_mps": 99}, 422, "row_refused"),
            ({"athlete": "ext:nobody"}, 422, "row_refused"),
            ({"started_at": "soon"}, 422, "row_refused"),
        ],
    )
    def test_answers_as_in_earnest_and_stores_nothing(
        self, world: World, fields: dict[str, Any], status: int, code: str | None
    ):
        device = world.as_("device")
        known = make_reading(world.athlete, world.session, external_id="known")
        device.post("attempts/", known)
        before = stored(world)
        row = {**known, "external_id": "new", **fields}

        rehearsed = device.post("attempts/?dry_run=true", row)

        assert (rehearsed.status_code, rehearsed.json().get("code")) == (status, code)
        assert stored(world) == before
        in_earnest = device.post("attempts/", row)
        if code is None:
            assert rehearsed.json() == in_earnest.json() | {"id": None}
        else:
            assert rehearsed.json()["errors"] == in_earnest.json()["errors"]


class TestDryRunOfMany:
    def test_answers_as_in_earnest_and_stores_nothing(self, world: World):
        device = world.as_("device")
        known = make_reading(world.athlete, world.session)
        device.post("attempts/", known)
        before = stored(world)
        rows = [
            known,
            known | {"wind_mps": -1},
            make_reading(world.athlete, world.session),
            make_reading(world.athlete, world.session, wind_mps=99),
        ]

        rehearsed = device.post("attempts/batch/?dry_run=true", rows)

        assert stored(world) == before
        assert rehearsed.json() == device.post("attempts/batch/", rows).json()
        assert stored(world) != before


class TestAllOrNothing:
    def test_stores_all_when_all_are_good_or_known(self, world: World):
        device = world.as_("device")
        rows = [make_reading(world.athlete, world.session) for _ in range(3)]
        device.post("attempts/", rows[0])

        answer = device.post("attempts/batch/?all_or_nothing=true", rows)

        assert answer.status_code == 200
        assert (answer.json()["created"], answer.json()["known"]) == (2, 1)

    @pytest.mark.parametrize("dry_run", ["true", "false"])
    @pytest.mark.parametrize(
        ("fields", "pointer", "code"),
        [
            ({"wind_mps": 99}, "/2/wind_mps", "wind_out_of_range"),
            ({"session": "never"}, "/2/session", "unknown_session"),
            ({"external_id": "known", "wind_mps": -1}, "/2/external_id", "conflict"),
        ],
    )
    def test_stores_and_keeps_nothing_when_one_is_not(
        self, world: World, fields: dict[str, Any], pointer: str, code: str, dry_run: str
    ):
        device = world.as_("device")
        known = make_reading(world.athlete, world.session, external_id="known")
        device.post("attempts/", known)
        before = stored(world)
        rows = [
            make_reading(world.athlete, world.session),
            make_reading(world.athlete, world.session),
            make_reading(world.athlete, world.session, **fields),
        ]

        answer = device.post(f"attempts/batch/?all_or_nothing=true&dry_run={dry_run}", rows)

        assert (answer.status_code, answer.json()["code"]) == (422, "batch_refused")
        (fault,) = answer.json()["errors"]
        assert (fault["pointer"], fault["code"]) == (pointer, code)
        assert stored(world) == before

    def test_names_at_most_a_hundred_rows(self, world: World):
        rows = [make_reading(world.athlete, world.session, wind_mps=99) for _ in range(103)]

        answer = world.as_("device").post("attempts/batch/?all_or_nothing=true", rows)

        assert len(answer.json()["errors"]) == 100
        assert "103 of 103 rows" in answer.json()["detail"]


class TestParameters:
    @pytest.mark.parametrize("path", ["attempts/", "attempts/batch/"])
    @pytest.mark.parametrize(
        ("query", "code"),
        [
            ("dry_run=yes", "invalid_parameter"),
            ("dry_run=", "invalid_parameter"),
            ("dry_run=true&dry_run=true", "invalid_parameter"),
            ("make_sessions=1", "invalid_parameter"),
            ("dryrun=true", "unknown_parameter"),
        ],
    )
    def test_a_mistyped_option_is_refused(self, world: World, path: str, query: str, code: str):
        """A mistyped dry run would store in earnest."""
        reading = make_reading(world.athlete, world.session)

        answer = world.as_("device").post(
            f"{path}?{query}", [reading] if "batch" in path else reading
        )

        assert (answer.status_code, answer.json()["code"]) == (400, code)

    def test_all_or_nothing_is_for_batches(self, world: World):
        answer = world.as_("device").post(
            "attempts/?all_or_nothing=true", make_reading(world.athlete, world.session)
        )

        assert answer.json()["code"] == "unknown_parameter"
