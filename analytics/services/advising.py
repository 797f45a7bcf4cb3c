"""What coaches do about advice: they follow or decline it, and publish the plan that follows."""

from dataclasses import asdict, dataclass
from datetime import date
from typing import Any
from uuid import UUID

import numpy as np
from django.utils import timezone
from django.utils.translation import gettext as _
from django.utils.translation import ngettext

from analytics import selectors
from analytics.answers import mark_advice, words
from analytics.answers.mark_advice import Mark
from analytics.answers.told import Told
from analytics.core import conventions
from analytics.core.after_advice import MARK_STANDS_M
from analytics.core.conventions import NotEnoughAttempts
from analytics.core.mark_advice import DEFAULT_SETTINGS, MarkAdvice, MarkAnswer
from analytics.errors import AdviceChangedError, NoAdviceError, PlanMissingError
from analytics.models import Advice, AdviceDecision, AdviceKind
from analytics.selectors import RunUps, Series
from analytics.services.figures import as_json
from analytics.services.method import METHOD
from approaches import selectors as approach_selectors
from approaches.models import Approach, FinishClass, Plan
from approaches.services import records
from clubs.models import Club
from clubs.selectors import Caller
from clubs.services import auditing
from common.club_scope import club_scope
from common.errors import Fault, InvalidInputError, NotFoundError
from common.versions import ANY_VERSION, Expected

# As many of the latest attempts as mark-advice looks at unless it is asked for others.
LAST = 40

MIN_AT_CHECK_MARK = 5
"""Attempts measured at a check mark below which it stays where it is; ours."""


@dataclass(frozen=True, slots=True)
class Seen:
    """The advice that the coach read: what stands now must be the same."""

    through_attempt: UUID
    answer: str
    start_mark_m: float | None = None


@dataclass(frozen=True, slots=True)
class Decided:
    """What the coach did about it."""

    decision: AdviceDecision
    reason: str = ""
    publish: bool = False


def decide_on_mark(
    *,
    club: Club,
    approach_id: UUID,
    finish_class: FinishClass,
    seen: Seen,
    decided: Decided,
    today: date,
    caller: Caller,
    expected: Expected = ANY_VERSION,
) -> Advice:
    """Record the advice about the start mark that stands now, and what the coach did about it.

    The advice is worked out here: what the coach read only tells whether it is still the same. To
    publish makes the next revision of the plan with the advised mark; `expected` names the latest
    revision that the coach knew of.

    Raises
    ------
    NotFoundError
        There is no such approach, or it is a stranger's.
    InvalidInputError
        What was decided contradicts itself or the advice.
    NoAdviceError
        There are not enough attempts for an advice.
    AdviceChangedError
        What stands now is not what the coach read.
    PlanMissingError
        There is no plan from which the next revision could be made.
    StaleVersionError
        Somebody else added a revision meanwhile.
    PlanOutOfOrderError
        A revision was planned ahead, and is not valid yet.
    """
    check_decision(decided)
    if decided.publish and seen.start_mark_m is None:
        raise InvalidInputError(
            faults=[
                Fault("/start_mark_m", "required", "Name the mark that you read: it is published.")
            ]
        )
    with club_scope(club):
        # A revision or another decision at this moment waits: the approach's row is their queue.
        locked = Approach.objects.select_for_update(no_key=True).filter(id=approach_id)
        if not locked.exists():
            raise NotFoundError
        run_ups = selectors.read_run_ups_for(
            caller, Series(approach_id, finish_class), last=LAST, today=today
        )
        body = selectors.read_body_for(caller, approach_id, today=today)
        found = mark_advice.work_out(run_ups, body=body)
        advised = _advised_as_seen(found, run_ups, seen)
        if decided.publish and advised.answer is not MarkAnswer.MOVE:
            raise InvalidInputError(
                faults=[Fault("/publish", "nothing_to_publish", "The advice is to leave the mark.")]
            )
        advice = _record(club, run_ups, found, advised, decided=decided, caller=caller)
        if decided.publish:
            advice.published_plan = _publish(
                club, advice, run_ups, found, expected=expected, caller=caller
            )
            advice.save(update_fields=["published_plan"])
        auditing.record_audit(
            club=club, caller=caller, action="advice_decided", subjects={"advice": [advice.id]}
        )
        return advice


