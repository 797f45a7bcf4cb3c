"""The season report of an athlete, to be read and kept: what each part says, and its tables.

It is made of the report as it is answered (`docs/api/reports.md`): every sentence is from there.
"""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from datetime import tzinfo
from typing import Any

from django.utils.translation import gettext as _

from analytics.answers import season_words, words
from analytics.cards import facts
from analytics.cards.bars import Ranges, Weeks, draw_ranges, draw_weeks
from analytics.cards.sheet import Sheet

Part = Mapping[str, Any]


@dataclass(frozen=True, slots=True)
class Said:
    """What one part says."""

    about: str
    text: str


@dataclass(frozen=True, slots=True)
class Table:
    """A table under what it says in words; without rows the words stand alone."""

    title: str
    note: str
    columns: tuple[str, ...]
    rows: tuple[tuple[str, ...], ...]


@dataclass(frozen=True, slots=True)
class RunUp:
    """The season of one run-up."""

    name: str
    extent: str
    said: tuple[Said, ...]
    spread: Ranges | None
    plans: Table


@dataclass(frozen=True, slots=True)
class SeasonReport(Sheet):
    """Everything in the report."""

    template = "season_report"

    name: str
    period: str
    summary: str
    run_ups: tuple[RunUp, ...]
    tables: tuple[Table, ...]
    said: tuple[Said, ...]
    weeks: Weeks | None
    lists: tuple[Table, ...]
    unknown: tuple[str, ...]


def fill_in(report: Part, *, name: str, zone: tzinfo) -> SeasonReport:
    """Return the report of an athlete of this name, its days as they are in a time zone."""
    period = _("{first} to {last}").format(
        first=words.day(report["from_date"]), last=words.day(report["to_date"])
    )
    return SeasonReport(
        title=_("Season report: {name}, {period}").format(name=name, period=period),
        lang=facts.language_of_words(),
        labels={
            "heading": _("Season report"),
            "unknown": _("What this season does not tell"),
            "first": _("Give this to the athlete first. Nothing here compares athletes."),
            "spread": _("Spread at the board, with 95% range"),
            "weeks": _("Full jumps in each week"),
            "weeks_note": _("Weeks of seven days, the last ends with the season."),
        },
        basis=_basis(report, zone=zone),
        # That of growth and load says more than that of every advice, and holds it.
        caution=str(report["growth"]["caution"]),
        name=name,
        period=f"{report['athlete_code']} · {period}",
        summary=str(report["text"]),
        run_ups=tuple(_run_up(each, zone=zone) for each in report["run_ups"]),
        tables=(
            *(_bests(each) for each in report["bests"] if each["official"]),
            *(_effective(each) for each in report["bests"] if each["effective"]),
            _competitions(report["competitions"]),
        ),
        said=(
            Said(_("Numbers of steps"), report["lengths"]["text"]),
            Said(_("Growth"), report["growth"]["text"]),
            Said(_("Load"), report["load"]["text"]),
        ),
        weeks=draw_weeks(report["load"]["weeks"], report["load"]["first_week_from_date"]),
        lists=(
            _alerts(report["alerts"], zone=zone),
            _advice(report["advice"], zone=zone),
        ),
        unknown=tuple(each["text"] for each in report["unknown"]),
    )


def _basis(report: Part, *, zone: tzinfo) -> str:
    if report["as_of"] is None:
        return _("No attempt was stored.")
    text = _("From {attempts} in {sessions}; as of {moment}.").format(
        attempts=words.attempts(report["n"]),
        sessions=words.sessions(report["n_sessions"]),
        moment=facts.moment(report["as_of"], zone=zone),
    )
    if report["stale"]:
        text += " " + _("Newer attempts wait to be computed: alerts may be behind.")
    return text


def _run_up(found: Part, *, zone: tzinfo) -> RunUp:
    return RunUp(
        name=" · ".join(
            [
                found["code"],
                facts.event_name(found["event"]),
                words.steps(found["steps"]),
                facts.start_name(found["start_style"]),
            ]
        ),
        extent=_("{attempts} in {sessions}; {n} run-throughs beside.").format(
            attempts=words.attempts(found["n"]),
            sessions=words.sessions(found["n_sessions"]),
            n=found["n_run_throughs"],
        ),
        said=(
            Said(_("Plans"), found["plans"]["text"]),
            Said(_("From start to end"), found["consistency"]["text"]),
            Said(_("Level"), found["shift"]["text"]),
            Said(_("Board"), found["board"]["text"]),
            Said(_("No jumps"), found["no_jumps"]["text"]),
            Said(_("Rhythm"), found["rhythm"]["text"]),
            Said(_("Speed"), found["speed"]["text"]),
            Said(_("Next season may begin with"), found["next"]["text"]),
        ),
        spread=draw_ranges(found["consistency"]["change"]),
        plans=_plans(found["plans"]["revisions"], zone=zone),
    )


