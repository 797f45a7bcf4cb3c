"""Alarms for athletes who have not changed."""

from collections.abc import Sequence

import numpy as np

from analytics.core.alert_settings import Kind
from tests.core.false_alarms import seasons
from tests.core.false_alarms.seasons import Habit
from tests.core.tables import Row, Table

ATHLETES = 250
ATHLETES_OF_WINDOWS = 60
SESSIONS = 30


def measure(habit: Habit) -> Sequence[float]:
    """Return alarms per 100 attempts of the charts and two rules, and athletes told at all."""
    rng = np.random.default_rng(11)
    alarms = np.zeros(4)
    told = 0
    for _ in range(ATHLETES):
        season, start = _season(rng, habit)
        found = [decisions for _, _, decisions in seasons.follow(season, start)]
        by_chart = [
            sum(seasons.opens(decisions, kind) for decisions in found)
            for kind in (Kind.LEVEL, Kind.SPREAD)
        ]
        after = season.toe_m[start.session :].ravel()
        by_rule = [
            int(rule(after).sum()) for rule in (seasons.off_the_board, seasons.off_to_one_side)
        ]
        alarms += [*by_chart, *by_rule]
        told += any(by_chart)
    return [*(100 * alarms / (ATHLETES * SESSIONS * habit.m)), told / ATHLETES]


def measure_windows(habit: Habit) -> Sequence[float]:
    """Return alarms per 100 attempts of the share of no jumps and of progress."""
    rng = np.random.default_rng(12)
    alarms = np.zeros(2)
    for _ in range(ATHLETES_OF_WINDOWS):
        season, start = _season(rng, habit)
        for _, decisions in seasons.judge_windows(season, start):
            alarms += [
                seasons.opens(decisions, kind) for kind in (Kind.NO_JUMP_SHARE, Kind.PROGRESS)
            ]
    return list(100 * alarms / (ATHLETES_OF_WINDOWS * SESSIONS * habit.m))


def _season(rng: np.random.Generator, habit: Habit) -> tuple[seasons.Season, seasons.Start]:
    """Return a season that goes on for `SESSIONS` sessions after its baseline."""
    while True:
        season = seasons.make_season(rng, habit, seasons.MOST_BASELINE_SESSIONS + SESSIONS)
        start = seasons.find_start(season)
        if start is not None:
            kept = season.toe_m[: start.session + SESSIONS]
            return seasons.Season(habit, kept), start


def cells(habit: Habit) -> tuple[str, ...]:
    return (str(habit.m), f"{habit.between:g}", "no" if habit.hides else "yes")


HABITS = (
    *(Habit(m, between) for m in (4, 6, 10) for between in (0.0, 0.35, 0.7, 1.0)),
    *(Habit(6, between, hides=True) for between in (0.0, 0.7)),
)
WINDOW_HABITS = (Habit(4, 0.35), Habit(6, 0.0), Habit(6, 0.7), Habit(10, 0.35))

SETTINGS = ("attempts a session", "sessions differ", "toes measured beyond the line")

TABLE = Table(
    "Without a change: the charts",
    f"""\
{ATHLETES} athletes in each row, {SESSIONS} sessions each after a baseline of their own. Alarms in
100 attempts of [the level and the spread chart](following.md), opened as
[the rules](alert_rules.md) open them, beside two rules as a coach may have them: three attempts in
a row off the board (a no jump or more than 0.20 m behind the line), and three in a row more than
0.10 m short, or long. Last, how many of the athletes either chart calls at least once in the
{SESSIONS} sessions. The rules take a bad day for a change, the more so the more
sessions differ.""",
    SETTINGS,
    (
        "level, per 100",
        "spread, per 100",
        "three off the board, per 100",
        "three to one side, per 100",
        "athletes called by a chart",
    ),
    tuple(Row(cells(habit), lambda habit=habit: measure(habit)) for habit in HABITS),  # type: ignore[misc]
)

WINDOWS = Table(
    "Without a change: no jumps and progress",
    f"""\
{ATHLETES_OF_WINDOWS} athletes in each row, likewise: the share of no jumps over the last 20
attempts held against 0.32 (these athletes truly have 0.23 where sessions do not differ), and
progress, the last 20 attempts against the 20 before, with the sessions told apart.""",
    SETTINGS,
    ("share of no jumps, per 100", "progress, per 100"),
    tuple(Row(cells(habit), lambda habit=habit: measure_windows(habit)) for habit in WINDOW_HABITS),  # type: ignore[misc]
)