def check_decision(decided: Decided) -> None:
    """Refuse what contradicts itself, whatever was advised.

    Raises
    ------
    InvalidInputError
        Declined without a reason, or published though declined.
    """
    faults = []
    if decided.decision == AdviceDecision.DECLINED:
        if not decided.reason:
            faults.append(Fault("/reason", "required", "Say why the advice is declined."))
        if decided.publish:
            faults.append(
                Fault("/publish", "published_but_declined", "Only followed advice is published.")
            )
    if faults:
        raise InvalidInputError(faults=faults)


def _advised_as_seen(found: Mark, run_ups: RunUps, seen: Seen) -> MarkAdvice:
    if isinstance(found.advice, NotEnoughAttempts):
        raise NoAdviceError(f"There are {found.advice}.")
    advised = found.advice
    same = (
        run_ups.ids[-1] == seen.through_attempt
        and advised.answer.value == seen.answer
        and seen.start_mark_m in {None, advised.start_mark_m}
    )
    if not same:
        raise AdviceChangedError(
            f"It is {advised.answer.value} with the mark at {advised.start_mark_m:.2f} m, through"
            f" attempt {run_ups.ids[-1]}. Read it, and decide again."
        )
    return advised


def _record(
    club: Club,
    run_ups: RunUps,
    found: Mark,
    advised: MarkAdvice,
    *,
    decided: Decided,
    caller: Caller,
) -> Advice:
    return record(
        club,
        run_ups,
        kind=AdviceKind.MARK,
        answer=advised.answer.value,
        figures=_figures(run_ups, found, advised),
        said=mark_advice.tell(found),
        decided=decided,
        caller=caller,
    )


def record(
    club: Club,
    run_ups: RunUps,
    *,
    kind: AdviceKind,
    answer: str,
    figures: dict[str, Any],
    said: Told,
    decided: Decided,
    caller: Caller,
) -> Advice:
    """Write down an advice that stands now, and what the coach did about it."""
    return Advice.objects.create(
        club=club,
        approach_id=run_ups.series.approach_id,
        finish_class=run_ups.series.finish_class,
        kind=kind,
        answer=answer,
        figures=figures,
        told={"text": said.text, "reasons": as_json([asdict(each) for each in said.reasons])},
        n=len(run_ups),
        first_started_at=run_ups.started_at[0],
        through_attempt_id=run_ups.ids[-1],
        through_started_at=run_ups.started_at[-1],
        as_of=max(run_ups.changed_at),
        method=METHOD,
        plan_id=None if run_ups.marks_now is None else run_ups.marks_now.id,
        decision=decided.decision,
        reason=decided.reason,
        decided_at=timezone.now(),
        decided_by_id=caller.membership_id,
    )


def _figures(run_ups: RunUps, found: Mark, advised: MarkAdvice) -> dict[str, Any]:
    """Return the numbers as given, and the place whose errors decided."""
    footfall, at_m, limit_m = 0, None, DEFAULT_SETTINGS.board.off_m
    marks = run_ups.marks_now or run_ups.latest_marks()
    if advised.check is not None and found.check_footfall is not None and marks is not None:
        footfall, limit_m = found.check_footfall, DEFAULT_SETTINGS.check.off_m
        at_m = marks.planned_m(footfall)
    figures: dict[str, Any] = as_json(advised)
    return figures | {
        "began_m": _mark_of_now(run_ups),
        "footfall": footfall,
        "at_m": at_m,
        "limit_m": limit_m,
        "n_with_wind": found.n_with_wind,
        "wind": as_json(found.wind),
        "growing": as_json(found.growing),
    }


def _mark_of_now(run_ups: RunUps) -> float:
    """Return the start mark that the advice moves: the plan's, without one the last one used."""
    marks = run_ups.marks_now or run_ups.latest_marks()
    if marks is not None:
        return marks.start_mark_m
    used = run_ups.start_mark_m
    return float(used[~np.isnan(used)][-1])


