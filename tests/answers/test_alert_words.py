"""What is said of an alert: the numbers of its evidence, as its rule gives them."""

from dataclasses import replace
from typing import Any

import pytest
from django.utils import translation

from analytics.answers import alert_words
from analytics.core import alert_rules
from analytics.core.alert_rules import CLOSED, Decision, Memory, Verdict
from analytics.core.alert_settings import RULE_DEFAULTS, Kind
from analytics.core.baselines import Baseline
from analytics.core.comparing import BlockComparison
from analytics.core.conventions import Interval
from analytics.core.following import ChartState

BASELINE = Baseline(
    n=22,
    n_measured=20,
    n_sessions=4,
    n_sessions_spanned=4,
    aim_m=0.06,
    sigma_within_m=0.08,
    within_df=16.0,
    sigma_between_m=0.05,
    between_df=6.0,
    level_width=3.3,
    level_limit=1.1,
    spread_limit=3.2,
)
SHORT = ChartState(n_points=6, level=1.4, level_m=0.12, short_sum=5.0, short_since=3)
BEYOND = ChartState(n_points=6, level=-1.4, level_m=-0.12, long_sum=5.0, long_since=3)
WIDE = ChartState(n_points=9, spread=4.0, spread_since=1)
STEADIER = BlockComparison(
    n_before=20,
    n_after=18,
    sd_before_m=0.15,
    sd_after_m=0.07,
    df_before=17.0,
    df_after=15.0,
    sd_ratio=0.47,
    sd_ratio_interval=Interval(0.27, 0.78, 0.95),
    probability_spread_lower=0.997,
    bias_change_m=0.0,
    bias_change_interval=Interval(-0.08, 0.08, 0.95),
)


def evidence_of(decision: Decision) -> dict[str, Any]:
    assert decision.verdict is Verdict.OPENS
    return dict(decision.evidence)


LEVEL = evidence_of(alert_rules.judge_level(SHORT, BASELINE, CLOSED))
SPREAD = evidence_of(alert_rules.judge_spread(WIDE, BASELINE, CLOSED))
NO_JUMPS = evidence_of(alert_rules.judge_no_jump_share(11, 20, CLOSED))
PROGRESS = evidence_of(alert_rules.judge_progress(STEADIER, Memory(in_a_row=1)))
EVIDENCE = {
    Kind.LEVEL: LEVEL,
    Kind.SPREAD: SPREAD,
    Kind.NO_JUMP_SHARE: NO_JUMPS,
    Kind.PROGRESS: PROGRESS,
}


@pytest.mark.parametrize(
    ("kind", "found", "ground"),
    [
        (
            Kind.LEVEL,
            "Lands about 12 cm short of the aim of 6 cm behind the line.",
            "Since session 3 of the 6 after the baseline (22 attempts in 4 sessions). The level "
            "chart stands at 1.40, its limit is 1.10 to either side. By mere chance such an alert "
            "comes at most about once in 200 sessions.",
        ),
        (
            Kind.SPREAD,
            "Spreads by about 16 cm at the board within a session; usual were 8 cm.",
            "Since session 1 of the 9 after the baseline (22 attempts in 4 sessions). The spread "
            "chart stands at 4.00, its limit is 3.20. By mere chance such an alert comes at most "
            "about once in 75 sessions.",
        ),
        (
            # Wilson interval of 11 of 20 by statsmodels' proportion_confint: 0.342 to 0.742.
            Kind.NO_JUMP_SHARE,
            "11 of the last 20 attempts were no jumps.",
            "That is 55%, at 95% confidence between 34% and 74%, all above the limit of 32%. An "
            "athlete whose true share is the limit would be told so in 2.8% of looks.",
        ),
        (
            Kind.PROGRESS,
            "Good news: spreads by 7 cm at the board over the last 18 attempts, by 15 cm over the "
            "20 before them. It says nothing about speed or load.",
            "A lower spread was shown in 2 judged sessions running. The ratio is 0.47, between "
            "0.27 and 0.78; that it is lower is 99.7% sure. By mere chance such an alert comes at "
            "most about once in 60 sessions.",
        ),
    ],
)
class TestWords:
    def test_say_what_was_found_and_on_what_ground(self, kind: Kind, found: str, ground: str):
        evidence = EVIDENCE[kind]

        assert alert_words.say_found(kind, evidence) == found
        assert alert_words.say_ground(kind, evidence) == ground
        assert alert_words.describe(kind.value, evidence) == f"{found} {ground}"


def test_every_kind_has_words():
    for kind in Kind:
        assert alert_words.describe(kind, EVIDENCE[kind])


def test_say_on_which_side_of_the_aim():
    beyond = evidence_of(alert_rules.judge_level(BEYOND, BASELINE, CLOSED))

    found = alert_words.say_found(Kind.LEVEL, beyond)

    assert found == "Lands about 12 cm beyond the aim of 6 cm behind the line."


def test_speak_german_with_its_decimal_mark():
    with translation.override("de"):
        found = alert_words.say_found(Kind.LEVEL, LEVEL)
        ground = alert_words.say_ground(Kind.PROGRESS, PROGRESS)

    assert found == "Der Fuß setzt etwa 12 cm vor dem Ziel auf, das 6 cm vor der Linie liegt."
    assert "Das Verhältnis ist 0,47" in ground
    assert "zu 99,7 % sicher" in ground


def test_one_no_jump_is_one():
    """A club may set a limit that a single one breaks."""
    strict = replace(RULE_DEFAULTS, no_jump_share_limit=0.001, no_jump_attempts=2)
    one = evidence_of(alert_rules.judge_no_jump_share(1, 2, CLOSED, settings=strict))

    assert alert_words.say_found(Kind.NO_JUMP_SHARE, one) == (
        "1 of the last 2 attempts was a no jump."
    )


def test_say_that_nobody_counted_the_chance_of_own_thresholds():
    own = replace(RULE_DEFAULTS, progress_sessions=1)
    found = evidence_of(alert_rules.judge_progress(STEADIER, CLOSED, settings=own))

    ground = alert_words.say_ground(Kind.PROGRESS, found)

    assert ground.startswith("A lower spread was shown in 1 judged session. ")
    assert "not known for the club's own thresholds" in ground


def test_evidence_of_the_first_method_is_of_two_sessions():
    first = {name: value for name, value in PROGRESS.items() if name != "n_sessions_running"}

    assert "in 2 judged sessions running" in alert_words.say_ground(Kind.PROGRESS, first)


@pytest.mark.parametrize(
    ("chance", "said"), [(0.0001, "under 0.1%"), (0.028, "2.8%"), (0.9999, "over 99.9%")]
)
def test_call_no_chance_nothing_and_none_certain(chance: float, said: str):
    ground = alert_words.say_ground(
        Kind.NO_JUMP_SHARE, NO_JUMPS | {"false_alarms_per_look": chance}
    )

    assert f"told so in {said} of looks" in ground
