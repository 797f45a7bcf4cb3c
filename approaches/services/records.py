"""Make and change approaches, and plan them: each change of the marks is a new revision."""

from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass, field
from datetime import datetime
from itertools import pairwise
from typing import Any
from uuid import UUID

from django.utils import timezone

from approaches import selectors
from approaches.errors import ApproachInUseError, PlanOutOfOrderError
from approaches.models import Approach, Attempt, Plan, StartStyle
from athletes.models import Athlete
from clubs.models import Club, Event
from clubs.selectors import Caller
from clubs.services import auditing
from common.club_scope import club_scope
from common.errors import Fault, InvalidInputError, NotFoundError, StaleVersionError
from common.refusals import refuse_duplicates
from common.versions import ANY_VERSION, Expected, archiving, change_row, check_version

DEFAULT_AIM_M = 0.06
# The mean step of a run-up, from a small child's to more than anybody's at full speed: beyond, the
# mark was meant in feet, or for another run-up. Our judgement.
SHORTEST_MEAN_STEP_M, LONGEST_MEAN_STEP_M = 0.5, 3.0
# What attempts are compared by, and marks are made for: with another, it is another run-up.
COMPARED_BY = ("event", "start_style", "steps")


@dataclass(frozen=True, slots=True)
class Marks:
    """What a plan says of a run-up: distances before the take-off line, footfalls from it back."""

    start_mark_m: float
    aim_m: float = DEFAULT_AIM_M
    check_marks: Sequence[Mapping[str, float]] = ()
    transition_footfall: int | None = None
    attack_footfall: int | None = None
    toe_m: Sequence[float] = ()  # planned footfalls n to 0
    last_contacts: Sequence[str] = field(default=())


def add_approach(
    *,
    club: Club,
    athlete: Athlete,
    code: str,
    event: Event,
    steps: int,
    start_style: StartStyle,
    caller: Caller | None = None,
) -> Approach:
    """Make a run-up for an athlete.

    Raises
    ------
    AlreadyExistsError
        The athlete has an approach with this code.
    """
    with club_scope(club):
        with refuse_duplicates("code", f"The athlete has an approach {code} already."):
            approach = Approach.objects.create(
                club=club,
                athlete=athlete,
                code=code,
                event=event,
                steps=steps,
                start_style=start_style,
            )
        auditing.record_audit(
            club=club, caller=caller, action="approach_added", subjects={"approach": [approach.id]}
        )
        return approach


def change_approach(
    *,
    club: Club,
    approach_id: UUID,
    expected: Expected,
    changes: Mapping[str, Any],
    caller: Caller | None = None,
) -> Approach:
    """Give an approach another code, archive it or bring it back, or put right how it is run.

    Raises
    ------
    NotFoundError
        The club has no such approach.
    StaleVersionError
        Somebody else changed it meanwhile.
    ApproachInUseError
        Plans or attempts were made for the event, the steps and the start that it has.
    AlreadyExistsError
        The athlete has an approach with the new code.
    """
    with club_scope(club):
        # The strongest lock: an attempt that is stored at this moment holds the key of the row,
        # so either it is seen below, or it waits and is made for what the approach is then.
        approach = Approach.objects.select_for_update().filter(id=approach_id).first()
        if approach is None:
            raise NotFoundError
        check_version(approach, expected=expected)
        others = [
            name
            for name in COMPARED_BY
            if changes.get(name, getattr(approach, name)) != getattr(approach, name)
        ]
        if others and _is_in_use(approach):
            raise ApproachInUseError(
                faults=[
                    Fault(f"/{name}", ApproachInUseError.code, ApproachInUseError.title)
                    for name in others
                ]
            )
        with refuse_duplicates("code", "The athlete has an approach with this code already."):
            changed = change_row(approach, expected=expected, changes=archiving(approach, changes))
        auditing.record_change(club=club, caller=caller, subject=approach, changed=changed)
        return approach


def _is_in_use(approach: Approach) -> bool:
    plans, attempts = (kind.objects.filter(approach=approach) for kind in (Plan, Attempt))
    return plans.exists() or attempts.exists()


