"""What a client has already is not sent again (RFC 9110, 8.8, 13.1.2 and 15.4.5)."""

import re
from datetime import timedelta
from typing import Any

import pytest
from django.http import HttpResponse
from django.test import RequestFactory
from django.utils import timezone

from athletes.models import CoachAssignment
from common.api.conditional import answer_unless_known, tag_answer
from common.club_scope import club_scope
from tests import factories
from tests.analytics.conftest import Season, draw
from tests.api.conftest import Api, World
from tests.api.test_isolation import ROUTES
from tests.contract.stage import Stage, make_stage

FIGURES = ["consistency", "spread", "trend"]


@pytest.fixture
def season(world: World) -> Season:
    season = Season(world)
    for toes in draw(1, 3):
        season.add_session(toes)
    season.push()
    season.refresh()
    return season


@pytest.fixture
def stage(db: None) -> Stage:
    return make_stage()


def path(world: World, what: str) -> str:
    return f"approaches/{world.approach.id}/{what}"


def make_coach(world: World) -> Api:
    """Return a coach whom the athlete of the scene is assigned to."""
    coach = factories.make_member(world.club)
    with club_scope(world.club):
        CoachAssignment.objects.create(
            club=world.club,
            coach=coach,
            athlete=world.athlete,
            from_date=timezone.now().date() - timedelta(days=1),
        )
    return Api(world.club.slug, factories.make_person_token(coach))


@pytest.mark.usefixtures("season")
@pytest.mark.parametrize("what", FIGURES)
class TestFigures:
    def test_give_two_roles_two_tags_for_the_same_bytes(self, world: World, what: str):
        coach = make_coach(world)

        for_admin = world.as_("admin").get(path(world, what))
        for_coach = coach.get(path(world, what), If_None_Match=for_admin["ETag"])

        assert for_coach.status_code == 200
        assert for_coach.content == for_admin.content
        assert for_coach["ETag"] != for_admin["ETag"]

    def test_are_not_shown_to_a_stranger_who_knows_the_tag(self, world: World, what: str):
        tag = world.as_("admin").get(path(world, what))["ETag"]

        assert world.as_("coach").get(path(world, what), If_None_Match=tag).status_code == 404


class TestEveryAddress:
    """The addresses come from the URL patterns, so that one added tomorrow is covered."""

    def test_that_can_be_read_answers_a_tag_and_304_to_who_has_it(self, stage: Stage):
        admin = stage.as_("admin")
        tags = []
        for route in ROUTES:
            if "GET" not in route.view.view_class.rights:
                continue
            path = route.at(**stage.ids)
            whole = admin.get(path)
            assert whole.status_code == 200, path
            tag = whole["ETag"]
            tags.append(tag)

            for condition in (tag, f"W/{tag}", f'"x", {tag}', f'"x" , W/{tag}', "*"):
                same = admin.get(path, If_None_Match=condition)
                assert (same.status_code, same.content) == (304, b""), (path, condition)
                # RFC 9110, 15.4.5: what a 200 would have said of these, and of content nothing.
                for name in ("ETag", "Cache-Control", "Vary"):
                    assert same[name] == whole[name], (path, name)
                assert not same.has_header("Content-Type")
                assert same["Content-Length"] == str(len(whole.content))  # RFC 9110, 8.6
            for condition in ('"x"', 'W/"x", "y"', tag.strip('"'), '"*"', "nonsense", ""):
                other = admin.get(path, If_None_Match=condition)
                assert (other.status_code, other["ETag"]) == (200, tag), (path, condition)
            head = admin.client.head(admin.base + path, headers={"If-None-Match": tag})
            assert (head.status_code, head["ETag"], head.content) == (304, tag, b"")

            assert whole["Cache-Control"] == "private, no-cache"
            assert {"Accept", "Authorization"} <= set(whole["Vary"].split(", "))
            assert re.fullmatch(r'"([0-9]+-)?[0-9a-f]{24}"', tag), tag
        assert len(tags) >= 25

    def test_says_so_of_refusals_too(self, world: World):
        refused = world.as_("admin").get(f"squads/{world.athlete.id}/", If_None_Match="*")

        assert (refused.status_code, refused["Cache-Control"]) == (404, "private, no-cache")
        assert not refused.has_header("ETag")


