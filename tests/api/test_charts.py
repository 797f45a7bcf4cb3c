"""Pictures over HTTP: each beside its numbers, with their rights, parameters and tags."""

import re
from pathlib import Path
from typing import Any
from xml.etree import ElementTree

import pytest

from analytics.services import refreshing
from approaches.models import FinishClass
from tests.api.conftest import World
from tests.api.gated import GatedSeason
from tests.api.test_isolation import ROUTES
from tests.conftest import Keep
from tests.contract.openapi import find_operation

SVG, PNG = "image/svg+xml", "image/png"
PAGE = Path(__file__).parents[2] / "docs" / "api" / "charts.md"
NAMESPACE = "{http://www.w3.org/2000/svg}"
# Each picture, by the address of its numbers.
PICTURES = sorted(
    route.path.removeprefix("approaches/{approach_id}/").removesuffix("/chart")
    for route in ROUTES
    if route.path.endswith("/chart")
)


@pytest.fixture(scope="module")
def kept_figures(keep: Keep[None], kept_gated_season: GatedSeason) -> None:
    """Bring the stored figures up to date once for all tests."""
    keep(lambda: refresh(kept_gated_season))


@pytest.fixture
def season(kept_figures: None, gated_season: GatedSeason) -> GatedSeason:
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
        told = re.findall(r"^\| `approaches/\{id\}/([a-z-]+)/chart` \|", PAGE.read_text(), re.M)

        assert sorted(told) == PICTURES
        assert len(PICTURES) == 10


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
        assert answer.json()["detail"] == f"Accept one of {SVG}, {PNG}, or send no Accept."

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
        said = [numbers[name] for name in ("text", "caution") if numbers.get(name)]
        assert description.text == (" ".join(said) or description.text)
        assert description.text
        assert description.text.endswith(".")

    def test_has_looks_and_widths(self, world: World, season: GatedSeason, what: str):
        admin = world.as_("admin")

        answers = {
            (look, width): admin.get(
                address(season, what, f"?look={look}&width={width}"), Accept=SVG
            )
            for look in ("light", "dark", "print")
            for width in ("small", "large")
        }

        assert len({answer.content for answer in answers.values()}) == 6
        for (_look, width), answer in answers.items():
            root = ElementTree.fromstring(answer.content)  # noqa: S314  # it comes from ourselves
            assert root.get("width") == {"small": "360", "large": "760"}[width]

    def test_refuses_what_it_does_not_know(self, world: World, season: GatedSeason, what: str):
        for query in ("?look=blue", "?width=9", "?look=", "?colour=red"):
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

        # One number of steps compares nothing, before and after: that picture is still the same.
        later = 304 if what == "length-study" else 200
        assert (same.status_code, dark.status_code, changed.status_code) == (304, 200, later)
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
