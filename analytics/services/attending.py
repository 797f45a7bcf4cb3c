"""What people do about alerts: they acknowledge them, or put them off until a day.

Judging knows nothing of it: it opens and closes alerts by the figures alone, and leaves alone what
is written here.
"""

from collections.abc import Mapping
from datetime import date, timedelta
from typing import Any
from uuid import UUID

from django.utils import timezone

from analytics import selectors
from analytics.errors import AlertClosedError
from analytics.models import Alert
from clubs.models import Club
from clubs.selectors import Caller
from clubs.services import auditing
from common.club_scope import club_scope
from common.errors import Fault, InvalidInputError
from common.versions import Expected, change_row, check_version

# Longer than a season: what is put off for longer is a rule that should be off.
LONGEST_PUT_OFF = timedelta(days=366)


def attend_to_alert(
    *,
    club: Club,
    alert_id: UUID,
    expected: Expected,
    changes: Mapping[str, Any],
    today: date,
    caller: Caller,
) -> Alert:
    """Acknowledge an alert or put it off, or take either back.

    `changes` holds `acknowledged`, true or false, or `put_off_until_date` with `put_off_reason`. An
    acknowledged alert stays so until it closes; one that is put off is back by itself on its day.
    Of the two, what was done last holds: the other ends.

    Raises
    ------
    NotFoundError
        The club has no such alert.
    StaleVersionError
        Somebody, or a new attempt, changed it meanwhile.
    AlertClosedError
        The alert is closed.
    InvalidInputError
        The day is none to put something off to, or what is asked contradicts itself.
    """
    _check(changes, today)
    with club_scope(club):
        alert = selectors.lock_alert(alert_id)
        check_version(alert, expected=expected)
        becomes = _becomes(alert, changes, caller)
        differs = any(getattr(alert, name) != value for name, value in becomes.items())
        if differs and alert.closed_at is not None:
            raise AlertClosedError(f"It was closed on {alert.closed_at:%Y-%m-%d}.")
        changed = change_row(alert, expected=expected, changes=becomes)
        auditing.record_change(club=club, caller=caller, subject=alert, changed=changed)
        return alert


def _check(changes: Mapping[str, Any], today: date) -> None:
    until = changes.get("put_off_until_date")
    faults = []
    if until is None:
        if "put_off_reason" in changes:
            faults.append(
                Fault("/put_off_reason", "reason_without_day", "A reason is for a day to put off.")
            )
    else:
        if "put_off_reason" not in changes:
            faults.append(Fault("/put_off_reason", "required", "Say why it can wait."))
        if until <= today:
            faults.append(
                Fault("/put_off_until_date", "day_has_come", f"The day is later than {today}.")
            )
        if until > today + LONGEST_PUT_OFF:
            faults.append(
                Fault(
                    "/put_off_until_date",
                    "put_off_too_long",
                    f"The day is no later than {today + LONGEST_PUT_OFF}.",
                )
            )
        if changes.get("acknowledged"):
            faults.append(
                Fault(
                    "/acknowledged",
                    "acknowledged_and_put_off",
                    "An alert is acknowledged or put off, not both.",
                )
            )
    if faults:
        raise InvalidInputError(faults=faults)


def _becomes(alert: Alert, changes: Mapping[str, Any], caller: Caller) -> dict[str, Any]:
    """Return every field that what people do is written in, as it shall be.

    What is so already keeps who did it and when.
    """
    becomes = {name: getattr(alert, name) for name in (*_NOT_ACKNOWLEDGED, *_NOT_PUT_OFF)}
    if "acknowledged" in changes:
        if not changes["acknowledged"]:
            becomes |= _NOT_ACKNOWLEDGED
        elif alert.acknowledged_at is None:
            becomes |= _NOT_PUT_OFF
            becomes |= {
                "acknowledged_at": timezone.now(),
                "acknowledged_by_id": caller.membership_id,
            }
    if "put_off_until_date" in changes:
        asked = (changes["put_off_until_date"], changes.get("put_off_reason", ""))
        if asked[0] is None:
            becomes |= _NOT_PUT_OFF
        elif asked != (alert.put_off_until_date, alert.put_off_reason):
            becomes |= _NOT_ACKNOWLEDGED
            becomes |= {
                "put_off_until_date": asked[0],
                "put_off_reason": asked[1],
                "put_off_at": timezone.now(),
                "put_off_by_id": caller.membership_id,
            }
    return becomes


_NOT_ACKNOWLEDGED: Mapping[str, Any] = {"acknowledged_at": None, "acknowledged_by_id": None}
_NOT_PUT_OFF: Mapping[str, Any] = {
    "put_off_until_date": None,
    "put_off_reason": "",
    "put_off_at": None,
    "put_off_by_id": None,
}
