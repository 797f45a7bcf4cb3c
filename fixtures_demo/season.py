"""The season of the demo club: which sessions there were, and every attempt as it was sent.

Everything follows from fixed dates and seeds, so that each machine has the same season.
"""

from __future__ import annotations

from dataclasses import dataclass, replace
from datetime import date, datetime, time, timedelta
from typing import Any
from zoneinfo import ZoneInfo

import numpy as np

from analytics.core import simulator
from fixtures_demo.cast import JUMPERS
from fixtures_demo.jumpers import SENIORS, YOUTH, Jumper

ZONE = ZoneInfo("Europe/Vienna")
HALL, STADIUM = "Hall lane", "West runway"

_FIRST_WEEK, _LAST_WEEK = date(2025, 11, 3), date(2026, 9, 21)  # Mondays
_OUTDOORS_FROM = date(2026, 4, 6)
_WEEKDAYS = {SENIORS: 1, YOUTH: 2}
_SATURDAY = 5
# Mondays of the weeks without a session: year's end, half-term, the change outdoors, the summer.
_PAUSES = frozenset(
    date.fromisoformat(day)
    for day in (
        "2025-12-22",
        "2025-12-29",
        "2026-02-16",
        "2026-03-23",
        "2026-03-30",
        "2026-07-13",
        "2026-07-20",
        "2026-08-03",
    )
)
_COMPETITIONS = frozenset(
    date.fromisoformat(day)
    for day in ("2026-01-26", "2026-02-23", "2026-05-25", "2026-06-22", "2026-09-07")
)
_TESTS = frozenset(date.fromisoformat(day) for day in ("2026-01-12", "2026-04-20", "2026-08-24"))
_PRESENT, _BAULKS = 0.92, 0.01
_RUN_THROUGHS = 2
_FROM_EACH = 2

PUSHED_DATE = date(2026, 10, 3)
PUSHED_CODE = "2026-10-03-am"
PUSHED_JUMPERS = ("A-01", "A-02", "A-03", "A-04", "A-05", "A-06", "A-07", "A-08", "A-09")
PUSHED_ATTEMPTS = 4


@dataclass(frozen=True, slots=True)
class Meeting:
    """A session: a day, who is called, and where."""

    code: str
    held_date: date
    kind: str
    squad: str
    starts: time
    runway: str
    weather: str = ""
    field_size: int | None = None

    @property
    def indoors(self) -> bool:
        return self.runway == HALL


def meetings() -> list[Meeting]:
    """Return every session of the season, in order."""
    weeks = (_LAST_WEEK - _FIRST_WEEK).days // 7 + 1
    mondays = [_FIRST_WEEK + timedelta(weeks=number) for number in range(weeks)]
    return [
        _meeting(monday, squad)
        for monday in mondays
        if monday not in _PAUSES
        for squad in (SENIORS, YOUTH)
    ]


