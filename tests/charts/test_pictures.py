"""What can be read in each picture, and that nothing of it is cut off or hidden by too much."""

import io
import re
from dataclasses import replace
from itertools import combinations

import msgspec
import numpy as np
import pytest
from django.utils import translation
from matplotlib.backends.backend_agg import FigureCanvasAgg
from PIL import Image

from analytics.charts import spread, take_off, trend
from analytics.charts.looks import Form
from analytics.charts.sheet import SMALL, Sheet, painted, text_width, wrapped
from analytics.core.spread import FootfallSpread
from tests.answers.run_ups import make_run_ups
from tests.charts.drawing import (
    NAMESPACE,
    Draw,
    drawn,
    every_picture,
    points_of,
    run_ups_of,
    stored_spread,
    wanted,
)

PICTURES = every_picture(run_ups_of([6] * 5))
FEW = every_picture(run_ups_of([2]))
NAMES = sorted(PICTURES)
# Each picture's axes with their units, and what lies to either side of a 0.
AXES = {
    "trend": ["bias, cm", "spread, cm", "short of the aim", "past the aim, toward the pit"],
    "take_off": ["cm from the line", "behind", "board", "beyond: no jump"],
    "spread": ["spread, cm", "steps to take-off (0: the take-off foot)", "steering begins"],
    "needed_made": ["share taken back", "step (1: the last before take-off)", "0%", "100%"],
    "error_shares": ["adds, cm (SD)", "at the board, %", "start", "attack"],
    "rhythm": ["% of the third-last step", "third-last", "last but one", "last"],
    "speed": ["speed, m/s", "metres to the take-off line"],
    "wind_table": ["marks move, cm", "back, away from the pit", "toward the pit"],
    "outlook": ["mean place of the toe, cm behind the line", "no jump", "short of it"],
    "length_study": ["effective distance, m", "steps of the run-up"],
}


@pytest.mark.parametrize("name", NAMES)
class TestEveryPicture:
    def test_says_first_what_it_is_of_and_what_it_tells(self, name: str):
        picture = drawn(PICTURES[name])

        assert [each.tag for each in picture.root[:2]] == [f"{NAMESPACE}title", f"{NAMESPACE}desc"]
        assert picture.root.get("role") == "img"
        ids = [each.get("id") for each in picture.root[:2]]
        assert picture.root.get("aria-labelledby") == " ".join(map(str, ids))
        assert picture.told.endswith(".")
        assert picture.title in picture.words

    def test_names_its_axes_with_units_in_text(self, name: str):
        picture = drawn(PICTURES[name])

        for label in AXES[name]:
            assert label in picture.texts, picture.texts

    def test_has_words_in_place_of_axes_where_there_is_too_little(self, name: str):
        picture = drawn(FEW[name])
        if name in {"trend", "take_off", "wind_table"}:  # two attempts say something there
            assert len(picture.texts) > 6
            return

        assert "Not enough" in picture.words
        assert not set(AXES[name]) & set(picture.texts)
        assert picture.told.startswith("Not enough")

    @pytest.mark.parametrize(
        ("width", "language"), [("small", "en"), ("large", "en"), ("small", "de")]
    )
    def test_has_no_word_cut_off_or_upon_another(self, name: str, width: str, language: str):
        with translation.override(language):
            assert misplaced(PICTURES[name], width=width) == ([], [])

    def test_can_be_read_without_colours(self, name: str):
        """What is printed is black on white, with nothing that a copier would lose."""
        picture = Image.open(io.BytesIO(pixels(PICTURES[name], "print")))

        grey = np.asarray(picture.convert("L"))
        assert grey.max() == 255
        assert grey.min() < 40
        red, green, blue = (np.asarray(each, dtype=int) for each in picture.convert("RGB").split())
        assert np.abs(red - green).max() <= 2
        assert np.abs(red - blue).max() <= 2

    def test_has_the_decimal_mark_of_the_reader(self, name: str):
        with translation.override("de"):
            picture = drawn(PICTURES[name])

        assert picture.root.get("{http://www.w3.org/XML/1998/namespace}lang") == "de"
        assert not re.search(r"\d\.\d", picture.words)
        assert not re.search(r"\d Mai", picture.words)
        assert re.search(r"\d\. Mai 2026", picture.words)

    def test_is_the_same_when_it_is_drawn_again(self, name: str):
        assert painted(PICTURES[name], wanted()) == painted(PICTURES[name], wanted())


def pixels(draw: Draw, look: str) -> bytes:
    return painted(draw, wanted(look=look, form=Form.PNG))


def misplaced(draw: Draw, *, width: str = "small") -> tuple[list[str], list[tuple[str, str]]]:
    """Return texts that are cut off, and pairs of texts of which one hides the other."""
    sheet = Sheet(wanted(width=width))
    draw(sheet)
    figure = sheet._figure
    canvas = FigureCanvasAgg(figure)
    canvas.draw()
    renderer = canvas.get_renderer()
    boxes = []
    for text in figure.findobj(lambda each: hasattr(each, "get_text") and each.get_visible()):
        if text.get_text().strip():  # type: ignore[attr-defined]  # as asked for above
            boxes.append((text.get_text(), text.get_window_extent(renderer)))  # type: ignore[attr-defined]
    outside = [
        said
        for said, box in boxes
        if box.x0 < 0 or box.y0 < 0 or box.x1 > sheet.width or box.y1 > sheet.height
    ]
    crossed = [
        (one, other)
        for (one, first), (other, second) in combinations(boxes, 2)
        if min(first.x1, second.x1) - max(first.x0, second.x0) > 2
        and min(first.y1, second.y1) - max(first.y0, second.y0) > 4
    ]
    return outside, crossed


