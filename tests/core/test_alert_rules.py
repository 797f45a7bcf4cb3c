"""Alert rules: when they open, that they do not flicker, and what they say."""

import dataclasses
import json

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from scipy import stats

from analytics.core import alert_rules, alert_settings, comparing, following
from analytics.core.alert_rules import CLOSED, Memory, Verdict
from analytics.core.alert_settings import Kind
from analytics.core.conventions import NotEnoughAttempts
from tests.core.test_comparing import figures_of
from tests.core.test_following import make_baseline

OPEN = Memory(is_open=True)


def level_verdicts(*levels: float, memory: Memory = CLOSED) -> list[Verdict]:
    """Judge one level after the other against a limit of 1.1."""
    verdicts = []
    for level in levels:
        decision = alert_rules.judge_level(
            following.ChartState(level=level), make_baseline(), memory
        )
        verdicts.append(decision.verdict)
        memory = decision.memory
    return verdicts


class TestLevel:
    def test_opens_beyond_the_limit_on_either_side(self):
        assert level_verdicts(1.11) == [Verdict.OPENS]
        assert level_verdicts(-1.11) == [Verdict.OPENS]

    def test_on_the_limit_is_not_beyond_it(self):
        assert level_verdicts(1.1) == [Verdict.NOTHING]

    def test_opens_once(self):
        assert level_verdicts(1.2, 1.3, 1.0) == [Verdict.OPENS, Verdict.STAYS, Verdict.STAYS]

    def test_closes_after_two_points_inside_half_the_limit(self):
        assert level_verdicts(0.5, 0.5, memory=OPEN) == [Verdict.STAYS, Verdict.CLOSES]

    def test_two_points_that_are_not_neighbours_do_not_close(self):
        assert level_verdicts(0.5, 0.6, 0.5, memory=OPEN) == [Verdict.STAYS] * 3

    def test_may_open_again_after_it_closed(self):
        verdicts = level_verdicts(0.5, 0.5, 1.2, memory=OPEN)

        assert verdicts == [Verdict.STAYS, Verdict.CLOSES, Verdict.OPENS]

    def test_says_where_since_when_and_how_often_it_is_wrong(self):
        state = following.ChartState(
            n_points=7, level=-1.4, level_m=-0.08, long_sum=4.0, long_since=5
        )

        evidence = alert_rules.judge_level(state, make_baseline(), CLOSED).evidence

        assert evidence["side"] == "long"
        assert evidence["since_session_point"] == 5
        assert evidence["level_m"] == -0.08
        assert evidence["false_alarms_per_session"] == 1 / 200
        assert evidence["n_baseline_attempts"] == 20


class TestSpread:
    @pytest.mark.parametrize(
        ("spread", "verdict"),
        [(3.21, Verdict.OPENS), (3.2, Verdict.NOTHING), (0.1, Verdict.NOTHING)],
    )
    def test_opens_above_the_limit_only(self, spread: float, verdict: Verdict):
        state = following.ChartState(spread=spread)

        assert alert_rules.judge_spread(state, make_baseline(), CLOSED).verdict is verdict

    def test_half_the_limit_is_half_of_the_way_from_usual(self):
        # Usual is 1, the limit 3.2: half of the way is 2.1.
        memory = Memory(is_open=True, in_a_row=1)

        inside = alert_rules.judge_spread(following.ChartState(spread=2.1), make_baseline(), memory)
        outside = alert_rules.judge_spread(
            following.ChartState(spread=2.11), make_baseline(), memory
        )

        assert inside.verdict is Verdict.CLOSES
        assert outside.verdict is Verdict.STAYS

    def test_says_the_spread_in_metres(self):
        state = following.ChartState(spread=4.0)

        evidence = alert_rules.judge_spread(state, make_baseline(), CLOSED).evidence

        assert evidence["spread_m"] == pytest.approx(0.16)
        assert evidence["usual_spread_m"] == 0.08


class TestNoJumpShare:
    def test_opens_at_eleven_of_twenty(self):
        # Wilson low ends 0.299 and 0.342 against the limit of 0.32.
        ten = alert_rules.judge_no_jump_share(10, 20, CLOSED)
        eleven = alert_rules.judge_no_jump_share(11, 20, CLOSED)

        assert ten.verdict is Verdict.NOTHING
        assert eleven.verdict is Verdict.OPENS

    def test_closes_after_two_looks_with_the_share_at_or_below_the_limit(self):
        first = alert_rules.judge_no_jump_share(6, 20, OPEN)
        second = alert_rules.judge_no_jump_share(6, 20, first.memory)

        assert (first.verdict, second.verdict) == (Verdict.STAYS, Verdict.CLOSES)

    def test_a_short_window_changes_nothing(self):
        memory = Memory(is_open=True, in_a_row=1)

        decision = alert_rules.judge_no_jump_share(0, 9, memory)

        assert decision.verdict is Verdict.STAYS
        assert decision.memory == memory

    def test_states_the_binomial_chance_of_a_false_alarm(self):
        evidence = alert_rules.judge_no_jump_share(11, 20, CLOSED).evidence

        assert evidence["false_alarms_per_look"] == pytest.approx(
            stats.binomtest(11, 20, 0.32, alternative="greater").pvalue
        )

    def test_of_an_empty_window_has_no_value(self):
        assert alert_rules.judge_no_jump_share(0, 0, CLOSED).evidence["value"] is None

    def test_refuses_more_no_jumps_than_attempts(self):
        with pytest.raises(ValueError, match="no jumps"):
            alert_rules.judge_no_jump_share(3, 2, CLOSED)


