"""What a client has already is not sent again (RFC 9110, 8.8, 13.1.2 and 15.4.5)."""

from datetime import timedelta
from typing import Any

import pytest
from django.test import RequestFactory
from django.utils import timezone

from athletes.models import CoachAssignment
from common.api.conditional import answer_unless_known
from common.club_scope import club_scope
from tests import factories
from tests.analytics.conftest import Season, draw
from tests.api.conftest import Api, World

FIGURES = ["consistency", "spread", "trend"]


@pytest.fixture
def season(world: World) -> Season:
    season = Season(world)
    for toes in draw(1, 3):
        season.add_session(toes)
    season.push()
    season.refresh()
    return season


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
    def test_are_for_the_asker_alone_and_asked_for_again(self, world: World, what: str):
        answer = world.as_("admin").get(path(world, what))

        assert answer["Cache-Control"] == "private, no-cache"
        assert {"Accept", "Authorization"} <= set(answer["Vary"].split(", "))
        assert not answer["ETag"].startswith("W/")

    def test_answer_304_with_what_a_cache_must_know(self, world: World, what: str):
        admin = world.as_("admin")
        first = admin.get(path(world, what))

        same = admin.get(path(world, what), If_None_Match=first["ETag"])

        assert (same.status_code, same.content) == (304, b"")
        for name in ("ETag", "Cache-Control", "Vary"):
            assert same[name] == first[name]

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

    def test_answer_a_read_of_the_head_alike(self, world: World, what: str):
        admin = world.as_("admin")
        whole = admin.get(path(world, what))

        head = admin.client.head(admin.base + path(world, what))

        assert (head.status_code, head["ETag"], head.content) == (200, whole["ETag"], b"")


class TestAnswerUnlessKnown:
    def answer(self, condition: str = "", **fields: Any) -> Any:
        headers = {"If-None-Match": condition} if condition else {}
        return answer_unless_known(
            RequestFactory().get("/", headers=headers),
            **{"body": b"{}", "media_type": "application/json", "audience": "coach", **fields},
        )

    def test_tags_tell_representations_audiences_and_bytes_apart(self):
        answers = [
            self.answer(),
            self.answer(media_type="image/svg+xml"),
            self.answer(audience="athlete"),
            self.answer(body=b"[]"),
        ]

        assert len({answer["ETag"] for answer in answers}) == 4

    @pytest.mark.parametrize("condition", ["{tag}", "W/{tag}", '"x", {tag}', '"x" , W/{tag}', "*"])
    def test_is_304_when_the_condition_names_it(self, condition: str):
        tag = self.answer()["ETag"]

        assert self.answer(condition.format(tag=tag)).status_code == 304

    @pytest.mark.parametrize("condition", ['"x"', 'W/"x", "y"', "{bare}", '"*"', "nonsense"])
    def test_is_sent_when_it_does_not(self, condition: str):
        bare = self.answer()["ETag"].strip('"')

        assert self.answer(condition.format(bare=bare)).status_code == 200
