"""What coaches do about advice of other kinds than the mark: what to practise, how many steps.

Nothing is published from it: a plan follows from a mark alone.
"""

from dataclasses import dataclass
from datetime import date
from typing import Any
from uuid import UUID

from analytics import selectors
from analytics.answers import length_advice, practice_focus
from analytics.answers.told import Told
from analytics.core.conventions import NotEnoughAttempts
from analytics.errors import AdviceChangedError, NoAdviceError
from analytics.models import Advice, AdviceKind
from analytics.selectors import Body, RunUps, Series
from analytics.services import advising
from analytics.services.advising import Decided, Seen
from analytics.services.figures import as_json
from approaches.models import Approach, FinishClass
from clubs.models import Club
from clubs.selectors import Caller
from clubs.services import auditing
from common.club_scope import club_scope
from common.errors import Fault, InvalidInputError, NotFoundError

# As many of the latest attempts as the answers look at unless they are asked for others.
LAST = {AdviceKind.PRACTICE: advising.LAST, AdviceKind.LENGTH: 100}


@dataclass(frozen=True, slots=True)
class _Answered:
    """An answer in one word, in figures and in sentences; None where attempts are too few."""

    answer: str | None
    figures: dict[str, Any]
    said: Told


def decide_on_answer(
    *,
    club: Club,
    approach_id: UUID,
    kind: AdviceKind,
    finish_class: FinishClass,
    seen: Seen,
    decided: Decided,
    today: date,
    caller: Caller,
) -> Advice:
    """Record what is advised now of practice or of the steps, and what the coach did about it.

    The advice is worked out here: what the coach read only tells whether it is still the same.

    Raises
    ------
    NotFoundError
        There is no such approach, or it is a stranger's.
    InvalidInputError
        What was decided contradicts itself, or is of another kind of advice.
    NoAdviceError
        There are not enough attempts for an advice.
    AdviceChangedError
        What stands now is not what the coach read.
    """
    advising.check_decision(decided)
    _check_kind(kind, finish_class, seen, decided)
    with club_scope(club):
        # Another decision at this moment waits, as for the mark.
        locked = Approach.objects.select_for_update(no_key=True).filter(id=approach_id)
        if not locked.exists():
            raise NotFoundError
        run_ups = selectors.read_run_ups_for(
            caller, Series(approach_id, finish_class), last=LAST[kind], today=today
        )
        body = selectors.read_body_for(caller, approach_id, today=today)
        found = (_practice if kind is AdviceKind.PRACTICE else _length)(run_ups, body)
        if found.answer is None:
            raise NoAdviceError(found.said.text)
        if run_ups.ids[-1] != seen.through_attempt or found.answer != seen.answer:
            raise AdviceChangedError(
                f"It is {found.answer} through attempt {run_ups.ids[-1]}. Read it, and decide"
                " again."
            )
        advice = advising.record(
            club,
            run_ups,
            kind=kind,
            answer=found.answer,
            figures=found.figures,
            said=found.said,
            decided=decided,
            caller=caller,
        )
        auditing.record_audit(
            club=club, caller=caller, action="advice_decided", subjects={"advice": [advice.id]}
        )
        return advice


def _check_kind(kind: AdviceKind, finish_class: FinishClass, seen: Seen, decided: Decided) -> None:
    faults = []
    if decided.publish:
        faults.append(
            Fault("/publish", "nothing_to_publish", "A plan follows from the mark alone.")
        )
    if seen.start_mark_m is not None:
        faults.append(
            Fault("/start_mark_m", "not_of_this_kind", "Only advice on the mark names a mark.")
        )
    if kind is AdviceKind.LENGTH and finish_class is not FinishClass.JUMP:
        faults.append(
            Fault("/finish", "not_of_this_kind", "The number of steps is told of jumps alone.")
        )
    if faults:
        raise InvalidInputError(faults=faults)


def _practice(run_ups: RunUps, body: Body) -> _Answered:
    found = practice_focus.work_out(run_ups, body=body)
    figures = {
        "check_footfall": found.check_footfall,
        "diagnosis": as_json(found.diagnosis),
        "growing": as_json(found.growing),
        "aim": as_json(found.aim),
    }
    return _Answered(found.first, _looked_at_board(figures), practice_focus.tell(found))


def _length(run_ups: RunUps, body: Body) -> _Answered:
    found = length_advice.work_out(run_ups, body=body)
    said = length_advice.tell(found)
    if isinstance(found.advice, NotEnoughAttempts):
        return _Answered(None, {}, said)
    figures = {"steps": found.steps, **as_json(found.advice)}
    return _Answered(found.advice.answer.value, _looked_at_board(figures), said)


def _looked_at_board(figures: dict[str, Any]) -> dict[str, Any]:
    """Return figures with where it is looked back on: at the board."""
    return figures | {"footfall": 0}
