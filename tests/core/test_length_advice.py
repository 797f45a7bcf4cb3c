"""Ready for more steps: each rule by hand, against SciPy, and what must never look firm."""

import math
import re
from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from scipy import stats

from analytics.core import (
    board_spread,
    cautions,
    length_advice,
    length_conditions,
    length_settings,
    next_attempts,
)
from analytics.core.conventions import NotEnoughAttempts
from analytics.core.length_advice import FirstDo, LengthAdvice, LengthAnswer
from analytics.core.length_conditions import Condition, Finding, State
from analytics.core.length_history import LengthHistory
from analytics.core.length_settings import DEFAULT_SETTINGS, LengthSettings
from tests.core.reference_tables import read_table

NAN = float("nan")
PAGE = Path(__file__).parents[2] / "docs" / "metrics" / "length_advice.md"
FIVE = np.array([-1.1, 0.3, 1.2, -0.7, 0.3])
FIVE = FIVE / FIVE.std(ddof=1)


def history(sds, *, mean_m: float = 0.10, **options) -> LengthHistory:
    """Return sessions of five whose toes have these SDs about the same mean."""
    toe = np.concatenate([mean_m + sd * FIVE for sd in sds])
    return LengthHistory(toe, toe < 0, np.repeat(np.arange(len(sds)), 5), **options)


def advised(known: LengthHistory, *, ready_sd_m: float = 0.10, **options) -> LengthAdvice:
    found = length_advice.advise_length(known, ready_sd_m=ready_sd_m, **{"aim_m": 0.10, **options})
    assert isinstance(found, LengthAdvice)
    return found


def finding_of(advice: LengthAdvice, condition: Condition) -> Finding:
    return next(each for each in advice.latest.findings if each.condition is condition)


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


class TestNoJumps:
    def test_are_those_of_student_t_where_sessions_are_one(self):
        toe = 0.05 + 0.1 * np.concatenate([FIVE] * 3)
        expected = next_attempts.expect_toe(toe, toe < 0)
        assert isinstance(expected, next_attempts.NextAttempts)

        found = length_conditions.find_no_jumps(expected)

        s = toe.std(ddof=1) * math.sqrt(1 + 1 / 15)
        assert found.value == pytest.approx(stats.t.cdf(-0.05 / s, 14), abs=1e-6)
        assert found.state is State.UNMET

    def test_too_many_by_bias_alone_ask_to_move_the_mark(self):
        found = advised(history([0.06] * 6, mean_m=-0.02))

        assert finding_of(found, Condition.NO_JUMPS).state is State.UNMET
        assert finding_of(found, Condition.SPREAD).state is State.MET
        assert found.answer is LengthAnswer.NOT_YET
        assert found.latest.first_do is FirstDo.MOVE_MARK
        assert found.latest.aim_needed_m < 0.10

    def test_too_many_by_bias_alone_ask_so_whatever_the_spread(self):
        found = advised(history([0.10] * 6, mean_m=-0.05))

        assert finding_of(found, Condition.SPREAD).state is State.OPEN
        assert found.latest.first_do is FirstDo.MOVE_MARK

    @pytest.mark.parametrize("more_m", [0.0, -0.01])
    def test_the_aim_needed_is_enough_and_no_centimetre_less(self, more_m: float):
        known = history([0.06] * 6, mean_m=-0.05)
        needed = advised(known).latest.aim_needed_m

        found = advised(known, aim_m=needed + more_m)

        wanted = FirstDo.MOVE_MARK if more_m == 0 else FirstDo.AIM_FARTHER
        assert found.latest.first_do is wanted

    def test_too_many_by_an_aim_too_near_ask_to_aim_farther(self):
        found = advised(history([0.11] * 8, mean_m=0.03), ready_sd_m=0.16, aim_m=0.03)

        assert finding_of(found, Condition.SPREAD).state is State.MET
        assert found.latest.first_do is FirstDo.AIM_FARTHER
        assert 0.03 < found.latest.aim_needed_m < 0.10

    def test_too_many_by_spread_ask_for_neither(self):
        found = advised(history([0.25] * 8, mean_m=0.06))

        assert finding_of(found, Condition.NO_JUMPS).state is State.UNMET
        assert found.latest.first_do is None

    def test_few_enough_ask_for_neither(self):
        assert advised(history([0.05] * 4)).latest.first_do is None

    @pytest.mark.parametrize(
        ("sd_m", "aim_m"), [(0.08, 0.05), (0.114, 0.06), (0.14, 0.08), (0.16, 0.09)]
    )
    def test_aim_needed_is_the_30th_hundredth_of_the_normal_curve(self, sd_m, aim_m):
        known = next_attempts.known(0.5, sd_m)

        found = length_conditions.aim_needed(known)

        assert found == pytest.approx(aim_m)
        assert stats.norm.cdf(-found / sd_m) <= 0.3 < stats.norm.cdf(-(found - 0.01) / sd_m)

    def test_aim_needed_is_never_beyond_the_line(self):
        most = replace(DEFAULT_SETTINGS, most_no_jumps=0.6)

        assert length_conditions.aim_needed(next_attempts.known(0.5, 0.1), most) == 0.0

    def test_those_that_nobody_measured_count(self):
        known = history([0.05] * 4)
        toe, no_jump = np.array(known.board_toe_m), np.array(known.no_jump)
        toe[::3], no_jump[::3] = NAN, True

        hidden = advised(replace(known, board_toe_m=toe, no_jump=no_jump))

        assert hidden.latest.n == 20
        risk = finding_of(hidden, Condition.NO_JUMPS).value
        assert risk is not None
        assert risk > 0.3


