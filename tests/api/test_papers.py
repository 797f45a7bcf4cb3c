"""Pages and sheets over HTTP: the form that the reader accepts, and who may read it."""

from typing import Any
from urllib.parse import quote

import pytest

from athletes.models import Athlete as AthleteRow
from common.club_scope import club_scope
from common.page_policy import HEADER
from tests import factories
from tests.api.conftest import World
from tests.api.gated import GatedSeason
from tests.cards import sheets

PAGE, PAPER, PICTURE = "text/html", "application/pdf", "image/png"
BEGINS = {PAGE: b"<!doctype html>", PAPER: b"%PDF-", PICTURE: b"\x89PNG"}
BROWSER = "text/html,application/xhtml+xml,application/xml;q=0.9,image/avif,*/*;q=0.8"


def media_type_of(answer: Any) -> str:
    return str(answer["Content-Type"]).partition(";")[0]


class TestCard:
    @pytest.mark.parametrize(
        ("accepted", "form"),
        [
            ("*/*", PAGE),
            (PAGE, PAGE),
            (BROWSER, PAGE),
            (PAPER, PAPER),
            (PICTURE, PICTURE),
            (f"{PAGE};q=0.5, {PAPER}", PAPER),
        ],
    )
    def test_has_the_form_that_is_accepted(
        self, world: World, gated_season: GatedSeason, accepted: str, form: str
    ):
        answer = world.as_("admin").get(f"{gated_season.path}/card", Accept=accepted)

        assert (answer.status_code, media_type_of(answer)) == (200, form)
        assert answer.content.startswith(BEGINS[form])

    @pytest.mark.parametrize(("asked", "form"), [("html", PAGE), ("pdf", PAPER), ("png", PICTURE)])
    def test_has_the_form_that_a_link_names(
        self, world: World, gated_season: GatedSeason, asked: str, form: str
    ):
        answer = world.as_("admin").get(f"{gated_season.path}/card?as={asked}", Accept=BROWSER)

        assert media_type_of(answer) == form

    def test_cannot_be_had_in_any_other_form(self, world: World, gated_season: GatedSeason):
        answer = world.as_("admin").get(f"{gated_season.path}/card", Accept="image/svg+xml")

        assert (answer.status_code, answer.json()["code"]) == (406, "not_acceptable")

    @pytest.mark.parametrize("query", ["paper=a5", "as=docx", "last=3"])
    def test_refuses_what_it_does_not_know(
        self, world: World, gated_season: GatedSeason, query: str
    ):
        answer = world.as_("admin").get(f"{gated_season.path}/card?{query}")

        assert answer.status_code == 400
        assert answer.json()["code"] in {"invalid_parameter", "unknown_parameter"}

    def test_fits_the_paper_in_the_printer(self, world: World, gated_season: GatedSeason):
        answer = world.as_("admin").get(f"{gated_season.path}/card?paper=letter", Accept=PAPER)

        assert sheets.pdf_of(answer.content).pages[0].mediabox.width == 612

    def test_is_named_for_the_athlete_and_the_run_up(self, world: World, gated_season: GatedSeason):
        answer = world.as_("admin").get(f"{gated_season.path}/card", Accept=PAPER)

        name = f"card-{gated_season.scene.athlete.code}-{gated_season.approach.code}.pdf"
        assert answer["Content-Disposition"] == f'inline; filename="{name}"'

    @pytest.mark.parametrize(
        ("code", "named"),
        [
            # RFC 6266 with RFC 8187: other letters travel percent-encoded, in UTF-8.
            ("Ä-17", "filename*=utf-8''card-%C3%84-17-{}.pdf"),
            # None of these is a folder, the end of the name, or another header.
            ('../a"b\\c', 'filename="card-..-a-b-c-{}.pdf"'),
            ("fdp.\u202e17", 'filename="card-fdp.-17-{}.pdf"'),
            ("a\r\nX-Evil: 1", 'filename="card-a-X-Evil- 1-{}.pdf"'),
            ("100%;x=y", 'filename="card-100%;x=y-{}.pdf"'),
        ],
    )
    def test_has_a_file_name_that_every_system_takes(
        self, world: World, gated_season: GatedSeason, code: str, named: str
    ):
        with club_scope(world.club):  # the doors would refuse two of them
            AthleteRow.objects.filter(id=gated_season.scene.athlete.id).update(code=code)

        answer = world.as_("admin").get(f"{gated_season.path}/card", Accept=PAPER)

        approach = gated_season.approach.code
        expected = f"inline; {named.format(quote(approach) if '*' in named else approach)}"
        assert answer["Content-Disposition"] == expected
        assert "X-Evil" not in answer

    @pytest.mark.parametrize("form", BEGINS)
    def test_is_the_same_until_something_changes(
        self, world: World, gated_season: GatedSeason, form: str
    ):
        admin, path = world.as_("admin"), f"{gated_season.path}/card"
        first = admin.get(path, Accept=form)
        same = admin.get(path, Accept=form, **{"If-None-Match": first["ETag"]})
        gated_season.add([2], seed=9)
        changed = admin.get(path, Accept=form, **{"If-None-Match": first["ETag"]})

        assert (same.status_code, changed.status_code) == (304, 200)
        assert first["Cache-Control"] == "private, no-cache"
        assert {"Accept", "Accept-Language", "Authorization"} <= set(first["Vary"].split(", "))

    def test_has_other_tags_for_other_forms(self, world: World, gated_season: GatedSeason):
        admin, path = world.as_("admin"), f"{gated_season.path}/card"

        tags = {admin.get(path, Accept=form)["ETag"] for form in BEGINS}

        assert len(tags) == 3

    def test_loads_nothing_but_its_own_style(self, world: World, gated_season: GatedSeason):
        answer = world.as_("admin").get(f"{gated_season.path}/card")

        assert answer[HEADER].startswith("default-src 'none'; style-src 'sha256-")
        assert "unsafe" not in answer[HEADER]

    def test_says_what_the_answers_say(self, world: World, gated_season: GatedSeason):
        admin = world.as_("admin")
        page = sheets.squeezed(
            sheets.text_of_page(admin.get(f"{gated_season.path}/card").content.decode())
        )

        focus = admin.get(f"{gated_season.path}/practice-focus").json()
        table = admin.get(f"{gated_season.path}/wind-table").json()["table"]
        plan = gated_season.plan
        assert sheets.squeezed(focus["text"]) in page
        assert sheets.squeezed(focus["caution"]) in page
        for move_m in table["move_m"]:
            assert f"{plan.start_mark_m + round(move_m, 2):.2f}m" in page

    def test_follows_the_language_of_the_reader(self, world: World, gated_season: GatedSeason):
        answer = world.as_("admin").get(
            f"{gated_season.path}/card", Accept=PAPER, Accept_Language="de"
        )

        start = f"{gated_season.plan.start_mark_m:.2f} m".replace(".", ",")
        assert start in sheets.text_of_pdf(answer.content)

    def test_says_that_there_is_no_plan(self, world: World):
        athlete = factories.make_athlete(world.club)
        approach = factories.make_approach(athlete, code="LJ-8", steps=8)

        answer = world.as_("admin").get(f"approaches/{approach.id}/card")

        assert answer.status_code == 200
        assert "No plan is in force." in answer.content.decode()

    def test_of_a_plan_that_is_yet_to_come_is_the_one_in_force(
        self, world: World, gated_season: GatedSeason
    ):
        start_m = gated_season.plan.start_mark_m
        later = world.as_("admin").post(
            f"{gated_season.path}/plans/",
            {"start_mark_m": 33.33, "valid_from": "2099-01-01T00:00:00Z"},
            If_Match="*",
        )
        assert later.status_code == 201, later.content

        page = world.as_("admin").get(f"{gated_season.path}/card").content.decode()

        assert f"{start_m:.2f} m" in page
        assert "33.33 m" not in page


