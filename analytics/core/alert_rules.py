"""When a coach is told, and when the matter is closed again.

Each rule takes figures and what is remembered of the alert, and returns a decision. It opens, it
stays open, it closes, or there is nothing to say. What closes an alert is further from the limit
than what opened it, so that none flickers.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from enum import StrEnum
from types import MappingProxyType

from scipy import stats

from analytics.core import conventions, following
from analytics.core.alert_settings import RULE_DEFAULTS, Kind, RuleSettings
from analytics.core.baselines import Baseline
from analytics.core.comparing import BlockComparison
from analytics.core.following import ChartState

PROGRESS_FALSE_ALARMS_PER_SESSION = 1 / 60
"""At most this many for an unchanged athlete with 4 to 10 attempts a session (simulated: 0.006 to
0.015). Over a season of 30 sessions about one athlete in three gets such false good news."""

Figure = str | int | float | None
Evidence = Mapping[str, Figure]


class Verdict(StrEnum):
    """What a rule decides."""

    OPENS = "opens"
    STAYS = "stays"
    CLOSES = "closes"
    NOTHING = "nothing"


@dataclass(frozen=True, slots=True)
class Memory:
    """What a rule remembers from one judgement to the next.

    Attributes
    ----------
    is_open
        An alert of this kind is open.
    in_a_row
        Judgements running that spoke for a change: for closing while open, for opening while not.
    """

    is_open: bool = False
    in_a_row: int = 0


CLOSED = Memory()
"""No alert is open, and nothing speaks for one."""


@dataclass(frozen=True, slots=True)
class Decision:
    """What follows from one judgement.

    Attributes
    ----------
    kind, verdict
        Which rule decided what.
    memory
        To be given to the next judgement of the same kind.
    evidence
        Plain numbers and words that a person can check, units in the names.
    """

    kind: Kind
    verdict: Verdict
    memory: Memory
    evidence: Evidence


def judge_level(
    state: ChartState,
    baseline: Baseline,
    memory: Memory,
    *,
    settings: RuleSettings = RULE_DEFAULTS,
) -> Decision:
    """Judge the level chart after a finished session.

    Parameters
    ----------
    state, baseline
        The chart after the session, and what it compares with.
    memory
        Of this kind, from the judgement before, or `CLOSED`.
    settings
        Thresholds.

    Returns
    -------
    Decision
        Opens when the EWMA is beyond its limit, closes after `calm_sessions` points within half
        of it. ``level_m`` of the evidence is positive when the athlete lands short.

    Notes
    -----
    ``since_session_point`` dates the change by the cumulative sum toward the side of the alert:
    the session, counted from 1 after the baseline, with which its present run began.

    Examples
    --------
    >>> baseline = Baseline(
    ...     n=20, n_measured=20, n_sessions=4, n_sessions_spanned=4, aim_m=0.06,
    ...     sigma_within_m=0.08, within_df=16.0, sigma_between_m=0.05, between_df=6.0,
    ...     level_width=3.3, level_limit=1.1, spread_limit=3.2,
    ... )
    >>> state = ChartState(n_points=6, level=1.4, level_m=0.09, short_sum=5.0, short_since=3)
    >>> decision = judge_level(state, baseline, CLOSED)
    >>> decision.verdict.value, decision.evidence["since_session_point"]
    ('opens', 3)
    """
    size = abs(state.level)
    verdict, after = _with_hysteresis(
        memory,
        opens=size > baseline.level_limit,
        calm=size <= baseline.level_limit / 2,
        to_open=1,
        to_close=settings.calm_sessions,
    )
    evidence: dict[str, Figure] = {
        "chart": "level",
        "value": state.level,
        "limit": baseline.level_limit,
        "level_m": state.level_m,
        "side": "short" if state.level > 0 else "long",
        "aim_m": baseline.aim_m,
        "since_session_point": state.short_since if state.level > 0 else state.long_since,
        "n_session_points": state.n_points,
        **_baseline_evidence(baseline),
        "false_alarms_per_session": following.LEVEL_FALSE_ALARMS_PER_SESSION,
    }
    return _decision(Kind.LEVEL, verdict, after, evidence)


def judge_spread(
    state: ChartState,
    baseline: Baseline,
    memory: Memory,
    *,
    settings: RuleSettings = RULE_DEFAULTS,
) -> Decision:
    """Judge the spread chart after a finished session.

    Parameters
    ----------
    state, baseline, memory, settings
        As in `judge_level`.

    Returns
    -------
    Decision
        Opens when the mean square is beyond its limit, closes after `calm_sessions` points no
        further above 1 than half of the way to the limit.

    Notes
    -----
    ``spread_m`` is the present SD within sessions, ``sigma_within_m sqrt(value)``.

    Examples
    --------
    >>> baseline = Baseline(
    ...     n=20, n_measured=20, n_sessions=4, n_sessions_spanned=4, aim_m=0.06,
    ...     sigma_within_m=0.08, within_df=16.0, sigma_between_m=0.05, between_df=6.0,
    ...     level_width=3.3, level_limit=1.1, spread_limit=3.2,
    ... )
    >>> judge_spread(ChartState(spread=2.0), baseline, CLOSED).verdict.value
    'nothing'
    """
    verdict, after = _with_hysteresis(
        memory,
        opens=state.spread > baseline.spread_limit,
        calm=state.spread <= (1 + baseline.spread_limit) / 2,
        to_open=1,
        to_close=settings.calm_sessions,
    )
    evidence: dict[str, Figure] = {
        "chart": "spread",
        "value": state.spread,
        "limit": baseline.spread_limit,
        "spread_m": baseline.sigma_within_m * state.spread**0.5,
        "usual_spread_m": baseline.sigma_within_m,
        "since_session_point": state.spread_since,
        "n_session_points": state.n_points,
        **_baseline_evidence(baseline),
        "false_alarms_per_session": following.SPREAD_FALSE_ALARMS_PER_SESSION,
    }
    return _decision(Kind.SPREAD, verdict, after, evidence)


def judge_no_jump_share(
    n_no_jumps: int,
    n: int,
    memory: Memory,
    *,
    level: float = conventions.DEFAULT_LEVEL,
    settings: RuleSettings = RULE_DEFAULTS,
) -> Decision:
    """Judge the share of no jumps over the rolling window after a finished session.

    Parameters
    ----------
    n_no_jumps, n
        No jumps and attempts in the window.
    memory
        Of this kind, from the judgement before, or `CLOSED`.
    level
        Of the Wilson interval.
    settings
        Thresholds.

    Returns
    -------
    Decision
        Opens when the low end of the Wilson interval is above the limit, closes after
        `calm_sessions` judgements with the share itself at or below it. Below
        `no_jump_attempts` nothing changes.

    Raises
    ------
    ValueError
        More no jumps than attempts, or a negative count.

    Notes
    -----
    ``false_alarms_per_look`` is the exact binomial chance that a window of n attempts opens an
    alert for an athlete whose true share is the limit. Windows that overlap are not independent
    looks; over many sessions the chance adds up.

    Examples
    --------
    >>> judge_no_jump_share(11, 20, CLOSED).verdict.value
    'opens'
    >>> judge_no_jump_share(10, 20, CLOSED).verdict.value
    'nothing'
    """
    _check_counts(n_no_jumps, n)
    limit = settings.no_jump_share_limit
    interval = conventions.wilson_interval(successes=n_no_jumps, n=n, level=level)
    enough = n >= settings.no_jump_attempts
    verdict, after = _with_hysteresis(
        memory,
        opens=enough and interval.low > limit,
        calm=enough and n_no_jumps <= limit * n,
        to_open=1,
        to_close=settings.calm_sessions,
        judged=enough,
    )
    evidence: dict[str, Figure] = {
        "chart": "rolling window",
        "n": n,
        "n_no_jumps": n_no_jumps,
        "value": n_no_jumps / n if n else None,
        "low": interval.low,
        "high": interval.high,
        "level": level,
        "limit": limit,
        "false_alarms_per_look": _chance_of_opening(n, limit, level) if enough else None,
    }
    return _decision(Kind.NO_JUMP_SHARE, verdict, after, evidence)


def judge_progress(
    comparison: BlockComparison | conventions.NotEnoughAttempts,
    memory: Memory,
    *,
    settings: RuleSettings = RULE_DEFAULTS,
) -> Decision:
    """Judge after a finished session whether the spread has become lower: good news.

    Parameters
    ----------
    comparison
        The last block of `progress_block_attempts` against the block before it.
    memory
        Of this kind, from the judgement before, or `CLOSED`.
    settings
        Thresholds.

    Returns
    -------
    Decision
        Opens when `progress_sessions` judgements running are at least `progress_probability` sure
        of a lower spread, closes after `calm_sessions` below `progress_lost_probability`. Too few
        attempts, or a block without spread, change nothing.

    Notes
    -----
    Neighbouring looks share most of their attempts, so two that agree are not two proofs; that a
    single look would be wrong in 5 % of blocks is why one is not enough.

    Examples
    --------
    >>> import numpy as np
    >>> from analytics.core import comparing
    >>> rng = np.random.default_rng(3)
    >>> before = comparing.block_figures(rng.normal(0.3, 0.10, 20), [False] * 20)
    >>> after = comparing.block_figures(rng.normal(0.3, 0.05, 20), [False] * 20)
    >>> first = judge_progress(comparing.compare_blocks(before, after), CLOSED)
    >>> second = judge_progress(comparing.compare_blocks(before, after), first.memory)
    >>> first.verdict.value, second.verdict.value
    ('nothing', 'opens')
    """
    if isinstance(comparison, conventions.NotEnoughAttempts):
        missing: dict[str, Figure] = {"n": comparison.n, "needed": comparison.needed}
        return _decision(Kind.PROGRESS, _unchanged(memory), memory, missing)
    sure = comparison.probability_spread_lower
    verdict, after = _with_hysteresis(
        memory,
        opens=sure is not None and sure >= settings.progress_probability,
        calm=sure is not None and sure < settings.progress_lost_probability,
        to_open=settings.progress_sessions,
        to_close=settings.calm_sessions,
        judged=sure is not None,
    )
    interval = comparison.sd_ratio_interval
    evidence: dict[str, Figure] = {
        "chart": "blocks",
        "n_before": comparison.n_before,
        "n_after": comparison.n_after,
        "spread_before_m": comparison.sd_before_m,
        "spread_after_m": comparison.sd_after_m,
        "ratio": comparison.sd_ratio,
        "ratio_low": interval.low if interval else None,
        "ratio_high": interval.high if interval else None,
        "value": sure,
        "limit": settings.progress_probability,
        "n_sessions_running": settings.progress_sessions,
        # Simulated for the defaults; what other thresholds give, nobody has counted.
        "false_alarms_per_session": PROGRESS_FALSE_ALARMS_PER_SESSION
        if settings == RULE_DEFAULTS
        else None,
    }
    return _decision(Kind.PROGRESS, verdict, after, evidence)


def judge_plan_change(kind: Kind, memory: Memory) -> Decision:
    """Close what was open when a new plan revision begins.

    A new plan is what the coach did about it; the charts start again with a new baseline.

    Examples
    --------
    >>> judge_plan_change(Kind.LEVEL, Memory(is_open=True)).verdict.value
    'closes'
    """
    verdict = Verdict.CLOSES if memory.is_open else Verdict.NOTHING
    return _decision(kind, verdict, CLOSED, {"reason": "new plan revision"})


def _with_hysteresis(
    memory: Memory,
    *,
    opens: bool,
    calm: bool,
    to_open: int,
    to_close: int,
    judged: bool = True,
) -> tuple[Verdict, Memory]:
    if not judged:
        return _unchanged(memory), memory
    speaks_for_change = calm if memory.is_open else opens
    in_a_row = memory.in_a_row + 1 if speaks_for_change else 0
    if in_a_row < (to_close if memory.is_open else to_open):
        return _unchanged(memory), Memory(is_open=memory.is_open, in_a_row=in_a_row)
    verdict = Verdict.CLOSES if memory.is_open else Verdict.OPENS
    return verdict, Memory(is_open=not memory.is_open)


def _unchanged(memory: Memory) -> Verdict:
    return Verdict.STAYS if memory.is_open else Verdict.NOTHING


def _decision(
    kind: Kind,
    verdict: Verdict,
    memory: Memory,
    evidence: Mapping[str, Figure],
) -> Decision:
    return Decision(
        kind=kind, verdict=verdict, memory=memory, evidence=MappingProxyType(dict(evidence))
    )


def _baseline_evidence(baseline: Baseline) -> dict[str, int]:
    return {
        "n_baseline_attempts": baseline.n,
        "n_baseline_sessions": baseline.n_sessions,
    }


def _chance_of_opening(n: int, limit: float, level: float) -> float:
    fewest = next(
        (
            count
            for count in range(n + 1)
            if conventions.wilson_interval(successes=count, n=n, level=level).low > limit
        ),
        n + 1,
    )
    return float(stats.binom.sf(fewest - 1, n, limit))


def _check_counts(n_no_jumps: int, n: int) -> None:
    if not 0 <= n_no_jumps <= n:
        raise ValueError(f"no jumps must number from 0 to {n}, got {n_no_jumps}")
