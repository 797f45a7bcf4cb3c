"""Pictures without a database: of simulated attempts, and of attempts at the limits."""

from collections.abc import Callable, Sequence
from dataclasses import dataclass, replace
from datetime import UTC, timedelta
from types import ModuleType
from typing import Any
from xml.etree import ElementTree

import numpy as np

from analytics.answers import error_shares as error_shares_answer
from analytics.answers import length_study as length_study_answer
from analytics.answers import outlook as outlook_answer
from analytics.answers import rhythm as rhythm_answer
from analytics.answers import speed as speed_answer
from analytics.answers import steering as steering_answer
from analytics.answers import wind_table as wind_table_answer
from analytics.charts import (
    error_shares,
    length_study,
    needed_made,
    outlook,
    rhythm,
    speed,
    spread,
    take_off,
    trend,
    wind_table,
)
from analytics.charts.looks import Form, Look, Wanted, Width
from analytics.charts.sheet import Sheet, painted
from analytics.core.simulator import Athlete
from analytics.selectors import Point, RunUps
from analytics.services.figures import as_json
from tests.answers.run_ups import STARTED_AT, simulated, timed, uuid_of
from tests.answers.test_length_study import make_attempts

NAMESPACE = "{http://www.w3.org/2000/svg}"
ATHLETE = Athlete(unmeasured_no_jump_share=0.3)
Draw = Callable[[Sheet], None]


@dataclass(frozen=True)
class Drawn:
    """What can be read in a picture."""

    title: str
    told: str
    texts: tuple[str, ...]
    root: ElementTree.Element

    @property
    def words(self) -> str:
        return " ".join(" ".join(self.texts).split())


def wanted(*, look: str = "light", width: str = "small", form: Form = Form.SVG) -> Wanted:
    return Wanted(Look(look), Width(width), form, UTC)


def drawn(draw: Draw, how: Wanted | None = None) -> Drawn:
    root = ElementTree.fromstring(painted(draw, how or wanted()))  # noqa: S314  # from ourselves
    texts = tuple("".join(each.itertext()) for each in root.iter(f"{NAMESPACE}text"))
    return Drawn(str(root[0].text), str(root[1].text), texts, root)


def of_answer(chart: ModuleType, question: ModuleType, run_ups: RunUps) -> Draw:
    found = question.work_out(run_ups)
    return lambda sheet: chart.draw(sheet, run_ups, found, question.tell(found))


def run_ups_of(sessions: Sequence[int], **fields: Any) -> RunUps:
    return timed(simulated(replace(ATHLETE, **fields), sessions, seed=2))


def points_of(
    toe_m: Sequence[float | None], *, bias_m: Sequence[float | None] = (), **fields: Any
) -> tuple[Point, ...]:
    """Return a point after each toe; its figures are made up, but for what is given."""
    biases = bias_m or [0.03] * len(toe_m)
    points = []
    for place, (toe, bias) in enumerate(zip(toe_m, biases, strict=True)):
        is_known = bias is not None
        middle = bias or 0.0
        given: dict[str, Any] = {
            "attempt": str(uuid_of(3, place)),
            "started_at": STARTED_AT + timedelta(days=place // 6, minutes=6 * place),
            "plan_revision": 1,
            "n": min(place + 1, 20),
            "n_measured": min(place + 1, 20),
            "n_no_jumps": 0,
            "n_on_board": 0,
            "toe_m": toe,
            "no_jump": toe is None or toe < 0,
            "bias_m": bias,
            "bias_low_m": middle - 0.05 if is_known else None,
            "bias_high_m": middle + 0.05 if is_known else None,
            "spread_m": 0.09 if is_known else None,
            "spread_low_m": 0.07 if is_known else None,
            "spread_high_m": 0.14 if is_known else None,
            "share_on_board": None,
            "share_no_jump": None,
        }
        points.append(Point(**{**given, **fields}))
    return tuple(points)


def stored_spread(run_ups: RunUps) -> spread.Stored:
    """Return the spread of attempts as if it had been stored and read again."""
    found = steering_answer.work_out(run_ups)
    return spread.Stored(
        spread=spread.spread_of(as_json(found.spread)),
        phases=steering_answer.phase_starts_of(run_ups.latest_marks()),
        n=len(run_ups),
        n_sessions=len(set(run_ups.session_ids)),
        started_at=run_ups.started_at[:: max(len(run_ups) - 1, 1)],
    )


def every_picture(run_ups: RunUps) -> dict[str, Draw]:
    """Return each picture of some attempts, by its module."""
    toes = [None if np.isnan(each) else float(each) for each in run_ups.board_toe_m]
    course = trend.Course(points_of(toes), (), 0.06, 20)
    steps = np.resize([8, 10, 12, 14], len(run_ups))
    jumps = make_attempts(steps, 5.0 + 0.1 * steps + run_ups.board_toe_m)
    study = length_study_answer.work_out(jumps)
    stored = stored_spread(run_ups)
    return {
        "trend": lambda sheet: trend.draw(sheet, course),
        "take_off": lambda sheet: take_off.draw(
            sheet, take_off.Landings(points_of(toes), aim_m=0.06)
        ),
        "spread": lambda sheet: spread.draw(sheet, stored),
        "needed_made": of_answer(needed_made, steering_answer, run_ups),
        "error_shares": of_answer(error_shares, error_shares_answer, run_ups),
        "rhythm": of_answer(rhythm, rhythm_answer, run_ups),
        "speed": of_answer(speed, speed_answer, run_ups),
        "wind_table": of_answer(wind_table, wind_table_answer, run_ups),
        "outlook": of_answer(outlook, outlook_answer, run_ups),
        "length_study": lambda sheet: length_study.draw(
            sheet, jumps, study, length_study_answer.tell(study)
        ),
    }
