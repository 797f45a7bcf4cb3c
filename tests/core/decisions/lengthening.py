"""Is an athlete called ready for more steps who is, and held back who is not?"""

from collections.abc import Sequence

import numpy as np
from scipy import stats

from analytics.core import board_spread, length_advice, next_attempts
from analytics.core.length_advice import LengthAdvice, LengthAnswer
from analytics.core.length_history import LengthHistory
from analytics.core.length_settings import DEFAULT_SETTINGS
from tests.core.tables import Row, Table

RUNS = 400
LOOKED_RUNS = 200
LIMIT_M = 0.10
AIM_M = 0.10
IN_SESSION = 5
SESSIONS = 10
ROLLING = 20


def toes(
    sd_m: float, ratio: float, sessions: int, rng: np.random.Generator
) -> tuple[np.ndarray, np.ndarray]:
    """Return toes about the aim with an SD of `sd_m`, sessions included, and their sessions."""
    own = sd_m / np.hypot(1, ratio)
    session = np.repeat(np.arange(sessions), IN_SESSION)
    day = rng.normal(0, ratio * own, sessions)
    return AIM_M + day[session] + rng.normal(0, own, session.size), session


def shown_share(sd_m: float, n: int, ratio: float) -> float:
    rng = np.random.default_rng(1)
    shown = 0
    for _ in range(RUNS):
        toe, session = toes(sd_m, ratio, n // IN_SESSION, rng)
        expected = next_attempts.expect_toe(toe, toe < 0, session=session)
        assert isinstance(expected, next_attempts.NextAttempts)
        shown += board_spread.probability_below(expected, LIMIT_M) >= DEFAULT_SETTINGS.sure
    return shown / RUNS


def power(sd_m: float, n: int) -> Sequence[float]:
    """Return how often one look shows the spread to be small enough."""
    return [
        board_spread.chance_to_show(sd_m, limit_m=LIMIT_M, n=n),
        *(shown_share(sd_m, n, ratio) for ratio in (0.0, 0.3, 1.5)),
    ]


def looks(sd_m: float, ratio: float) -> Sequence[float]:
    """Return how often an athlete is called ready in ten sessions, by four ways of looking."""
    rng = np.random.default_rng(2)
    limit = LIMIT_M**2 * stats.chi2.ppf(1 - DEFAULT_SETTINGS.sure, ROLLING - 1) / (ROLLING - 1)
    first, rolling, any_session, advised = 0, 0, 0, 0
    last = []
    for _ in range(LOOKED_RUNS):
        toe, session = toes(sd_m, ratio, SESSIONS, rng)
        windows = np.lib.stride_tricks.sliding_window_view(toe, ROLLING)
        rolling += bool(np.any(windows.var(axis=1, ddof=1) <= limit))
        found = []
        for until in range(3, SESSIONS + 1):
            so_far = slice(0, until * IN_SESSION)
            advice = length_advice.advise_length(
                LengthHistory(toe[so_far], toe[so_far] < 0, session[so_far]),
                ready_sd_m=LIMIT_M,
                aim_m=AIM_M,
            )
            assert isinstance(advice, LengthAdvice)
            found.append(advice)
        ready = [advice.latest.answer is LengthAnswer.READY for advice in found]
        first += ready[0]
        any_session += any(ready)
        advised += any(advice.answer is LengthAnswer.READY for advice in found)
        last.append(found[-1].answer)
    return [
        first / LOOKED_RUNS,
        rolling / LOOKED_RUNS,
        any_session / LOOKED_RUNS,
        advised / LOOKED_RUNS,
        *(last.count(answer) / LOOKED_RUNS for answer in LengthAnswer),
    ]


def power_row(sd_m: float, n: int) -> Row:
    return Row((f"{sd_m:.2f}", str(n)), lambda: power(sd_m, n))


def looks_row(sd_m: float, ratio: float) -> Row:
    return Row((f"{sd_m:.2f}", f"{ratio:.1f}"), lambda: looks(sd_m, ratio))


POWER = Table(
    "Power of a spread small enough",
    f"""\
How often one look shows, by P >= 0.8, that the spread at the board of a new session's attempts is
below {LIMIT_M:.2f} m ([length advice](length_advice.md)), in sessions of {IN_SESSION} ({RUNS}
runs). First where it is known that sessions do not differ, by formula; then as the advice has it,
which does not know: in athletes whose sessions do not differ, differ by 0.3 and by 1.5 of the
spread within them. The true SD holds both. From 0.10 m on each "shown" is a false one; at 0.10 m
one in five would be what P >= 0.8 promises.""",
    ("true SD, m", "attempts"),
    ("sessions known alike", "alike", "differ by 0.3", "differ by 1.5"),
    tuple(power_row(sd_m, n) for sd_m in (0.08, 0.10, 0.12) for n in (15, 20, 30, 40)),
)

TABLE = Table(
    "Ready for more steps",
    f"""\
How often an athlete is called ready within {SESSIONS} sessions of {IN_SESSION}, limit
{LIMIT_M:.2f} m, aim {AIM_M:.2f} m, the mark right ({LOOKED_RUNS} runs): by one look after three
sessions; by the plain SD of the last {ROLLING}, looked at after each attempt; by a look after
each session; and as it is [advised](length_advice.md), by two sessions running. Beside it what is
advised after the last session.""",
    ("true SD, m", "sessions differ by"),
    (
        "one look",
        "after each attempt",
        "after each session",
        "two sessions running",
        *(f"last: {answer.value.replace('_', ' ')}" for answer in LengthAnswer),
    ),
    tuple(looks_row(sd_m, ratio) for sd_m in (0.08, 0.10, 0.12, 0.15) for ratio in (0.3, 1.5)),
)
