"""The approach card says what the plan and the answers say, on page and paper alike."""

import re
from base64 import b64encode
from collections.abc import Callable
from dataclasses import replace
from hashlib import sha256
from typing import Any

import pytest
from django.utils import translation

from analytics.answers import told, words
from analytics.answers import wind_table as winds_answer
from analytics.cards import facts, pages, typesetting
from analytics.cards.approach_card import Card
from analytics.cards.typesetting import Paper
from analytics.core.wind_table import WindTable
from analytics.selectors import CheckMark
from tests.answers.run_ups import make_marks, marks_of, simulated
from tests.cards import sheets
from tests.cards.sheets import STEADY, make_card, make_title

NAMES = [
    "Jürgen Müßig-Öhlböck",
    "Łukasz Żółciński",
    "Иннокентий Щукин",
    "Παναγιώτης Ψαρράς",
    "Nguyễn Þórdís O'Brien",
    "#emph[x] $a$ <b>&amp; {{ 1 }} \\ `code`",
]
CARDS: dict[str, Callable[[], Card]] = {
    "usual": sheets.usual_card,
    "full": sheets.full_card,
    "without attempts": lambda: make_card(sessions=()),
    "without a plan": lambda: make_card(
        sessions=(), title=make_title(valid_from=None), marks_now=None
    ),
    "of start mark and aim alone": lambda: make_card(marks=make_marks(), sessions=()),
    "without shoe and foot": lambda: make_card(
        title=make_title(take_off_foot=None), shoe_length_m=None
    ),
}


@pytest.fixture(scope="module", params=CARDS)
def card(request: pytest.FixtureRequest) -> Card:
    return CARDS[request.param]()


class TestEveryCard:
    @pytest.mark.parametrize("paper", Paper)
    def test_fits_on_one_page(self, card: Card, paper: Paper):
        made = sheets.pdf_of(typesetting.print_sheet(card, paper=paper))

        assert len(made.pages) == 1
        width, height = (float(each) for each in made.pages[0].mediabox.upper_right)
        # ISO 216 and ANSI/ASME Y14.1, in points.
        assert (round(width), round(height)) == {
            Paper.A4: (595, 842),
            Paper.LETTER: (612, 792),
        }[paper]

    @pytest.mark.parametrize("paper", Paper)
    def test_has_nothing_beyond_the_edge(self, card: Card, paper: Paper):
        page = sheets.pdf_of(typesetting.print_sheet(card, paper=paper)).pages[0]
        width, height = (float(each) for each in page.mediabox.upper_right)
        places = []

        def note(text: str, cm: list[float], tm: list[float], *_: object) -> None:
            if text.strip():
                # The text matrix within the page's.
                places.append(
                    (cm[0] * tm[4] + cm[2] * tm[5] + cm[4], cm[1] * tm[4] + cm[3] * tm[5] + cm[5])
                )

        page.extract_text(visitor_text=note)

        assert places
        assert all(0 < x < width and 0 < y < height for x, y in places)

    def test_says_the_same_on_page_and_paper(self, card: Card):
        page = sheets.squeezed(sheets.text_of_page(pages.show(card)))
        paper = sheets.squeezed(sheets.text_of_pdf(typesetting.print_sheet(card, paper=Paper.A4)))

        texts = sheets.texts_of(card)
        # Headings of what is not planned stand on neither.
        printed = [each for each in texts if sheets.squeezed(each) in paper]
        shown = [each for each in texts if sheets.squeezed(each) in page]
        assert printed == shown
        unused = set(texts) - set(printed)
        assert unused <= set(card.labels.values())
        if card.planned is not None and card.planned.check_marks:
            assert unused == {card.labels["no_check_marks"]}

    def test_has_the_same_figures_on_page_and_paper(self, card: Card):
        page = sheets.text_of_page(pages.show(card))
        paper = sheets.text_of_pdf(typesetting.print_sheet(card, paper=Paper.A4))

        assert sorted(re.findall(r"\d+", page)) == sorted(re.findall(r"\d+", paper))

    def test_carries_the_caution(self, card: Card):
        made = typesetting.print_sheet(card, paper=Paper.LETTER)

        for text in (sheets.text_of_page(pages.show(card)), sheets.text_of_pdf(made)):
            assert sheets.squeezed(told.caution()) in sheets.squeezed(text)

    def test_leaves_no_gap_and_no_odd_number(self, card: Card):
        for text in sheets.texts_of(card):
            assert not {"{", "}"} & set(text), text
            for odd in ("nan", "None", "  ", ".."):
                assert odd not in text, text


