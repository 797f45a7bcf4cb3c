"""What the answers must say of the invented athletes: the trouble that was planted, found again.

The numbers to find are the habits in `fixtures_demo/cast.py`, which no answer is told of.
"""

from typing import Any

import pytest

from analytics.core import length_settings, simulator
from fixtures_demo.cast import JUMPERS
from fixtures_demo.report import Club
from fixtures_demo.season import PUSHED_DATE

Json = dict[str, Any]

CAST = {jumper.code: jumper for jumper in JUMPERS}
WRONG_MARK, UNSTEADY_START, TIRED, GROWING = "A-02", "A-03", "A-05", "A-06"
AT_THE_LINE, LATE_STEERING, READY_FOR_MORE = "A-07", "A-09", "A-01"


class Asked:
    """The answers of the demo club, asked over HTTP as its coach."""

    def __init__(self, club: Club) -> None:
        self._club = club
        codes = {each["id"]: each["code"] for each in club.read_all("athletes/")}
        # The longest of an athlete comes last, and stays.
        approaches = sorted(club.read_all("approaches/"), key=lambda each: int(each["steps"]))
        self._approaches = {codes[each["athlete"]]: each["id"] for each in approaches}

    def ask(self, code: str, question: str) -> Json:
        return self._club.read(f"approaches/{self._approaches[code]}/{question}")

    def finding(self, code: str, trouble: str) -> Json:
        findings = self.ask(code, "practice-focus")["diagnosis"]["findings"]
        (found,) = [each for each in findings if each["trouble"] == trouble]
        assert found["shown"]
        return dict(found)


def check_every_answer(club: Club) -> None:
    """Hold what each athlete's answers say against what was planted."""
    asked = Asked(club)
    main = {code: asked.ask(code, "practice-focus")["diagnosis"]["main"] for code in CAST}
    assert main == {jumper.code: jumper.trouble or None for jumper in JUMPERS}
    _check_wrong_mark(asked)
    _check_unsteady_start(asked)
    _check_late_steering(asked)
    _check_tired(asked)
    _check_growing(asked)
    _check_aim_at_the_line(asked)
    _check_ready(asked)


def _check_wrong_mark(asked: Asked) -> None:
    planted_m = CAST[WRONG_MARK].habits_on(PUSHED_DATE).mark_error_m
    advice = asked.ask(WRONG_MARK, "mark-advice")["advice"]

    assert advice["answer"] == "move"
    assert planted_m == 0.20
    # Off the line, 4 footfalls before it: farther back nothing has steered yet.
    assert _holds(advice["check"]["interval"], planted_m)
    assert advice["move_m"] == pytest.approx(-advice["check"]["mean_m"])


def _check_unsteady_start(asked: Asked) -> None:
    assert asked.finding(UNSTEADY_START, "unsteady_part")["part"] == "start"
    shares = asked.ask(UNSTEADY_START, "error-shares")["error_shares"]

    # Start, acceleration, transition, attack.
    assert shares["adds_most"] == 0
    assert shares["board_share"][0] > 0.5
    # The planted SD of single starts; an SD from 40 of them is within a third in 99 of 100 cases.
    planted_m = CAST[UNSTEADY_START].habits_on(PUSHED_DATE).start_sd_m
    assert shares["added_sd_m"][0] == pytest.approx(planted_m, rel=0.33)


def _check_late_steering(asked: Asked) -> None:
    asked.finding(LATE_STEERING, "late_steering")
    answer = asked.ask(LATE_STEERING, "steering")
    habits = CAST[LATE_STEERING].planned
    onset, steps = answer["spread"]["onset"], answer["needed_and_made"]

    assert (onset["footfall"], onset["is_late"]) == (habits.steering_from, True)
    for step in range(5):
        planted = habits.steering_gain if step < habits.steering_from else 0.0
        assert steps["gain_low"][step] < planted < steps["gain_high"][step]


