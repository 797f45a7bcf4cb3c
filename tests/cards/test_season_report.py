"""The season report on page and paper: every sentence and figure of the answer, none of its own."""

import re
from datetime import UTC, date, datetime
from typing import Any

import pytest

from analytics.cards import bars, pages, season_report, typesetting
from analytics.cards.season_report import SeasonReport
from analytics.cards.typesetting import Paper
from tests.cards import sheets
from tests.cards.sheets import VIENNA

BEST = {
    "held_date": date(2026, 6, 27),
    "kind": "competition",
    "approach_code": "LJ-14",
    "distance_m": 5.16,
    "toe_m": 0.06,
    "wind_mps": 0.2,
}
COMPETITION = {
    "held_date": date(2026, 6, 27),
    "approach_code": "LJ-14",
    "best_m": 5.16,
    "best_toe_m": 0.06,
    "n": 5,
    "n_no_jumps": 2,
    "wind_low_mps": -0.9,
    "wind_high_mps": 0.9,
}
CHANGE = {
    "sd_first_m": 0.10,
    "sd_first_interval": {"low": 0.08, "high": 0.15},
    "sd_last_m": 0.07,
    "sd_last_interval": {"low": 0.05, "high": 0.11},
}
REVISION = {
    "revision": 2,
    "valid_from": datetime(2026, 3, 31, 22, tzinfo=UTC),
    "start_mark_m": 19.65,
    "moved_m": -0.12,
    "n": 124,
    "reason": "Marks taken anew on the runway outside.",
}
ALERT = {
    "kind": "level",
    "text": "Lands about 7 cm beyond the aim of 10 cm behind the line.",
    "approach_code": "LJ-14",
    "opened_at": datetime(2026, 9, 16, 12, tzinfo=UTC),
    "closed_at": None,
}
DECISION = {
    "kind": "mark",
    "decided_at": datetime(2026, 5, 2, 12, tzinfo=UTC),
    "approach_code": "LJ-14",
    "decision": "followed",
    "afterwards_text": "What came after shows that it was right.",
}


def said(text: str, **figures: Any) -> dict[str, Any]:
    return {"text": text, **figures}


def make_run_up(**parts: Any) -> dict[str, Any]:
    return {
        "code": "LJ-14",
        "event": "long_jump",
        "steps": 14,
        "start_style": "standing",
        "n": 212,
        "n_sessions": 38,
        "n_run_throughs": 6,
        "plans": said("Two plans.", revisions=[REVISION]),
        "consistency": said("Steadier by 3 cm.", change=CHANGE),
        "shift": said("No lasting shift is shown."),
        "board": said("On the board: 66%."),
        "no_jumps": said("Training: 28%."),
        "rhythm": said("No change of rhythm is shown."),
        "speed": said("No change of speed is shown."),
        "next": said("Take all marks anew."),
        **parts,
    }


def make_answer(**parts: Any) -> dict[str, Any]:
    return {
        "athlete_code": "A-06",
        "from_date": date(2025, 10, 4),
        "to_date": date(2026, 10, 3),
        "as_of": datetime(2026, 10, 3, 12, tzinfo=UTC),
        "n": 212,
        "n_sessions": 38,
        "stale": False,
        "text": "212 attempts in 38 sessions.",
        "caution": "The coach decides.",
        "run_ups": [make_run_up()],
        "bests": [{"event": "long_jump", "official": [BEST], "effective": [BEST]}],
        "competitions": said("One competition.", results=[COMPETITION]),
        "lengths": said("From 14 steps."),
        "growth": said("Height 1.57 m, then 1.64 m.", caution="No diagnosis. The coach decides."),
        "load": said("At most 8.", weeks=[4, 8, 0], first_week_from_date=date(2026, 9, 13)),
        "alerts": said("One alert.", results=[ALERT]),
        "advice": said("One advice.", results=[DECISION]),
        "unknown": [said("The wind was not read.")],
        **parts,
    }


EMPTY: dict[str, Any] = {
    "as_of": None,
    "n": 0,
    "n_sessions": 0,
    "run_ups": [],
    "bests": [],
    "competitions": said("No competition was written down.", results=[]),
    "load": said("No full jump.", weeks=[0, 0], first_week_from_date=date(2026, 9, 20)),
    "alerts": said("No alert.", results=[]),
    "advice": said("None.", results=[]),
    "unknown": [],
}
ANSWERS = {
    "usual": make_answer(),
    "without attempts": make_answer(**EMPTY),
    "long": make_answer(
        run_ups=[make_run_up(plans=said("Plans.", revisions=[REVISION] * 30))] * 3,
        competitions=said("Many.", results=[COMPETITION] * 40),
        unknown=[said(f"Nobody knows the {n}th.") for n in range(20)],
    ),
    "not enough": make_answer(
        run_ups=[
            make_run_up(
                consistency=said("Too few.", change={"n": 3, "needed": 15}),
                plans=said("No plan was made.", revisions=[]),
            )
        ]
    ),
}


def make_report(answer: dict[str, Any], name: str = "Emil Wiesgart") -> SeasonReport:
    return season_report.fill_in(answer, name=name, zone=VIENNA)


@pytest.fixture(scope="module", params=ANSWERS)
def answer(request: pytest.FixtureRequest) -> dict[str, Any]:
    return ANSWERS[request.param]


