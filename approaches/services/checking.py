"""The rules that a reading must keep, checked over a whole batch at once."""

from collections.abc import Iterator, Sequence
from datetime import UTC, datetime, timedelta
from decimal import Decimal

import numpy as np
import numpy.typing as npt
from django.utils import timezone

from approaches.models import Finish, Outcome, Phase
from approaches.services.arrays import Columns, Ragged
from approaches.services.limits import TOO_MANY_VALUES
from approaches.services.readings import Reading
from common.errors import Fault

# The fastest sprinters pass 12 m/s; nobody on a run-up is slower than a slow walk.
SLOWEST_MPS, FASTEST_MPS = 0.5, 13.0
MAX_FOOTFALLS, MAX_GATES = 40, 40
FARTHEST_M = 80.0
# A toe this far beyond the line would be in the pit.
FARTHEST_BEYOND_M = 5.0
# Who takes off farther from the line than this has left the board out. It is more often centimetres
# that somebody took for metres, and one such jump upsets every figure of a series. Our judgement.
FARTHEST_TAKE_OFF_M = 3.0
NEAREST_START_MARK_M, FARTHEST_START_MARK_M = 2.0, FARTHEST_M
STRONGEST_WIND_MPS = 20.0
LONGEST_JUMP_M = Decimal(25)
LONGEST_CLOCK_S = 3600.0
# Toe and torso pass a place at different moments; farther apart the clocks cannot be the same.
CLOCK_TOLERANCE_M = 2.5
EARLIEST, LATEST = datetime(2000, 1, 1, tzinfo=UTC), datetime(2100, 1, 1, tzinfo=UTC)
# A clock may be off, or set to another zone. An attempt from farther ahead would keep its session
# open, and every later one unjudged, until that day has come.
CLOCKS_DIFFER_BY = timedelta(days=1)

ALL_PHASES = (Phase.ACCELERATION.value, Phase.TRANSITION.value, Phase.ATTACK.value)

# What each code says; docs/api/errors.md tells what to do about it.
RULES = {
    "started_at_out_of_range": "The attempt started before 2000 or after 2100.",
    "started_at_in_future": "The attempt started more than a day ahead of our clock.",
    "phases_not_leading": "Phases are acceleration, then transition, then attack, without a gap.",
    "start_mark_out_of_range": "A start mark stands 2 to 80 m before the line.",
    "wind_out_of_range": "Wind is between -20 and 20 m/s.",
    "official_out_of_range": "An official distance is between 0 and 25 m.",
    "official_too_precise": "An official distance has at most two decimals.",
    "official_without_valid": "Only a valid attempt has an official distance.",
    "unequal_lengths": "Arrays of one attempt have the same length.",
    "too_many_values": TOO_MANY_VALUES,
    "position_out_of_range": "A position is between 5 m beyond the line and 80 m before it.",
    "take_off_out_of_range": (
        "A jump is taken off 3 m before the line at most: footfall 0 is in metres, 7 cm are 0.07."
    ),
    "time_out_of_range": "A time on the attempt's clock is within an hour of zero.",
    "positions_must_grow": "Going back from take-off, positions grow.",
    "times_must_fall": "Going back from take-off, times fall.",
    "contact_out_of_order": "A foot leaves after it came, and before the next one comes.",
    "speed_out_of_range": "Speed between neighbours is 0.5 to 13 m/s.",
    "gate_off_runway": "A gate stands between the start mark and the line.",
    "gates_out_of_order": "Gates are given in the order in which they were passed.",
    "gate_off_clock": "Gates and footfalls share one clock.",
}


def check_readings(readings: Sequence[Reading], columns: Columns) -> dict[int, list[Fault]]:
    """Return the faults of each reading that breaks a rule, by its index, in the rules' order."""
    faults: dict[int, list[Fault]] = {}
    # Of two huge numbers the difference may be no number; they break the rules all the same.
    with np.errstate(divide="ignore", invalid="ignore", over="ignore"):
        for check in _CHECKS:
            for index, pointer, code in check(readings, columns):
                faults.setdefault(index, []).append(Fault(pointer, code, RULES[code]))
    return faults


Found = Iterator[tuple[int, str, str]]


