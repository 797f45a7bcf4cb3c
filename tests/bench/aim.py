"""`aim`: the best aim for the attempts left, beside brute force over aims of 1 mm."""

import cProfile
import sys
import time
from collections.abc import Callable, Sequence
from typing import NamedTuple

import numpy as np

from analytics.core import aim, next_attempts
from analytics.core.next_attempts import NextAttempts, known
from tests.bench import profiling
from tests.bench.options import AimOptions
from tests.bench.outcome import Outcome, Target
from tests.bench.readings import SEED
from tests.bench.rounds import Run, Spread, interleave
from tests.bench.stand import Stand
from tests.core.aim_by_force import Force, Jumper, by_chance

JUMPERS = (Jumper(), Jumper(0.05, 7.2, 0.10), Jumper(0.15, 5.0, 0.25))
ATTEMPTS, PER_SESSION, DISTANCES = 30, 6, 20


class Asked(NamedTuple):
    """What is asked; distances in centimetres above the jumper's mean effective distance."""

    attempts_left: int
    best_cm: int | None = None
    cut_cm: int | None = None

    def of(self, jumper: Jumper) -> tuple[float | None, float | None]:
        best, cut = (
            None if above is None else round(jumper.distance_m + above / 100, 2)
            for above in (self.best_cm, self.cut_cm)
        )
        return best, cut


QUESTIONS = (Asked(6), Asked(3), Asked(1), Asked(3, best_cm=5), Asked(6, cut_cm=-5))


def measure(stand: Stand, options: AimOptions) -> Outcome:
    del stand  # arithmetic only: nothing is stored
    plain, sessions, distance = _expected()
    answers: dict[str, Run] = {
        "plain": lambda _: _answer(plain, distance),
        "sessions": lambda _: _answer(sessions, distance),
    }
    seconds = interleave(
        {
            **answers,
            "expect": lambda _: _discard(_expected),
            "force": lambda _: _discard(lambda: Force(Jumper()).plan(6)),
            "known": lambda _: _answer(known(0.06, 0.08), known(6.5, 0.12)),
        },
        rounds=options.rounds,
        warm_up=3,
    )
    # What the processor spent on it, which others on the same machine lengthen less.
    spent = interleave(answers, rounds=options.rounds, warm_up=1, clock=time.process_time)
    if options.profile:
        profile = cProfile.Profile()
        profile.runcall(_answer, sessions, distance)
        profiling.show(profile, title="One answer", stream=sys.stderr)
    spread = {name: _milliseconds(taken) for name, taken in seconds.items()}
    known_m = _apart_when_known()
    unknown_m, error_m = _apart_when_unknown(plain, distance, options.competitions)
    return Outcome(
        name="aim",
        figures={
            "what": "fixed aim, plan of six attempts and gain, mean and SD unknown",
            "toes": plain.n,
            "distances": distance.n,
            "answer_ms": spread["plain"],
            "answer_with_sessions_ms": spread["sessions"],
            "answer_cpu_ms": _milliseconds(spent["plain"]),
            "answer_with_sessions_cpu_ms": _milliseconds(spent["sessions"]),
            "expecting_from_attempts_ms": spread["expect"],
            "apart_from_brute_force_m": known_m,
            "apart_from_dice_m": unknown_m,
            "error_of_the_dice_m": error_m,
        },
        peer={
            "what": "brute force over aims of 1 mm for the plan alone, mean and SD known",
            "answer_ms": spread["force"],
        },
        limit={
            "what": "the same answer with mean and SD known: one truth instead of many",
            "answer_ms": spread["known"],
        },
        ratios={
            "to_brute_force": _times(seconds["plain"], seconds["force"]),
            "to_known": _times(seconds["plain"], seconds["known"]),
        },
        targets={
            "answer_ms": Target(spread["plain"].median, at_most=20.0),
            "answer_with_sessions_ms": Target(spread["sessions"].median, at_most=20.0),
            "answer_cpu_ms": Target(_milliseconds(spent["plain"]).median, at_most=20.0),
            "apart_from_brute_force_m": Target(known_m, at_most=0.0005),
            "apart_from_dice_m": Target(unknown_m, at_most=0.0005 + 3 * error_m),
        },
    )


def _answer(toe: NextAttempts, distance: NextAttempts) -> None:
    aim.best_aim(toe, distance, attempts_left=6)


def _discard(work: Callable[[], object]) -> None:
    work()


def _milliseconds(seconds: Sequence[float]) -> Spread:
    return Spread.of([1000 * each for each in seconds])


def _times(subject: Sequence[float], other: Sequence[float]) -> Spread:
    return Spread.of([mine / theirs for mine, theirs in zip(subject, other, strict=True)])


def _measured() -> tuple[np.ndarray, np.ndarray]:
    rng = np.random.default_rng(SEED)
    return rng.normal(0.06, 0.08, ATTEMPTS), rng.normal(6.5, 0.12, DISTANCES)


def _expected() -> tuple[NextAttempts, NextAttempts, NextAttempts]:
    toe, effective = _measured()
    session = np.arange(ATTEMPTS) // PER_SESSION
    found = (
        next_attempts.expect_toe(toe, toe < 0),
        next_attempts.expect_toe(np.where(toe < 0, np.nan, toe), toe < 0, session=session),
        next_attempts.expect_distance(effective),
    )
    plain, sessions, distance = (each for each in found if isinstance(each, NextAttempts))
    return plain, sessions, distance


def _apart_when_known() -> float:
    """Return the largest difference in value, of fixed aim and plan, over all questions."""
    apart = []
    for jumper in JUMPERS:
        force = Force(jumper)
        toe = known(0.06, jumper.toe_sd_m)
        distance = known(jumper.distance_m, jumper.distance_sd_m)
        for asked in QUESTIONS:
            best, cut = asked.of(jumper)
            left = asked.attempts_left
            advice = aim.best_aim(toe, distance, attempts_left=left, best_m=best, cut_m=cut)
            fixed = force.fixed(left, best_m=best or 0, cut_m=cut)
            plan = force.plan(left, best_m=best or 0, cut_m=cut)
            apart += [
                abs(advice.fixed.expected_m - fixed.expected_m),
                abs(advice.plan.expected_m - plan.expected_m),
            ]
    return max(apart)


def _apart_when_unknown(
    toe: NextAttempts, distance: NextAttempts, competitions: int
) -> tuple[float, float]:
    """Return the difference between the fixed aim's value and that of many competitions."""
    advice = aim.best_aim(toe, distance, attempts_left=6)
    rng = np.random.default_rng(SEED + 1)
    measured, effective = _measured()

    def truths(values: np.ndarray) -> tuple[np.ndarray, np.ndarray]:
        df = values.size - 1
        sd = values.std(ddof=1) * np.sqrt(df / rng.chisquare(df, competitions))
        return values.mean() + sd * rng.normal(size=competitions) / np.sqrt(values.size), sd

    toe_mean, toe_sd = truths(measured)
    mean, error = by_chance(
        toe_mean - measured.mean() + advice.fixed.aim_m,
        toe_sd,
        *truths(effective),
        attempts=6,
        best_m=0.0,
        rng=rng,
    )
    return abs(advice.fixed.expected_m - mean), error
