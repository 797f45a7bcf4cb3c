"""What if: against closed forms, what a coach is told, and what it says when little is known."""

import json
from dataclasses import replace
from functools import cache
from typing import Any

import numpy as np
import pytest
from django.utils import translation
from scipy import stats

from analytics.answers import what_if
from analytics.answers.what_if import Choices, Compared, Found, Steadier
from analytics.core import own_habits
from analytics.core import what_if as core
from analytics.core.conventions import NotEnoughAttempts
from analytics.core.simulator import Athlete
from analytics.services.figures import as_json
from tests.answers.pages import depth_0_of
from tests.answers.run_ups import make_marks, marks_of, simulated

ATHLETE = Athlete(unmeasured_no_jump_share=0.0)
HALVED = Choices(steadier=Steadier(5, 1, 0.5))
CASES = {
    "steadier": HALVED,
    "mark nearer": Choices(move_mark_m=-0.1),
    "mark farther": Choices(move_mark_m=0.1),
    "aim": Choices(aim_m=0.15),
    "aim beyond": Choices(aim_m=-0.02),
    "head wind": Choices(wind_mps=-1.5),
    "tail wind": Choices(wind_mps=1.5),
    "all at once": Choices(-0.1, 0.12, -1.5, Steadier(16, 11, 0.0)),
    "nothing": Choices(move_mark_m=0.0),
}