def _check_moments(readings: Sequence[Reading], _columns: Columns) -> Found:
    latest = timezone.now() + CLOCKS_DIFFER_BY
    for index, reading in enumerate(readings):
        if not EARLIEST <= reading.started_at < LATEST:
            yield index, "/started_at", "started_at_out_of_range"
        elif reading.started_at > latest:
            yield index, "/started_at", "started_at_in_future"


def _check_fields(readings: Sequence[Reading], _columns: Columns) -> Found:
    for index, reading in enumerate(readings):
        phases = reading.phases
        if phases is not None and tuple(phases) not in _LEADING:
            yield index, "/phases", "phases_not_leading"
        mark = reading.start_mark_m
        if mark is not None and not NEAREST_START_MARK_M <= mark <= FARTHEST_START_MARK_M:
            yield index, "/start_mark_m", "start_mark_out_of_range"
        if reading.wind_mps is not None and abs(reading.wind_mps) > STRONGEST_WIND_MPS:
            yield index, "/wind_mps", "wind_out_of_range"
        official = reading.official_m
        if official is None:
            continue
        if not official.is_finite() or not 0 <= official < LONGEST_JUMP_M:
            yield index, "/official_m", "official_out_of_range"
        elif official != official.quantize(Decimal("0.01")):
            yield index, "/official_m", "official_too_precise"
        if reading.outcome != Outcome.VALID.value:
            yield index, "/official_m", "official_without_valid"


_LEADING = tuple(ALL_PHASES[:count] for count in (1, 2, 3))


def _check_lengths(readings: Sequence[Reading], columns: Columns) -> Found:
    for index in columns.unequal_footfalls:
        yield index, "/footfalls", "unequal_lengths"
    for index in columns.unequal_gates:
        yield index, "/gates", "unequal_lengths"
    for place in np.flatnonzero(columns.toe_m.lengths > MAX_FOOTFALLS):
        yield int(place), "/footfalls", "too_many_values"
    for place in np.flatnonzero(columns.gate_at_m.lengths > MAX_GATES):
        yield int(place), "/gates", "too_many_values"


def _check_footfalls(readings: Sequence[Reading], columns: Columns) -> Found:
    toe, touchdown = columns.toe_m, columns.touchdown_s
    yield from _flag(
        toe,
        (toe.values < -FARTHEST_BEYOND_M) | (toe.values > FARTHEST_M),
        "/footfalls/toe_m",
        "position_out_of_range",
    )
    jumped = np.array([_was_jumped(reading) for reading in readings], dtype=np.bool_)
    yield from _flag(
        toe,
        np.repeat(jumped, toe.lengths)
        & (toe.places == 0)
        & (toe.values > FARTHEST_TAKE_OFF_M)
        & (toe.values <= FARTHEST_M),
        "/footfalls/toe_m",
        "take_off_out_of_range",
    )
    for name in ("touchdown_s", "toe_off_s"):
        times: Ragged = getattr(columns, name)
        yield from _flag(
            times, np.abs(times.values) > LONGEST_CLOCK_S, f"/footfalls/{name}", "time_out_of_range"
        )
    yield from _flag_neighbours(toe, 1.0, "/footfalls/toe_m", "positions_must_grow")
    yield from _flag_neighbours(touchdown, -1.0, "/footfalls/touchdown_s", "times_must_fall")
    yield from _flag_neighbours(columns.toe_off_s, -1.0, "/footfalls/toe_off_s", "times_must_fall")
    yield from _flag_speeds(toe, touchdown, -1.0, "/footfalls/touchdown_s")


def _was_jumped(reading: Reading) -> bool:
    """Tell whether there was a take-off: who baulks or runs through may end anywhere."""
    return reading.finish != Finish.RUN_THROUGH.value and reading.outcome != Outcome.BAULK.value


def _check_contacts(readings: Sequence[Reading], columns: Columns) -> Found:
    down, off = columns.touchdown_s, columns.toe_off_s
    wrong = off.values <= down.values
    # The foot of footfall k leaves no later than that of footfall k - 1 comes.
    wrong[1:] |= (off.values[1:] > down.values[:-1]) & (off.places[1:] > 0)
    yield from _flag(off, wrong, "/footfalls/toe_off_s", "contact_out_of_order")


