"""Ready for more steps: each rule by hand, against SciPy, and what must never look firm."""

import math
import re
from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from analytics.core import (
    board_spread,
    cautions,
    length_advice,
    length_conditions,
    length_settings,
    next_attempts,
)
from analytics.core.conventions import NotEnoughAttempts
from analytics.core.length_advice import LengthAnswer
from analytics.core.length_conditions import Condition, State
from analytics.core.length_history import LengthHistory
from analytics.core.length_settings import DEFAULT_SETTINGS, LengthSettings
from tests.core.lengths import advised, finding_of, history
from tests.core.reference_tables import read_table

NAN = float("nan")
PAGE = Path(__file__).parents[2] / "docs" / "metrics" / "length_advice.md"


class TestAnswers:
    def test_a_steady_athlete_is_ready(self):
        found = advised(history([0.05] * 4), growth_open=False, load_open=False)

        assert (found.answer, found.steps_change) == (LengthAnswer.READY, 2)
        assert {each.condition for each in found.open_findings} == {
            Condition.SPEED_KEPT,
            Condition.LAST_STEPS,
        }
        assert {each.state for each in found.open_findings} == {State.UNKNOWN}
        assert found.caution == cautions.COACH_DECIDES

    def test_a_spread_above_the_limit_is_not_yet(self):
        found = advised(history([0.13] * 8, mean_m=0.3))

        assert (found.answer, found.steps_change) == (LengthAnswer.NOT_YET, 0)
        spread = finding_of(found, Condition.SPREAD)
        assert spread.state is State.UNMET
        assert spread.value == pytest.approx(0.13, abs=0.01)
        assert spread.limit == 0.10
        assert spread.probability is not None
        assert spread.probability < 0.2

    def test_a_spread_about_the_limit_is_undecided(self):
        found = advised(history([0.10] * 5, mean_m=0.3))

        assert (found.answer, found.steps_change) == (LengthAnswer.UNDECIDED, 0)
        assert finding_of(found, Condition.SPREAD).state is State.OPEN

    def test_a_spread_far_above_it_is_to_shorten(self):
        found = advised(history([0.20] * 8, mean_m=0.5))

        assert (found.answer, found.steps_change) == (LengthAnswer.SHORTEN, -2)
        assert finding_of(found, Condition.SPREAD).state is State.UNMET

    def test_speed_lost_into_the_board_is_to_shorten(self):
        gain = np.tile([-0.5, -0.4, -0.45, -0.6, -0.4], 4)

        found = advised(history([0.05] * 4, gain_mps=gain))

        assert found.answer is LengthAnswer.SHORTEN
        assert finding_of(found, Condition.SPEED_KEPT).state is State.UNMET

    def test_a_pattern_that_is_seldom_held_is_not_yet(self):
        found = advised(history([0.05] * 4, pattern_held=np.tile([0, 1, 0, 0, 1], 4)))

        assert found.answer is LengthAnswer.NOT_YET
        assert finding_of(found, Condition.LAST_STEPS).value == 0.4

    @pytest.mark.parametrize("which", ["growth_open", "load_open"])
    def test_an_open_caution_is_not_yet(self, which: str):
        found = advised(history([0.05] * 4), **{which: True})

        assert found.answer is LengthAnswer.NOT_YET

    def test_two_sessions_are_undecided_however_steady(self):
        known = history([0.03] * 4)
        known = replace(known, session=[0] * 12 + [1] * 8)

        found = advised(known)

        assert found.answer is LengthAnswer.UNDECIDED
        sessions = finding_of(found, Condition.SESSIONS)
        assert (sessions.state, sessions.value, sessions.limit) == (State.UNMET, 2.0, 3.0)

    def test_two_sessions_are_undecided_however_wild(self):
        known = replace(history([0.4] * 4, mean_m=1.0), session=[0] * 12 + [1] * 8)

        assert advised(known).answer is LengthAnswer.UNDECIDED


