"""Changes start from the version that the caller read (RFC 9110, 13.1.1: If-Match)."""

import pytest

from clubs.models import AuditEntry, Squad
from common.club_scope import club_scope
from tests import factories
from tests.api.conftest import Api, World


@pytest.fixture
def admin(world: World) -> Api:
    return world.as_("admin")


@pytest.fixture
def path(world: World) -> str:
    return f"squads/{factories.make_squad(world.club, name='Youth').id}/"


class TestAChange:
    def test_is_made_from_the_version_that_was_read(self, admin: Api, path: str):
        read = admin.get(path)

        changed = admin.patch(path, {"name": "Juniors"}, if_match=read["ETag"])

        assert changed.status_code == 200
        assert changed.json() == {**read.json(), "name": "Juniors"}
        assert changed["ETag"] != read["ETag"]
        assert admin.get(path)["ETag"] == changed["ETag"]

    def test_names_the_version_that_it_starts_from(self, admin: Api, path: str):
        refused = admin.patch(path, {"name": "Juniors"}, if_match=None)

        assert (refused.status_code, refused.json()["code"]) == (428, "version_required")

    def test_is_refused_when_somebody_else_was_faster(self, admin: Api, path: str):
        read = admin.get(path)
        admin.patch(path, {"name": "Juniors"}, if_match=read["ETag"])

        refused = admin.patch(path, {"name": "Minors"}, if_match=read["ETag"])

        assert (refused.status_code, refused.json()["code"]) == (412, "stale_version")
        assert admin.get(path).json()["name"] == "Juniors"

    def test_takes_one_of_several_versions_and_no_weak_one(self, admin: Api, path: str):
        etag = admin.get(path)["ETag"]

        weak = admin.patch(path, {"name": "Juniors"}, if_match=f"W/{etag}")
        one_of = admin.patch(path, {"name": "Juniors"}, if_match=f'"77", {etag}')

        assert (weak.status_code, one_of.status_code) == (412, 200)

    def test_refuses_a_header_that_is_no_etag(self, admin: Api, path: str):
        refused = admin.patch(path, {"name": "Juniors"}, if_match="1")

        assert (refused.status_code, refused.json()["code"]) == (400, "invalid_header")

    def test_to_what_is_there_already_is_no_change(self, admin: Api, path: str):
        read = admin.get(path)

        same = admin.patch(path, {"name": "Youth"}, if_match=read["ETag"])

        assert (same.status_code, same["ETag"]) == (200, read["ETag"])

    def test_changes_something(self, admin: Api, path: str):
        refused = admin.patch(path, {})

        assert refused.status_code == 400
        assert [fault["code"] for fault in refused.json()["errors"]] == ["empty"]

    def test_is_in_the_audit_by_field_names(self, admin: Api, world: World, path: str):
        admin.patch(path, {"name": "Juniors"})

        with club_scope(world.club):
            entry = AuditEntry.objects.get(action="squad_changed")
        assert entry.field_names == ["name"]


class TestEveryWayOfChanging:
    def test_counts_as_a_version(self, admin: Api, world: World, path: str):
        before = admin.get(path)["ETag"]

        with club_scope(world.club):
            Squad.objects.update(name="Renamed in bulk")

        assert admin.get(path)["ETag"] != before