class TestPaper:
    def test_can_be_read_aloud(self):
        made = sheets.pdf_of(typesetting.print_sheet(sheets.usual_card(), paper=Paper.A4))
        root: Any = made.trailer["/Root"]

        assert made.metadata is not None
        assert made.metadata.title == "Approach card: Mira Ostwiek, LJ-16"
        assert root["/Lang"] == "en"
        assert root["/MarkInfo"]["/Marked"]
        assert "/StructTreeRoot" in root
        # PDF/UA-1 says of itself that it is (ISO 14289-1, 5).
        assert b"pdfuaid" in root["/Metadata"].get_object().get_data()

    def test_is_the_same_each_time(self):
        card = sheets.usual_card()

        first = typesetting.print_sheet(card, paper=Paper.A4)

        assert typesetting.print_sheet(card, paper=Paper.A4) == first

    @pytest.mark.parametrize("name", NAMES)
    def test_shows_names_as_they_are_written(self, name: str):
        given, _, family = name.partition(" ")
        card = make_card(sessions=(), title=make_title(given_name=given, family_name=family))

        made = typesetting.print_sheet(card, paper=Paper.A4)

        for text in (sheets.text_of_page(pages.show(card)), sheets.text_of_pdf(made)):
            assert sheets.squeezed(name) in sheets.squeezed(text)

    @pytest.mark.parametrize("sign", ["\ufeff", "\ufffe"])
    def test_leaves_out_what_a_pdf_may_not_hold(self, sign: str):
        """PDF/UA-1 (ISO 14289-1) wants text without U+FEFF and U+FFFE; from memory."""
        title = make_title(given_name=f"{sign}Mira", approach_code=f"LJ{sign}-16")

        made = typesetting.print_sheet(make_card(sessions=(), title=title), paper=Paper.A4)

        assert "Mira Ostwiek" in sheets.text_of_pdf(made)

    # Korean, Thai and a variant of a Chinese sign; a run-up's code in Korean.
    @pytest.mark.parametrize("name", ["김민지", "สมชาย", "葛\U000e0100城", "\U0001f3c3"])
    def test_draws_no_empty_boxes_and_says_what_is_missing(self, name: str):
        """The typesetter falls back to any face in the folder, and to boxes; it never warns."""
        title = make_title(given_name=name, family_name="Kim", approach_code="LJ-김")
        card = make_card(sessions=(), title=title)

        paper = sheets.text_of_pdf(typesetting.print_sheet(card, paper=Paper.A4))

        assert "? Kim" in paper
        assert "LJ-?" in paper
        told = sheets.squeezed("cannot be printed in this typeface: go by the code.")
        assert told in sheets.squeezed(paper)
        assert name in pages.show(card)
        assert "cannot be printed" not in sheets.text_of_page(pages.show(card))

    def test_says_nothing_where_all_is_printed(self):
        paper = sheets.text_of_pdf(typesetting.print_sheet(sheets.usual_card(), paper=Paper.A4))

        assert "typeface" not in paper

    def test_pictures_are_png(self):
        made = typesetting.picture_sheet(sheets.usual_card(), paper=Paper.A4)

        assert made.startswith(b"\x89PNG\r\n")


