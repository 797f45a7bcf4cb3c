"""What a season brought to an athlete, in plain words."""

from collections.abc import Sequence

from django.utils.translation import gettext as _
from django.utils.translation import ngettext

from analytics.answers import told, words
from analytics.answers.season import (
    AthleteSeason,
    Best,
    Bests,
    Competition,
    Grown,
    Length,
    SeasonLoad,
)
from analytics.core.growth import Growth
from analytics.models import Alert


def summary_text(found: AthleteSeason) -> str:
    """Say in a few sentences how much was jumped, and how far."""
    season = found.season
    text = _("From {first} to {last}: {attempts} in {sessions}.").format(
        first=words.day(season.from_date),
        last=words.day(season.to_date),
        attempts=words.attempts(found.n),
        sessions=words.sessions(found.n_sessions),
    )
    n = len({each.session for each in found.competitions})
    competitions = ngettext(
        "{n} session was a competition.", "{n} sessions were competitions.", n
    ).format(n=n)
    bests = [best_text(each) for each in found.bests if each.n]
    return " ".join([text, *([competitions] if n else []), *bests])


def best_text(bests: Bests) -> str:
    """Say how far the best jump of an event went, officially and from the toe."""
    if not bests.official:
        return _("{event}: no official distance was written down.").format(
            event=event_name(bests.event)
        )
    best = bests.official[-1]
    text = _("{event}: best {distance} on {day}, from {steps}.").format(
        event=event_name(bests.event),
        distance=words.metres(best.distance_m, 2),
        day=words.day(best.held_date),
        steps=words.steps(best.steps),
    )
    if not bests.effective:
        return text
    return f"{text} " + _farthest(bests.effective[-1])


def _farthest(best: Best) -> str:
    return _("From the toe, the farthest was {distance} on {day}.").format(
        distance=words.metres(best.distance_m, 2), day=words.day(best.held_date)
    )


def event_name(event: str) -> str:
    """Return an event at the beginning of a sentence."""
    return {"long_jump": _("Long jump"), "triple_jump": _("Triple jump")}[event]


def competitions_text(competitions: Sequence[Competition]) -> str:
    """Say how many competitions there were, and how many of their jumps were no jumps."""
    if not competitions:
        return _("No competition was written down.")
    n = len({each.session for each in competitions})
    jumps = sum(each.n for each in competitions)
    return ngettext(
        "{n} competition: {no_jumps} of {jumps} jumps were no jumps.",
        "{n} competitions: {no_jumps} of {jumps} jumps were no jumps.",
        n,
    ).format(n=n, no_jumps=sum(each.n_no_jumps for each in competitions), jumps=jumps)


def competition_text(found: Competition) -> str:
    """Say what one competition brought."""
    day = words.day(found.held_date)
    if found.best_m is None:
        text = _("{day}: no official distance; {no_jumps} of {n} were no jumps.")
        return text.format(day=day, no_jumps=found.n_no_jumps, n=found.n)
    text = _("{day}: best {best}; {no_jumps} of {n} were no jumps.").format(
        day=day, best=words.metres(found.best_m, 2), no_jumps=found.n_no_jumps, n=found.n
    )
    if found.best_toe_m is None:
        return text
    return f"{text} " + _("At the best the toe was {place}.").format(
        place=words.place(found.best_toe_m)
    )


def lengths_text(lengths: Sequence[Length]) -> str:
    """Say from how many steps was jumped, in the order in which that began."""
    if not lengths:
        return _("No full jump was written down.")
    said = [
        _("{run_up} ({steps}) from {first} to {last}: {n}.").format(
            run_up=each.approach_code,
            steps=words.steps(each.steps),
            first=words.day(each.first_date),
            last=words.day(each.last_date),
            n=ngettext("{n} full jump", "{n} full jumps", each.n).format(n=each.n),
        )
        for each in lengths
    ]
    return " ".join(said)


def growth_text(grown: Grown) -> str:
    """Say how much the athlete grew, and how fast at the end."""
    found = grown.growth
    if not isinstance(found, Growth):
        return _("Height was never measured: nobody knows whether the athlete grew.")
    if grown.grown_m is None:
        text = _("Height was measured once: {height}.").format(
            height=words.metres(found.latest_height_m, 2)
        )
    else:
        text = _("Height {first} on {first_day}, {last} on {last_day}.").format(
            first=words.metres(grown.heights[0][1], 2),
            first_day=words.day(grown.heights[0][0]),
            last=words.metres(grown.heights[-1][1], 2),
            last_day=words.day(grown.heights[-1][0]),
        )
    if found.fast:
        text += " " + _("At the end that was fast growth: {rate} a year.").format(
            rate=words.centimetres(found.velocity_m_per_year or 0.0)
        )
    if found.measure_again:
        text += " " + _("A height is lower than an earlier one: one of them is wrong.")
    return text


def load_text(load: SeasonLoad) -> str:
    """Say how many full jumps a session and seven days had at most."""
    found = load.load
    if found.n == 0:
        return _("No full jump was written down.")
    return _(
        "{n} full jumps; at most {session} in a session and {week} in seven days. Common practice "
        "has 4 to 8 in a session; no published limit exists."
    ).format(n=found.n, session=found.most_in_session, week=found.most_in_week)


def body_caution() -> str:
    """Return what is said with every count of growth and load."""
    no_diagnosis = _(
        "A caution, not a diagnosis: it says what was written down, not how the athlete is. "
        "Whoever has pain stops and sees a doctor."
    )
    return f"{no_diagnosis} {told.caution()}"


def alerts_text(alerts: Sequence[Alert]) -> str:
    """Say how many alerts there were, and how many are still open."""
    if not alerts:
        return _("No alert.")
    n_open = sum(each.closed_at is None for each in alerts)
    return ngettext(
        "{n} alert, {n_open} of them still open.",
        "{n} alerts, {n_open} of them still open.",
        len(alerts),
    ).format(n=len(alerts), n_open=n_open)
