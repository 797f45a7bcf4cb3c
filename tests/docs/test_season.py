"""A season walked by HTTP only: what the service says is held against what is true of the jumper.

The truth is what the simulated jumper was given (`season.py`), and arithmetic on what was pushed.
"""

import json
from dataclasses import replace
from datetime import datetime
from typing import Any

import numpy as np
import pytest

from analytics.core import simulator
from tests.docs import season as walked
from tests.docs.conftest import Demo
from tests.docs.jumper import Caller, Jumper
from tests.docs.season import Season


@pytest.fixture(scope="module")
def season(demo: Demo) -> Season:
    tokens = json.loads((demo.folder / ".local/demo/tokens.json").read_text())
    return walked.walk(Caller(demo.base_url, tokens["club"], tokens["admin_token"]))


def code_of(read: dict[str, Any], code: str) -> dict[str, Any]:
    """Return the reason of an answer that has a code."""
    (found,) = [each for each in read["reasons"] if each["code"] == code]
    return dict(found)


def mark_at(plan: dict[str, Any], footfall: int) -> float:
    (found,) = [each["at_m"] for each in plan["check_marks"] if each["footfall"] == footfall]
    return float(found)


class TestTheDesign:
    @pytest.mark.parametrize(("code", "steps"), [("LJ-14", 14), ("LJ-16", 16)])
    def test_is_of_the_sprint_and_fits_the_runway(self, season: Season, code: str, steps: int):
        read = season.said[f"design of {code}"]

        plan, marks = read["plan"], read["design"]
        assert (read["steps"], len(plan["toe_m"])) == (steps, steps + 1)
        assert (read["rests_on"]["basis"], read["rests_on"]["splits"]) == ("stored_sprint", 5)
        assert read["runway"]["fit"] == "fits"
        # An even number of steps: the take-off foot, which is her left, begins.
        assert marks["start_foot"] == "left"
        # Nobody runs up faster than they sprint: 8.62 m/s over her last ten metres.
        assert 7.0 < marks["board_speed_mps"] < 10 / (5.60 - 4.44)
        assert marks["start_mark_interval"]["low"] < plan["start_mark_m"]
        assert read["caution"]

    def test_becomes_the_first_plan_as_it_stands(self, season: Season):
        designed = season.said["design of LJ-16"]["plan"]

        plan = season.said["plans"][0]
        of_marks = ("start_mark_m", "aim_m", "check_marks", "phase_starts", "toe_m", "reason")
        assert {name: plan[name] for name in of_marks} == {
            name: designed[name] for name in of_marks
        }


class TestTheShortRunUp:
    def test_is_followed_to_the_centimetre(self, season: Season):
        """The mean of the twenty that were pushed last, by arithmetic."""
        read = season.said["consistency"]

        errors_m = [each["footfalls"]["toe_m"][0] - 0.06 for each in season.jumps["LJ-14"][-20:]]
        assert (read["n"], read["accuracy"]["n"]) == (24, 20)
        assert read["accuracy"]["bias_m"] == pytest.approx(np.mean(errors_m))
        assert read["accuracy"]["rmse_m"] == pytest.approx(np.sqrt(np.mean(np.square(errors_m))))

    def test_has_nothing_wrong_and_nothing_is_found(self, season: Season):
        read = season.said["early practice"]

        assert read["diagnosis"]["main"] is None
        # Drills and run-throughs are not jumps.
        assert read["n"] == 24

    def test_is_ready_for_more_steps_and_in_truth_is(self, season: Season):
        read = season.said["length advice"]

        assert read["advice"]["answer"] == "ready"
        many = simulator.simulate(
            walked.SETTLED, attempts_by_session=[6] * 200, rng=np.random.default_rng(1)
        )
        true_sd_m = float(np.std(many.true_board_m))
        spread = code_of(read, "spread")["numbers"]
        assert true_sd_m < spread["limit"] == 0.12  # at seventeen
        assert spread["value"] == pytest.approx(true_sd_m, abs=0.02)
        assert code_of(read, "growth")["numbers"]["state"] == "met"
        assert read["caution"]

    def test_has_the_decision_for_more_steps_written_down(self, season: Season):
        decided = season.said["lengthened"]

        read = season.said["length advice"]
        assert (decided["kind"], decided["answer"]) == ("length", "ready")
        assert (decided["text"], decided["n"]) == (read["text"], read["n"])
        assert decided["published_plan"] is None


