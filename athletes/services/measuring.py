"""Body measurements, from which growth is seen."""

from collections.abc import Mapping
from datetime import date
from typing import Any
from uuid import UUID

from athletes.models import Athlete, BodyMeasurement
from athletes.services.records import refuse_days_ahead
from clubs.models import Club
from clubs.selectors import Caller
from clubs.services import auditing
from common.club_scope import club_scope
from common.errors import Fault, InvalidInputError, NotFoundError
from common.refusals import refuse_duplicates
from common.versions import Expected, change_row

_ONCE_A_DAY = "The athlete was measured on this day already."


def add_measurement(
    *,
    club: Club,
    athlete: Athlete,
    measured_date: date,
    height_m: float,
    leg_length_m: float | None = None,
    caller: Caller | None = None,
) -> BodyMeasurement:
    """Note what was measured on a day.

    Raises
    ------
    AlreadyExistsError
        The athlete was measured on this day already.
    InvalidInputError
        The day lies ahead or before the athlete's birth, or the leg is no shorter than the body.
    """
    _check(club, athlete, measured_date, height_m, leg_length_m)
    with club_scope(club):
        with refuse_duplicates("measured_date", _ONCE_A_DAY):
            measurement = BodyMeasurement.objects.create(
                club=club,
                athlete=athlete,
                measured_date=measured_date,
                height_m=height_m,
                leg_length_m=leg_length_m,
            )
        auditing.record_audit(
            club=club,
            caller=caller,
            action="body_measurement_added",
            subjects={"body_measurement": [measurement.id]},
        )
        return measurement


def change_measurement(
    *,
    club: Club,
    athlete: Athlete,
    measurement_id: UUID,
    expected: Expected,
    changes: Mapping[str, Any],
    caller: Caller | None = None,
) -> BodyMeasurement:
    """Put a measurement right.

    Raises
    ------
    NotFoundError
        The athlete has no such measurement.
    StaleVersionError
        Somebody else changed it meanwhile.
    AlreadyExistsError
        The athlete was measured on the new day already.
    InvalidInputError
        As `add_measurement`.
    """
    with club_scope(club):
        measurement = (
            BodyMeasurement.objects.select_for_update(no_key=True)
            .filter(id=measurement_id, athlete=athlete)
            .first()
        )
        if measurement is None:
            raise NotFoundError
        _check(
            club,
            athlete,
            changes.get("measured_date", measurement.measured_date),
            changes.get("height_m", measurement.height_m),
            changes.get("leg_length_m", measurement.leg_length_m),
        )
        with refuse_duplicates("measured_date", _ONCE_A_DAY):
            changed = change_row(measurement, expected=expected, changes=changes)
        auditing.record_change(club=club, caller=caller, subject=measurement, changed=changed)
        return measurement


def _check(
    club: Club, athlete: Athlete, measured_date: date, height_m: float, leg_length_m: float | None
) -> None:
    refuse_days_ahead(club, measured_date=measured_date)
    faults = []
    if measured_date < athlete.birth_date:
        faults.append(
            Fault("/measured_date", "before_birth", "The day lies before the athlete's birth.")
        )
    if leg_length_m is not None and leg_length_m >= height_m:
        faults.append(
            Fault("/leg_length_m", "leg_too_long", "A leg is shorter than the whole body.")
        )
    if faults:
        raise InvalidInputError(faults=faults)