def _publish(
    club: Club,
    advice: Advice,
    run_ups: RunUps,
    found: Mark,
    *,
    expected: Expected,
    caller: Caller,
) -> Plan:
    """Make the next revision with the advised mark, and what moves with it."""
    latest = approach_selectors.find_latest_plan(Approach(id=advice.approach_id))
    if latest is None:
        raise PlanMissingError
    given = advice.figures
    moved_m = given["start_mark_m"] - latest.start_mark_m
    check_marks, n_moved = _check_marks(
        latest,
        run_ups,
        found,
        began_m=given["began_m"],
        move_m=given["move_m"],
        watched=given["footfall"],
    )
    toe_m = list(latest.toe_m)
    if toe_m:
        toe_m[0] = round(toe_m[0] + moved_m, 3)  # the foot that stands on the mark
    return records.add_plan(
        club=club,
        approach_id=advice.approach_id,
        marks=records.Marks(
            start_mark_m=given["start_mark_m"],
            aim_m=latest.aim_m,
            check_marks=check_marks,
            transition_footfall=latest.transition_footfall,
            attack_footfall=latest.attack_footfall,
            toe_m=toe_m,
            last_contacts=latest.last_contacts,
        ),
        # Attempts that were made before this moment belong to the mark of before.
        valid_from=advice.decided_at,
        reason=_note(advice, n_moved),
        advice_id=advice.id,
        expected=expected,
        caller=caller,
    )


def _check_marks(
    latest: Plan,
    run_ups: RunUps,
    found: Mark,
    *,
    began_m: float,
    move_m: float,
    watched: int,
) -> tuple[list[dict[str, Any]], int]:
    """Return the check marks of the next revision, and how many of them moved.

    The one that the move was taken from stays: the foot will meet it. Another one moves to where
    the foot will come down, if enough attempts from the mark of now were measured there and they
    show that it would be missed, in still air as all of a plan is. What nobody measured stays, and
    is tried in a run-through.
    """
    # Marks are to the centimetre: a hair of slack for their last digit.
    from_mark = np.abs(run_ups.start_mark_m - began_m) <= MARK_STANDS_M + 1e-9
    marks, n_moved = [], 0
    for mark in latest.check_marks:
        footfall, at_m = int(mark["footfall"]), float(mark["at_m"])
        toe_m = np.empty(0)
        if footfall <= run_ups.steps:
            by_wind = found.wind.moves_error(run_ups.start_mark_m - at_m, run_ups.wind_mps)
            toe_m = (run_ups.toe_m[:, footfall] - by_wind)[from_mark]
        toe_m = toe_m[~np.isnan(toe_m)]
        if footfall != watched and toe_m.size >= MIN_AT_CHECK_MARK:
            lands = conventions.t_interval(
                estimate=float(toe_m.mean()) + move_m,
                standard_error=float(toe_m.std(ddof=1) / np.sqrt(toe_m.size)),
                df=toe_m.size - 1,
                level=conventions.DEFAULT_LEVEL,
            )
            if not lands.low <= at_m <= lands.high:
                at_m = round(float(toe_m.mean()) + move_m, 2)
                n_moved += at_m != mark["at_m"]
        marks.append({"footfall": footfall, "at_m": at_m})
    return marks, n_moved


def _note(advice: Advice, n_moved: int) -> str:
    """Return why the plan was made, for whoever reads it next season."""
    given = advice.figures
    text = (
        _("Start mark moved by {size} toward the pit, as advised from {attempts}.")
        if given["move_m"] < 0
        else _("Start mark moved back by {size}, as advised from {attempts}.")
    )
    note = text.format(size=words.centimetres(given["move_m"]), attempts=words.attempts(given["n"]))
    if given["n_with_wind"]:
        note = f"{note} {_('It is the mark for still air.')}"
    if n_moved:
        moved = ngettext("{n} check mark set anew.", "{n} check marks set anew.", n_moved).format(
            n=n_moved
        )
        note = f"{note} {moved}"
    return f"{note} {advice.reason}".strip()
