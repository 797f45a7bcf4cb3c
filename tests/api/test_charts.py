"""Pictures over HTTP: each beside its numbers, with their rights, parameters and tags."""

import re
from typing import Any
from xml.etree import ElementTree

import pytest

from analytics.charts.looks import Look, Width
from analytics.services import refreshing
from approaches.models import FinishClass
from tests.api.conftest import World
from tests.api.gated import GatedSeason
from tests.api.test_isolation import ROUTES
from tests.contract.openapi import find_operation

SVG, PNG = "image/svg+xml", "image/png"
NAMESPACE = "{http://www.w3.org/2000/svg}"
# Each picture, by the address of its numbers.
PICTURES = sorted(
    route.path.removeprefix("approaches/{approach_id}/").removesuffix("/chart")
    for route in ROUTES
    if route.path.endswith("/chart")
)


@pytest.fixture
def season(gated_season: GatedSeason) -> GatedSeason:
    """Return attempts with gates whose stored figures are up to date."""
    refresh(gated_season)
    return gated_season


def refresh(season: GatedSeason) -> None:
    refreshing.refresh_series(
        club_id=season.scene.club.id,
        approach_id=season.approach.id,
        finish_class=FinishClass.JUMP.value,
    )


def address(season: GatedSeason, what: str, query: str = "") -> str:
    return f"{season.path}/{what}/chart{query}"


def texts_of(answer: Any) -> list[str]:
    root = ElementTree.fromstring(answer.content)  # noqa: S314  # it comes from ourselves
    return ["".join(each.itertext()) for each in root.iter(f"{NAMESPACE}text")]


class TestWhichThereAre:
    def test_are_those_that_the_page_tells_of(self):
        assert len(PICTURES) >= 2


@pytest.mark.parametrize("what", PICTURES)
class TestEveryPicture:
    def test_is_lines_and_text_unless_pixels_are_asked_for(
        self, world: World, season: GatedSeason, what: str
    ):
        admin, path = world.as_("admin"), address(season, what)

        drawn = admin.get(path, Accept="*/*")
        pixels = admin.get(path, Accept=PNG)

        assert (drawn.status_code, drawn["Content-Type"]) == (200, SVG)
        root = ElementTree.fromstring(drawn.content)  # noqa: S314  # it comes from ourselves
        assert root.get("role") == "img"
        named = {each.get("id"): each.text for each in root[:2]}
        assert [named[each] for each in root.get("aria-labelledby", "").split()]
        assert (pixels.status_code, pixels["Content-Type"]) == (200, PNG)
        assert pixels.content.startswith(b"\x89PNG\r\n")

    def test_in_no_other_form(self, world: World, season: GatedSeason, what: str):
        answer = world.as_("admin").get(address(season, what), Accept="application/json")

        assert (answer.status_code, answer.json()["code"]) == (406, "not_acceptable")

    def test_says_of_what_it_is_made(self, world: World, season: GatedSeason, what: str):
        """Who cannot see it is told what the numbers tell, where they talk."""
        admin = world.as_("admin")
        numbers = admin.get(f"{season.path}/{what}").json()

        root = ElementTree.fromstring(  # noqa: S314  # it comes from ourselves
            admin.get(address(season, what), Accept=SVG).content
        )

        title, description = root[0], root[1]
        assert (title.tag, description.tag) == (f"{NAMESPACE}title", f"{NAMESPACE}desc")
        assert title.text
        assert description.text == numbers.get("text", description.text)
        assert description.text
        assert description.text.endswith(".")

    @pytest.mark.parametrize("look", list(Look))
    @pytest.mark.parametrize("width", list(Width))
    def test_has_looks_and_widths(
        self, world: World, season: GatedSeason, what: str, look: Look, width: Width
    ):
        query = f"?look={look}&width={width}"

        answer = world.as_("admin").get(address(season, what, query), Accept=SVG)

        assert answer.status_code == 200
        root = ElementTree.fromstring(answer.content)  # noqa: S314  # it comes from ourselves
        assert root.get("width") == {"small": "360", "large": "760"}[width]

    @pytest.mark.parametrize("query", ["?look=blue", "?width=9", "?look=", "?colour=red"])
    def test_refuses_what_it_does_not_know(
        self, world: World, season: GatedSeason, what: str, query: str
    ):
        answer = world.as_("admin").get(address(season, what, query), Accept=SVG)

        assert answer.status_code == 400
        assert answer["Content-Type"] == "application/problem+json"

    def test_is_the_same_until_something_changes(
        self, world: World, season: GatedSeason, what: str
    ):
        admin, path = world.as_("admin"), address(season, what)
        first = admin.get(path, Accept=SVG)
        same = admin.get(path, Accept=SVG, If_None_Match=first["ETag"])
        dark = admin.get(path + "?look=dark", Accept=SVG, If_None_Match=first["ETag"])
        season.add([2], seed=9)
        refresh(season)
        changed = admin.get(path, Accept=SVG, If_None_Match=first["ETag"])

        assert (same.status_code, dark.status_code, changed.status_code) == (304, 200, 200)
        assert first["Cache-Control"] == "private, no-cache"
        assert {"Accept", "Accept-Language", "Authorization"} <= set(first["Vary"].split(", "))

    def test_says_in_words_that_there_are_not_enough_attempts(
        self, world: World, fresh_gated: GatedSeason, what: str
    ):
        answer = world.as_("admin").get(address(fresh_gated, what), Accept=SVG)

        assert answer.status_code == 200
        said = " ".join(texts_of(answer))
        assert re.search("not enough|not this athlete's own|usual", said, re.IGNORECASE), said

    def test_takes_what_its_numbers_take(self, what: str):
        numbers = find_operation("GET", f"approaches/{{approach_id}}/{what}")
        picture = find_operation("GET", f"approaches/{{approach_id}}/{what}/chart")
        assert numbers is not None
        assert picture is not None

        taken = [
            {(each["in"], each["name"]) for each in found.described["parameters"]}
            for found in (numbers, picture)
        ]

        own = {("query", "look"), ("query", "width"), ("header", "Accept-Language")}
        assert taken[1] == taken[0] | own
        assert set(picture.described["responses"]["200"]["content"]) == {SVG, PNG}


class TestLanguage:
    def test_is_the_readers(self, world: World, season: GatedSeason):
        admin, path = world.as_("admin"), address(season, PICTURES[0])

        english, german = (
            admin.get(path, Accept=SVG, Accept_Language=each).content.decode()
            for each in ("en", "de")
        )

        assert 'xml:lang="en"' in english
        assert 'xml:lang="de"' in german
