"""Colours that everybody can tell apart, on paper and on screens."""

import itertools

import numpy as np
import pytest

from analytics.charts.looks import COLOURS, Colours, Look

# Machado, Oliveira & Fernandes 2009 (IEEE Trans Vis Comput Graph 15:1291-1298, doi
# 10.1109/TVCG.2009.113), severity 1, on linear RGB; the values as several free colour libraries
# carry them alike.
MATRICES = {
    "all cones": np.eye(3),
    "no green cones": np.array(
        [
            [0.367322, 0.860646, -0.227968],
            [0.280085, 0.672501, 0.047413],
            [-0.011820, 0.042940, 0.968881],
        ]
    ),
    "no red cones": np.array(
        [
            [0.152286, 1.052583, -0.204868],
            [0.114503, 0.786281, 0.099216],
            [-0.003882, -0.048116, 1.051998],
        ]
    ),
}
# sRGB to XYZ (IEC 61966-2-1), white D65.
TO_XYZ = np.array([[0.4124, 0.3576, 0.1805], [0.2126, 0.7152, 0.0722], [0.0193, 0.1192, 0.9505]])
WHITE = np.array([0.9505, 1.0, 1.089])
# WCAG 2.2, 1.4.3 and 1.4.11 (W3C): text, and what a picture is understood by.
TEXT, GRAPHIC = 4.5, 3.0
# Differences of CIE 1976 L*a*b*; just about 2.3 can be noticed (from memory). Ours: ten times that
# between lines that stand in one picture, less where one of them is a mark of its own.
APART, APART_WITH_MARK = 23.0, 18.0


def linear(colour: str) -> np.ndarray:
    part = np.array([int(colour[at : at + 2], 16) / 255 for at in (1, 3, 5)])
    return np.where(part <= 0.04045, part / 12.92, ((part + 0.055) / 1.055) ** 2.4)


def contrast(one: str, other: str) -> float:
    """Return the contrast ratio of WCAG 2.2."""
    low, high = sorted(float(linear(each) @ TO_XYZ[1]) for each in (one, other))
    return (high + 0.05) / (low + 0.05)


def lab(colour: str, eyes: str) -> np.ndarray:
    seen = np.clip(MATRICES[eyes] @ linear(colour), 0, 1)
    part = TO_XYZ @ seen / WHITE
    root = np.where(part > 216 / 24389, np.cbrt(part), (24389 / 27 * part + 16) / 116)
    return np.array([116 * root[1] - 16, 500 * (root[0] - root[1]), 200 * (root[1] - root[2])])


def apart(one: str, other: str, eyes: str) -> float:
    return float(np.linalg.norm(lab(one, eyes) - lab(other, eyes)))


class TestArithmetic:
    def test_contrast_is_that_of_the_standard(self):
        """WCAG 2.2: 21 for black on white; #767676 is the lightest grey with 4.5 on white."""
        assert contrast("#000000", "#ffffff") == pytest.approx(21)
        assert contrast("#767676", "#ffffff") >= 4.5 > contrast("#777777", "#ffffff")

    def test_white_stays_white_to_all_eyes(self):
        for eyes in MATRICES:
            np.testing.assert_allclose(lab("#ffffff", eyes), [100, 0, 0], atol=0.05)

    def test_red_and_green_of_one_lightness_fall_together(self):
        """Otherwise the simulation would tell nothing."""
        assert apart("#b06000", "#6a7a00", "all cones") > 35
        assert apart("#b06000", "#6a7a00", "no green cones") < 15


@pytest.mark.parametrize("look", Look)
class TestEveryLook:
    def test_can_be_read(self, look: Look):
        colours = COLOURS[look]

        for text in (colours.ink, colours.soft):
            assert contrast(text, colours.paper) >= TEXT
        # Words stand on bands and on the board, too.
        for ground in (colours.band, colours.second_band, colours.board):
            assert contrast(colours.ink, ground) >= TEXT
        for line in (colours.main, colours.second, colours.alarm):
            assert contrast(line, colours.paper) >= TEXT  # words are written in them as well
        assert contrast(colours.main, colours.band) >= GRAPHIC
        assert contrast(colours.second, colours.second_band) >= GRAPHIC
        assert contrast(colours.main, colours.board) >= GRAPHIC
        assert contrast(colours.second, colours.board) >= GRAPHIC

    @pytest.mark.parametrize("eyes", MATRICES)
    def test_tells_lines_apart_to_all_eyes(self, look: Look, eyes: str):
        colours = COLOURS[look]
        if look is Look.PRINT:  # black on white: marks and kinds of lines tell
            assert set(_lines(colours)) <= {"#000000", colours.second}
            return

        assert apart(colours.main, colours.second, eyes) >= APART
        for one, other in itertools.combinations(_lines(colours), 2):
            assert apart(one, other, eyes) >= APART_WITH_MARK


def _lines(colours: Colours) -> list[str]:
    return [colours.main, colours.second, colours.alarm, colours.ink]