class TestTwoSessions:
    def test_the_first_that_says_ready_is_not_believed_alone(self):
        found = advised(history([0.05] * 3))

        assert found.latest.answer is LengthAnswer.READY
        assert (found.before, found.answer) == (None, LengthAnswer.UNDECIDED)

    def test_one_bad_session_takes_it_back(self):
        found = advised(history([0.05] * 4 + [0.25], mean_m=0.3))

        assert found.before is not None
        assert found.before.answer is LengthAnswer.READY
        assert found.latest.answer is not LengthAnswer.READY
        assert found.answer is LengthAnswer.UNDECIDED

    def test_the_one_before_is_what_was_known_then(self):
        sds = [0.05, 0.09, 0.12, 0.06, 0.10]

        later, earlier = advised(history(sds)), advised(history(sds[:-1]))

        assert later.before == earlier.latest

    def test_only_the_latest_forty_count(self):
        wild_once = advised(history([0.5] * 3 + [0.05] * 9, mean_m=0.3))

        assert (wild_once.latest.n, wild_once.latest.n_sessions) == (40, 8)
        assert wild_once.answer is LengthAnswer.READY
        assert wild_once.latest == advised(history([0.05] * 9, mean_m=0.3)).latest

    def test_attempts_of_which_nothing_is_known_push_none_out(self):
        known = history([0.05] * 8)
        gaps = LengthHistory(
            np.concatenate([known.board_toe_m, [NAN] * 30]),
            np.concatenate([known.no_jump, [False] * 30]),
            np.concatenate([known.session, [7] * 30]),
        )

        assert advised(gaps).latest == advised(known).latest


class TestLimits:
    @pytest.mark.parametrize("sure", [0.8, 0.95])
    def test_shown_is_a_matter_of_the_setting(self, sure: float):
        known = history([0.085] * 6, mean_m=0.3)

        found = advised(known, settings=LengthSettings(sure=sure))

        probability = finding_of(found, Condition.SPREAD).probability
        assert probability is not None
        assert 0.8 < probability < 0.95
        assert (finding_of(found, Condition.SPREAD).state is State.MET) is (sure == 0.8)

    def test_far_too_wide_is_one_and_a_half_times_the_limit(self):
        toe = next_attempts.expect_toe(
            np.array(history([0.16] * 6, mean_m=0.5).board_toe_m), np.zeros(30, dtype=bool)
        )
        assert isinstance(toe, next_attempts.NextAttempts)
        within = board_spread.probability_below(toe, 0.15)

        for sure in (1 - within - 0.01, 1 - within + 0.01):
            found = length_conditions.shown_far_too_wide(toe, 0.10, LengthSettings(sure=sure))
            assert found is (sure < 1 - within)

    def test_by_age_are_those_of_the_page(self):
        page = PAGE.read_text("utf-8")
        sds = DEFAULT_SETTINGS.ready_sds

        for words, sd in (
            ("18 and older, or not known", sds.senior_m),
            ("16 and 17", sds.age_16_to_17_m),
            ("14 and 15", sds.age_14_to_15_m),
            ("under 14", sds.under_14_m),
        ):
            assert f"| {words} | {sd:.2f} |" in page

    @pytest.mark.parametrize(
        ("age", "sd_m"), [(13.99, 0.16), (14, 0.14), (15.99, 0.14), (16, 0.12), (18, 0.10)]
    )
    def test_by_age(self, age: float, sd_m: float):
        assert length_settings.ready_sd_m(age) == sd_m

    def test_of_an_unknown_age_is_the_strictest(self):
        sds = length_settings.ReadySds(senior_m=0.11, age_16_to_17_m=0.09)

        assert length_settings.ready_sd_m(None, settings=LengthSettings(ready_sds=sds)) == 0.09

    def test_usual_steps_are_those_of_the_coaching_norms(self):
        norms = {row["group"]: row for row in read_table("approach_steps_by_age")}

        for ages, group in (
            ((11, 12.9), "up to 12 y (better jumpers)"),
            ((13, 15.9), "13-15 y"),
            ((16, 18.9), "16-18 y"),
            ((19, 35), "older and elite"),
        ):
            wanted = int(norms[group]["steps_low"]), int(norms[group]["steps_high"])
            assert [length_settings.usual_steps(age) for age in ages] == [wanted] * 2

    @pytest.mark.parametrize("age", [0, -1, NAN, math.inf])
    def test_no_age_is_refused(self, age: float):
        with pytest.raises(ValueError, match="age_years"):
            length_settings.ready_sd_m(age)
        with pytest.raises(ValueError, match="age_years"):
            length_settings.usual_steps(age)