@pytest.fixture(autouse=True)
def _quick(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(what_if, "SESSIONS", 400)
    monkeypatch.setattr(what_if, "SESSIONS_OF_RESAMPLE", 100)
    monkeypatch.setattr(what_if, "RESAMPLES", 50)


def found_for(choices: Choices, athlete: Athlete = ATHLETE, **options: Any) -> Found:
    fields = {"sessions": [6] * 5, "seed": 2, "marks": marks_of(ATHLETE), **options}
    sessions = fields.pop("sessions")
    return what_if.work_out(simulated(athlete, sessions, **fields), choices)


def figures_for(choices: Choices, athlete: Athlete = ATHLETE, **options: Any) -> Compared:
    figures = found_for(choices, athlete, **options).what_if
    assert isinstance(figures, Compared)
    return figures


@cache
def found_of(name: str) -> Found:
    """Return what is found for a case, worked out once for all tests."""
    return found_for(CASES[name])


class TestFigures:
    def test_before_is_the_share_of_the_habits_in_closed_form(self):
        run_ups = simulated(ATHLETE, [6] * 5, seed=2, marks=marks_of(ATHLETE))
        me = own_habits.own_habits(run_ups.toe_m, like=ATHLETE, wind_mps=run_ups.wind_mps)
        assert isinstance(me, Athlete)

        figures = figures_for(HALVED)

        mean, sd = core.expected_board(me)
        # 3,600 attempts of 600 days know a share of a fifth to 0.7 points or so.
        assert figures.no_jump_share.before == pytest.approx(stats.norm.cdf(-mean / sd), abs=0.03)
        assert figures.typical_error_m[0] == pytest.approx(np.hypot(mean - 0.06, sd), rel=0.06)

    def test_a_mark_that_is_off_shows_as_an_error_that_moving_it_takes_away(self):
        blind = replace(ATHLETE, steering_from=0, mark_error_m=0.25, session_sd_m=0.0)

        figures = figures_for(Choices(move_mark_m=-0.25), blind)

        before, after = figures.typical_error_m
        assert before > 0.25
        # What is left is the spread: start 0.06 m, and sixteen steps of 0.05 m each, of nobody
        # who steers; and what the mean of 30 attempts may be off.
        assert after == pytest.approx(np.hypot(0.06, 0.2), rel=0.25)

    def test_an_aim_moves_what_errors_are_counted_against(self):
        figures = figures_for(Choices(aim_m=0.20))

        before, after = figures.typical_error_m
        assert (figures.aim_m, figures.new_aim_m) == (0.06, 0.20)
        assert after == pytest.approx(before, rel=0.02)
        assert figures.no_jump_share.after < 0.5 * figures.no_jump_share.before
        assert figures.official_m is not None
        assert figures.official_m.change < 0

    def test_wind_is_against_the_usual_one_of_these_attempts(self):
        usual = replace(ATHLETE, mean_wind_mps=1.0, steering_from=0)
        run_ups = simulated(usual, [6] * 5, seed=2, marks=marks_of(ATHLETE))

        same = figures_for(Choices(wind_mps=float(np.mean(run_ups.wind_mps))), usual)
        head = figures_for(Choices(wind_mps=-2.0), usual)

        assert same.usual_wind_mps == pytest.approx(1.0, abs=0.4)
        assert same.no_jump_share.change == pytest.approx(0.0, abs=1e-9)
        assert head.no_jump_share.change < -0.02

    def test_nothing_changed_is_nothing_changed(self):
        figures = found_of("nothing").what_if

        assert isinstance(figures, Compared)
        assert figures.no_jump_share.change == 0.0
        assert figures.known_to is not None
        assert figures.known_to.no_jump_share.low == figures.known_to.no_jump_share.high == 0.0

    def test_no_range_goes_beyond_what_a_share_can_change_by(self):
        unlike = replace(ATHLETE, steering_from=0, step_sd_m=0.02, session_sd_m=0.15, aim_m=0.2)

        figures = figures_for(Choices(aim_m=-0.3), unlike, sessions=[5] * 3)

        assert figures.known_to is not None
        assert figures.known_to.no_jump_share.high == 1.0

    def test_a_share_that_falls_to_none_is_known_no_better_than_it_was_before(self):
        """The range may reach below the share before, which these attempts know as little."""
        figures = figures_for(Choices(aim_m=0.6), sessions=[5] * 3)

        assert figures.no_jump_share.after == 0.0
        assert figures.known_to is not None
        assert figures.known_to.no_jump_share.low < -figures.no_jump_share.before

    def test_no_jumps_that_nobody_measured_count(self):
        hidden = replace(ATHLETE, unmeasured_no_jump_share=1.0)
        run_ups = simulated(hidden, [6] * 8, seed=2, marks=marks_of(ATHLETE))
        measured = simulated(ATHLETE, [6] * 8, seed=2, marks=marks_of(ATHLETE))

        found, known = (what_if.work_out(each, HALVED).what_if for each in (run_ups, measured))

        assert np.isnan(run_ups.board_toe_m).sum() >= 5
        assert isinstance(found, Compared)
        assert isinstance(known, Compared)
        assert (found.n, found.n_sessions) == (48, 8)
        assert found.no_jump_share.before == pytest.approx(known.no_jump_share.before, abs=0.05)

    def test_attempts_of_the_latest_revision_count(self):
        run_ups = simulated(ATHLETE, [6] * 5, seed=2, marks=marks_of(ATHLETE))
        new = marks_of(ATHLETE, revision=2)
        later = replace(
            run_ups,
            marks={**run_ups.marks, new.id: new},
            marks_now=new,
            plan_ids=[*run_ups.plan_ids[:12], *[new.id] * 18],
        )

        found = what_if.work_out(later, HALVED).what_if

        assert isinstance(found, Compared)
        assert (found.n, found.n_sessions) == (18, 3)

    def test_without_distances_there_is_no_distance(self):
        figures = figures_for(HALVED, official_m=np.full(30, np.nan))

        assert figures.official_m is None
        assert figures.known_to is not None

    def test_is_the_same_each_time(self):
        assert found_for(HALVED) == found_of("steadier")

    def test_tells_how_far_it_is(self):
        steps: list[tuple[int, int]] = []
        run_ups = simulated(ATHLETE, [6] * 5, seed=2, marks=marks_of(ATHLETE))

        what_if.work_out(run_ups, HALVED, step=lambda *step: steps.append(step))

        parts = {of for _, of in steps}
        assert parts == {what_if.PARTS}
        assert [done for done, _ in steps] == list(range(1, len(steps) + 1))

    @pytest.mark.parametrize("steps", [3, 4, 8, 30])
    def test_run_ups_of_any_length_can_be_asked_about(self, steps: int):
        athlete = replace(ATHLETE, n_steps=steps, steering_from=2)

        figures = figures_for(
            Choices(steadier=Steadier(steps, 1, 0.5)),
            athlete,
            sessions=[5] * 3,
            marks=make_marks(),
        )

        assert figures.n == 15
        assert figures.no_jump_share.before >= figures.no_jump_share.after


class TestTooFew:
    @pytest.mark.parametrize(("sessions", "n"), [([], 0), ([6], 6), ([7, 7], 14)])
    def test_says_how_many_are_missing(self, sessions: list[int], n: int):
        found = found_for(HALVED, sessions=sessions)

        assert found.what_if == NotEnoughAttempts(n=n, needed=15)
        said = what_if.tell(found)
        assert said.more_attempts_needed == 15 - n
        assert f"{n} of 15 of the latest plan revision" in said.text

    def test_fifteen_just_are(self):
        figures = figures_for(HALVED, sessions=[5] * 3)

        assert (figures.n, figures.n_sessions) == (15, 3)
        assert figures.known_to is not None

    def test_two_sessions_do_not_show_how_sure_it_is(self):
        found = found_for(HALVED, sessions=[9] * 2)

        assert isinstance(found.what_if, Compared)
        assert (found.what_if.n_sessions, found.what_if.known_to) == (2, None)
        said = what_if.tell(found)
        assert "fewer than 3 sessions do not show how much days differ" in said.text
        assert said.reasons[0].text == "Whether no jumps become fewer or more is not shown."


class TestWords:
    @pytest.mark.parametrize("name", CASES)
    def test_are_the_same_after_they_were_stored(self, name: str):
        found = found_of(name)

        stored = json.loads(json.dumps(as_json(found)))

        assert what_if.as_found(stored) == found
        assert what_if.tell(what_if.as_found(stored)) == what_if.tell(found)

    @pytest.mark.parametrize(
        ("name", "said"),
        [
            ("mark nearer", "What if: the start mark 10 cm nearer the pit. No jumps go from"),
            ("mark farther", "What if: the start mark 10 cm farther from the pit."),
            ("aim", "What if: an aim of 15 cm behind the line."),
            ("head wind", "What if: a head wind of 1.50 m/s."),
            ("steadier", "What if: 50% of the unsteadiness in steps 5 to 1 before the board."),
        ],
    )
    def test_begin_with_what_was_asked(self, name: str, said: str):
        assert what_if.tell(found_of(name)).text.startswith(said)

    def test_say_what_it_rests_on_and_who_decides(self):
        said = what_if.tell(found_of("steadier"))

        assert "the habits of 30 attempts from 5 sessions" in said.text
        assert said.caution is not None
        assert said.caution.startswith("The coach on the spot decides.")

    def test_call_shown_what_the_range_shows(self):
        shown = what_if.tell(found_for(Choices(aim_m=0.3), sessions=[4] * 10))
        nothing = what_if.tell(found_of("nothing"))

        assert shown.reasons[0].text == "That no jumps become fewer is shown."
        assert nothing.reasons[0].text == "Whether no jumps become fewer or more is not shown."

    @pytest.mark.parametrize("name", CASES)
    def test_can_be_translated_whole_and_hold_no_odd_number(
        self, name: str, monkeypatch: pytest.MonkeyPatch
    ):
        found = found_of(name)
        plain = what_if.tell(found)
        active = "django.utils.translation._trans"
        monkeypatch.setattr(f"{active}.gettext", lambda message: f"[{message}]")
        monkeypatch.setattr(
            f"{active}.ngettext", lambda one, many, n: f"[{one if n == 1 else many}]"
        )
        said = what_if.tell(found)

        for text in (said.text, *(each.text for each in said.reasons), *said.would_change):
            assert not depth_0_of(text).strip()
        for text in (plain.text, *(each.text for each in plain.reasons)):
            assert text[0].isupper()
            assert text.endswith(".")
            for odd in ("nan", "inf", "None", "-0", "  ", "..", "{", "}"):
                assert odd not in text, text

    def test_have_the_decimal_mark_of_the_reader(self):
        with translation.override("de"):
            assert "1,50 m/s" in what_if.tell(found_of("head wind")).text