def _meeting(monday: date, squad: str) -> Meeting:
    if monday in _COMPETITIONS:
        kind, weekday, starts = "competition", _SATURDAY, time(14 if squad == SENIORS else 10)
    else:
        kind = "testing" if monday in _TESTS else "training"
        weekday, starts = _WEEKDAYS[squad], time(17, 30)
    held_date = monday + timedelta(days=weekday)
    outdoors = monday >= _OUTDOORS_FROM
    return Meeting(
        code=f"{held_date}-{squad.lower()}",
        held_date=held_date,
        kind=kind,
        squad=squad,
        starts=starts,
        runway=STADIUM if outdoors else HALL,
        weather=_WEATHER[monday.toordinal() // 7 % len(_WEATHER)] if outdoors else "",
        field_size=14 if kind == "competition" else None,
    )


_WEATHER = ("dry, light wind", "sunny, warm", "cloudy", "fresh, gusts across")


def history(jumper: Jumper) -> list[dict[str, Any]]:
    """Return the athlete's attempts of the season as a source would send them, in order."""
    place = _place(jumper)
    rng = np.random.default_rng([2026, place, jumper.seed])
    rows: list[dict[str, Any]] = []
    for meeting in meetings():
        # Everybody draws alike, so that a day off changes no other day.
        there, count = rng.random() < _PRESENT, int(rng.integers(4, 9))
        if meeting.kind == "competition":
            count = min(count, 6)
        if (
            there
            and meeting.squad == jumper.squad
            and meeting.held_date >= jumper.revisions[0].from_date
        ):
            rows += _attempts(jumper, meeting, count, place=place, rng=rng)
            rows += _from_fewer_steps(jumper, meeting, place=place)
    return sorted(rows, key=lambda row: str(row["started_at"]))


def pushed_session() -> list[dict[str, Any]]:
    """Return the good rows of the session that the sample script pushes, in order."""
    meeting = Meeting(
        code=PUSHED_CODE,
        held_date=PUSHED_DATE,
        kind="training",
        squad="",
        starts=time(9, 30),
        runway=STADIUM,
    )
    rows: list[dict[str, Any]] = []
    for jumper in JUMPERS:
        if jumper.code in PUSHED_JUMPERS:
            place = _place(jumper)
            rng = np.random.default_rng([2026, 10, place, jumper.seed])
            rows += _attempts(jumper, meeting, PUSHED_ATTEMPTS, place=place, rng=rng)
    return sorted(rows, key=lambda row: str(row["started_at"]))


def _place(jumper: Jumper) -> int:
    return [each.code for each in JUMPERS].index(jumper.code)


def _from_fewer_steps(jumper: Jumper, meeting: Meeting, *, place: int) -> list[dict[str, Any]]:
    """Return what was jumped from the shorter run-ups on a day of all lengths.

    They draw for themselves, so that the long run-up is what it would be without them.
    """
    if meeting.held_date not in jumper.length_days:
        return []
    rows: list[dict[str, Any]] = []
    for number, steps in enumerate(jumper.shorter_steps):
        rng = np.random.default_rng(
            [2026, jumper.length_seed, steps, meeting.held_date.toordinal()]
        )
        made = _attempts(jumper.from_other(steps), meeting, _FROM_EACH, place=place, rng=rng)
        for row in made:
            # Between two attempts of the long run-up, in mixed order: else the fresh legs of the
            # beginning would pass for a gain of whatever comes first.
            at = datetime.fromisoformat(row["started_at"])
            between = timedelta(seconds=120 * (number + 1))
            row["started_at"] = (at + between).isoformat(timespec="milliseconds")
            row["external_id"] += f"-{steps}"
        rows += made
    return rows


def _attempts(
    jumper: Jumper, meeting: Meeting, count: int, *, place: int, rng: np.random.Generator
) -> list[dict[str, Any]]:
    habits = jumper.habits_on(meeting.held_date)
    if meeting.indoors:
        habits = replace(habits, wind_sd_mps=0.0)
    rows = []
    if meeting.kind == "testing":
        # Nobody jumps at the end of a run-through, so the board is steered to by half.
        relaxed = replace(
            habits, steering_gain=habits.steering_gain / 2, unmeasured_no_jump_share=0.0
        )
        made = simulator.simulate(relaxed, attempts_by_session=[_RUN_THROUGHS], rng=rng)
        rows += [_row(jumper, meeting, made, i, finish="run_through") for i in range(_RUN_THROUGHS)]
    made = simulator.simulate(habits, attempts_by_session=[count], rng=rng)
    baulks = rng.random(count) < _BAULKS
    rows += [
        _row(jumper, meeting, made, i, finish="jump", baulk=bool(baulks[i])) for i in range(count)
    ]
    begins = datetime.combine(meeting.held_date, meeting.starts, tzinfo=ZONE)
    for number, row in enumerate(rows):
        # In rounds, one athlete after the other, never to the second.
        after_s = number * 600 + place * 75 + float(rng.uniform(0, 40))
        row["started_at"] = (begins + timedelta(seconds=round(after_s, 2))).isoformat(
            timespec="milliseconds"
        )
        row["external_id"] = f"{meeting.code}-{jumper.code}-{number + 1:02}"
    return rows


def _row(
    jumper: Jumper,
    meeting: Meeting,
    made: simulator.SimulatedAttempts,
    index: int,
    *,
    finish: str,
    baulk: bool = False,
) -> dict[str, Any]:
    revision = jumper.revision_on(meeting.held_date)
    toe_m = _rounded(made.toe_m[index], 2)
    if baulk:
        toe_m[0] = None
    elif toe_m[0] is not None:
        # The laser reads to the centimetre, but never against what the judge saw at the line.
        toe_m[0] = min(toe_m[0], -0.01) if made.no_jump[index] else max(toe_m[0], 0.0)
    if baulk:
        outcome = "baulk"
    elif finish == "run_through":
        outcome = "not_judged"
    else:
        outcome = "no_jump" if made.no_jump[index] else "valid"
    row: dict[str, Any] = {
        "external_id": "",
        "athlete": f"ext:{jumper.code}",
        "approach": jumper.approach_code,
        "session": meeting.code,
        "started_at": "",
        "finish": finish,
        "phases": ["acceleration", "transition", "attack"],
        "start_mark_m": float(jumper.planned_toe_m(revision)[-1]),
        "outcome": outcome,
    }
    if not meeting.indoors:
        row["wind_mps"] = round(float(made.wind_mps[index]), 1)
    if outcome == "valid":
        row["official_m"] = f"{made.official_m[index]:.2f}"
    unwatched = [None] * (len(toe_m) - 3)
    row["footfalls"] = {
        "toe_m": toe_m,
        "touchdown_s": _rounded(made.touchdown_s[index], 3),
        "toe_off_s": _rounded(made.toe_off_s[index], 3),
        "contact": ["flat", "flat", "ball", *unwatched],
    }
    passed = ~np.isnan(made.gate_time_s[index])
    row["gates"] = {
        "at_m": [gate for gate, seen in zip(jumper.planned.gate_at_m, passed, strict=True) if seen],
        "time_s": _rounded(made.gate_time_s[index][passed], 3),
    }
    return row


def _rounded(values: Any, decimals: int) -> list[float | None]:
    """Return the values as a device would show them, None where nothing was measured."""
    return [None if np.isnan(value) else round(float(value), decimals) for value in values]