class TestTheWrongMark:
    def test_is_found(self, season: Season):
        assert season.said["trouble"]["diagnosis"]["main"] == "wrong_mark"

    def test_is_told_with_an_interval_that_holds_the_truth(self, season: Season):
        read = season.said["mark advice"]["advice"]

        # Nobody steers before the check mark: there the wrong mark is seen in full.
        assert read["answer"] == "move"
        check = read["check"]["interval"]
        assert check["low"] < walked.MARK_ERROR_M < check["high"]
        assert read["move_m"] == pytest.approx(-walked.MARK_ERROR_M, abs=0.05)

    def test_brings_the_athlete_to_the_coachs_notice(self, season: Season):
        before, after = season.said["needs the coach"], season.said["needs the coach still"]

        (reason,) = [each for each in before["reasons"] if each["code"] == "mark_move"]
        assert (before["urgency"], reason["approach_code"]) == ("today", "LJ-16")
        assert "mark_move" not in {each["code"] for each in after["reasons"]}

    def test_is_moved_by_the_call_that_records_the_decision(self, season: Season):
        decided, plan = season.said["decision"], season.said["moved plan"]

        advised_m = season.said["mark advice"]["advice"]["start_mark_m"]
        assert decided["published_plan"] == plan["id"]
        assert (plan["revision"], plan["start_mark_m"]) == (2, advised_m)
        assert plan["advice"] == decided["id"]
        assert plan["reason"].endswith("Short in four sessions.")
        # What the move was taken from stays where it is: the foot will meet it.
        watched = season.said["mark advice"]["check_footfall"]
        assert mark_at(plan, watched) == mark_at(season.said["plans"][0], watched)

    def test_is_right_afterwards(self, season: Season):
        read = season.said["mark after"]["advice"]

        assert abs(season.said["left_m"]) < 0.05
        assert read["answer"] != "move"
        check = read["check"]["interval"]
        assert check["low"] < season.said["left_m"] < check["high"]


class TestPractice:
    def test_is_for_what_is_wrong_once_the_mark_is_right(self, season: Season):
        read = season.said["practice"]

        assert read["diagnosis"]["main"] == "late_steering"
        # In truth the board is looked for two steps before take-off, and no earlier.
        assert (
            season.said["steering"]["spread"]["onset"]["footfall"]
            == walked.LENGTHENED.steering_from
        )
        assert read["caution"]

    def test_is_told_what_another_aim_would_change_and_in_truth_it_would(self, season: Season):
        read = season.said["what if"]

        now = replace(walked.LENGTHENED, mark_error_m=season.said["left_m"])
        many = simulator.simulate(
            now, attempts_by_session=[6] * 400, rng=np.random.default_rng(2)
        ).true_board_m
        farther_m = walked.SAFE_AIM_M - now.aim_m
        change = np.mean(many + farther_m < 0) - np.mean(many < 0)
        known = read["what_if"]["known_to"]["no_jump_share"]
        assert change < -0.05
        assert known["low"] < change < known["high"]
        assert read["caution"]


class TestTheCompetition:
    def test_has_a_card_with_the_marks_of_now(self, season: Season):
        plan = season.said["moved plan"]

        assert f"{plan['start_mark_m']:.2f}" in season.said["card"]
        assert f"{mark_at(plan, 6):.2f}" in season.said["card"]
        assert f"{walked_from(season):.2f}" not in season.said["card"]

    def test_begins_with_a_mark_near_the_right_one(self, season: Season):
        (read,) = season.said["warm-up"]

        right_m = season.said["moved plan"]["start_mark_m"] - season.said["left_m"]
        assert read["calibration"]["n"] == [0, 1, 2, 3]
        assert read["calibration"]["start_mark_m"][-1] == pytest.approx(right_m, abs=0.10)
        low_m, high_m = read["calibration"]["low_m"][-1], read["calibration"]["high_m"][-1]
        assert low_m < season.said["left_m"] < high_m

    def test_counts_attempts_over_the_cut(self, season: Season):
        contests = [each["contest"] for each in season.said["next attempts"]]

        assert [each["attempts_taken"] for each in contests] == [1, 2, 3, 4, 5, 6]
        # Twelve take part: three attempts are sure, the others belong to the best eight.
        assert [each["attempts_left"] for each in contests] == [2, 4, 3, 2, 1, 0]
        assert [each["cut_waits"] for each in contests] == [True, *[False] * 5]
        assert [each["cut_m"] for each in contests] == [None, walked.CUT_M, *[None] * 4]

    def test_keeps_the_best_result_so_far(self, season: Season):
        best = [each["contest"]["best_m"] for each in season.said["next attempts"]]

        results = [float(each.get("official_m", 0)) for each in season.said["jumps"]]
        assert best == [max(results[: place + 1]) for place in range(6)]

    def test_stays_near_the_right_mark_whatever_the_aim(self, season: Season):
        """What an aim moves is moved once, and taken back with it."""
        right_m = season.said["moved plan"]["start_mark_m"] - season.said["left_m"]

        for each in season.said["next attempts"][:-1]:
            assert each["start_mark_m"] - each["aim_moves_m"] == pytest.approx(right_m, abs=0.15)
            assert each["today"]["n_run_throughs"] == 3

    def test_aims_for_safety_while_nothing_is_won(self, season: Season):
        said = season.said["next attempts"]

        assert said[0]["aim_m"] > said[-2]["aim_m"]
        assert all(each["caution"] for each in said[:-1])
        assert said[-1]["text"] == "All attempts of this competition are taken."