class TestSpeed:
    def test_is_student_t_of_session_means_where_sessions_have_as_many(self):
        rng = np.random.default_rng(1)
        session = np.repeat(np.arange(4), 5)
        gain = -0.25 + np.array([-0.2, 0.2, 0.1, -0.1])[session] + rng.normal(0, 0.05, 20)

        found = length_conditions.find_speed(gain, session)

        means = gain.reshape(4, 5).mean(axis=1)
        reference = stats.ttest_1samp(means, -0.3, alternative="greater").pvalue
        # Sessions differ, so nearly all of the error is theirs.
        assert found.probability == pytest.approx(1 - reference, abs=0.01)
        assert found.value == pytest.approx(gain.mean())
        assert (found.n, found.limit, found.state) == (20, -0.3, State.OPEN)

    @pytest.mark.parametrize(("gain", "state"), [(-0.3, State.MET), (-0.301, State.UNMET)])
    def test_without_any_spread_is_plainly_so_or_not(self, gain, state):
        found = length_conditions.find_speed(np.full(9, gain), np.repeat([0, 1, 2], 3))

        assert found.state is state

    @pytest.mark.parametrize(
        ("gain", "session"),
        [
            ([0.1, 0.0, 0.1, 0.1, NAN, NAN], [0, 0, 1, 2, 2, 2]),
            ([0.1] * 6, [0, 0, 0, 1, 1, 1]),
            ([NAN] * 6, [0, 0, 1, 1, 2, 2]),
        ],
    )
    def test_from_few_attempts_or_sessions_is_not_known(self, gain, session):
        found = length_conditions.find_speed(np.array(gain), np.array(session))

        assert (found.state, found.value, found.probability) == (State.UNKNOWN, None, None)


class TestPattern:
    @pytest.mark.parametrize("k", [0, 4, 9, 12, 15])
    def test_is_the_integral_of_the_jeffreys_density(self, k: int):
        held = np.array([1.0] * k + [0.0] * (15 - k))

        found = length_conditions.find_pattern(held)

        places = (np.arange(200_000) + 0.5) / 200_000
        density = places ** (k - 0.5) * (1 - places) ** (14.5 - k)
        share = density[places > 2 / 3].sum() / density.sum()
        assert found.probability == pytest.approx(share, abs=2e-3)
        assert (found.n, found.value) == (15, k / 15)

    @pytest.mark.parametrize(("k", "state"), [(13, State.MET), (10, State.OPEN), (7, State.UNMET)])
    def test_states(self, k: int, state: State):
        held = np.array([1.0] * k + [0.0] * (15 - k))

        assert length_conditions.find_pattern(held).state is state

    def test_of_four_is_not_known(self):
        found = length_conditions.find_pattern(np.array([1.0] * 4 + [NAN] * 9))

        assert (found.state, found.n, found.value) == (State.UNKNOWN, 4, None)
        assert length_conditions.find_pattern(np.ones(5)).state is State.MET

    @pytest.mark.parametrize(
        ("lengths", "held"),
        [
            ((2.15, 2.25, 2.00), 1.0),
            ((2.25, 2.25, 2.00), 0.0),
            ((2.00, 2.25, 2.00), 0.0),
            ((2.00, 2.25, 2.15), 0.0),
            ((2.00, 1.90, 2.15), 0.0),
            ((NAN, 2.25, 2.00), NAN),
        ],
    )
    def test_medium_long_short(self, lengths, held):
        third, penultimate, last = lengths
        toe = np.cumsum([0.06, last, penultimate, third])

        assert length_conditions.medium_long_short([toe]) == pytest.approx([held], nan_ok=True)

    def test_of_three_footfalls_is_refused(self):
        with pytest.raises(ValueError, match="four footfalls"):
            length_conditions.medium_long_short([[0.0, 2.0, 4.0]])


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
