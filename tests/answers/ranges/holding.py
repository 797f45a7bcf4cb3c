"""Does a change that a simulated athlete then makes lie in the range that was answered?"""

from collections.abc import Callable, Hashable, Sequence
from dataclasses import dataclass, replace
from functools import cache
from unittest import mock

import numpy as np

from analytics.answers import what_if as answers
from analytics.answers.what_if import Choices, Compared, Steadier
from analytics.core import simulator, what_if
from analytics.core.conventions import Interval
from analytics.core.simulator import Athlete, SimulatedAttempts
from tests.answers.run_ups import simulated
from tests.core.tables import Row, Table

RUNS = 100
EACH = 6
AIM_M = 0.06
# Simulated to know the truth: its error is below a tenth of a point.
TRUE_ATTEMPTS = 120_000
# Less than what is simulated for a coach, and by so little less certain that it hardly counts.
SESSIONS, SESSIONS_OF_RESAMPLE = 1000, 100

USUAL = Athlete(unmeasured_no_jump_share=0.0, gate_at_m=())
ATHLETES = {
    "steers": USUAL,
    "does not steer, days differ": replace(
        USUAL, steering_from=0, step_sd_m=0.02, session_sd_m=0.10
    ),
    "steers, half of the no jumps unmeasured": replace(USUAL, unmeasured_no_jump_share=0.5),
    "steers and grows": replace(USUAL, growth=0.001),
}


@dataclass(frozen=True)
class Change:
    """What is asked, and what the athlete then does.

    Attributes
    ----------
    choices
        As they are asked.
    make
        Makes the athlete who has done it.
    by_aim_m
        How far the aim moves along.
    """

    choices: Choices
    make: Callable[[Athlete], Athlete]
    by_aim_m: float = 0.0


def _steadier_late(athlete: Athlete) -> Athlete:
    return what_if.steadier(athlete, first_step=5, last_step=1, factor=0.5)


def _steadier_late_and_seen(athlete: Athlete) -> Athlete:
    steers = athlete.steering_from > 0
    return replace(
        _steadier_late(athlete), perception_sd_m=athlete.perception_sd_m * (0.5 if steers else 1)
    )


def _steadier_early(athlete: Athlete) -> Athlete:
    calmer = what_if.steadier(athlete, first_step=16, last_step=11, factor=0.5)
    return replace(calmer, session_sd_m=athlete.session_sd_m / 2)


_LATE = Choices(steadier=Steadier(5, 1, 0.5))
CHANGES = {
    "mark 0.30 m back": Change(
        Choices(move_mark_m=0.30), lambda athlete: replace(athlete, mark_error_m=0.30)
    ),
    "aim 0.06 m farther": Change(
        Choices(aim_m=AIM_M + 0.06), lambda athlete: replace(athlete, aim_m=AIM_M + 0.06), 0.06
    ),
    "tail wind of 2 m/s": Change(
        Choices(wind_mps=2.0), lambda athlete: replace(athlete, mean_wind_mps=2.0)
    ),
    "last five steps half as unsteady": Change(_LATE, _steadier_late_and_seen),
    "the same, seen as badly as before": Change(_LATE, _steadier_late),
    "first six steps half as unsteady": Change(
        Choices(steadier=Steadier(16, 11, 0.5)), _steadier_early
    ),
}


def truth(athlete: Athlete, change: Change, *, after_sessions: int) -> tuple[float, float, float]:
    """Return what comes true: no jumps, square error and best of six, after less before.

    In the session that follows: only growth tells it from those before.
    """
    # One session so long that it holds many days: what a day adds is added to each attempt.
    figures = []
    for each, aim_m in ((athlete, AIM_M), (change.make(athlete), AIM_M + change.by_aim_m)):
        made = simulator.simulate(
            replace(
                each,
                start_sd_m=float(np.hypot(each.start_sd_m, each.session_sd_m)),
                session_sd_m=0.0,
                persistence=0.0,
            ),
            attempts_by_session=[0] * after_sessions + [TRUE_ATTEMPTS],
            rng=np.random.default_rng(0),
        )
        best = np.nan_to_num(made.official_m, nan=-np.inf).reshape(-1, EACH).max(axis=1)
        square = float(np.mean((made.true_board_m - aim_m) ** 2))
        figures.append((float(made.no_jump.mean()), square, best))
    before, after = figures
    valid = np.isfinite(before[2]) & np.isfinite(after[2])
    return (
        after[0] - before[0],
        after[1] - before[1],
        float(np.mean(after[2][valid] - before[2][valid])),
    )


