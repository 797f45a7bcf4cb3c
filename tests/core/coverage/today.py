"""Today's mark: effects of runways, competition days, the offset of run-throughs, the warm-up."""

from collections.abc import Callable

import numpy as np

from analytics.core import runway_effects, todays_mark, usual_days, warm_up
from analytics.core.todays_mark import Part, Reason
from analytics.core.usual_days import USUAL_COMPETITION_SD_M
from tests.core.coverage.studies import Covered, Figure, Study, exact

HALF = 1.959964  # of a normal interval of 95 %, in SDs
DAY_SD_M, ERROR_SD_M = 0.04, 0.10


def runways(visits: int, spread: float | None) -> Callable[[np.random.Generator], Covered | None]:
    """Visits to five runways as they come; the spread drawn from what is believed, or given."""

    def once(rng: np.random.Generator) -> Covered | None:
        true_spread = (
            # As it is believed: the half of Student's t with 3 degrees of freedom.
            runway_effects.USUAL_SPREAD_M * abs(rng.standard_t(3)) if spread is None else spread
        )
        effect = rng.normal(0, true_spread, size=5)
        place = rng.integers(0, 5, size=visits)
        sd = float(np.hypot(DAY_SD_M, ERROR_SD_M / np.sqrt(6)))
        found = runway_effects.runway_effects(
            0.03 + effect[place] + rng.normal(0, sd, size=visits), sd, place
        )
        if not isinstance(found, runway_effects.RunwayEffects):
            return None
        truth = effect[int(str(found.runway[0]))]
        return [abs(found.effect_m[0] - truth) < HALF * found.effect_sd_m[0]]

    return once


def competition(sessions: int) -> Callable[[np.random.Generator], Covered | None]:
    def once(rng: np.random.Generator) -> Covered | None:
        held = np.repeat(np.arange(sessions) % 3 == 2, 6)
        session = np.repeat(np.arange(sessions), 6)
        shift = rng.normal(0, USUAL_COMPETITION_SD_M)
        day = rng.normal(0, DAY_SD_M, size=sessions)
        error = shift * held + day[session] + rng.normal(0, ERROR_SD_M, size=session.size)
        found = usual_days.usual_day(error, session, held)
        assert isinstance(found, usual_days.UsualDay)
        next_day = shift + rng.normal(0, DAY_SD_M)
        return [
            abs(found.shift_m - shift) < HALF * found.shift_sd_m,
            abs(found.shift_m - next_day) < HALF * found.sd_m,
        ]

    return once


def offset(sessions: int) -> Callable[[np.random.Generator], Covered | None]:
    def once(rng: np.random.Generator) -> Covered | None:
        run, jump = _paired(rng, sessions)
        found = usual_days.run_through_offset(
            run.ravel(),
            np.repeat(np.arange(sessions), 2),
            jump.ravel(),
            np.repeat(np.arange(sessions), 6),
        )
        assert isinstance(found, usual_days.RunThroughOffset)
        return [found.interval.low < 0.05 < found.interval.high]

    return once


def warmed_up(sessions: int) -> Callable[[np.random.Generator], Covered | None]:
    """Offset and spread estimated from earlier sessions, the bias drawn from what is believed."""

    def once(rng: np.random.Generator) -> Covered | None:
        run, jump = _paired(rng, sessions)
        labels = np.arange(sessions)
        found = usual_days.run_through_offset(
            run.ravel(), np.repeat(labels, 2), jump.ravel(), np.repeat(labels, 6)
        )
        assert isinstance(found, usual_days.RunThroughOffset)
        left = run - run.mean(axis=1, keepdims=True)
        mark = todays_mark.todays_mark(
            30.0, {Reason.WIND: Part(0.05, 0.04), Reason.DAY: Part(0.0, 0.06)}
        )
        bias = rng.normal(0, mark.sd_m)
        after = warm_up.calibrate(
            bias + 0.05 + rng.normal(0, ERROR_SD_M, size=3),
            start_mark_m=mark.start_mark_m,
            believed=warm_up.Believed(
                bias_m=0.0,
                bias_sd_m=mark.sd_m,
                offset_m=found.mean_m,
                offset_sd_m=found.standard_error_m,
                error_sd_m=float(np.sqrt(np.sum(left**2) / sessions)),
            ),
        )
        return [
            bool(low < bias < high) for low, high in zip(after.low_m, after.high_m, strict=True)
        ]

    return once


def _paired(
    rng: np.random.Generator, sessions: int
) -> tuple[np.ndarray[tuple[int, int]], np.ndarray[tuple[int, int]]]:
    day = rng.normal(0, DAY_SD_M, size=(sessions, 1))
    run = day + 0.05 + rng.normal(0, ERROR_SD_M, size=(sessions, 2))
    return run, day + rng.normal(0, ERROR_SD_M, size=(sessions, 6))


STUDIES = (
    *(
        Study(
            "runway_effects",
            f"{visits} visits to five runways, the spread drawn from what is believed",
            (Figure("effect of a runway", "integrated, normal", 0.93, 0.975),),
            runways(visits, None),
        )
        for visits in (4, 12)
    ),
    Study(
        "runway_effects",
        "12 visits to five runways that differ by twice of what is believed",
        (Figure("effect of a runway", "integrated, not meant for this", 0.85, 0.92),),
        runways(12, 2 * runway_effects.USUAL_SPREAD_M),
    ),
    *(
        Study(
            "usual_days",
            f"{sessions} sessions of 6 attempts, each third a competition",
            (
                Figure("shift of competitions", "normal, SDs estimated", 0.93, 0.98),
                Figure("next competition day", "normal, SDs estimated", low, high),
            ),
            competition(sessions),
        )
        for sessions, low, high in ((4, 0.97, 1.0), (12, 0.94, 0.985))
    ),
    *(
        Study(
            "usual_days",
            f"{sessions} sessions with 2 run-throughs and 6 jumps",
            (exact("offset of run-throughs", "t, paired"),),
            offset(sessions),
        )
        for sessions in (3, 8)
    ),
    Study(
        "warm_up",
        "offset and spread from 8 sessions with 2 run-throughs and 6 jumps",
        tuple(
            Figure(f"bias after {n} run-throughs", "normal, SDs estimated", low, 0.97)
            for n, low in ((0, 0.93), (1, 0.92), (2, 0.92), (3, 0.92))
        ),
        warmed_up(8),
    ),
)
