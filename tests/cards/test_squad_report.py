"""The season report of a squad on page and paper: every sentence of the answer, nobody ranked."""

import re
from functools import cache
from pathlib import Path
from typing import Any

import matplotlib
import pytest
from django.utils import translation
from fontTools.ttLib import TTFont  # type: ignore[import-untyped]  # no stubs among the pins

from analytics.cards import bars, pages, squad_report, typesetting
from analytics.cards.squad_report import SquadReport
from analytics.cards.typesetting import Paper
from tests.cards import sheets, squads
from tests.cards.sheets import VIENNA

# Every seventh is a newcomer.
LINES = [squads.make_line(place, is_new=place % 7 == 3) for place in range(1, 31)]
NOBODY = squads.make_line(
    9, is_new=True, approach_code=None, event=None, steps=None, n=0, n_sessions=0
)
ANSWERS = {
    "seven": squads.make_answer(*LINES[:7]),
    "one": squads.make_answer(LINES[0]),
    "without attempts": squads.make_answer(NOBODY) | {"as_of": None},
    "nobody any more": squads.make_answer(),
}
THIRTY = squads.make_answer(*LINES)
NAME = " ".join(sheets.LONGEST.values())


def make_report(
    stored: dict[str, Any], *, squad: str = "Under 16", athlete: str = "Mira Ostwiek"
) -> SquadReport:
    return squad_report.fill_in(
        squads.told(stored),
        name=squad,
        names={each["athlete"]: athlete for each in stored["results"]},
        zone=VIENNA,
    )


@pytest.fixture(scope="module", params=ANSWERS)
def stored(request: pytest.FixtureRequest) -> dict[str, Any]:
    return ANSWERS[request.param]


@pytest.fixture(scope="module")
def report(stored: dict[str, Any]) -> SquadReport:
    return make_report(stored)


@pytest.fixture(scope="module")
def paper(report: SquadReport) -> str:
    return sheets.text_of_pdf(typesetting.print_sheet(report, paper=Paper.A4))


@pytest.fixture(scope="module")
def page(report: SquadReport) -> str:
    return sheets.text_of_page(pages.show(report))


class TestEveryReport:
    def test_holds_every_sentence_of_the_answer(
        self, stored: dict[str, Any], page: str, paper: str
    ):
        answer = squads.told(stored)
        for text in (*sheets.sentences_of(answer), *answer["would_change"], answer["caution"]):
            assert sheets.squeezed(text) in sheets.squeezed(page), text
            assert sheets.squeezed(text) in sheets.squeezed(without_heads(paper)), text

    def test_says_the_same_on_page_and_paper(self, report: SquadReport, page: str, paper: str):
        texts = set(sheets.texts_of(report)) - set(report.labels.values())
        # Without figures there is no table, and no head of one.
        if not any(each.figures.rows for each in report.athletes):
            texts -= {text for each in report.athletes for text in each.figures.columns}
        for text in texts:
            assert sheets.squeezed(text) in sheets.squeezed(page), text
            assert sheets.squeezed(text) in sheets.squeezed(without_heads(paper)), text

    def test_has_the_same_figures_on_page_and_paper(self, page: str, paper: str):
        body = without_heads(paper)

        assert sorted(re.findall(r"\d+", page)) == sorted(re.findall(r"\d+", body))


def without_heads(paper: str) -> str:
    """Return what stands on the sheets without their heads and numbers; a page has none."""
    return re.sub(r"Season report: .* to \d+ \w+ \d+(?=\n)|\d+ / \d+", "", paper)


@pytest.fixture(scope="module")
def texts() -> list[str]:
    """Return what stands on each sheet of Letter."""
    made = sheets.pdf_of(typesetting.print_sheet(make_report(THIRTY), paper=Paper.LETTER))
    return [sheet.extract_text() for sheet in made.pages]


class TestThirtyAthletes:
    def test_stand_in_the_order_of_the_answer_on_page_and_paper(self, texts: list[str]):
        codes = [f"A-{place:02}" for place in range(1, 31)]
        page = sheets.text_of_page(pages.show(make_report(THIRTY)))

        for text in (page, "".join(texts)):
            assert re.findall(r"(A-\d\d) · ", text) == codes

    def test_stand_on_one_sheet_each(self, texts: list[str]):
        assert len(texts) > 5
        for text in texts:
            # The name stands first, and what is last of an athlete on the same sheet.
            names = len(re.findall(r"A-\d\d · ", text))
            assert names == sheets.squeezed(text).count("Mostinaweek")

    def test_have_title_and_number_on_each_sheet(self, texts: list[str]):
        title = make_report(THIRTY).title
        for number, text in enumerate(texts, 1):
            assert f"{number} / {len(texts)}" in text
            # The first one has it in large letters.
            assert (title in text) == (number > 1)


