"""The constant part of the errors, place in the session and wind taken out."""

from collections.abc import Callable

import numpy as np

from analytics.core import causes, conventions
from tests.core.coverage.studies import Covered, Figure, Study, exact

MEAN_M, SD_M, BY_PLACE_M, BY_WIND_M = 0.05, 0.08, 0.006, -0.04


def taken_apart(sessions: int, ratio: float) -> Callable[[np.random.Generator], Covered | None]:
    def once(rng: np.random.Generator) -> Covered | None:
        session = np.repeat(np.arange(sessions), 6)
        place = np.tile(np.arange(6), sessions)
        wind = rng.normal(0.3, 0.9, size=session.size)
        day = rng.normal(0, ratio * SD_M, size=sessions)[session]
        error = MEAN_M + day + BY_PLACE_M * place + BY_WIND_M * wind
        found = causes.error_causes(
            error + rng.normal(0, SD_M, size=session.size),
            session=session,
            place=place,
            wind_mps=wind,
        )
        assert found.place is not None
        assert found.wind is not None
        figures = (
            (found.mean_m, found.mean_standard_error_m, found.mean_df, MEAN_M),
            (found.place.estimate, found.place.standard_error, found.place.df, BY_PLACE_M),
            (found.wind.estimate, found.wind.standard_error, found.wind.df, BY_WIND_M),
        )
        covered = []
        for estimate, error_of_it, df, truth in figures:
            interval = conventions.t_interval(
                estimate=estimate, standard_error=error_of_it, df=df, level=0.95
            )
            covered.append(interval.low < truth < interval.high)
        return covered

    return once


STUDIES = tuple(
    Study(
        "causes",
        f"{sessions} sessions of 6 attempts whose means differ by {ratio:g} of the spread within",
        (
            Figure("mean", "t, Satterthwaite, drawn toward the usual", low, high),
            exact("slope on the place", "t"),
            exact("slope on the wind", "t"),
        ),
        taken_apart(sessions, ratio),
    )
    for sessions, ratio, low, high in (
        (2, 0.0, 0.965, 0.995),
        (2, 0.7, 0.925, 0.965),
        (6, 0.7, 0.925, 0.965),
        (6, 1.5, 0.875, 0.925),
    )
)
