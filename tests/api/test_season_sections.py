"""What a season report counts, against seasons made by hand."""

from datetime import date, timedelta

import pytest

from analytics.core import cautions
from tests import factories
from tests.api.by_hand import ByHand
from tests.api.conftest import World
from tests.api.seasons import FIRST_DAY


@pytest.fixture
def by_hand(world: World) -> ByHand:
    return ByHand(world)


DAY = date(2026, 5, 2)


class TestBoard:
    def test_is_counted(self, by_hand: ByHand):
        by_hand.jump(DAY, [(6.0, 0.05), (6.0, 0.20), (6.0, 0.25), (None, -0.02), (None, -0.10)])
        by_hand.jump(
            DAY + timedelta(days=7), [(6.1, 0.05)] * 3 + [(None, -0.01)], kind="competition"
        )

        (run_up,) = by_hand.read()["run_ups"]

        assert (run_up["board"]["on_board"]["k"], run_up["board"]["on_board"]["n"]) == (5, 9)
        assert (run_up["board"]["no_jumps"]["k"], run_up["board"]["no_jumps"]["n"]) == (3, 9)
        by_kind = {each["kind"]: each["no_jumps"] for each in run_up["no_jumps"]["by_kind"]}
        assert {kind: (each["k"], each["n"]) for kind, each in by_kind.items()} == {
            "competition": (1, 4),
            "training": (2, 5),
        }
        # Wilson's interval of 1 in 4, as statsmodels.stats.proportion.proportion_confint has it.
        assert by_kind["competition"]["interval"]["low"] == pytest.approx(0.0456, abs=1e-4)
        assert by_kind["competition"]["interval"]["high"] == pytest.approx(0.6994, abs=1e-4)
        assert "ranges that overlap show no difference" in run_up["no_jumps"]["text"]


class TestBest:
    def test_grows_jump_by_jump(self, by_hand: ByHand):
        by_hand.jump(DAY, [(6.00, 0.10), (5.90, 0.30), (None, -0.01), (6.10, 0.02)])
        by_hand.jump(DAY + timedelta(days=7), [(6.10, 0.15), (6.05, 0.02)])

        (bests,) = by_hand.read()["bests"]

        assert [each["distance_m"] for each in bests["official"]] == [6.00, 6.10]
        # 6.00 + 0.10, 5.90 + 0.30, 6.10 + 0.15.
        assert [each["distance_m"] for each in bests["effective"]] == [6.10, 6.20, 6.25]
        assert bests["n"] == 5
        assert "Long jump: best 6.10 m on 2 May 2026, from 16 steps." in bests["text"]

    def test_of_a_pop_up_is_none(self, by_hand: ByHand):
        by_hand.jump(DAY, [(6.00, 0.10)], finish="pop_up")

        (bests,) = by_hand.read()["bests"]

        assert (bests["n"], bests["official"]) == (0, [])
        assert "no official distance" in bests["text"]

    def test_of_each_event_stands_alone(self, by_hand: ByHand):
        triple = factories.make_approach(
            by_hand.athlete, code="TJ-14", event="triple_jump", steps=14
        )
        factories.make_plan(triple)
        by_hand.jump(DAY, [(6.00, 0.10)])
        by_hand.jump(DAY + timedelta(days=1), [(12.50, 0.10)], approach="TJ-14")

        bests = {each["event"]: each for each in by_hand.read()["bests"]}

        assert bests["long_jump"]["official"][-1]["distance_m"] == 6.00
        assert bests["triple_jump"]["official"][-1]["distance_m"] == 12.50