class TestWhatIsMisplaced:
    def test_is_found(self):
        """Otherwise the tests of every picture would see nothing."""

        def draw(sheet: Sheet) -> None:
            sheet.head("Title", "Headline", said="Said.")
            sheet.write(20, 200, "one above")
            sheet.write(24, 203, "the other")
            sheet.write(340, 300, "beyond the edge")

        assert misplaced(draw) == (["beyond the edge"], [("one above", "the other")])


class TestExtremes:
    @pytest.mark.parametrize("n", [1, 2, 100])
    def test_any_number_of_points_is_in_bounds(self, n: int):
        rng = np.random.default_rng(n)
        toes = [float(each) for each in rng.normal(0.08, 0.1, n)]
        course = trend.Course(points_of(toes, bias_m=toes), (), 0.06, 20)

        for draw in (
            lambda sheet: trend.draw(sheet, course),
            lambda sheet: take_off.draw(sheet, take_off.Landings(course.points, aim_m=0.06)),
        ):
            assert misplaced(draw) == ([], [])

    def test_no_point_is_told_in_words(self):
        for draw in (
            lambda sheet: trend.draw(sheet, trend.Course((), (), None, 20)),
            lambda sheet: take_off.draw(sheet, take_off.Landings((), aim_m=None)),
        ):
            assert "Not enough attempts yet" in drawn(draw).words

    def test_a_wild_toe_is_marked_at_the_edge_with_its_size(self):
        toes = [0.05, 0.10, 3.10, 0.02, -1.20, 0.07]

        picture = drawn(
            lambda sheet: take_off.draw(sheet, take_off.Landings(points_of(toes), aim_m=0.06))
        )

        assert {"310 cm", "120 cm"} <= set(picture.texts)
        assert "60" in picture.texts  # the axis stays where toes are

    def test_a_wild_window_leaves_the_others_large(self):
        biases = [0.02, 0.03, 3.0, 0.02, 0.04, 0.03]
        course = trend.Course(points_of([0.1] * 6, bias_m=biases), (), 0.06, 20)

        picture = drawn(lambda sheet: trend.draw(sheet, course))

        ticks = [int(each) for each in picture.texts if each.isdigit()]
        assert max(ticks) <= 60

    def test_a_no_jump_that_nobody_measured_is_shown_as_such(self):
        picture = drawn(
            lambda sheet: take_off.draw(
                sheet, take_off.Landings(points_of([0.05, None]), aim_m=0.06)
            )
        )

        assert "?" in picture.texts
        assert "nobody measured where" in picture.words
        assert "1 were no jumps" in picture.told

    def test_equal_attempts_have_axes_all_the_same(self):
        equal = np.tile(0.06 + 2.0 * np.arange(9), (12, 1))

        for name, draw in every_picture(make_run_ups(equal)).items():
            outside, _crossed = misplaced(draw)
            assert outside == [], name
            if name == "needed_made":
                assert "Nothing was off" in drawn(draw).words

    def test_plans_and_alerts_are_marked(self):
        points = points_of([0.1] * 12)
        points = (
            *points[:6],
            *(msgspec.structs.replace(each, plan_revision=2) for each in points[6:]),
        )
        opened = (trend.Opened(points[3].attempt, "level"), trend.Opened("elsewhere", "spread"))

        picture = drawn(lambda sheet: trend.draw(sheet, trend.Course(points, opened, 0.06, 20)))

        assert {"plan 2", "new plan", "alert opened", "take-off line"} <= set(picture.texts)

    def test_names_of_signs_stay_as_they_are(self):
        """A library of pictures reads $ as the beginning of a formula unless told otherwise."""

        def draw(sheet: Sheet) -> None:
            sheet.head("A & B <$x$>", "$5 and 6$", said="1 < 2 & 3.")

        picture = drawn(draw)

        assert picture.title == "A & B <$x$>"
        assert picture.told == "1 < 2 & 3."
        assert {"A & B <$x$>", "$5 and 6$"} <= set(picture.texts)

    def test_a_long_word_is_broken_not_cut(self):
        lines = wrapped("Donaudampfschifffahrtsgesellschaft" * 3 + " ends", SMALL, 200)

        assert all(text_width(each, SMALL) <= 200 for each in lines)
        assert "".join(lines).replace(" ", "") == "Donaudampfschifffahrtsgesellschaft" * 3 + "ends"

    def test_a_number_keeps_its_unit(self):
        for room in range(40, 200, 5):
            assert not any(each.endswith("11") for each in wrapped("now spread 11 cm", SMALL, room))


class TestStoredSpread:
    def test_is_the_one_that_was_found(self):
        run_ups = run_ups_of([6] * 4)

        stored = stored_spread(run_ups).spread

        assert isinstance(stored, FootfallSpread)
        assert stored.onset is not None
        assert (
            f"Steering begins {stored.onset.footfall} steps"
            in drawn(lambda sheet: spread.draw(sheet, stored_spread(run_ups))).words
        )

    def test_says_that_newer_attempts_wait(self):
        stale = replace(stored_spread(run_ups_of([6] * 4)), is_stale=True)

        assert (
            "Newer attempts wait to be computed."
            in drawn(lambda sheet: spread.draw(sheet, stale)).words
        )
