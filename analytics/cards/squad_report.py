"""The season report of a squad: what is usual in it, and each athlete's own and drawn figures.

It is made of the answer to the squad's question (`docs/api/reports.md`): every sentence is from
there. Athletes stand as the answer has them, in the order of their codes.
"""

from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass
from datetime import date, datetime, tzinfo
from typing import Any

from django.utils.translation import gettext as _

from analytics.answers import words
from analytics.cards import facts
from analytics.cards.bars import Beside, draw_beside
from analytics.cards.season_report import Said, Table
from analytics.cards.sheet import Sheet

Part = Mapping[str, Any]


@dataclass(frozen=True, slots=True)
class Athlete:
    """One athlete's season.

    Attributes
    ----------
    text
        What the answer says of the athlete.
    spread
        The own and the drawn spread on one scale for the whole squad; None where neither is known.
    figures
        Own and drawn figures; without rows where there are too few attempts.
    """

    name: str
    run_up: str
    extent: str
    text: str
    spread: Beside | None
    figures: Table
    season: tuple[Said, ...]


@dataclass(frozen=True, slots=True)
class SquadReport(Sheet):
    """Everything in the report."""

    template = "squad_report"

    name: str
    period: str
    summary: str
    reading: tuple[str, ...]
    athletes: tuple[Athlete, ...]
    unknown: tuple[str, ...]


def fill_in(answer: Part, *, name: str, names: Mapping[str, str], zone: tzinfo) -> SquadReport:
    """Return the report of a squad of this name, its moments as they are in a time zone.

    Parameters
    ----------
    answer
        The answer in figures and words.
    names
        Athletes' names by id; who has none there is told of by the code alone.
    """
    first, last = (words.day(date.fromisoformat(answer[each])) for each in ("from_date", "to_date"))
    period = _("{first} to {last}").format(first=first, last=last)
    lines: Sequence[Part] = answer["results"]
    usual = answer["usual_spread_m"]
    usual_m = usual.get("squad_value")
    most_m = _most_m(lines, usual_m)
    return SquadReport(
        title=_("Season report: {name}, {period}").format(name=name, period=period),
        lang=facts.language_of_words(),
        labels={
            "heading": _("Season report of a squad"),
            "reading": _("How to read it"),
            "spread": _("Spread at the board, with 95% range"),
            "usual": "" if usual_m is None else _("Dashed: what is usual in the squad."),
            "unknown": _("What this season does not tell"),
            "first": _("It tells of several athletes: to each of them show their own part only."),
        },
        basis=_basis(answer["as_of"], zone=zone),
        caution=str(answer["caution"]),
        name=name,
        period=period,
        summary=str(answer["text"]),
        reading=tuple(answer["would_change"]),
        athletes=tuple(
            _athlete(
                line,
                text=reason["text"],
                name=names.get(str(line["athlete"]), ""),
                spread=draw_beside(line["own"], line["spread_m"], usual_m=usual_m, most_m=most_m),
            )
            for line, reason in zip(lines, answer["reasons"], strict=True)
        ),
        unknown=tuple(_unknown(lines)),
    )


def _most_m(lines: Sequence[Part], usual_m: float | None) -> float:
    """Return the farthest end of what is drawn, so that all athletes share a scale."""
    ends: list[float] = [each["own"]["sd_high_m"] for each in lines if each["own"] is not None]
    ends += [each["spread_m"]["high"] for each in lines if each["spread_m"] is not None]
    return max([*ends, usual_m or 0.0])


def _basis(as_of: str | None, *, zone: tzinfo) -> str:
    if as_of is None:
        return _("No attempt was stored.")
    return _("As of {moment}; newer attempts are not in it.").format(
        moment=facts.moment(datetime.fromisoformat(as_of), zone=zone)
    )


def _athlete(line: Part, *, text: str, name: str, spread: Beside | None) -> Athlete:
    code = line["athlete_code"]
    return Athlete(
        name=f"{code} · {name}" if name else code,
        run_up=_run_up(line),
        extent=_("{attempts} in {sessions}; competitions in the season: {n}.").format(
            attempts=words.attempts(line["n"]),
            sessions=words.sessions(line["n_sessions"]),
            n=line["n_competitions"],
        ),
        text=text,
        spread=spread,
        figures=_figures(line),
        season=_season(line),
    )


