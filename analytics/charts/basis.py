"""What a picture rests on, in words: how many attempts, in how many sessions, from when to when."""

from collections.abc import Sequence
from datetime import datetime

from django.utils import formats, timezone
from django.utils.translation import gettext as _

from analytics.answers import words
from analytics.answers.told import Told
from analytics.charts.sheet import Sheet
from analytics.selectors import RunUps


def day(moment: datetime, sheet: Sheet, *, year: bool = False) -> str:
    """Return the day of a moment, where the reader is."""
    there = timezone.localtime(moment, sheet.wanted.zone)
    return formats.date_format(
        there, "DAY_AND_YEAR_OF_PICTURE_FORMAT" if year else "DAY_OF_PICTURE_FORMAT"
    )


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
    return said_of_window(
        len(run_ups), len(set(run_ups.session_ids)), run_ups.started_at, sheet=sheet
    )


def said_of_window(n: int, n_sessions: int, started_at: Sequence[datetime], *, sheet: Sheet) -> str:
    """Return what a picture rests on, of attempts of which the first and the last are known."""
    return _("From {attempts} in {sessions}, {days}.").format(
        attempts=words.attempts(n),
        sessions=words.sessions(n_sessions),
        days=days(started_at, sheet),
    )


def said_and_cautioned(said: Told) -> str:
    """Return an answer's sentences for who cannot see the picture, its caution behind them."""
    return said.text if said.caution is None else f"{said.text} {said.caution}"


def short_caution(said: Told) -> str:
    """Return what a picture carries whose answer carries a caution; nothing for the others."""
    return "" if said.caution is None else _("The coach on the spot decides.")
