"""How soon a change is called, and how well it is dated."""

from collections.abc import Sequence

import numpy as np

from analytics.core import breaks, following
from analytics.core.alert_rules import Memory
from analytics.core.alert_settings import Kind
from tests.core.false_alarms import seasons
from tests.core.false_alarms.seasons import AIM_M, SD_M, Habit
from tests.core.tables import Row, Table

ATHLETES = 200
BEFORE, AFTER = 10, 40
M = 6
SOON, LATE = 5, 20
NEAR = 2


def delays_of_shift(shift_sd: float, between: float) -> Sequence[float]:
    """Return how soon a shift is called by the level chart and by two rules."""
    rng = np.random.default_rng(13)
    by_chart, by_board, by_side = [], [], []
    for _ in range(ATHLETES):
        season, start, state, memories = _calm_athlete(rng, between)
        sign = rng.choice([-1.0, 1.0])
        season.toe_m[start.session :] += sign * shift_sd * SD_M
        by_chart.append(_first_call(season, start, state, memories, Kind.LEVEL))
        by_board.append(_first_rule(season, start, seasons.off_the_board))
        by_side.append(_first_rule(season, start, seasons.off_to_one_side))
    return [*_summary(by_chart), *_summary(by_board), *_summary(by_side)]


def delays_of_spread(factor: float, between: float) -> Sequence[float]:
    """Return how soon a larger spread is called by the spread chart and by a rule."""
    rng = np.random.default_rng(14)
    by_chart, by_board = [], []
    for _ in range(ATHLETES):
        season, start, state, memories = _calm_athlete(rng, between)
        later = season.toe_m[start.session :]
        season.toe_m[start.session :] = AIM_M + factor * (later - AIM_M)
        by_chart.append(_first_call(season, start, state, memories, Kind.SPREAD))
        by_board.append(_first_rule(season, start, seasons.off_the_board))
    return [*_summary(by_chart), *_summary(by_board)]


def dates_of_shift(shift_sd: float, between: float) -> Sequence[float]:
    """Return how near the date is, of the cumulative sum and of the break search at the alarm."""
    rng = np.random.default_rng(15)
    by_sum, by_break, shown = [], [], 0
    for _ in range(ATHLETES):
        season, start, state, memories = _calm_athlete(rng, between)
        season.toe_m[start.session :] += shift_sd * SD_M
        for session, after, decisions in seasons.follow(season, start, state, memories):
            if not seasons.opens(decisions, Kind.LEVEL):
                continue
            since = decisions[Kind.LEVEL].evidence["since_session_point"]
            assert isinstance(since, int)
            by_sum.append(since - 1 - BEFORE)
            # Session points are counted from the first after the baseline.
            first = session + 1 - after.n_points
            errors = season.toe_m[first : session + 1].mean(axis=1) - AIM_M
            found = breaks.find_break(errors, rng=rng, n_permutations=199)
            if isinstance(found, breaks.BreakSearch) and found.shift is not None:
                shown += 1
                by_break.append(found.shift.after - BEFORE)
            break
    called = max(1, len(by_sum))
    return [
        len(by_sum) / ATHLETES,
        float(np.median(by_sum)),
        float(np.mean(np.abs(by_sum) <= NEAR)),
        shown / called,
        float(np.median(by_break)),
        float(np.mean(np.abs(by_break) <= NEAR)),
    ]


Athlete = tuple[seasons.Season, seasons.Start, following.ChartState, dict[Kind, Memory]]


def _calm_athlete(rng: np.random.Generator, between: float) -> Athlete:
    """Return one without an alarm for `BEFORE` sessions, and where the charts stand then."""
    habit = Habit(M, between)
    while True:
        season = seasons.make_season(rng, habit, seasons.MOST_BASELINE_SESSIONS + BEFORE + AFTER)
        start = seasons.find_start(season)
        if start is None:
            continue
        change = start.session + BEFORE
        calm = seasons.Season(habit, season.toe_m[:change])
        memories: dict[Kind, Memory] = {}
        judged = list(seasons.follow(calm, start, memories=memories))
        if not any(memory.is_open for memory in memories.values()):
            kept = seasons.Season(habit, season.toe_m[: change + AFTER])
            return kept, seasons.Start(start.baseline, change), judged[-1][1], memories


