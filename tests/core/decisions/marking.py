"""Is the start mark moved when it is wrong, and left when it is right?"""

from collections.abc import Sequence

import numpy as np
from scipy import stats

from analytics.core import simulator
from analytics.core.local_level import LevelSds, follow_level
from analytics.core.mark_advice import DEFAULT_SETTINGS, MarkAnswer
from tests.core import marks
from tests.core.tables import Row, Table

RUNS = 300
POWER_RUNS = 4000
LAST = 3


def measure(athlete: str, mark_error_m: float, n: int) -> Sequence[float]:
    """Return shares of the answers, and what is left of the error by advice and plain rule."""
    answers, left, left_by_rule, by_board = [], [], [], 0
    aim = simulator.plan_run_up(marks.ATHLETES[athlete]).toe_m[0]
    for seed in range(RUNS):
        made = marks.attempts_of(athlete, mark_error_m, n=n, seed=seed)
        advice = marks.advise(made, athlete)
        answers.append(advice.answer)
        unwatched = marks.advise(made, athlete, with_check=False)
        by_board += unwatched.answer is MarkAnswer.MOVE
        left.append(mark_error_m + advice.move_m)
        left_by_rule.append(mark_error_m - float(np.mean(made.toe_m[-LAST:, 0] - aim)))
    shares = [
        answers.count(answer) / RUNS
        for answer in (MarkAnswer.MOVE, MarkAnswer.KEEP, MarkAnswer.LAST_STEPS)
    ]
    return [*shares, by_board / RUNS, _typical(left), _typical(left_by_rule)]


def _typical(left_m: Sequence[float]) -> float:
    return float(np.sqrt(np.mean(np.square(left_m))))


def power(bias_m: float) -> Sequence[float]:
    """Return how often a steady bias is called off within 6 and 12 errors of known SD 0.10 m."""
    place = DEFAULT_SETTINGS.board
    sds = LevelSds(error_m=0.10, attempt_m=0.0, session_m=0.0, first_m=place.first_m)
    rng = np.random.default_rng(1)
    called = np.zeros((POWER_RUNS, 12), dtype=bool)
    for run in range(POWER_RUNS):
        level = follow_level(rng.normal(bias_m, 0.10, 12), sds=sds)
        off = np.maximum(
            stats.norm.sf(place.off_m, level.mean_m, level.sd_m),
            stats.norm.cdf(-place.off_m, level.mean_m, level.sd_m),
        )
        called[run] = np.logical_or.accumulate(off >= DEFAULT_SETTINGS.sure)
    return [float(called[:, 5].mean()), float(called[:, 11].mean())]


def row(athlete: str, mark_error_m: float, n: int) -> Row:
    return Row((athlete, f"{mark_error_m:.2f}", str(n)), lambda: measure(athlete, mark_error_m, n))


def power_row(bias_m: float) -> Row:
    return Row((f"{bias_m:.2f}",), lambda: power(bias_m))


TABLE = Table(
    "Start-mark advice",
    f"""\
What is [advised](mark_advice.md) to {RUNS} simulated athletes for each row whose mark stands too
far back by a known distance, with a check mark at footfall 6, and how often the mark would be
moved if nobody watched it. "Left" is the typical (root mean square) error of the mark afterwards,
in metres, beside that after the plain rule "move by the mean of the last three". An athlete who
steers hides the mark's error from the board, so the plain rule leaves most of it; in one who does
not, it adds the chance of three attempts to a mark that was right.""",
    ("athlete", "mark off, m", "attempts"),
    (
        "move",
        "keep",
        "last steps",
        "move by the board alone",
        "left, m",
        "left by the last three, m",
    ),
    tuple(
        row(athlete, mark_error_m, n)
        for athlete in marks.ATHLETES
        for mark_error_m in (0.0, 0.1, 0.2, 0.3)
        for n in marks.SESSIONS
    ),
)

POWER = Table(
    "Power of a bias at the board",
    f"""\
How often a bias that does not move is called off by P >= 0.8, looked at after each attempt, where
one attempt spreads by 0.10 m and that is known ({POWER_RUNS:,} runs). With no bias each call is a
false one.""",
    ("true bias, m",),
    ("within 6 attempts", "within 12 attempts"),
    tuple(power_row(bias_m) for bias_m in (0.0, 0.05, 0.1, 0.2)),
)