class TestRowsWithAVersion:
    def test_a_tag_begins_with_the_version_that_a_change_starts_from(self, world: World):
        admin = world.as_("admin")
        path = f"squads/{factories.make_squad(world.club).id}/"
        first = admin.get(path)

        changed = admin.patch(path, {"name": "Juniors"}, if_match=first["ETag"])
        late = admin.patch(path, {"name": "Seniors"}, if_match=first["ETag"])

        now = admin.get(path, If_None_Match=first["ETag"])
        assert first["ETag"].startswith('"1-')
        assert changed["ETag"].startswith('"2-')
        assert (now.status_code, now["ETag"]) == (200, changed["ETag"])
        assert (late.status_code, late.json()["code"]) == (412, "stale_version")

    def test_the_version_is_all_that_a_change_looks_at(self, world: World):
        """Whoever read it, in whatever form: the row is what may have changed meanwhile."""
        admin, coach = world.as_("admin"), make_coach(world)
        path = f"squads/{factories.make_squad(world.club).id}/"
        seen = coach.get(path)["ETag"]

        assert seen != admin.get(path)["ETag"]
        assert admin.patch(path, {"name": "Juniors"}, if_match=seen).status_code == 200
        assert admin.patch(path, {"name": "Seniors"}, if_match='"2"').status_code == 200

    @pytest.mark.parametrize(
        "tag", ['"{digest}"', 'W/"{tag}"', '"{tag}x"', '"01-{digest}"', '"-{digest}"']
    )
    def test_what_is_no_such_tag_starts_no_change(self, world: World, tag: str):
        admin = world.as_("admin")
        path = f"squads/{factories.make_squad(world.club).id}/"
        read = admin.get(path)["ETag"].strip('"')

        refused = admin.patch(
            path,
            {"name": "Juniors"},
            if_match=tag.format(tag=read, digest=read.partition("-")[2]),
        )

        assert refused.status_code == 412
        assert admin.get(path)["ETag"] == f'"{read}"'

    def test_a_change_under_if_none_match_is_refused(self, world: World):
        admin = world.as_("admin")

        refused = admin.post("squads/", {"name": "Youth"}, If_None_Match="*")

        assert (refused.status_code, refused.json()["code"]) == (400, "invalid_header")
        assert admin.get("squads/").json()["results"] == []


class TestTags:
    def tag(self, condition: str = "", **fields: Any) -> Any:
        made = {"content": b"{}", "content_type": "application/json", "audience": "coach", **fields}
        audience = made.pop("audience")
        response = HttpResponse(**made)
        tag_answer(response, audience=audience)
        headers = {"If-None-Match": condition} if condition else {}
        return answer_unless_known(RequestFactory().get("/", headers=headers), response)

    def test_tell_representations_audiences_and_bytes_apart(self):
        answers = [
            self.tag(),
            self.tag(content_type="image/svg+xml"),
            self.tag(audience="athlete"),
            self.tag(content=b"[]"),
            self.tag(headers={"ETag": '"1"'}),
            self.tag(headers={"ETag": '"2"'}),
        ]

        assert len({answer["ETag"] for answer in answers}) == 6
        assert self.tag()["ETag"] == answers[0]["ETag"]

    @pytest.mark.parametrize(
        ("prefix", "other", "matches"),
        # RFC 9110, 8.8.3.2, the table of comparisons, column "Weak Comparison". What we send is
        # strong, so of its four rows those in which one side is.
        [("W/", False, True), ("", False, True), ("W/", True, False), ("", True, False)],
    )
    def test_are_compared_weakly(self, prefix: str, other: bool, matches: bool):
        tag = self.tag(content=b"[]" if other else b"{}")["ETag"]

        assert (self.tag(prefix + tag).status_code == 304) is matches
