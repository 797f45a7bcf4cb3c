"""Is the athlete ready for more steps, or is it better to hold, or to shorten?"""

from __future__ import annotations

from dataclasses import dataclass
from enum import StrEnum

import numpy as np

from analytics.core import (
    cautions,
    conventions,
    length_conditions,
    length_history,
    length_settings,
    next_attempts,
)
from analytics.core.conventions import NotEnoughAttempts
from analytics.core.length_conditions import Condition, Finding, State
from analytics.core.length_history import CheckedHistory, LengthHistory
from analytics.core.length_settings import DEFAULT_SETTINGS, PAIR_OF_STEPS, LengthSettings
from analytics.core.next_attempts import NextAttempts


class LengthAnswer(StrEnum):
    """What to do about the number of steps."""

    READY = "ready"
    NOT_YET = "not_yet"
    SHORTEN = "shorten"
    UNDECIDED = "undecided"


class FirstDo(StrEnum):
    """What lowers the risk of no jumps without touching the number of steps."""

    MOVE_MARK = "move_mark"
    AIM_FARTHER = "aim_farther"


@dataclass(frozen=True, slots=True)
class Look:
    """What the attempts up to the end of one session say.

    Attributes
    ----------
    answer
        Of these attempts alone.
    n, n_sessions
        Attempts that say something of the board, at most `LengthSettings.latest_attempts`, and
        their sessions.
    findings
        Each condition with its number.
    first_do
        Where the risk of no jumps is too high: to move the mark if it would do with the mark right,
        or to aim farther if that and a spread small enough are not enough; else None.
    aim_needed_m
        Nearest aim, in full centimetres, at which the risk would do with the mark right.
    """

    answer: LengthAnswer
    n: int
    n_sessions: int
    findings: tuple[Finding, ...]
    first_do: FirstDo | None
    aim_needed_m: float


@dataclass(frozen=True, slots=True)
class LengthAdvice:
    """Whether to lengthen the run-up, and what speaks for and against it.

    Attributes
    ----------
    answer
        That of the latest session if the one before it says the same, else undecided.
    latest, before
        What each of the two sessions says; `before` None where there were not enough attempts yet.
    open_findings
        Each condition of the latest session that is not met, with its number.
    ready_sd_m
        Largest spread at the board that was asked for.
    chance_if_steady
        Power: how often one look at so many attempts shows it of an athlete whose true spread is
        0.8 of that (`length_settings.chance_if_steady`).
    steps_change
        `PAIR_OF_STEPS` for ready, less that for shorten, else 0.
    caution
        To be shown with it.
    """

    answer: LengthAnswer
    latest: Look
    before: Look | None
    open_findings: tuple[Finding, ...]
    ready_sd_m: float
    chance_if_steady: float | None
    steps_change: int
    caution: str