def _plans(revisions: Sequence[Part], *, zone: tzinfo) -> Table:
    return Table(
        title=_("Plans"),
        note="",
        columns=(_("Revision"), _("From"), _("Start mark"), _("Moved"), _("Attempts"), _("Why")),
        rows=tuple(
            (
                str(each["revision"]),
                facts.day(each["valid_from"], zone=zone),
                words.metres(each["start_mark_m"], 2),
                _moved(each["moved_m"]),
                words.number(each["n"]),
                each["reason"],
            )
            for each in revisions
        ),
    )


def _moved(moved_m: float | None) -> str:
    if moved_m is None:
        return ""
    if abs(moved_m) < 0.005:  # marks are to the centimetre
        return _("stays")
    side = _("{size} toward the pit") if moved_m < 0 else _("{size} away from the pit")
    return side.format(size=words.centimetres(moved_m))


def _bests(found: Part) -> Table:
    return Table(
        title=_("{event}: the best official distance, as it grew").format(
            event=facts.event_name(found["event"])
        ),
        note="",
        **_filled(_columns_of_bests(), [_best(each) for each in found["official"]]),
    )


def _effective(found: Part) -> Table:
    return Table(
        title=_("{event}: the farthest from the toe, as it grew").format(
            event=facts.event_name(found["event"])
        ),
        note="",
        **_filled(_columns_of_bests(), [_best(each) for each in found["effective"]]),
    )


def _filled(columns: Sequence[str], rows: Sequence[Sequence[str]]) -> dict[str, tuple[Any, ...]]:
    """Return a table without the columns in which nothing stands, such as the wind of a hall."""
    kept = [place for place in range(len(columns)) if any(row[place] for row in rows)]
    return {
        "columns": tuple(columns[place] for place in kept),
        "rows": tuple(tuple(row[place] for place in kept) for row in rows),
    }


def _columns_of_bests() -> tuple[str, ...]:
    return (_("Day"), _("Session"), _("Run-up"), _("Distance"), _("Toe"), _("Wind"))


def _best(found: Part) -> tuple[str, ...]:
    return (
        words.day(found["held_date"]),
        season_words.kind_name(found["kind"]),
        found["approach_code"],
        words.metres(found["distance_m"], 2),
        "" if found["toe_m"] is None else words.place(found["toe_m"]),
        _wind(found["wind_mps"]),
    )


def _wind(wind_mps: float | None) -> str:
    if wind_mps is None:
        return ""
    sign = "+" if wind_mps > 0 else ""
    return _("{wind} m/s").format(wind=f"{sign}{words.number(wind_mps, 1)}")


def _competitions(found: Part) -> Table:
    return Table(
        title=_("Competitions"),
        note=found["text"],
        columns=(
            _("Day"),
            _("Run-up"),
            _("Best"),
            _("Toe at the best"),
            _("Jumps"),
            _("No jumps"),
            _("Wind"),
        ),
        rows=tuple(
            (
                words.day(each["held_date"]),
                each["approach_code"],
                "" if each["best_m"] is None else words.metres(each["best_m"], 2),
                "" if each["best_toe_m"] is None else words.place(each["best_toe_m"]),
                words.number(each["n"]),
                words.number(each["n_no_jumps"]),
                _winds(each["wind_low_mps"], each["wind_high_mps"]),
            )
            for each in found["results"]
        ),
    )


def _winds(low_mps: float | None, high_mps: float | None) -> str:
    if low_mps is None or high_mps is None:
        return ""
    if low_mps == high_mps:
        return _wind(low_mps)
    return _("{low} to {high}").format(low=_wind(low_mps), high=_wind(high_mps))


def _alerts(found: Part, *, zone: tzinfo) -> Table:
    names = {
        "level": _("Level at the board"),
        "spread": _("Spread at the board"),
        "no_jump_share": _("Share of no jumps"),
        "progress": _("Progress: a smaller spread"),
    }
    return Table(
        title=_("Alerts"),
        note=found["text"],
        columns=(_("What"), _("Run-up"), _("Opened"), _("Closed"), _("What was found then")),
        rows=tuple(
            (
                # A later release may know more kinds.
                str(names.get(each["kind"], each["kind"])),
                each["approach_code"] or "",
                facts.day(each["opened_at"], zone=zone),
                _("open") if each["closed_at"] is None else facts.day(each["closed_at"], zone=zone),
                each["text"],
            )
            for each in found["results"]
        ),
    )


def _advice(found: Part, *, zone: tzinfo) -> Table:
    decisions = {"followed": _("followed"), "declined": _("declined")}
    kinds = {
        "mark": _("Start mark"),
        "practice": _("Practice"),
        "length": _("Numbers of steps"),
    }
    return Table(
        title=_("Advice that was decided on"),
        note=found["text"],
        columns=(_("Day"), _("About"), _("Run-up"), _("Decided"), _("Afterwards")),
        rows=tuple(
            (
                facts.day(each["decided_at"], zone=zone),
                str(kinds.get(each["kind"], each["kind"])),
                each["approach_code"] or "",
                str(decisions.get(each["decision"], each["decision"])),
                each["afterwards_text"] or "",
            )
            for each in found["results"]
        ),
    )