def _first_call(
    season: seasons.Season,
    start: seasons.Start,
    state: following.ChartState,
    memories: dict[Kind, Memory],
    kind: Kind,
) -> float:
    """Return with the how-manieth session after the change the alert opens; infinite for never."""
    for session, _, decisions in seasons.follow(season, start, state, memories):
        if seasons.opens(decisions, kind):
            return session + 1 - start.session
    return np.inf


def _first_rule(season: seasons.Season, start: seasons.Start, rule: seasons.Rule) -> float:
    calls = np.flatnonzero(rule(season.toe_m[start.session :].ravel()))
    return float(calls[0] // M + 1) if calls.size else np.inf


def _summary(delays: Sequence[float]) -> list[float]:
    """Return the median session of the call, and the shares called soon and at all by then."""
    found = np.array(delays)
    return [
        float(np.median(np.minimum(found, AFTER))),
        float(np.mean(found <= SOON)),
        float(np.mean(found <= LATE)),
    ]


def headings(*names: str) -> tuple[str, ...]:
    return tuple(
        f"{name}: {what}"
        for name in names
        for what in ("median session", f"within {SOON}", f"within {LATE}")
    )


def cells(size: float, between: float) -> tuple[str, ...]:
    return (f"{size:g}", f"{between:g}")


BETWEEN = (0.0, 0.35, 0.7)

SHIFTS = Table(
    "After a shift",
    f"""\
The athlete, {BEFORE} sessions of {M} attempts without an open alert behind them, lands shorter or
longer from then on by so many SDs of an attempt (0.08 m). With which session the alert opens (the
median; {AFTER} stands for "not in {AFTER}"), and how often within {SOON} and {LATE} sessions, in
{ATHLETES} athletes for each row. The rules are quicker, and pay for it: the first rows, with a
shift of 0, are athletes who have not changed, and within {LATE} sessions four of five of them or
more are called by "three off the board". What the chart cannot do is see a shift of half an SD in
a season's time: it calls one athlete in four or fewer within {LATE} sessions.""",
    ("shift, SDs", "sessions differ"),
    headings("level chart", "three off the board", "three to one side"),
    tuple(
        Row(
            cells(size, between),
            lambda size=size, between=between: delays_of_shift(size, between),  # type: ignore[misc]
        )
        for size in (0.0, 0.5, 1.0, 2.0)
        for between in BETWEEN
    ),
)

SPREADS = Table(
    "After the spread grew",
    f"""\
Likewise, with all errors larger by a factor from then on, {ATHLETES} athletes for each row.""",
    ("spread, times", "sessions differ"),
    headings("spread chart", "three off the board"),
    tuple(
        Row(
            cells(factor, between),
            lambda factor=factor, between=between: delays_of_spread(factor, between),  # type: ignore[misc]
        )
        for factor in (1.0, 1.5, 2.0)
        for between in (0.0, 0.35)
    ),
)

DATES = Table(
    "Dating a shift",
    f"""\
Where the level chart opens after a shift of 1 or 2 SDs, in how many of {ATHLETES} athletes within
{AFTER} sessions, how far its date is off (median in sessions, positive: too late) and how often
within {NEAR} sessions of the truth. The chart dates by a cumulative sum against the aim. Beside it
the [search for one shift](breaks.md) over the same session errors, made when the alert opens: how
often it shows a shift by then, and its date if so.""",
    ("shift, SDs", "sessions differ"),
    (
        "called",
        "sum: off by",
        f"sum: within {NEAR}",
        "search shows it",
        "search: off by",
        f"search: within {NEAR}",
    ),
    tuple(
        Row(
            cells(size, between),
            lambda size=size, between=between: dates_of_shift(size, between),  # type: ignore[misc]
        )
        for size in (1.0, 2.0)
        for between in BETWEEN
    ),
)