def _check_tired(asked: Asked) -> None:
    jumper = CAST[TIRED]
    found = asked.finding(TIRED, "fatigue")
    planned_m = jumper.planned_toe_m(jumper.revision_on(PUSHED_DATE))
    watched = asked.ask(TIRED, "practice-focus")["check_footfall"]

    # Every step so far is shorter by the same share than in the attempt before.
    shorter_m = jumper.habits_on(PUSHED_DATE).fatigue * (planned_m[-1] - planned_m[watched])
    assert found["estimate"] > 0
    assert _holds(found["interval"], float(shorter_m))


def _check_growing(asked: Asked) -> None:
    jumper = CAST[GROWING]
    found = asked.finding(GROWING, "growth")
    advice = asked.ask(GROWING, "mark-advice")["advice"]
    outgrown_m = -jumper.habits_on(PUSHED_DATE).mark_error_m
    was_m, is_m = jumper.heights[2][1], jumper.heights[-1][1]

    # A run-up that grows with the body comes nearer to the pit, from session to session.
    assert found["estimate"] < found["interval"]["high"] < 0
    assert advice["answer"] == "move"
    assert 0.10 < advice["move_m"] < outgrown_m
    # The run-up has grown by the share by which the body has.
    run_m = simulator.plan_run_up(jumper.planned).start_mark_m - jumper.planned.aim_m
    assert outgrown_m == pytest.approx((is_m / was_m - 1) * run_m, rel=0.05)


def _check_aim_at_the_line(asked: Asked) -> None:
    outlook = asked.ask(AT_THE_LINE, "outlook")["outlook"]
    advice = asked.ask(AT_THE_LINE, "aim")["aim"]

    # Who aims at the very line is beyond it half of the time.
    assert CAST[AT_THE_LINE].planned.aim_m == 0.0
    assert outlook["probability_no_jump"] == pytest.approx(0.5, abs=0.1)
    assert _holds(outlook["probability_no_jump_interval"], 0.5)
    assert advice["fixed"]["good_from_m"] > advice["habit_m"] + 0.03
    assert advice["fixed"]["probability_no_jump"] < 0.2
    assert advice["gain_m"] > 0.1


def _check_ready(asked: Asked) -> None:
    """Nothing stands against a pair of steps more, as far as attempts tell."""
    assert asked.ask(READY_FOR_MORE, "mark-advice")["advice"]["answer"] == "keep"
    outlook = asked.ask(READY_FOR_MORE, "outlook")["outlook"]
    assert outlook["probability_no_jump"] <= length_settings.DEFAULT_SETTINGS.most_no_jumps

    advice = asked.ask(READY_FOR_MORE, "length-advice")["advice"]
    assert (advice["answer"], advice["steps_change"]) == ("ready", 2)
    # What is asked of grown-ups.
    assert advice["ready_sd_m"] == 0.10
    # Nobody measured how tall she is: that is left to the coach, and said.
    assert "growth" in {each["condition"] for each in advice["open_findings"]}
    assert all(each["state"] == "unknown" for each in advice["open_findings"])

    # What two more steps would bring in distance: 0.8 m for each m/s of speed, by the simulator.
    study = asked.ask(READY_FOR_MORE, "length-study")
    jumper = CAST[READY_FOR_MORE]
    longer = jumper.from_other(jumper.planned.n_steps + 2)
    planted_m = longer.planned.effective_m - jumper.planned.effective_m
    assert study["distance"]["n_step_counts"] == 1 + len(jumper.shorter_steps)
    assert _holds(study["distance"]["gain_interval"], planted_m)
    assert study["distance"]["peak"] != "shown"  # there is none
    # One answer leads to the other: to meet the board and to jump farther are two questions.
    assert "length study" in asked.ask(READY_FOR_MORE, "length-advice")["text"]
    assert "length advice" in study["text"]


def _holds(interval: Json, value: float) -> bool:
    return bool(interval["low"] <= value <= interval["high"])