@pytest.fixture(scope="module")
def report(answer: dict[str, Any]) -> SeasonReport:
    return make_report(answer)


@pytest.fixture(scope="module")
def paper(report: SeasonReport) -> str:
    return sheets.text_of_pdf(typesetting.print_sheet(report, paper=Paper.A4))


@pytest.fixture(scope="module")
def page(report: SeasonReport) -> str:
    return sheets.text_of_page(pages.show(report))


class TestEveryReport:
    def test_holds_every_sentence_of_the_answer(
        self, answer: dict[str, Any], page: str, paper: str
    ):
        for text in sheets.sentences_of(answer):
            assert sheets.squeezed(text) in sheets.squeezed(page), text
            assert sheets.squeezed(text) in sheets.squeezed(paper), text

    def test_says_the_same_on_page_and_paper(self, report: SeasonReport, page: str, paper: str):
        texts = set(sheets.texts_of(report)) - set(report.labels.values())
        # Tables without rows are left out with their heads.
        texts -= {
            text
            for each in (*report.tables, *report.lists, *(up.plans for up in report.run_ups))
            if not each.rows
            for text in (each.title, *each.columns)
        }
        for text in texts:
            assert sheets.squeezed(text) in sheets.squeezed(page), text
            assert sheets.squeezed(text) in sheets.squeezed(paper), text

    def test_has_the_same_figures_on_page_and_paper(
        self, report: SeasonReport, page: str, paper: str
    ):
        # At the foot of each sheet stand the title and its number; the page is one.
        foot = rf"{re.escape(report.title)}\s*\d+ / \d+"
        body = re.sub(foot, "", paper)

        assert sorted(re.findall(r"\d+", page)) == sorted(re.findall(r"\d+", body))

    def test_numbers_its_sheets(self, report: SeasonReport):
        made = sheets.pdf_of(typesetting.print_sheet(report, paper=Paper.LETTER))

        n = len(made.pages)
        for number, sheet in enumerate(made.pages, 1):
            assert f"{number} / {n}" in sheet.extract_text()

    def test_carries_the_longer_caution(self, page: str, paper: str):
        for text in (page, paper):
            assert "No diagnosis. The coach decides." in re.sub(r"\s+", " ", text)


class TestFigures:
    def test_moves_have_a_side(self):
        (row,) = make_report(make_answer()).run_ups[0].plans.rows

        assert row == (
            "2",
            "1 Apr 2026",
            "19.65 m",
            "12 cm toward the pit",
            "124",
            "Marks taken anew on the runway outside.",
        )

    def test_competitions_are_told_one_by_one(self):
        table = make_report(make_answer()).tables[-1]

        assert table.rows == (
            (
                "27 Jun 2026",
                "LJ-14",
                "5.16 m",
                "6 cm behind the line",
                "5",
                "2",
                "-0.9 m/s to +0.9 m/s",
            ),
        )

    def test_ranges_are_drawn_from_nothing_on(self):
        """On a scale from 0 to the farthest end of a range, 0.15 m."""
        drawn = bars.draw_ranges(CHANGE)

        assert drawn is not None
        first, last = drawn.ranges
        width = first.high_x - drawn.zero_x
        assert first.x - drawn.zero_x == pytest.approx(width * 0.10 / 0.15, abs=1)
        assert last.low_x - drawn.zero_x == pytest.approx(width * 0.05 / 0.15, abs=1)

    def test_spread_without_enough_attempts_is_not_drawn(self):
        assert make_report(ANSWERS["not enough"]).run_ups[0].spread is None

    def test_weeks_are_as_high_as_their_counts(self):
        drawn = bars.draw_weeks([4, 8, 0], date(2026, 9, 13))

        assert drawn is not None
        four, eight, none = (each.height for each in drawn.bars)
        assert (2 * four, none) == (eight, 0)
        assert [each.label for each in drawn.bars] == ["", "8", ""]
        assert drawn.days[0].label == "13 Sep 2026"

    def test_weeks_without_a_jump_are_not_drawn(self):
        assert bars.draw_weeks([0, 0], date(2026, 9, 13)) is None
        assert bars.draw_weeks([], date(2026, 9, 13)) is None

    def test_alerts_and_decisions_say_what_they_are_about(self):
        alerts, advice = make_report(make_answer()).lists

        assert alerts.rows == (
            (
                "Level at the board",
                "LJ-14",
                "16 Sep 2026",
                "open",
                "Lands about 7 cm beyond the aim of 10 cm behind the line.",
            ),
        )
        assert advice.rows[0][:4] == ("2 May 2026", "Start mark", "LJ-14", "followed")

    def test_a_column_in_which_nothing_stands_is_left_out(self):
        in_a_hall = [
            {"event": "long_jump", "official": [BEST | {"wind_mps": None}], "effective": []}
        ]

        (bests, *_others) = make_report(make_answer(bests=in_a_hall)).tables

        assert bests.columns == ("Day", "Session", "Run-up", "Distance", "Toe")
        assert len(bests.rows[0]) == len(bests.columns)

    def test_a_kind_of_alert_that_nobody_knows_yet_has_its_code(self):
        later = make_answer(alerts=said("One.", results=[ALERT | {"kind": "new_kind"}]))

        assert make_report(later).lists[0].rows[0][0] == "new_kind"
