"""Learned footfalls. The natural run-up and the habits are drawn from what is believed of them."""

from collections.abc import Callable

import numpy as np
from scipy import stats

from analytics.core import run_up_learning
from analytics.core.run_up_learning import Attempts
from analytics.core.run_up_model import ModelDoubt, StepFrequency, model_footfalls
from analytics.core.run_up_pace import RunUpSettings, Sprint
from analytics.core.run_up_steering import MOST_GAIN, USUAL_HABITS, Habits
from tests.core.coverage.studies import Covered, Figure, Study

# A sprint that was timed well and steps that were counted: with the usual doubt about an athlete
# whom nobody has seen, some natural run-ups lie too far from the model for anybody to steer.
MODEL = model_footfalls(
    Sprint(9.2, 1.15),
    StepFrequency(),
    RunUpSettings(steps=16),
    doubt=ModelDoubt(speed=0.015, effort=0.04, frequency=0.015, first_share=0.03, entered_s=0.03),
)
DOUBT = np.linalg.cholesky(MODEL.covariance_m2[1:, 1:])
HALF = float(stats.norm.ppf(0.975))


def run(
    natural: np.ndarray,
    mark: float,
    gain: np.ndarray,
    rng: np.random.Generator,
    *,
    attempts: int,
    habits: Habits = USUAL_HABITS,
) -> np.ndarray:
    """Return the measured footfalls of one session, step by step from the mark."""
    n = natural.size - 1
    day = rng.normal(0, habits.session_sd_m) / (natural[-1] - natural[0])
    toe = np.empty((attempts, n + 1))
    toe[:, n] = mark + rng.normal(0, habits.start_sd_m, attempts)
    for k in range(n, 0, -1):
        step = natural[k] - natural[k - 1]
        made = step * (1 + day) + gain[k - 1] * (toe[:, k] - natural[k])
        toe[:, k - 1] = toe[:, k] - made - rng.normal(0, habits.step_sd_m, attempts)
    return toe + rng.normal(0, habits.reading_sd_m, toe.shape)


def learn(
    *, sessions: int, attempts: int, moved: bool
) -> Callable[[np.random.Generator], Covered | None]:
    def once(rng: np.random.Generator) -> Covered | None:
        natural = MODEL.toe_m.copy()
        natural[1:] += DOUBT @ rng.normal(size=16)
        steered = np.arange(16) < USUAL_HABITS.steered_steps
        gain = np.where(
            steered,
            rng.normal(USUAL_HABITS.gain, USUAL_HABITS.gain_sd, 16),
            rng.normal(0, USUAL_HABITS.early_gain_sd, 16),
        ).clip(0, MOST_GAIN)
        toe, mark, session, known = [], [], [], MODEL
        for label in range(sessions):
            start = float((known if moved else MODEL).toe_m[-1])
            toe.append(run(natural, start, gain, rng, attempts=attempts))
            if np.any(np.diff(toe[-1], axis=1) <= 0.2):
                return None  # nobody steps like this
            mark += [start] * attempts
            session += [label] * attempts
            found = run_up_learning.learn_footfalls(MODEL, Attempts(np.vstack(toe), mark, session))
            assert isinstance(found, run_up_learning.Learned)
            known = found.footfalls
        off = np.abs(known.toe_m - natural)
        return [bool(off[k] < HALF * known.sd_m[k]) for k in (16, 6, 2)]

    return once


def figures(*bands: tuple[float, float]) -> tuple[Figure, ...]:
    names = ("start mark", "sixth-last footfall", "third-last footfall")
    return tuple(
        Figure(name, "normal, gains and SD estimated", low, high)
        for name, (low, high) in zip(names, bands, strict=True)
    )


STUDIES = (
    Study(
        "run_up_learning",
        "12 attempts of 16 steps in 2 sessions, all from the model's start mark",
        figures((0.82, 0.88), (0.88, 0.94), (0.88, 0.94)),
        learn(sessions=2, attempts=6, moved=False),
    ),
    Study(
        "run_up_learning",
        "30 attempts of 16 steps in 5 sessions, the mark moved after each",
        figures((0.88, 0.96), (0.88, 0.96), (0.88, 0.96)),
        learn(sessions=5, attempts=6, moved=True),
        runs=400,
    ),
)