class TestPower:
    def test_is_told_for_the_attempts_that_were_looked_at(self):
        found = advised(history([0.05] * 6))

        assert found.chance_if_steady == length_settings.chance_if_steady(30)

    def test_is_that_of_the_page(self):
        decisions = (PAGE.parent / "decisions.md").read_text("utf-8")

        for n, chance in length_settings.CHANCES_IF_STEADY.items():
            row = re.search(
                rf"^\| 0\.08 \| {n} \| [\d.]+ \| [\d.]+ \| ([\d.]+) \|", decisions, re.M
            )
            assert row is not None
            assert float(row.group(1)) == pytest.approx(chance, abs=0.02)

    def test_lies_between_those_that_were_measured(self):
        found = [length_settings.chance_if_steady(n) for n in (15, 17, 20, 40, 60)]

        low, high, most = (length_settings.CHANCES_IF_STEADY[n] for n in (15, 20, 40))
        assert found == pytest.approx([low, low + 0.4 * (high - low), high, most, most])

    def test_of_another_certainty_was_not_measured(self):
        assert length_settings.chance_if_steady(20, settings=LengthSettings(sure=0.9)) is None
        assert length_settings.chance_if_steady(14) is None


class TestTooFew:
    def test_fourteen_are(self):
        known = history([0.05] * 3)
        few = LengthHistory(
            *(np.asarray(each)[:14] for each in (known.board_toe_m, known.no_jump, known.session))
        )

        found = length_advice.advise_length(few, ready_sd_m=0.10)

        assert found == NotEnoughAttempts(n=14, needed=15)

    def test_none_is(self):
        found = length_advice.advise_length(LengthHistory([], [], []), ready_sd_m=0.10)

        assert found == NotEnoughAttempts(n=0, needed=15)

    def test_a_latest_revision_without_a_measured_toe_is(self):
        known = history([0.05] * 4)
        toe, no_jump = np.array(known.board_toe_m), np.array(known.no_jump)
        toe[-1], no_jump[-1] = NAN, True

        found = length_advice.advise_length(
            LengthHistory(toe, no_jump, known.session, revision=[1] * 19 + [2]), ready_sd_m=0.10
        )

        assert found == NotEnoughAttempts(n=0, needed=1)

    def test_spread_is_within_revisions(self):
        known = history([0.05] * 6)
        moved = np.array(known.board_toe_m) + np.repeat([0.5, 0.0], 15)

        found = advised(replace(known, board_toe_m=moved, revision=np.repeat([1, 2], 15)))

        assert found.answer is LengthAnswer.READY

    @pytest.mark.parametrize(
        ("changes", "options", "words"),
        [
            ({"gain_mps": [0.1]}, {}, "gain_mps"),
            ({"gain_mps": [math.inf] * 20}, {}, "gain_mps"),
            ({"pattern_held": [1.0]}, {}, "pattern_held"),
            ({"pattern_held": [0.5] * 20}, {}, "0, 1 or NaN"),
            ({"session": [1]}, {}, "labels"),
            ({"revision": [1]}, {}, "labels"),
            ({"board_toe_m": [0.1]}, {}, "board_toe_m"),
            ({}, {"ready_sd_m": 0.0}, "ready_sd_m"),
            ({}, {"ready_sd_m": NAN}, "ready_sd_m"),
            ({}, {"aim_m": NAN}, "aim_m"),
        ],
    )
    def test_bad_input_is_refused(self, changes, options, words):
        with pytest.raises(ValueError, match=words):
            length_advice.advise_length(
                replace(history([0.05] * 4), **changes), **{"ready_sd_m": 0.10, **options}
            )


class TestProperties:
    @settings(max_examples=25, deadline=None)
    @given(toe=st.lists(st.floats(0.0, 1.0), min_size=18, max_size=25), shift=st.floats(0.0, 3.0))
    def test_numbers_are_finite_and_a_shift_leaves_the_spread(self, toe, shift):
        none, session = np.zeros(len(toe), dtype=bool), np.arange(len(toe)) // 6

        here = advised(LengthHistory(toe, none, session))
        there = advised(LengthHistory(np.array(toe) + shift, none, session))

        for each in here.latest.findings:
            for number in (each.value, each.limit, each.probability):
                assert number is None or math.isfinite(number)
            assert each.probability is None or 0 <= each.probability <= 1
        assert finding_of(there, Condition.SPREAD).probability == pytest.approx(
            finding_of(here, Condition.SPREAD).probability, abs=1e-6
        )
