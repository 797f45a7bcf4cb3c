"""A run-up that was designed becomes the plan of an approach."""

from datetime import date
from uuid import UUID

from analytics import selectors
from analytics.answers import design
from analytics.answers.design import Design, Wish
from analytics.core.run_up_fit import Fit
from approaches.models import Approach, Plan
from approaches.services import records
from clubs.models import Club
from clubs.selectors import Caller
from common.club_scope import club_scope
from common.errors import Fault, InvalidInputError, NotFoundError
from common.versions import ANY_VERSION, Expected

# As many of the latest attempts as other answers look at unless they are asked for others.
LAST = 40


def publish_design(
    *,
    club: Club,
    approach_id: UUID,
    wish: Wish,
    reason: str = "",
    today: date,
    caller: Caller,
    expected: Expected = ANY_VERSION,
) -> tuple[Design, Plan]:
    """Design a run-up for an approach, and make the next revision of its plan from it.

    It is worked out here, from what is stored at this moment. `expected` names the latest revision
    that the author knew of, 0 before the first.

    Raises
    ------
    NotFoundError
        There is no such approach, or it is a stranger's.
    InvalidInputError
        Too little is known for a design, it is too long for the runway that is named, or a wanted
        check mark lies outside the run-up.
    StaleVersionError
        Somebody else added a revision meanwhile.
    PlanOutOfOrderError
        A revision was planned ahead, and is not valid yet.
    """
    with club_scope(club):
        # A revision of somebody else at this moment waits: the approach's row is their queue.
        locked = Approach.objects.select_for_update(no_key=True).filter(id=approach_id)
        if not locked.exists():
            raise NotFoundError
        own = selectors.read_own_run_up_for(caller, approach_id, last=LAST, today=today)
        found = design.work_out(wish, own.jumper, own)
        if found.plan is None:
            lacking = ", ".join(found.lacking)
            raise InvalidInputError(
                faults=[
                    Fault(
                        "/publish",
                        "nothing_to_publish",
                        f"Too little is known for a design. Lacking: {lacking}.",
                    )
                ]
            )
        if found.runway is not None and found.runway.fit is Fit.TOO_LONG:
            raise InvalidInputError(
                faults=[
                    Fault(
                        "/runway_m",
                        "runway_too_short",
                        f"The run-up needs {found.runway.needed_m:.1f} m with the room behind the"
                        " mark. Leave runway_m out if it is for another runway.",
                    )
                ]
            )
        marks = found.plan
        plan = records.add_plan(
            club=club,
            approach_id=approach_id,
            marks=records.Marks(
                start_mark_m=marks["start_mark_m"],
                aim_m=marks["aim_m"],
                check_marks=marks["check_marks"],
                transition_footfall=marks["phase_starts"]["transition"],
                attack_footfall=marks["phase_starts"]["attack"],
                toe_m=marks["toe_m"],
                last_contacts=marks["last_contacts"],
            ),
            reason=f"{design.note(found)} {reason}".strip(),
            expected=expected,
            caller=caller,
        )
        return found, plan