def _check_gates(readings: Sequence[Reading], columns: Columns) -> Found:
    at, time = columns.gate_at_m, columns.gate_time_s
    if not at.values.size:
        return
    marks = np.array(
        [
            FARTHEST_M if reading.start_mark_m is None else reading.start_mark_m
            for reading in readings
        ]
    )
    off_runway = (at.values < 0) | (at.values > np.repeat(marks, at.lengths))
    yield from _flag(at, off_runway, "/gates/at_m", "gate_off_runway")
    yield from _flag(
        time, np.abs(time.values) > LONGEST_CLOCK_S, "/gates/time_s", "time_out_of_range"
    )
    yield from _flag_neighbours(at, -1.0, "/gates/at_m", "gates_out_of_order")
    yield from _flag_neighbours(time, 1.0, "/gates/time_s", "gates_out_of_order")
    yield from _flag_speeds(at, time, -1.0, "/gates/time_s")
    yield from _flag(at, _off_clock(columns), "/gates/time_s", "gate_off_clock")


def _off_clock(columns: Columns) -> npt.NDArray[np.bool_]:
    """Return which gates were passed when the footfalls say the athlete was elsewhere.

    All attempts are interpolated at once, each on its own stretch of one long clock.
    """
    toe, down, at, time = (
        columns.toe_m,
        columns.touchdown_s,
        columns.gate_at_m,
        columns.gate_time_s,
    )
    known = ~(np.isnan(toe.values) | np.isnan(down.values))
    if not known.any():
        return np.zeros(len(at.values), dtype=bool)
    stretch = 10 * LONGEST_CLOCK_S
    clock = (down.values + toe.rows * stretch)[known]
    order = np.argsort(clock)
    clock, place, row = clock[order], toe.values[known][order], toe.rows[known][order]
    wanted = np.clip(time.values, -LONGEST_CLOCK_S, LONGEST_CLOCK_S) + at.rows * stretch
    after = np.searchsorted(clock, wanted)
    inside = (after > 0) & (after < len(clock))
    before, behind = np.clip(after - 1, 0, None), np.clip(after, None, len(clock) - 1)
    inside &= (row[before] == at.rows) & (row[behind] == at.rows)
    elsewhere = np.abs(np.interp(wanted, clock, place) - at.values) > CLOCK_TOLERANCE_M
    return np.asarray(inside & elsewhere)


_CHECKS = (
    _check_moments,
    _check_fields,
    _check_lengths,
    _check_footfalls,
    _check_contacts,
    _check_gates,
)


def _flag(array: Ragged, wrong: npt.NDArray[np.bool_], pointer: str, code: str) -> Found:
    """Name the first wrong value of each array."""
    places = np.flatnonzero(wrong)
    if places.size:
        rows, first = np.unique(array.rows[places], return_index=True)
        for row, place in zip(rows, array.places[places[first]], strict=True):
            yield int(row), f"{pointer}/{place}", code


def _neighbours(array: Ragged, *others: Ragged) -> tuple[npt.NDArray[np.int64], ...]:
    """Return the indices of each pair of neighbouring known values of one array."""
    known = ~np.isnan(array.values)
    for other in others:
        known &= ~np.isnan(other.values)
    places = np.flatnonzero(known)
    first, second = places[:-1], places[1:]
    same = array.rows[first] == array.rows[second]
    return first[same], second[same]


def _flag_neighbours(array: Ragged, sign: float, pointer: str, code: str) -> Found:
    """Name the first value that does not go `sign`'s way from the known one before it."""
    first, second = _neighbours(array)
    wrong = np.zeros(len(array.values), dtype=bool)
    wrong[second] = (array.values[second] - array.values[first]) * sign <= 0
    yield from _flag(array, wrong, pointer, code)


def _flag_speeds(at_m: Ragged, time_s: Ragged, sign: float, pointer: str) -> Found:
    first, second = _neighbours(at_m, time_s)
    way = (at_m.values[second] - at_m.values[first]) * sign
    time = time_s.values[second] - time_s.values[first]
    speed = way / time
    wrong = np.zeros(len(at_m.values), dtype=bool)
    # Values out of order have their own rule.
    wrong[second] = (way * time > 0) & ~((speed >= SLOWEST_MPS) & (speed <= FASTEST_MPS))
    yield from _flag(at_m, wrong, pointer, "speed_out_of_range")
