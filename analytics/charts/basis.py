"""What a picture rests on, in words: how many attempts, in how many sessions, from when to when."""

from collections.abc import Sequence
from datetime import datetime

from django.utils import formats, timezone
from django.utils.translation import gettext as _

from analytics.answers import words
from analytics.charts.sheet import Sheet
from analytics.selectors import RunUps


def day(moment: datetime, sheet: Sheet, *, year: bool = False) -> str:
    """Return the day of a moment, where the reader is."""
    there = timezone.localtime(moment, sheet.wanted.zone)
    return formats.date_format(there, "j M Y" if year else "j M")


def days(started_at: Sequence[datetime], sheet: Sheet) -> str:
    """Return from when to when attempts were made."""
    first, last = day(started_at[0], sheet), day(started_at[-1], sheet, year=True)
    if (
        timezone.localtime(started_at[0], sheet.wanted.zone).year
        != timezone.localtime(started_at[-1], sheet.wanted.zone).year
    ):
        first = day(started_at[0], sheet, year=True)
    if day(started_at[0], sheet, year=True) == last:
        return last
    return _("{first} to {last}").format(first=first, last=last)


def said_of(run_ups: RunUps, sheet: Sheet) -> str:
    """Return what a picture rests on; there is at least one attempt."""
    return _("From {attempts} in {sessions}, {days}.").format(
        attempts=words.attempts(len(run_ups)),
        sessions=words.sessions(len(set(run_ups.session_ids))),
        days=days(run_ups.started_at, sheet),
    )
