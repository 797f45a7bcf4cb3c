"""What an athlete or a guardian agreed to. It stays written down; a withdrawal is a date."""

from datetime import date
from uuid import UUID

from athletes.models import Athlete, Consent
from athletes.services.records import refuse_days_ahead
from clubs.models import Club
from clubs.selectors import Caller
from clubs.services import auditing
from common.club_scope import club_scope
from common.errors import Fault, InvalidInputError, NotFoundError
from common.refusals import refuse_duplicates
from common.versions import Expected, change_row

YOUNGEST_ALONE = 13
"""Nobody younger consents alone: no country may set the age lower (GDPR, Article 8 (1)). Many set
it higher, and where the club is the law there decides."""


def record_consent(
    *,
    club: Club,
    athlete: Athlete,
    purpose: Consent.Purpose,
    given_by: Consent.GivenBy,
    text_version: str,
    from_date: date,
    caller: Caller | None = None,
) -> Consent:
    """Note a consent, in which words it was given, and from when it holds.

    Raises
    ------
    AlreadyExistsError
        There is a consent to this purpose from this day on.
    InvalidInputError
        The athlete is too young to consent alone.
    """
    refuse_alone_too_young(athlete.birth_date, given_by=given_by, from_date=from_date)
    with club_scope(club):
        with refuse_duplicates(
            "from_date", "There is a consent to this purpose from this day on already."
        ):
            consent = Consent.objects.create(
                club=club,
                athlete=athlete,
                purpose=purpose,
                given_by=given_by,
                text_version=text_version,
                from_date=from_date,
            )
        auditing.record_audit(
            club=club,
            caller=caller,
            action="consent_added",
            subjects={"consent": [consent.id]},
        )
        return consent


def withdraw_consent(
    *,
    club: Club,
    consent_id: UUID,
    expected: Expected,
    withdrawn_date: date,
    caller: Caller | None = None,
) -> Consent:
    """Note from which day on a consent holds no more, or put that day right.

    Raises
    ------
    NotFoundError
        The club has no such consent.
    StaleVersionError
        Somebody else changed it meanwhile.
    InvalidInputError
        The day lies ahead, or before the day it was given.
    """
    refuse_days_ahead(club, withdrawn_date=withdrawn_date)
    with club_scope(club):
        consent = Consent.objects.select_for_update(no_key=True).filter(id=consent_id).first()
        if consent is None:
            raise NotFoundError
        if withdrawn_date < consent.from_date:
            detail = f"It was given on {consent.from_date}, and is withdrawn no earlier."
            raise InvalidInputError(faults=[Fault("/withdrawn_date", "ends_before_start", detail)])
        changed = change_row(consent, expected=expected, changes={"withdrawn_date": withdrawn_date})
        auditing.record_change(club=club, caller=caller, subject=consent, changed=changed)
        return consent


def refuse_alone_too_young(
    birth_date: date, *, given_by: Consent.GivenBy | str, from_date: date
) -> None:
    """Refuse the consent of a child who is too young to give it alone.

    Raises
    ------
    InvalidInputError
        The athlete is younger than `YOUNGEST_ALONE` on the day.
    """
    had_birthday = (from_date.month, from_date.day) >= (birth_date.month, birth_date.day)
    age = from_date.year - birth_date.year - (not had_birthday)
    if given_by == Consent.GivenBy.ATHLETE and age < YOUNGEST_ALONE:
        detail = f"Under {YOUNGEST_ALONE} a guardian consents; local law may set the age higher."
        raise InvalidInputError(faults=[Fault("/given_by", "guardian_needed", detail)])
