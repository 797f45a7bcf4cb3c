"""How far a question is that takes longer, in plain words."""

from django.utils.translation import gettext as _

from analytics.answers import words


def tell_state(state: str, *, done: int, parts: int, failure: str) -> str:
    """Say where a question stands, and of a failed one what to do about it."""
    if state == "waiting":
        return _("It waits for its turn.")
    if state == "running" and parts:
        return _("It is being worked out: {done} of {parts} parts are done.").format(
            done=words.number(done), parts=words.number(parts)
        )
    if state == "running":
        return _("It is being worked out.")
    if state == "done":
        return _("It is worked out.")
    return tell_failure(failure)


def tell_failure(failure: str) -> str:
    """Say what to do about a question that failed."""
    if failure == "took_too_long":
        return _("It took too long and was stopped. Ask for less at once, or ask again later.")
    if failure == "lost":
        return _("It was begun again and again and never came to its end. Tell the club's admin.")
    return _("Something went wrong on our side. Ask again; if it fails again, tell the admin.")
