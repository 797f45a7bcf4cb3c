"""Invented seasons, followed by the charts as the service does it, and by plain rules."""

from collections.abc import Callable, Iterator
from dataclasses import dataclass

import numpy as np

from analytics.core import alert_rules, baselines, comparing, following, rolling
from analytics.core.alert_rules import CLOSED, Decision, Memory, Verdict
from analytics.core.alert_settings import RULE_DEFAULTS, Kind
from analytics.core.conventions import BOARD_WIDTH_M, NotEnoughAttempts

AIM_M, SD_M = 0.06, 0.08
"""The athlete's own aim and SD within a session; at 0.08 m the aim is the product's default."""

MOST_BASELINE_SESSIONS = 15
OFF_M = 0.10
IN_A_ROW = 3


@dataclass(frozen=True)
class Habit:
    """How an athlete jumps.

    Attributes
    ----------
    m
        Attempts of a session.
    between
        SD of session effects over that within a session.
    hides
        Toes beyond the line are not measured.
    """

    m: int
    between: float
    hides: bool = False


@dataclass(frozen=True)
class Season:
    """Sessions of one athlete: toes before anybody measured them, shape (sessions, m)."""

    habit: Habit
    toe_m: np.ndarray

    def measured(self, session: int) -> np.ndarray:
        return self.seen(self.toe_m[session])

    def seen(self, toe_m: np.ndarray) -> np.ndarray:
        return np.where(toe_m < 0, np.nan, toe_m) if self.habit.hides else toe_m


def make_season(rng: np.random.Generator, habit: Habit, n_sessions: int) -> Season:
    day = rng.normal(0, habit.between * SD_M, size=n_sessions)[:, None]
    return Season(habit, AIM_M + day + rng.normal(0, SD_M, size=(n_sessions, habit.m)))


@dataclass(frozen=True)
class Start:
    """The baseline, and with which session the charts begin."""

    baseline: baselines.Baseline
    session: int


def find_start(season: Season) -> Start | None:
    """Return None where the first sessions make no baseline."""
    toe = season.toe_m[:MOST_BASELINE_SESSIONS]
    session = np.repeat(np.arange(len(toe)), toe.shape[1])
    flat = toe.ravel()
    found = baselines.find_baseline(season.seen(flat), flat < 0, session, aim_m=AIM_M)
    if isinstance(found, NotEnoughAttempts):
        return None
    return Start(found, found.n_sessions_spanned)


Judged = dict[Kind, Decision]


def follow(
    season: Season,
    start: Start,
    state: following.ChartState = following.START,
    memories: dict[Kind, Memory] | None = None,
) -> Iterator[tuple[int, following.ChartState, Judged]]:
    """Judge session after session by both charts, with the memory of each alert."""
    memories = {} if memories is None else memories
    for session in range(start.session, len(season.toe_m)):
        point = following.summarise_session(
            season.measured(session), season.toe_m[session] < 0, baseline=start.baseline
        )
        assert isinstance(point, following.SessionPoint)
        state = following.follow_session(state, point, baseline=start.baseline)
        decisions = {
            kind: judge(state, start.baseline, memories.get(kind, CLOSED))
            for kind, judge in (
                (Kind.LEVEL, alert_rules.judge_level),
                (Kind.SPREAD, alert_rules.judge_spread),
            )
        }
        memories.update({kind: decision.memory for kind, decision in decisions.items()})
        yield session, state, decisions


def judge_windows(season: Season, start: Start) -> Iterator[tuple[int, Judged]]:
    """Judge the share of no jumps and progress after each session, with their memories."""
    m, block = season.habit.m, RULE_DEFAULTS.progress_block_attempts
    toe = season.toe_m.ravel()
    seen = season.seen(toe)
    number = np.repeat(np.arange(len(season.toe_m)), m)
    shares, progress = CLOSED, CLOSED
    for session in range(start.session, len(season.toe_m)):
        end = (session + 1) * m
        window = toe[max(0, end - rolling.DEFAULT_WINDOW) : end]
        share = alert_rules.judge_no_jump_share(int((window < 0).sum()), window.size, shares)
        blocks: list[comparing.BlockFigures] = []
        for first in (end - 2 * block, end - block):
            part = slice(max(0, first), max(0, first + block))
            found = comparing.block_figures(
                seen[part], toe[part] < 0, aim_m=AIM_M, session=number[part]
            )
            if first >= 0 and isinstance(found, comparing.BlockFigures):
                blocks.append(found)
        change = (
            comparing.compare_blocks(*blocks)
            if len(blocks) == 2
            else NotEnoughAttempts(n=end, needed=2 * block)
        )
        told = alert_rules.judge_progress(change, progress)
        shares, progress = share.memory, told.memory
        yield session, {Kind.NO_JUMP_SHARE: share, Kind.PROGRESS: told}


def opens(decisions: Judged, kind: Kind) -> bool:
    return decisions[kind].verdict is Verdict.OPENS


Rule = Callable[[np.ndarray], np.ndarray]


def off_the_board(toe_m: np.ndarray) -> np.ndarray:
    """Return after which attempts a coach says: three off the board in a row."""
    return _third_in_a_row((toe_m < 0) | (toe_m > BOARD_WIDTH_M))


def off_to_one_side(toe_m: np.ndarray) -> np.ndarray:
    """Return after which attempts a coach says: three in a row more than 0.10 m short, or long."""
    error = toe_m - AIM_M
    return _third_in_a_row(error > OFF_M) | _third_in_a_row(error < -OFF_M)


def _third_in_a_row(missed: np.ndarray) -> np.ndarray:
    """Return where a run of misses reaches three; the count then begins anew."""
    calls, run = np.zeros(missed.size, dtype=bool), 0
    for place, miss in enumerate(missed.tolist()):
        run = run + 1 if miss else 0
        if run == IN_A_ROW:
            calls[place], run = True, 0
    return calls
