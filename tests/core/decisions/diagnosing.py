"""Is the trouble named that the athlete has?"""

from collections.abc import Sequence

import numpy as np

from analytics.core import diagnosis
from analytics.core.diagnosis import Diagnosis, Trouble
from tests.core import marks, troubles
from tests.core.tables import Row, Table

RUNS = 200

RIGHT_NAMES = {
    "none": None,
    "wrong mark": Trouble.WRONG_MARK,
    "unsteady part": Trouble.UNSTEADY_PART,
    "late steering": Trouble.LATE_STEERING,
    "fatigue": Trouble.FATIGUE,
    "wind ignored": Trouble.WIND,
    "growth": Trouble.GROWTH,
}


def measure(trouble: str, n: int) -> Sequence[float]:
    """Return how often it is named, nothing is, another is, and the last three call for a move."""
    named, by_last_three = [], 0
    for seed in range(RUNS):
        made = troubles.attempts_with(trouble, marks.SESSIONS[n], seed=seed)
        found = diagnosis.diagnose(
            made.toe_m,
            made.no_jump,
            plan=troubles.PLAN,
            rng=np.random.default_rng(1),
            session=made.session,
            wind_mps=made.wind_mps,
        )
        assert isinstance(found, Diagnosis)
        named.append(found.main)
        error = made.toe_m[-3:, 0] - np.asarray(troubles.PLAN.toe_m)[0]
        by_last_three += abs(float(np.mean(error))) > diagnosis.DEFAULT_SETTINGS.board_off_m
    right = named.count(RIGHT_NAMES[trouble])
    nothing = named.count(None)
    other = RUNS - right - (nothing if RIGHT_NAMES[trouble] is not None else 0)
    return [right / RUNS, nothing / RUNS, other / RUNS, by_last_three / RUNS]


def row(trouble: str, n: int) -> Row:
    return Row((trouble, str(n)), lambda: measure(trouble, n))


TABLE = Table(
    "Diagnosis",
    f"""\
Which trouble is named first ([diagnosis](diagnosis.md)), in {RUNS} simulated athletes for each
row who have one trouble: the mark 0.25 m too far back; steps 16 to 11 with a spread of 0.15 m;
steering in the last two steps only; 0.6 % shorter steps with each attempt of a session; a wind of
SD 2.5 m/s; steps 0.6 % longer with each session. Sessions: one of 6, two of 6, four or eight of
5. Beside it, how often the plain rule "move the mark by the mean of the last three" would move it
by more than 0.05 m: only a wrong mark calls for that, and growth.""",
    ("trouble", "attempts"),
    ("named rightly", "nothing named", "another named", "last three move the mark"),
    tuple(row(trouble, n) for trouble in RIGHT_NAMES for n in marks.SESSIONS),
)