class TestMarkers:
    @pytest.mark.parametrize("form", BEGINS)
    def test_say_what_the_answer_says(self, world: World, gated_season: GatedSeason, form: str):
        admin, path = world.as_("admin"), f"{gated_season.path}/last-steps-layout"
        asked = admin.get(path).json()
        made = admin.get(f"{path}/paper", Accept=form)

        assert (made.status_code, made.content[: len(BEGINS[form])]) == (200, BEGINS[form])
        if form == PICTURE:
            return
        text = (
            sheets.text_of_pdf(made.content)
            if form == PAPER
            else sheets.text_of_page(made.content.decode())
        )
        for length in asked["lengths"]:
            for marker in length["markers"]:
                assert f"{marker['place']['at_m']:.2f} m" in text
                if length["name"] == "full":
                    assert f"{marker['landed']['mean_m']:.2f} m ±" in text

    def test_are_a_strangers_to_another_coach(self, world: World, gated_season: GatedSeason):
        answer = world.as_("coach").get(f"{gated_season.path}/last-steps-layout/paper")

        assert answer.status_code == 404


class TestSeasonReport:
    @pytest.mark.parametrize("form", [PAGE, PAPER])
    def test_holds_every_sentence_of_the_answer(
        self, world: World, gated_season: GatedSeason, form: str
    ):
        admin = world.as_("admin")
        path = f"reports/season/athletes/{gated_season.scene.athlete.id}"
        days = "from=2026-03-01&to=2026-06-30"
        asked = admin.get(f"{path}?{days}").json()
        made = admin.get(f"{path}/paper?{days}", Accept=form)

        assert made.status_code == 200
        text = (
            sheets.text_of_pdf(made.content)
            if form == PAPER
            else sheets.text_of_page(made.content.decode())
        )
        said = [each for each in sheets.sentences_of(asked) if each != asked["caution"]]
        assert len(said) > 10
        # What speaks for an answer stands in the answer; the report has what it says.
        reasons = {each["text"] for up in asked["run_ups"] for each in up["next"]["reasons"]}
        results = {each["text"] for each in asked["competitions"]["results"]}
        bests = {each["text"] for each in asked["bests"]}
        for sentence in set(said) - reasons - results - bests:
            assert sheets.squeezed(sentence) in sheets.squeezed(text), sentence
        assert sheets.squeezed(asked["growth"]["caution"]) in sheets.squeezed(text)

    @pytest.mark.parametrize("query", ["from=2026-05-01&to=2026-04-01", "to=yesterday"])
    def test_refuses_days_that_are_none(self, world: World, gated_season: GatedSeason, query: str):
        path = f"reports/season/athletes/{gated_season.scene.athlete.id}/paper?{query}"

        answer = world.as_("admin").get(path)

        assert (answer.status_code, answer.json()["code"]) == (400, "invalid_parameter")