class TestPage:
    def test_loads_nothing(self):
        page = pages.show(sheets.usual_card())

        assert not re.search(r"<script|<link|<img|\bsrc=|\bhref=|url\(|@import", page)

    def test_is_styled_by_what_its_policy_allows_alone(self):
        page = pages.show(sheets.usual_card())

        assert page.count("<style>") == 1
        assert not re.search(r"\bstyle=", page)
        style = page.partition("<style>")[2].partition("</style>")[0]
        assert _hash_of(style) in pages.page_policy()

    def test_has_a_language_and_a_title(self):
        page = pages.show(sheets.usual_card())

        assert '<html lang="en">' in page
        assert "<title>Approach card: Mira Ostwiek, LJ-16</title>" in page


def _hash_of(style: str) -> str:
    return f"'sha256-{b64encode(sha256(style.encode()).digest()).decode()}'"


class TestFigures:
    def test_lays_out_the_start_mark_three_ways(self):
        """34.20 m over 0.3048 m and 0.0254 m are 112 ft and 2.46 in; over 0.285 m 120 shoes."""
        card = make_card(marks=make_marks(), sessions=(), shoe_length_m=0.285)

        assert card.planned is not None
        assert card.planned.start == facts.Distance(
            metres="34.20 m", feet="112 ft 2 1/2 in", shoes="120 shoes"
        )

    @pytest.mark.parametrize(
        ("steps", "foot", "style", "said"),
        [
            (16, "left", "standing", "Left foot, which takes off, stands on the mark."),
            (15, "left", "standing", "Right foot stands on the mark."),
            (16, "right", "run_in", "Right foot, which takes off, hits the mark."),
            (16, None, "walk_in", "Take-off foot hits the mark."),
            (15, None, "standing", "Other foot stands on the mark."),
        ],
    )
    def test_says_which_foot_begins(self, steps: int, foot: str | None, style: str, said: str):
        """With an even number of steps the take-off foot starts on the mark."""
        athlete = replace(STEADY, n_steps=steps)
        title = make_title(steps=steps, take_off_foot=foot, start_style=style)

        card = make_card(athlete, (), title, marks=make_marks())

        assert card.planned is not None
        assert card.planned.first_foot == said

    def test_counts_the_steps_of_each_phase(self):
        """Sixteen steps; the transition begins at footfall 10, the attack at footfall 6."""
        planned = sheets.usual_card().planned

        assert planned is not None
        assert [(each.name, each.steps) for each in planned.phases] == [
            ("Acceleration", "6 steps"),
            ("Transition", "4 steps"),
            ("Attack", "6 steps"),
        ]

    def test_lists_check_marks_from_the_start_on(self):
        marks = make_marks(check_marks=(CheckMark(4, 8.3), CheckMark(11, 22.75)))

        planned = make_card(marks=marks, sessions=()).planned

        assert planned is not None
        assert [
            (each.letter, each.steps_run, each.steps_left, each.foot, each.at.metres)
            for each in planned.check_marks
        ] == [
            ("A", "after 5 steps", "11 steps left", "Right foot", "22.75 m"),
            ("B", "after 12 steps", "4 steps left", "Left foot", "8.30 m"),
        ]

    def test_draws_the_last_footfalls_to_scale(self):
        marks = marks_of(STEADY)
        assert marks.toe_m is not None
        planned = sheets.usual_card().planned
        assert planned is not None
        assert planned.last_steps is not None

        third, penultimate, take_off = planned.last_steps.shoes

        toes_x = [each.x + each.width for each in (third, penultimate, take_off)]
        toes_m = [float(marks.toe_m[2]), float(marks.toe_m[1]), marks.aim_m]
        units_per_m = (toes_x[2] - toes_x[0]) / (toes_m[0] - toes_m[2])
        line_x = planned.last_steps.line_x
        for x, toe_m in zip(toes_x, toes_m, strict=True):
            assert line_x - x == pytest.approx(units_per_m * toe_m, abs=1.5)
        assert planned.last_steps.board_width == pytest.approx(0.20 * units_per_m, abs=1.5)
        assert third.width == pytest.approx(0.258 * units_per_m, abs=1.5)

    def test_does_not_draw_footfalls_that_go_back(self):
        """Whoever plans the penultimate footfall nearer than the aim has mistyped one of them."""
        marks = marks_of(STEADY, check_marks=(CheckMark(1, 0.03),))

        planned = make_card(marks=marks, sessions=()).planned

        assert planned is not None
        assert planned.last_steps is None

    def test_has_the_wind_table_of_the_answer(self):
        run_ups = simulated(STEADY, (6,) * 4, seed=2, shoe_length_m=0.258)
        table = winds_answer.work_out(run_ups).table
        assert isinstance(table, WindTable)

        planned = sheets.usual_card().planned

        assert planned is not None
        start_m = marks_of(STEADY).start_mark_m
        for place, row in enumerate(planned.winds):
            move_m = float(table.move_m[place])
            assert row.start_mark == words.metres(start_m + round(move_m, 2), 2)
            if table.wind_mps[place] > 0:
                assert row.move == winds_answer.to_a_side(round(move_m, 2))
                assert row.move.endswith("back")  # a tail wind moves the marks back
        assert f"{words.percent(table.own_share)} of it" in planned.winds_note

    def test_calls_a_usual_wind_table_so(self):
        planned = make_card(sessions=()).planned

        assert planned is not None
        assert planned.winds_note.startswith("This is what is usual, not this athlete's own")

    def test_says_how_many_attempts_are_missing(self):
        card = make_card(sessions=(3,))

        assert card.planned is not None
        assert "3 of 5" in card.planned.aim_advice
        assert any("3 of 6" in each.text for each in card.watch)

    def test_says_where_another_start_mark_is_advised(self):
        """The mark lies 0.30 m too far out: the card has the plan's mark, and the advice beside."""
        card = make_card(replace(STEADY, mark_error_m=0.3), marks=marks_of(STEADY))

        assert card.planned is not None
        assert card.planned.start.metres == "26.68 m"
        advised = re.search(r"advised: (\d+\.\d\d) m", card.planned.advised)
        assert advised is not None
        assert float(advised[1]) == pytest.approx(26.68 - 0.30, abs=0.10)
        assert advised[1] in card.watch[0].text
        assert card.watch[0].about == "Start mark"
        assert card.watch[0].text.startswith("Move the start mark")
        usual = sheets.usual_card()
        assert usual.planned is not None
        assert usual.planned.advised == ""
        assert [each.about for each in usual.watch] == ["Practice", "Steering"]

    def test_days_are_those_of_the_club(self):
        """22:00 UTC on 11 August is midnight in Vienna, where summer time is two hours ahead."""
        assert sheets.usual_card().plan == "Plan revision 1, in force from 12 Aug 2026"


class TestLanguage:
    def test_of_the_reader_has_its_decimal_mark(self):
        with translation.override("de"):
            card = make_card()
            made = typesetting.print_sheet(card, paper=Paper.A4)
            page = pages.show(card)

        assert card.planned is not None
        assert (card.lang, card.planned.start.metres) == ("de", "26,68 m")
        assert "26,68 m" in sheets.text_of_pdf(made)
        assert "26,68 m" in sheets.text_of_page(page)

    def test_drawings_do_not_change_with_it(self):
        """A comma in a number would break the drawing."""
        card = sheets.usual_card()
        drawn = re.findall(r'\b(?:x|y|x1|x2|cx|width)="([^"]*)"', pages.show(card))

        with translation.override("de"):
            again = re.findall(r'\b(?:x|y|x1|x2|cx|width)="([^"]*)"', pages.show(card))

        assert drawn == again
        assert all(re.fullmatch(r"-?\d+", each) for each in drawn)
