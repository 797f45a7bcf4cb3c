"""A question that takes longer outlives its worker, and holds up nobody's figures."""

from datetime import timedelta
from typing import Any

import numpy as np

from analytics.core import simulator
from analytics.core.simulator import Athlete
from tests.faults.case import Case
from tests.faults.client import FIRST_START, Row
from tests.faults.stack import wait_until

# Fewer sessions have no range, and are answered too soon to be killed in the middle.
SESSIONS, EACH = 3, 8
ATTEMPTS = SESSIONS * EACH
# On a busy machine the seconds of a question become a minute.
PATIENCE_SECONDS = 120.0


def measured_rows(case: Case) -> list[Row]:
    """Return jumps of the first athlete with every footfall measured, enough to know the habits."""
    athlete = next(iter(case.scene.series))
    made = simulator.simulate(
        Athlete(unmeasured_no_jump_share=0.0),
        attempts_by_session=[EACH] * SESSIONS,
        rng=np.random.default_rng(1),
    )
    return [
        {
            "external_id": f"measured-{number}",
            "athlete": f"ext:{athlete}",
            "approach": "LJ-16",
            "session": case.scene.sessions[day],
            "started_at": (FIRST_START + timedelta(days=int(day), minutes=number)).isoformat(),
            "finish": "jump",
            "outcome": "not_judged",
            "footfalls": {"toe_m": toe_m.round(3).tolist()},
        }
        for number, (day, toe_m) in enumerate(zip(made.session, made.toe_m, strict=True))
    ]


def ask(case: Case, **change: Any) -> str:
    """Ask what a change would do, and return where the answer will be."""
    approach = next(iter(case.scene.series.values()))
    answer = case.client.ask(f"approaches/{approach}/what-if", change)
    assert answer.status in {200, 202}, answer
    return f"work/{answer.body['id']}/"


def state_of(case: Case, path: str) -> str:
    return str(case.client.read(path)["state"])


class TestWorkerKilledInTheMiddle:
    def test_the_question_is_taken_up_again_and_answered(self, case: Case):
        case.client.push_until_answered(measured_rows(case))
        case.wait_for_figures()
        path = ask(case, move_mark_m=-0.1)
        wait_until(lambda: state_of(case, path) != "waiting", "a worker is at the question")
        before = case.client.read(path)
        case.stack.worker.kill_with_children()
        left = case.client.read(path)
        case.stack.worker.start()

        seconds = wait_until(
            lambda: state_of(case, path) == "done",
            "the question is answered",
            patience_seconds=PATIENCE_SECONDS,
        )

        assert before["state"] == "running"
        assert left["state"] == "running"
        assert left["answer"] is None
        answered = case.client.read(path)
        assert answered["answer"]["what_if"]["n"] == ATTEMPTS
        ((taken_up,),) = case.query("SELECT taken_up FROM analytics_askedwork WHERE club_id = %s")
        assert taken_up == 2
        case.tell(f"answered {seconds:.1f} s after the kill, lease 5 s")


class TestFiguresMeanwhile:
    def test_a_push_passes_the_questions_that_wait(self, case: Case):
        """Workers are at one question at a time, so that one of two is left for figures."""
        case.client.push_until_answered(measured_rows(case))
        case.wait_for_figures()
        paths = [ask(case, move_mark_m=-0.1 - 0.01 * number) for number in range(6)]
        wait_until(lambda: state_of(case, paths[0]) == "running", "a worker is at a question")

        case.client.push_until_answered(case.readings.take(4))
        seconds = case.wait_for_figures()
        states = [state_of(case, path) for path in paths]

        # More than one at once would leave no worker; none unfinished would prove nothing.
        assert states.count("running") <= 1
        assert set(states) & {"waiting", "running"}
        for path in paths[1:]:
            case.client.call_off(path)
        case.tell(f"figures after {seconds:.1f} s beside {len(states)} questions: {states}")
