"""The layout of ground markers: to scale, and the same on page and paper."""

import re
from dataclasses import replace

import pytest

from analytics.answers import last_steps_layout, told
from analytics.cards import ground_markers, pages, typesetting
from analytics.cards.ground_markers import GroundMarkers
from analytics.cards.typesetting import Paper
from tests.answers.run_ups import make_marks, marks_of, simulated
from tests.cards import sheets
from tests.cards.sheets import STEADY, VIENNA, make_title

LONG = replace(STEADY, n_steps=18)


def make_markers(sessions=(6,) * 2, *, take_off_foot="left", **of_run_ups) -> GroundMarkers:
    run_ups = simulated(LONG, sessions, seed=2, **({"shoe_length_m": 0.258} | of_run_ups))
    title = make_title(steps=18, take_off_foot=take_off_foot)
    return ground_markers.fill_in(title, run_ups, last_steps_layout.work_out(run_ups), zone=VIENNA)


SHEETS = {
    "usual": make_markers,
    "without attempts": lambda: make_markers(sessions=()),
    "of the longest names": lambda: replace(
        make_markers(), name=" ".join(sheets.LONGEST.values()), run_up="W" * 64
    ),
    "without shoe and foot": lambda: make_markers(shoe_length_m=None, take_off_foot=None),
    "with nothing known": lambda: make_markers(sessions=(), marks=make_marks()),
}


@pytest.fixture(scope="module", params=SHEETS)
def markers(request: pytest.FixtureRequest) -> GroundMarkers:
    return SHEETS[request.param]()


class TestEverySheet:
    @pytest.mark.parametrize("paper", Paper)
    def test_fits_on_one_page(self, markers: GroundMarkers, paper: Paper):
        assert len(sheets.pdf_of(typesetting.print_sheet(markers, paper=paper)).pages) == 1

    def test_says_the_same_on_page_and_paper(self, markers: GroundMarkers):
        page = sheets.text_of_page(pages.show(markers))
        paper = sheets.text_of_pdf(typesetting.print_sheet(markers, paper=Paper.A4))

        headings = set(markers.labels.values())
        for text in set(sheets.texts_of(markers)) - headings:
            assert sheets.squeezed(text) in sheets.squeezed(page), text
            assert sheets.squeezed(text) in sheets.squeezed(paper), text
        assert sheets.squeezed(told.caution()) in sheets.squeezed(paper)

    def test_has_the_same_figures_on_page_and_paper(self, markers: GroundMarkers):
        page = sheets.text_of_page(pages.show(markers))
        paper = sheets.text_of_pdf(typesetting.print_sheet(markers, paper=Paper.A4))

        # The page has the headings of its table for each length anew; they hold no figures.
        assert sorted(re.findall(r"\d+", page)) == sorted(re.findall(r"\d+", paper))


class TestDrawing:
    def test_has_one_scale_for_tape_board_and_shoes(self):
        drawn = make_markers().drawn
        assert drawn is not None

        metres = [tick for tick in drawn.ticks if tick.label]
        units_per_m = (metres[-1].y - metres[0].y) / (len(metres) - 1) * 2
        assert drawn.board_height == pytest.approx(0.20 * units_per_m, abs=1.5)
        for column in drawn.columns:
            for marker in column.markers:
                toe_m = float(marker.label.removesuffix(" m"))
                assert marker.y - drawn.line_y == pytest.approx(toe_m * units_per_m, abs=1.5)
                assert marker.height == pytest.approx(0.258 * units_per_m, abs=1.5)

    def test_ticks_every_ten_centimetres_and_names_the_halves(self):
        drawn = make_markers().drawn
        assert drawn is not None

        labels = [tick.label for tick in drawn.ticks]
        assert labels[:6] == ["0.0 m", "", "", "", "", "0.5 m"]

    @pytest.mark.parametrize(("foot", "is_on_the_right"), [("left", False), ("right", True)])
    def test_shows_which_foot_takes_off(self, foot: str, is_on_the_right: bool):
        drawn = make_markers(take_off_foot=foot).drawn
        assert drawn is not None

        third, penultimate, take_off = (each.x for each in drawn.columns[-1].markers)
        assert third == take_off
        assert (take_off > penultimate) is is_on_the_right

    def test_shows_where_the_feet_land_only_where_that_is_known(self):
        many, few = make_markers().drawn, make_markers(sessions=(3,)).drawn
        assert many is not None
        assert few is not None

        full = many.columns[-1].markers
        assert all(each.lands is not None for each in full)
        assert all(each.lands is None for column in few.columns for each in column.markers)
        assert all(each.lands is None for each in many.columns[0].markers)

    def test_is_left_out_where_nothing_is_known(self):
        sheet = make_markers(sessions=(), marks=make_marks())

        assert sheet.drawn is None
        assert sheet.lengths == ()
        assert sheet.note.startswith("Where the last feet shall land is not known")


class TestTable:
    def test_has_the_plans_footfalls_at_full_length(self):
        toe_m = marks_of(LONG).toe_m
        assert toe_m is not None

        full = make_markers().lengths[-1]

        assert full.name == "Full run-up, 18 steps"
        assert [each.at.metres for each in full.rows] == [f"{toe_m[k]:.2f} m" for k in (2, 1, 0)]
        assert [each.foot for each in full.rows] == ["Left foot", "Right foot", "Left foot"]

    def test_says_how_many_landings_are_missing(self):
        full = make_markers(sessions=(3,)).lengths[-1]

        assert {each.lands for each in full.rows} == {"not enough attempts (3 of 5)"}
