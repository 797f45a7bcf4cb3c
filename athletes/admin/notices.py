"""What the first page tells of athletes."""

from django.urls import reverse

from athletes import selectors
from athletes.models import Consent
from clubs.admin import Notice, add_notice
from clubs.selectors import Caller, today_at


def missing_consents(caller: Caller) -> Notice:
    missing = selectors.list_athletes_without_consent(
        Consent.Purpose.TRAINING_RECORDS, today=today_at(caller.club)
    )
    return Notice(
        count=missing.count(),
        words="without consent to training records",
        why="Athletes whose consent is missing or withdrawn.",
        address=f"{reverse('admin:athletes_athlete_changelist')}?consent=missing",
    )


add_notice(50, missing_consents)