class TestCompetitions:
    def test_are_told_one_by_one(self, by_hand: ByHand):
        by_hand.jump(DAY, [(5.0, 0.1)])
        first = by_hand.jump(
            DAY + timedelta(days=7),
            [(6.00, 0.10), (None, -0.02), (6.20, 0.02)],
            kind="competition",
            wind_mps=1.2,
        )
        by_hand.jump(DAY + timedelta(days=14), [(None, -0.02)] * 3, kind="competition")

        told = by_hand.read()["competitions"]

        assert told["text"] == "2 competitions: 4 of 6 jumps were no jumps."
        one, two = told["results"]
        assert (one["session"], one["n"], one["n_no_jumps"]) == (str(first.id), 3, 1)
        assert (one["best_m"], one["best_toe_m"]) == (6.20, 0.02)
        assert one["best_effective_m"] == pytest.approx(6.22)
        # 0.04, -0.08 and -0.04 from the aim of 0.06.
        assert one["mean_error_m"] == pytest.approx(-0.08 / 3)
        assert (one["wind_low_mps"], one["start_marks_m"]) == (1.2, [34.2, 34.2])
        assert one["text"].endswith("At the best the toe was 2 cm behind the line.")
        assert (two["best_m"], two["n_no_jumps"]) == (None, 3)
        assert "no official distance; 3 of 3 were no jumps." in two["text"]


class TestLoadAndGrowth:
    def test_load_is_counted_by_weeks_that_end_with_the_season(self, by_hand: ByHand):
        by_hand.jump(date(2026, 6, 30), [(6.0, 0.1)] * 3)
        by_hand.jump(date(2026, 6, 24), [(6.0, 0.1)] * 2)
        by_hand.jump(date(2026, 6, 23), [(6.0, 0.1)] * 9)

        load = by_hand.read("from=2026-06-03&to=2026-06-30")["load"]

        assert load["weeks"] == [0, 0, 9, 5]
        assert load["first_week_from_date"] == "2026-06-03"
        assert (load["n"], load["most_in_session"], load["most_in_week"]) == (14, 9, 11)
        assert "no published limit exists" in load["text"]

    def test_growth_is_that_of_the_season(self, by_hand: ByHand):
        for day, height_m in (
            (date(2025, 9, 1), 1.60),
            (date(2026, 2, 1), 1.62),
            (date(2026, 6, 1), 1.65),
            (date(2026, 8, 1), 1.70),
        ):
            factories.make_measurement(by_hand.athlete, measured_date=day, height_m=height_m)

        growth = by_hand.read()["growth"]

        # The height of February stands for the first of March; August is after the season.
        assert [each["height_m"] for each in growth["heights"]] == [1.62, 1.65]
        assert growth["grown_m"] == pytest.approx(0.03)
        assert growth["velocity_m_per_year"] == pytest.approx(0.03 * 365.25 / 120)
        assert "9 cm a year" in growth["text"]
        assert growth["caution"] == f"{cautions.NO_DIAGNOSIS} {cautions.COACH_DECIDES}"


class TestAlertsAndAdvice:
    def test_are_those_of_the_season(self, by_hand: ByHand):
        by_hand.jump(date(2026, 1, 10), [(6.0, 0.1)] * 2)
        by_hand.jump(DAY, [(6.0, 0.1)] * 2)
        early, late = (
            factories.make_attempt(
                by_hand.world.source,
                by_hand.athlete,
                factories.make_session(by_hand.world.club, held_date=day),
                started_at=f"{day}T12:00:00+00:00",
            )
            for day in (date(2026, 1, 11), DAY)
        )
        # Over before the season; open into it; opened in it.
        factories.make_alert(early, closed_at=FIRST_DAY - timedelta(days=9), closed_because="calm")
        factories.make_alert(
            early, kind="level", closed_at=FIRST_DAY + timedelta(days=9), closed_because="calm"
        )
        factories.make_alert(late, kind="spread")
        factories.make_advice(late, decided_at=late.started_at)
        factories.make_advice(early, decided_at=early.started_at)

        report = by_hand.read()

        assert [each["kind"] for each in report["alerts"]["results"]] == ["level", "spread"]
        assert report["alerts"]["text"] == "2 alerts, 1 of them still open."
        assert [each["text"] for each in report["alerts"]["results"]] == [
            "Lands about 12 cm short of the aim of 6 cm behind the line.",
            "Spreads by about 16 cm at the board within a session; usual were 8 cm.",
        ]
        (decided,) = report["advice"]["results"]
        assert (decided["answer"], decided["decision"]) == ("move", "declined")
        assert decided["verdict"] == "not_enough"
        assert report["advice"]["text"].startswith("1 decision about advice.")
