"""The slope on the wind, averaged over what is believed of it."""

from collections.abc import Callable

import numpy as np

from analytics.core import wind, wind_table
from tests.core.coverage.studies import Covered, Figure, Study

RUN_M = 32.0


def blow(
    sessions: int, each: int, draw_slope: Callable[[np.random.Generator], float]
) -> Callable[[np.random.Generator], Covered]:
    session = np.repeat(np.arange(sessions), each)

    def once(rng: np.random.Generator) -> Covered:
        slope = draw_slope(rng)
        sd = 0.15 * np.sqrt(4 / rng.chisquare(4))
        between = sd * abs(rng.normal(0, 0.7))
        blowing = rng.normal(0.3, 1.2, sessions)[session] + rng.normal(0, 0.7, session.size)
        error = (
            rng.normal(0, 0.20)
            + slope * wind.felt_wind(blowing)
            + rng.normal(0, between, sessions)[session]
            + rng.normal(0, sd, session.size)
        )
        table = wind_table.wind_table(error, blowing, run_m=RUN_M, session=session, winds_mps=[2.0])
        moved = -slope * float(wind.felt_wind(2.0))
        return [bool(table.move_low_m[0] < moved < table.move_high_m[0])]

    return once


def believed(rng: np.random.Generator) -> float:
    return float(rng.normal(wind.usual_wind_slope(RUN_M), wind_table.SLOPE_SD_M))


def far_off(_rng: np.random.Generator) -> float:
    return float(wind.usual_wind_slope(RUN_M)) - 2 * wind_table.SLOPE_SD_M


STUDIES = (
    *(
        Study(
            "wind_table",
            f"{text} attempts, all drawn from what is believed",
            (Figure("move at +2 m/s", "Bayesian, averaged over its belief", 0.935, 0.965),),
            blow(sessions, each, believed),
        )
        for text, sessions, each in (
            ("1 session of 4", 1, 4),
            ("4 sessions of 5", 4, 5),
            ("12 sessions of 5", 12, 5),
        )
    ),
    *(
        Study(
            "wind_table",
            f"{sessions} sessions of {each} attempts, an athlete two SDs from what is usual",
            (Figure("move at +2 m/s", "Bayesian, not averaged", low, high),),
            blow(sessions, each, far_off),
        )
        for sessions, each, low, high in ((4, 5, 0.76, 0.84), (12, 5, 0.84, 0.91))
    ),
)