@cache
def measure(athlete: str, sessions: int) -> dict[str, Sequence[float]]:
    """Return for each change how often the three ranges hold, and a width of that of no jumps.

    All changes are asked of the same attempts, so that who is compared with is simulated once.
    """
    asked = [case[1] for case in _CASES if (case[0], case[2]) == (athlete, sessions)]
    true = {
        each: truth(ATHLETES[athlete], CHANGES[each], after_sessions=sessions) for each in asked
    }
    held: dict[str, list[list[bool]]] = {each: [] for each in asked}
    widths: dict[str, list[float]] = {each: [] for each in asked}
    with (
        mock.patch.object(answers, "SESSIONS", SESSIONS),
        mock.patch.object(answers, "SESSIONS_OF_RESAMPLE", SESSIONS_OF_RESAMPLE),
    ):
        seed = 0
        while len(held[asked[0]]) < RUNS:
            run_ups = simulated(ATHLETES[athlete], [EACH] * sessions, seed=seed)
            seed += 1
            with mock.patch.object(simulator, "simulate", _remembering()):
                found = {each: answers.work_out(run_ups, CHANGES[each].choices) for each in asked}
            for each, answer in found.items():
                figures = answer.what_if
                if not isinstance(figures, Compared) or figures.known_to is None:
                    break
                known = figures.known_to
                ranges = (known.no_jump_share, known.mean_square_error_m2, known.official_m)
                held[each].append(
                    [_holds(span, value) for span, value in zip(ranges, true[each], strict=True)]
                )
                widths[each].append(known.no_jump_share.high - known.no_jump_share.low)
    return {
        each: [*np.mean(held[each], axis=0).tolist(), float(np.median(widths[each]))]
        for each in asked
    }


def _remembering() -> Callable[..., SimulatedAttempts]:
    """Return `simulate`, which makes what the same athlete does with the same luck only once."""
    simulate = simulator.simulate
    made: dict[Hashable, SimulatedAttempts] = {}

    def simulate_once(
        athlete: Athlete, *, attempts_by_session: Sequence[int], rng: np.random.Generator
    ) -> SimulatedAttempts:
        key = (athlete, len(attempts_by_session), str(rng.bit_generator.state))
        if key not in made:
            made[key] = simulate(athlete, attempts_by_session=attempts_by_session, rng=rng)
        return made[key]

    return simulate_once


def _holds(interval: Interval | None, value: float) -> bool:
    # Who lands elsewhere by as much as the aim moves errs as before: 0 in a range that is 0.
    slack = 1e-4 * abs(value) + 1e-6
    return interval is not None and interval.low - slack <= value <= interval.high + slack


def row(athlete: str, asked: str, sessions: int) -> Row:
    return Row((athlete, asked, str(sessions)), lambda: measure(athlete, sessions)[asked])


_MARK, _AIM, _WIND, _STEADIER, _SEEN_AS_BEFORE, _EARLY = CHANGES
_CASES = (
    *(("steers", asked, n) for n in (3, 5, 8) for asked in (_MARK, _AIM, _WIND, _STEADIER)),
    *(("steers", asked, 8) for asked in (_SEEN_AS_BEFORE, _EARLY)),
    *(("does not steer, days differ", asked, n) for n in (3, 8) for asked in (_MARK, _AIM, _WIND)),
    *(("steers, half of the no jumps unmeasured", asked, 8) for asked in (_MARK, _AIM, _STEADIER)),
    *(("steers and grows", asked, 8) for asked in (_MARK, _STEADIER)),
)

TABLE = Table(
    "What comes true",
    f"""\
{RUNS} simulated athletes for each row (seeds from 0 on), asked after so many sessions of {EACH}
jumps. A share of 0.90 has a standard error of 0.03 over {RUNS} athletes. The width is that of the
range of the change of the no jumps, a share of all attempts, of the athlete in the middle.""",
    ("athlete", "change", "sessions"),
    ("no jumps: holds", "square error: holds", "best of six: holds", "no jumps: width"),
    tuple(row(*case) for case in _CASES),
)