def add_plan(
    *,
    club: Club,
    approach_id: UUID,
    marks: Marks,
    valid_from: datetime | None = None,
    reason: str = "",
    advice_id: UUID | None = None,
    expected: Expected = ANY_VERSION,
    caller: Caller | None = None,
) -> Plan:
    """Add the next revision of an approach's plan; earlier ones stay as they are.

    Attempts that are stored already keep the revision that they were made under. `expected` names
    the latest revision that the author knew of, 0 before the first; `advice_id` the recorded advice
    that the plan follows.

    Raises
    ------
    NotFoundError
        The club has no such approach.
    StaleVersionError
        Somebody else added a revision meanwhile.
    PlanOutOfOrderError
        It would be valid from a moment no later than the latest revision.
    InvalidInputError
        The marks contradict each other or the number of steps; the faults name each.
    """
    with club_scope(club):
        # Two revisions at once would take the same number; the approach's row is their queue.
        approach = Approach.objects.select_for_update(no_key=True).filter(id=approach_id).first()
        if approach is None:
            raise NotFoundError
        latest = selectors.find_latest_plan(approach)
        revision = 0 if latest is None else latest.revision
        if not expected.allow(revision):
            raise StaleVersionError(
                f"The latest revision is {revision or 'none yet'}; read it, and decide again."
            )
        _check_marks(marks, steps=approach.steps)
        valid_from = valid_from or timezone.now()
        if latest is not None and valid_from <= latest.valid_from:
            raise PlanOutOfOrderError(
                f"Revision {revision} is valid from {latest.valid_from.isoformat()}."
            )
        plan = Plan.objects.create(
            club=club,
            approach=approach,
            revision=revision + 1,
            valid_from=valid_from,
            start_mark_m=marks.start_mark_m,
            aim_m=marks.aim_m,
            check_marks=[dict(mark) for mark in marks.check_marks],
            transition_footfall=marks.transition_footfall,
            attack_footfall=marks.attack_footfall,
            toe_m=list(marks.toe_m),
            last_contacts=list(marks.last_contacts),
            reason=reason,
            advice_id=advice_id,
            author_id=None if caller is None else caller.membership_id,
        )
        auditing.record_audit(
            club=club, caller=caller, action="plan_added", subjects={"plan": [plan.id]}
        )
        return plan


def _check_marks(marks: Marks, *, steps: int) -> None:
    faults = [*_wrong_marks(marks, steps), *_wrong_phases(marks, steps), *_wrong_toes(marks, steps)]
    if faults:
        raise InvalidInputError(faults=faults)


def _wrong_marks(marks: Marks, steps: int) -> Iterator[Fault]:
    nearest_m, farthest_m = (steps * each for each in (SHORTEST_MEAN_STEP_M, LONGEST_MEAN_STEP_M))
    if not nearest_m <= marks.start_mark_m <= farthest_m:
        yield Fault(
            "/start_mark_m",
            "mark_not_for_steps",
            f"{steps} steps take {nearest_m:g} to {farthest_m:g} m: say it in metres, not in feet, "
            "and for this run-up.",
        )
    for index, mark in enumerate(marks.check_marks):
        if not 0 < mark["footfall"] < steps:
            yield Fault(
                f"/check_marks/{index}/footfall",
                "footfall_out_of_range",
                f"A check mark is met by a footfall between 1 and {steps - 1}.",
            )
        if not 0 < mark["at_m"] < marks.start_mark_m:
            yield Fault(
                f"/check_marks/{index}/at_m",
                "mark_off_run_up",
                "A check mark stands between the start mark and the line.",
            )


def _wrong_phases(marks: Marks, steps: int) -> Iterator[Fault]:
    transition, attack = marks.transition_footfall, marks.attack_footfall
    for name, footfall in (("transition", transition), ("attack", attack)):
        if footfall is not None and not 0 < footfall < steps:
            yield Fault(
                f"/phase_starts/{name}",
                "footfall_out_of_range",
                f"A phase starts at a footfall between 1 and {steps - 1}.",
            )
    if transition is not None and attack is not None and transition <= attack:
        yield Fault(
            "/phase_starts/attack",
            "phases_out_of_order",
            "The attack starts after the transition, at a lower footfall.",
        )


def _wrong_toes(marks: Marks, steps: int) -> Iterator[Fault]:
    if marks.toe_m and len(marks.toe_m) != steps + 1:
        yield Fault("/toe_m", "unequal_lengths", f"Footfalls {steps} to 0 are {steps + 1} values.")
    if not all(first > second for first, second in pairwise(marks.toe_m)):
        yield Fault("/toe_m", "positions_must_fall", "From the start on, planned positions fall.")