def _run_up(line: Part) -> str:
    if line["approach_code"] is None:
        return _("No run-up was used in this season.")
    return " · ".join(
        [line["approach_code"], facts.event_name(line["event"]), words.steps(line["steps"])]
    )


def _figures(line: Part) -> Table:
    own, spread, bias = line["own"], line["spread_m"], line["bias_m"]
    rows = (
        ()
        if own is None
        else (
            (
                _("Spread"),
                _spread(own["sd_m"], own["sd_low_m"], own["sd_high_m"]),
                *_drawn(spread, _spread),
            ),
            (
                _("Mean error (minus: toward the pit)"),
                _error(own["bias_m"], own["bias_low_m"], own["bias_high_m"]),
                *_drawn(bias, _error),
            ),
        )
    )
    return Table(
        title="",
        note="",
        columns=(
            _("At the board"),
            _("By the own attempts alone"),
            _("Drawn toward the squad"),
            _("Weight of the own"),
        ),
        rows=rows,
    )


def _drawn(drawn: Part | None, say: Callable[[float, float, float], str]) -> tuple[str, str]:
    if drawn is None:
        return _("not known"), ""
    return say(drawn["value"], drawn["low"], drawn["high"]), words.percent(drawn["own_weight"])


def _spread(value_m: float, low_m: float, high_m: float) -> str:
    return _("{value} ({low} to {high} cm)").format(
        value=words.centimetres(value_m),
        low=words.number(100 * low_m),
        high=words.number(100 * high_m),
    )


def _error(value_m: float, low_m: float, high_m: float) -> str:
    # The row says what minus is; in words it would take three lines.
    return _("{value} ({low} to {high} cm)").format(
        value=_("{number} cm").format(number=words.number(100 * value_m)),
        low=words.number(100 * low_m),
        high=words.number(100 * high_m),
    )


def _season(line: Part) -> tuple[Said, ...]:
    shown = {
        "lower": _("smaller"),
        "higher": _("larger"),
        "not_shown": _("no change shown"),
        None: _("not known"),
    }
    best_m, grown_m = line["best_m"], line["grown_m"]
    return (
        Said(_("On the board"), _share(line["on_board"])),
        Said(_("No jumps"), _share(line["no_jumps"])),
        Said(_("Spread, end against start"), str(shown[line["spread_shown"]])),
        Said(
            _("Best official distance"),
            _("not known") if best_m is None else words.metres(best_m, 2),
        ),
        Said(_("Grown"), _("not known") if grown_m is None else words.height(grown_m)),
        Said(_("Most full jumps in a session"), words.number(line["most_in_session"])),
        Said(_("Most in a week"), words.number(line["most_in_week"])),
    )


def _share(share: Part | None) -> str:
    if share is None:
        return _("not known")
    return _("{share} ({low} to {high})").format(
        share=words.percent(share["share"]),
        low=words.percent(share["interval"]["low"]),
        high=words.percent(share["interval"]["high"]),
    )


def _unknown(lines: Sequence[Part]) -> list[str]:
    """Say what is not known, and of whom."""
    missing = (
        ("own", _("Spread and mean error at the board, too few attempts measured: {athletes}.")),
        (
            "spread_shown",
            _("Whether the spread has changed, too few attempts at its ends: {athletes}."),
        ),
        ("on_board", _("The share on the board: {athletes}.")),
        ("no_jumps", _("The share of no jumps: {athletes}.")),
        ("best_m", _("The best official distance, as none was measured: {athletes}.")),
        ("grown_m", _("Growth, as there are fewer than two heights: {athletes}.")),
    )
    found = ((text, [each for each in lines if each[name] is None]) for name, text in missing)
    return [
        text.format(athletes=", ".join(each["athlete_code"] for each in those))
        for text, those in found
        if those
    ]
