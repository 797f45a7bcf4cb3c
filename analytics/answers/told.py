"""What an answer says in words, beside its figures."""

from collections.abc import Mapping
from dataclasses import dataclass

from django.utils.translation import gettext as _
from django.utils.translation import ngettext

from analytics.core.conventions import NotEnoughAttempts

Numbers = Mapping[str, float | int | str | None]


@dataclass(frozen=True, slots=True)
class Reason:
    """One thing that speaks for an answer or against it, with its number.

    `numbers` carry their units in their names, as everywhere; `text` says the same in words.
    """

    code: str
    numbers: Numbers
    text: str


@dataclass(frozen=True, slots=True)
class Told:
    """An answer in plain words.

    Attributes
    ----------
    text
        A few sentences that an athlete of sixteen understands.
    reasons
        What speaks for a decision or against it; empty where nothing is decided.
    would_change
        What would make the answer another one.
    caution
        Where following the answer can hurt somebody; else None.
    more_attempts_needed
        How many attempts are missing until there is an answer; 0 when there is one.
    """

    text: str
    reasons: tuple[Reason, ...] = ()
    would_change: tuple[str, ...] = ()
    caution: str | None = None
    more_attempts_needed: int = 0


def not_enough(found: NotEnoughAttempts, *, what: str, would_change: tuple[str, ...] = ()) -> Told:
    """Say how many more attempts are needed, and of which kind, as `what` names it."""
    more = found.needed - found.n
    text = ngettext(
        "Not enough attempts yet: {n} of {needed} {what}. {more} more is needed.",
        "Not enough attempts yet: {n} of {needed} {what}. {more} more are needed.",
        more,
    ).format(n=found.n, needed=found.needed, what=what, more=more)
    return Told(text=text, would_change=would_change, more_attempts_needed=more)


def caution() -> str:
    """Return what every advice carries that could make somebody run or jump more, or otherwise."""
    return _(
        "The coach on the spot decides. Pain, a growth spurt, a wet or uneven runway, an unsafe "
        "pit or lightning stop the session. Local federation rules, safeguarding rules and "
        "licensed medical practice go first."
    )