def width_of(text: str, font: str, size: float) -> float:
    """Return how wide a text is in points, by the advance widths of its typeface."""
    folder = Path(matplotlib.get_data_path()) / "fonts" / "ttf"
    name = "DejaVuSans-Bold.ttf" if "Bold" in font else "DejaVuSans.ttf"
    face = face_of(folder / name)
    glyphs, widths = face.getBestCmap(), face["hmtx"]
    per_em = face["head"].unitsPerEm
    return size * sum(widths[glyphs[ord(letter)]][0] for letter in text) / per_em


@cache
def face_of(path: Path) -> TTFont:
    return TTFont(path)


class TestNames:
    def test_of_any_length_stay_on_the_sheet(self):
        """Every letter of the longest name is there, and none is beyond the margin of 15 mm."""
        stored = squads.make_answer(*LINES[:6])
        report = make_report(stored, squad="W" * 80, athlete=NAME)
        made = sheets.pdf_of(typesetting.print_sheet(report, paper=Paper.A4))

        ends: list[float] = []

        def look(text: str, _cm: Any, tm: Any, font: Any, size: float) -> None:
            if text.strip():
                ends.append(tm[4] + width_of(text.strip(), font["/BaseFont"], size))

        read = "".join(sheet.extract_text(visitor_text=look) for sheet in made.pages)

        assert len(made.pages) > 1
        assert max(ends) <= float(made.pages[0].mediabox.right) - 15 / 25.4 * 72 + 1
        assert sheets.squeezed(read).count(sheets.squeezed(NAME)) == 6

    def test_that_are_not_known_leave_the_code(self):
        report = squad_report.fill_in(
            squads.told(ANSWERS["one"]), name="Under 16", names={}, zone=VIENNA
        )

        assert report.athletes[0].name == "A-01"


class TestFigures:
    def test_own_and_drawn_stand_beside_each_other(self):
        stored = THIRTY
        line = stored["results"][3]
        spread, error = make_report(stored).athletes[3].figures.rows

        own, drawn = line["own"], line["spread_m"]
        assert spread[1] == (
            f"{100 * own['sd_m']:.0f} cm "
            f"({100 * own['sd_low_m']:.0f} to {100 * own['sd_high_m']:.0f} cm)"
        )
        assert spread[2] == (
            f"{100 * drawn['value']:.0f} cm "
            f"({100 * drawn['low']:.0f} to {100 * drawn['high']:.0f} cm)"
        )
        assert spread[3] == f"{100 * drawn['own_weight']:.0f}%"
        assert error[1].startswith(f"{100 * own['bias_m']:.0f} cm (")

    def test_what_is_not_known_is_said_with_whom(self):
        report = make_report(THIRTY)

        newcomers = "A-03, A-10, A-17, A-24"
        assert report.unknown[0] == (
            f"Spread and mean error at the board, too few attempts measured: {newcomers}."
        )
        assert all(each.endswith(f": {newcomers}.") for each in report.unknown)
        assert len(report.unknown) == 6
        newcomer = report.athletes[2]
        assert (newcomer.figures.rows, newcomer.spread) == ((), None)
        assert newcomer.season[0].text == "not known"

    def test_without_enough_athletes_nothing_is_drawn_toward_them(self):
        (athlete,) = make_report(ANSWERS["one"]).athletes

        assert [row[2:] for row in athlete.figures.rows] == [("not known", "")] * 2
        assert athlete.spread is not None
        assert (athlete.spread.usual_x, len(athlete.spread.ranges)) == (None, 1)

    def test_all_athletes_share_a_scale(self):
        """On a scale from 0 to the farthest end of all: 0.20 m."""
        own = {"sd_low_m": 0.05, "sd_m": 0.10, "sd_high_m": 0.20}
        drawn = {"low": 0.04, "value": 0.08, "high": 0.12}
        both = bars.draw_beside(own, drawn, usual_m=0.06, most_m=0.20)

        assert both is not None
        first, second = both.ranges
        width = first.high_x - both.zero_x
        assert both.usual_x is not None
        assert first.x - both.zero_x == pytest.approx(width * 0.5, abs=1)
        assert second.high_x - both.zero_x == pytest.approx(width * 0.6, abs=1)
        assert both.usual_x - both.zero_x == pytest.approx(width * 0.3, abs=1)
        assert bars.draw_beside(None, None, usual_m=0.06, most_m=0.20) is None

    def test_words_and_marks_are_those_of_the_language(self):
        with translation.override("de"):
            report = make_report(ANSWERS["one"])

        assert report.lang == "de"
        assert report.labels["heading"] == "Saisonbericht einer Gruppe"
        assert ("Beste offizielle Weite", "5,16 m") in [
            (each.about, each.text) for each in report.athletes[0].season
        ]
