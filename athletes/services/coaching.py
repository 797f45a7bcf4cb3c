"""Who coaches whom."""

from collections.abc import Mapping
from datetime import date
from typing import Any
from uuid import UUID

from athletes.models import Athlete, CoachAssignment
from athletes.services.days import check_days
from clubs.models import Club, Membership, Role, Squad
from clubs.selectors import Caller
from clubs.services import auditing
from common.club_scope import club_scope
from common.errors import Fault, InvalidInputError, NotFoundError
from common.refusals import refuse_duplicates
from common.versions import Expected, change_row

_ALREADY = "The coach has this charge on some of these days already."


def assign_coach(
    *,
    club: Club,
    coach: Membership,
    from_date: date,
    until_date: date | None = None,
    squad: Squad | None = None,
    athlete: Athlete | None = None,
    caller: Caller | None = None,
) -> CoachAssignment:
    """Give a coach the charge of a squad or of one athlete from a day on.

    Raises
    ------
    InvalidInputError
        The person is no coach of the club, neither or both of squad and athlete are given, or
        the last day is before the first.
    AlreadyExistsError
        The coach has this charge on some of these days.
    """
    check_days(from_date, until_date)
    if (squad is None) == (athlete is None):
        raise InvalidInputError(
            faults=[Fault("", "squad_or_athlete", "A charge is one squad or one athlete.")]
        )
    if coach.role != Role.COACH or coach.ended_at is not None:
        raise InvalidInputError(
            faults=[Fault("/coach", "not_a_coach", "This member is no coach of the club.")]
        )
    with club_scope(club):
        with refuse_duplicates("coach", _ALREADY):
            assignment = CoachAssignment.objects.create(
                club=club,
                coach=coach,
                squad=squad,
                athlete=athlete,
                from_date=from_date,
                until_date=until_date,
            )
        auditing.record_audit(
            club=club,
            caller=caller,
            action="coach_assigned",
            subjects={"coach_assignment": [assignment.id]},
        )
        return assignment


def change_assignment(
    *,
    club: Club,
    assignment_id: UUID,
    expected: Expected,
    changes: Mapping[str, Any],
    caller: Caller | None = None,
) -> CoachAssignment:
    """Change the days of a charge. Whom it is about stays: another charge is another row.

    Raises
    ------
    NotFoundError
        The club has no such assignment.
    StaleVersionError
        Somebody else changed it meanwhile.
    AlreadyExistsError
        The coach has this charge on some of these days by another assignment.
    InvalidInputError
        The last day is before the first.
    """
    with club_scope(club):
        assignment = _lock(assignment_id)
        check_days(
            changes.get("from_date", assignment.from_date),
            changes.get("until_date", assignment.until_date),
        )
        with refuse_duplicates(min(changes, default=""), _ALREADY):
            changed = change_row(assignment, expected=expected, changes=changes)
        auditing.record_change(club=club, caller=caller, subject=assignment, changed=changed)
        return assignment


def remove_assignment(*, club: Club, assignment_id: UUID, caller: Caller | None = None) -> None:
    """Take a charge away for good, as if it had never been given; the audit keeps that it was.

    Raises
    ------
    NotFoundError
        The club has no such assignment.
    """
    with club_scope(club):
        assignment = _lock(assignment_id)
        auditing.record_audit(
            club=club,
            caller=caller,
            action="coach_assignment_removed",
            subjects={
                "coach_assignment": [assignment.id],
                "membership": [assignment.coach_id],
                **({"squad": [assignment.squad_id]} if assignment.squad_id else {}),
                **({"athlete": [assignment.athlete_id]} if assignment.athlete_id else {}),
            },
        )
        assignment.delete()


def _lock(assignment_id: UUID) -> CoachAssignment:
    assignment = (
        CoachAssignment.objects.select_for_update(no_key=True).filter(id=assignment_id).first()
    )
    if assignment is None:
        raise NotFoundError
    return assignment