class TestLookingBack:
    def test_shows_that_the_advice_was_right_as_in_truth_it_was(self, season: Season):
        found = season.said["afterwards"]

        moved_m = season.said["mark advice"]["advice"]["start_mark_m"] - walked_from(season)
        assert (found["verdict"], found["mark"]) == ("right", "as_advised")
        assert found["moved_m"] == pytest.approx(moved_m)
        assert found["bias_change_interval"]["low"] < moved_m
        assert moved_m < found["bias_change_interval"]["high"]
        (tally,) = season.said["summary"]["results"]
        assert (tally["decision"], tally["n"], tally["right"]) == ("followed", 1, 1)

    def test_finds_every_mark_with_its_reason(self, season: Season):
        plans = season.said["plans"]

        assert [each["revision"] for each in plans] == [1, 2]
        assert all(each["reason"] for each in plans)
        assert datetime.fromisoformat(plans[0]["valid_from"]) < datetime.fromisoformat(
            plans[1]["valid_from"]
        )


class TestTheReport:
    def test_counts_what_was_jumped(self, season: Season):
        report = season.said["report"]

        sent = {code: len(jumps) for code, jumps in season.jumps.items()}
        assert {each["code"]: each["n"] for each in report["run_ups"]} == sent
        assert report["n"] == sum(sent.values()) == 72
        assert [each["n_run_throughs"] for each in report["run_ups"]] == [3, 3]
        for run_up in report["run_ups"]:
            no_jumps = [each["outcome"] == "no_jump" for each in season.jumps[run_up["code"]]]
            assert run_up["board"]["no_jumps"]["k"] == sum(no_jumps)

    def test_keeps_the_best(self, season: Season):
        report = season.said["report"]

        every = [*season.jumps["LJ-14"], *season.jumps["LJ-16"]]
        best = max(float(each.get("official_m", 0)) for each in every)
        assert f"best {best:.2f} m" in report["text"]

    def test_tells_how_the_mark_came_to_be_where_it_is(self, season: Season):
        long = season.said["report"]["run_ups"][-1]

        moves = [each["moved_m"] for each in long["plans"]["revisions"]]
        assert moves == [None, pytest.approx(season.said["afterwards"]["moved_m"])]
        advice = season.said["report"]["advice"]["results"]
        assert {each["decision"] for each in advice} == {"followed"}

    def test_has_the_competition_and_the_growth(self, season: Season):
        report = season.said["report"]

        assert len(report["competitions"]["results"]) == 1
        assert report["growth"]["grown_m"] == pytest.approx(0.004)
        assert report["caution"]


def walked_from(season: Season) -> float:
    """Return the mark that the long run-up was first laid out with."""
    return float(season.said["plans"][0]["start_mark_m"])


class TestTheJumper:
    """The truth itself: without this, the rest could be held against anything."""

    def test_lands_where_the_plan_says_when_nothing_is_wrong(self):
        exact = replace(
            walked.SETTLED,
            start_sd_m=0,
            session_sd_m=0,
            step_sd_m=0,
            perception_sd_m=0,
            wind_sd_mps=0,
            measurement_sd_m=0,
        )
        planned_m = simulator.plan_run_up(exact).toe_m
        jumper = Jumper(exact, "A-1", "LJ-14", planned_m.tolist(), planned_m[-1], seed=1)
        day = datetime.fromisoformat("2026-05-02T09:00:00+02:00")

        (planned,) = jumper.jump("s", day, 1)
        (aimed,) = jumper.jump("s", day, 1, from_mark_m=jumper.start_mark_m + 0.1, aim_moves_m=0.1)
        jumper.move_mark(jumper.start_mark_m + 0.2)
        (moved,) = jumper.jump("s", day, 1)

        assert planned["footfalls"]["toe_m"] == planned_m.round(3).tolist()
        assert aimed["footfalls"]["toe_m"] == (planned_m + 0.1).round(3).tolist()
        assert moved["footfalls"]["toe_m"][-1] == pytest.approx(planned_m[-1] + 0.2, abs=1e-3)
        # Five steps take back 45 % each.
        left_m = moved["footfalls"]["toe_m"][0] - 0.06
        assert left_m == pytest.approx(0.2 * 0.55**5, abs=2e-3)
