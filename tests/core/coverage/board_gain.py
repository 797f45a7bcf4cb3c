"""The mean gain into the board, with clocks that err and gates that stand a little wrong."""

from collections.abc import Callable

import numpy as np

from analytics.core import board_gain, gate_speeds
from tests.core.coverage.studies import Covered, Figure, Study

SPEED_MPS, GAIN_MPS, OWN_SD_MPS, CLOCK_SD_S = 9.5, -0.15, 0.15, 0.003
ENDS = np.array(gate_speeds.ZONE_ENDS_M)


def run(
    sessions: int, each: int, *, place_sd_m: float, between_mps: float
) -> Callable[[np.random.Generator], Covered]:
    session = np.repeat(np.arange(sessions), each)

    def once(rng: np.random.Generator) -> Covered:
        gain = GAIN_MPS + rng.normal(0, between_mps, sessions)[session]
        first = SPEED_MPS + rng.normal(0, 0.1, session.size)
        second = first + gain + rng.normal(0, OWN_SD_MPS, session.size)
        # The run passes 11, 6 and 1 m so; the gates stand a little off, all session long.
        passed = np.column_stack([np.zeros(session.size), 5 / first, 5 / first + 5 / second])
        off = rng.normal(0, place_sd_m, (sessions, 3))[session]
        local = np.column_stack([first, (first + second) / 2, second])
        time = passed - off / local + rng.normal(0, CLOCK_SD_S, passed.shape)
        zones = gate_speeds.zone_speeds(ENDS, time, clock_sd_s=CLOCK_SD_S, place_sd_m=place_sd_m)
        found = board_gain.mean_gain(zones, session=session)
        assert isinstance(found, board_gain.BoardGain)
        return [found.gain_interval.low < GAIN_MPS < found.gain_interval.high]

    return once


STUDIES = (
    Study(
        "gate_speeds",
        "1 session of 8 attempts, gates placed to 0.02 m, timing error 0.003 s",
        (Figure("mean gain", "t, widened by the places", 0.965, 0.995),),
        run(1, 8, place_sd_m=0.02, between_mps=0.0),
    ),
    Study(
        "gate_speeds",
        "5 sessions of 5 attempts that differ by 0.1 m/s, gates placed to 0.02 m",
        (Figure("mean gain", "t, Satterthwaite", 0.93, 0.97),),
        run(5, 5, place_sd_m=0.02, between_mps=0.1),
    ),
)