class TestProgress:
    better = comparing.compare_blocks(figures_of(sd_m=0.10, n=20), figures_of(sd_m=0.05, n=20))
    same = comparing.compare_blocks(figures_of(sd_m=0.10, n=20), figures_of(sd_m=0.10, n=20))

    def judge(self, *comparisons, memory: Memory = CLOSED) -> list[Verdict]:
        verdicts = []
        for comparison in comparisons:
            decision = alert_rules.judge_progress(comparison, memory)
            verdicts.append(decision.verdict)
            memory = decision.memory
        return verdicts

    def test_is_told_once_when_two_sessions_agree(self):
        verdicts = self.judge(self.better, self.better, self.better)

        assert verdicts == [Verdict.NOTHING, Verdict.OPENS, Verdict.STAYS]

    def test_is_not_told_when_they_do_not(self):
        assert self.judge(self.better, self.same, self.better) == [Verdict.NOTHING] * 3

    def test_closes_likewise(self):
        assert self.judge(self.same, self.same, memory=OPEN) == [Verdict.STAYS, Verdict.CLOSES]

    def test_too_few_attempts_change_nothing(self):
        decision = alert_rules.judge_progress(NotEnoughAttempts(n=3, needed=5), OPEN)

        assert decision.verdict is Verdict.STAYS
        assert decision.evidence == {"n": 3, "needed": 5}

    def test_blocks_without_spread_change_nothing(self):
        flat = comparing.compare_blocks(figures_of(sd_m=0.0, n=20), figures_of(sd_m=0.05, n=20))

        assert self.judge(flat, flat) == [Verdict.NOTHING, Verdict.NOTHING]

    @pytest.mark.slow
    @pytest.mark.parametrize("n_a_session", [4, 6, 10])
    def test_keeps_the_stated_rate_of_false_good_news(self, n_a_session: int):
        # An athlete who never changes, whose sessions differ by half of the spread within.
        rng = np.random.default_rng(3)
        opened = looks = 0
        for _ in range(60):
            day = np.repeat(rng.normal(0, 0.04, size=80), n_a_session)
            toe = 0.5 + day + rng.normal(0, 0.08, size=day.size)
            memory = CLOSED
            for end in range(40 + n_a_session, toe.size + 1, n_a_session):
                blocks = [toe[end - 40 : end - 20], toe[end - 20 : end]]
                before, after = (
                    figures_of(sd_m=float(values.std(ddof=1)), n=20) for values in blocks
                )
                looks += not memory.is_open
                decision = alert_rules.judge_progress(
                    comparing.compare_blocks(before, after), memory
                )
                memory = decision.memory
                opened += decision.verdict is Verdict.OPENS

        # Some 4,000 looks: a rate of 1 in 60 has an error of about an eighth.
        assert opened / looks < 1.25 * alert_rules.PROGRESS_FALSE_ALARMS_PER_SESSION


class TestPlanChange:
    @pytest.mark.parametrize("kind", list(Kind))
    def test_closes_what_was_open(self, kind: Kind):
        decision = alert_rules.judge_plan_change(kind, Memory(is_open=True, in_a_row=1))

        assert (decision.verdict, decision.memory) == (Verdict.CLOSES, CLOSED)

    def test_opens_nothing(self):
        decision = alert_rules.judge_plan_change(Kind.LEVEL, CLOSED)

        assert decision.verdict is Verdict.NOTHING


class TestHysteresis:
    @given(st.lists(st.floats(-3, 3), max_size=60))
    def test_openings_and_closings_take_turns(self, levels: list[float]):
        changes = [
            verdict
            for verdict in level_verdicts(*levels)
            if verdict in {Verdict.OPENS, Verdict.CLOSES}
        ]

        expected = [Verdict.OPENS, Verdict.CLOSES] * len(changes)
        assert changes == expected[: len(changes)]

    @given(st.lists(st.floats(0.56, 3), max_size=60))
    def test_nothing_closes_while_no_point_is_calm(self, levels: list[float]):
        assert Verdict.CLOSES not in level_verdicts(*levels, memory=OPEN)

    def test_a_memory_outlives_storage(self):
        memory = Memory(is_open=True, in_a_row=1)

        assert Memory(**json.loads(json.dumps(dataclasses.asdict(memory)))) == memory


class TestEvidence:
    def test_is_plain_numbers_and_words(self):
        decisions = [
            alert_rules.judge_level(following.START, make_baseline(), CLOSED),
            alert_rules.judge_spread(following.START, make_baseline(), CLOSED),
            alert_rules.judge_no_jump_share(3, 12, CLOSED),
            alert_rules.judge_progress(TestProgress.better, CLOSED),
        ]

        for decision in decisions:
            assert json.loads(json.dumps(dict(decision.evidence), allow_nan=False))


class TestSettings:
    @pytest.mark.parametrize(
        "change",
        [
            {"calm_sessions": 0},
            {"no_jump_share_limit": 1.0},
            {"progress_probability": 0.0},
            {"progress_lost_probability": 0.99},
        ],
    )
    def test_refuse_what_makes_no_sense(self, change):
        with pytest.raises(ValueError, match=next(iter(change))):
            alert_settings.RuleSettings(**change)

    def test_of_a_club_replace_the_defaults(self):
        strict = dataclasses.replace(alert_settings.RULE_DEFAULTS, no_jump_share_limit=0.25)

        decision = alert_rules.judge_no_jump_share(10, 20, CLOSED, settings=strict)

        assert decision.verdict is Verdict.OPENS