def advise_length(
    history: LengthHistory,
    *,
    ready_sd_m: float,
    aim_m: float = conventions.DEFAULT_AIM_M,
    growth_open: bool | None = None,
    load_open: bool | None = None,
    settings: LengthSettings = DEFAULT_SETTINGS,
) -> LengthAdvice | NotEnoughAttempts:
    """Say whether the athlete is ready for a pair of steps more.

    Parameters
    ----------
    history
        Attempts of the present number of steps.
    ready_sd_m
        Largest spread at the board, from `length_settings.ready_sd_m`.
    aim_m
        Toe-to-board distance of the latest plan revision.
    growth_open, load_open
        Whether a caution of growth (`growth.follow_growth`) or load (`jump_load.sum_up_load`) is
        open now; None where nobody measured.
    settings
        Other limits.

    Returns
    -------
    LengthAdvice or NotEnoughAttempts
        `LengthSettings.attempts` known board positions are needed, one of them measured in the
        latest plan revision.

    Raises
    ------
    ValueError
        Shapes that do not fit, infinite values, limits that are not positive, a pattern that is
        neither 0 nor 1.

    Notes
    -----
    Each look takes the latest attempts up to the end of a session. With sigma the SD at the board
    of an attempt of a new session (`board_spread`) and "shown" meaning P >= 0.8:

    - **shorten**: sigma shown above 1.5 times the ready SD, or the mean gain of speed into the
      board shown below -0.3 m/s.
    - **not yet**: sigma shown above the ready SD, or the predicted share of no jumps above 0.30,
      or the pattern of the last three steps shown to be held too seldom, or a caution of growth or
      load open.
    - **ready**: all of them shown to be right. What nobody measured is listed as not known and
      does not stand against it: it is left to the coach's eye.
    - else **undecided**, as with fewer than three sessions.

    The answer is given if two sessions running agree: a look after each attempt, and the first
    "ready" believed, passes many an athlete who is not (measured in docs/metrics/decisions.md).

    A risk of no jumps that is too high by the bias alone, or although the spread is small enough,
    is no reason against steps by itself: `Look.first_do` says whether moving the mark would do, or
    an aim farther behind the line.

    Edge cases: with the spread of a youth the aim of 0.06 m gives more than 0.30 no jumps even
    when the mark is right, from a spread of 0.114 m on; `Look.aim_needed_m` says which aim would
    do.

    Source: rules and limits are ours, their quality measured on simulated athletes.

    Examples
    --------
    >>> toe = np.tile([0.02, 0.12, 0.05, 0.10, 0.07], 4)
    >>> advice = advise_length(
    ...     LengthHistory(toe, toe < 0, np.repeat([1, 2, 3, 4], 5)), ready_sd_m=0.10
    ... )
    >>> advice.answer.value, advice.steps_change, advice.latest.n
    ('ready', 2, 20)
    >>> [f"{each.condition.value}: {each.state.value}" for each in advice.open_findings]
    ['speed_kept: unknown', 'last_steps: unknown', 'growth: unknown', 'load: unknown']
    """
    checked = length_history.check_history(history)
    if not 0 < ready_sd_m < np.inf:
        raise ValueError(f"ready_sd_m must be positive and finite, got {ready_sd_m}")
    conventions.check_aim(aim_m, n=checked.toe_m.size)
    latest, before = (
        _look(
            length_history.known_until(checked, back, latest=settings.latest_attempts),
            ready_sd_m=ready_sd_m,
            aim_m=aim_m,
            cautions_open={Condition.GROWTH: growth_open, Condition.LOAD: load_open},
            settings=settings,
        )
        for back in (0, 1)
    )
    if isinstance(latest, NotEnoughAttempts):
        return latest
    agreed = isinstance(before, Look) and before.answer is latest.answer
    answer = latest.answer if agreed else LengthAnswer.UNDECIDED
    steps = {LengthAnswer.READY: PAIR_OF_STEPS, LengthAnswer.SHORTEN: -PAIR_OF_STEPS}
    return LengthAdvice(
        answer=answer,
        latest=latest,
        before=before if isinstance(before, Look) else None,
        open_findings=tuple(each for each in latest.findings if each.state is not State.MET),
        ready_sd_m=ready_sd_m,
        chance_if_steady=length_settings.chance_if_steady(latest.n, settings=settings),
        steps_change=steps.get(answer, 0),
        caution=cautions.COACH_DECIDES,
    )


def _look(
    seen: CheckedHistory,
    *,
    ready_sd_m: float,
    aim_m: float,
    cautions_open: dict[Condition, bool | None],
    settings: LengthSettings,
) -> Look | NotEnoughAttempts:
    if seen.toe_m.size < settings.attempts:
        return NotEnoughAttempts(n=int(seen.toe_m.size), needed=settings.attempts)
    expected = next_attempts.expect_toe(
        seen.toe_m, seen.no_jump, session=seen.session, revision=seen.revision
    )
    if not isinstance(expected, NextAttempts):
        return expected
    spread = length_conditions.find_spread(expected, ready_sd_m, settings)
    risk = length_conditions.find_no_jumps(expected, settings)
    speed = length_conditions.find_speed(seen.gain_mps, seen.session, settings)
    findings = (
        length_conditions.find_sessions(expected.n_sessions, settings),
        spread,
        risk,
        speed,
        length_conditions.find_pattern(seen.pattern_held, settings),
        *(length_conditions.find_caution(*each) for each in cautions_open.items()),
    )
    far_too_wide = length_conditions.shown_far_too_wide(expected, ready_sd_m, settings)
    aim_needed = length_conditions.aim_needed(expected, settings)
    first_do = None
    if risk.state is State.UNMET:
        if aim_m >= aim_needed:
            first_do = FirstDo.MOVE_MARK
        elif spread.state is State.MET:
            first_do = FirstDo.AIM_FARTHER
    return Look(
        answer=_weigh(findings, shorten=far_too_wide or speed.state is State.UNMET),
        n=expected.n,
        n_sessions=expected.n_sessions,
        findings=findings,
        first_do=first_do,
        aim_needed_m=aim_needed,
    )


def _weigh(findings: tuple[Finding, ...], *, shorten: bool) -> LengthAnswer:
    states = {each.condition: each.state for each in findings}
    if states.pop(Condition.SESSIONS) is State.UNMET:
        return LengthAnswer.UNDECIDED
    if shorten:
        return LengthAnswer.SHORTEN
    if State.UNMET in states.values():
        return LengthAnswer.NOT_YET
    return LengthAnswer.UNDECIDED if State.OPEN in states.values() else LengthAnswer.READY
