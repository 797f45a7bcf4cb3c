"""The approach card: what a coach takes to the runway, on one page.

A card holds every text as it is printed, so that paper and page cannot say different things, and
drawings as whole numbers (`analytics.cards.drawings`).
"""

from dataclasses import dataclass
from datetime import datetime, tzinfo

from django.utils.translation import gettext as _

from analytics.answers import (
    aim,
    mark_advice,
    practice_focus,
    steering,
    told,
    wind_table,
    words,
)
from analytics.answers.aim import Aim
from analytics.answers.mark_advice import Mark
from analytics.answers.practice_focus import Focus
from analytics.answers.steering import Steering
from analytics.answers.wind_table import OWN, Winds, to_a_side
from analytics.cards import drawings, facts
from analytics.cards.drawings import LastSteps, Strip
from analytics.cards.facts import Distance
from analytics.cards.sheet import Sheet
from analytics.core.conventions import NotEnoughAttempts
from analytics.core.mark_advice import MarkAdvice, MarkAnswer
from analytics.core.wind_table import WindTable
from analytics.selectors import Body, Marks, RunUps, Title


@dataclass(frozen=True, slots=True, eq=False)
class Found:
    """What the card's answers found, each as its own address answers it."""

    winds: Winds
    aim: Aim
    mark: Mark
    focus: Focus
    steering: Steering


@dataclass(frozen=True, slots=True)
class CheckMark:
    """A row of the marks beside the runway."""

    letter: str  # under which the drawing has it
    steps_run: str
    steps_left: str
    foot: str
    at: Distance


@dataclass(frozen=True, slots=True)
class Phase:
    """A part of the run-up; `look` is how the drawing shows it."""

    look: str
    name: str
    steps: str
    begins: str


@dataclass(frozen=True, slots=True)
class LastFootfall:
    """One of the last three footfalls as it is planned."""

    name: str
    foot: str
    contact: str
    at: Distance


@dataclass(frozen=True, slots=True)
class WindRow:
    """How far all marks move for one wind."""

    wind: str
    move: str
    between: str
    start_mark: str


@dataclass(frozen=True, slots=True)
class Watched:
    """Something to look at on the day."""

    about: str
    text: str


@dataclass(frozen=True, slots=True)
class Planned:
    """What the plan says."""

    start: Distance
    advised: str  # where another start mark is advised; the card has the plan's
    first_foot: str
    aim: str
    aim_advice: str
    check_marks: tuple[CheckMark, ...]
    phases: tuple[Phase, ...]
    phases_note: str
    strip: Strip
    last_footfalls: tuple[LastFootfall, ...]
    last_steps: LastSteps | None
    last_steps_note: str
    winds: tuple[WindRow, ...]
    winds_note: str


@dataclass(frozen=True, slots=True)
class Card(Sheet):
    """Everything on the card, in the language that was in use when it was filled in.

    Attributes
    ----------
    planned
        None where no plan is in force; `nothing_planned` says so then.
    """

    template = "approach_card"

    name: str
    run_up: str
    plan: str
    planned: Planned | None
    nothing_planned: str
    watch: tuple[Watched, ...]


def work_out(run_ups: RunUps, *, body: Body | None = None) -> Found:
    """Answer what the card is to say beside the plan."""
    return Found(
        winds=wind_table.work_out(run_ups),
        aim=aim.work_out(run_ups),
        mark=mark_advice.work_out(run_ups, body=body),
        focus=practice_focus.work_out(run_ups, body=body),
        steering=steering.work_out(run_ups),
    )


def fill_in(title: Title, run_ups: RunUps, found: Found, *, zone: tzinfo) -> Card:
    """Return the card, its days as they are in a time zone."""
    marks = run_ups.marks_now
    return Card(
        title=_("Approach card: {name}, {approach}").format(
            name=title.name, approach=title.approach_code
        ),
        lang=facts.language_of_words(),
        name=title.name,
        run_up=facts.run_up_line(title),
        plan=_plan_line(title.valid_from, marks, zone=zone),
        labels=_labels(),
        planned=None if marks is None else _planned(title, run_ups, marks, found),
        nothing_planned=""
        if marks is not None
        else _("No plan is in force. Without a start mark there is no card: publish a plan first."),
        watch=tuple(_watch(found)),
        basis=facts.basis(run_ups, zone=zone),
        caution=told.caution(),
    )


def _labels() -> dict[str, str]:
    return {
        "start": _("Start mark"),
        "aim": _("Aim"),
        "check_marks": _("Check marks"),
        "no_check_marks": _("The plan has no check mark."),
        "mark": _("Mark"),
        "after": _("From the start"),
        "left": _("To the board"),
        "foot": _("Foot"),
        "metres": _("Metres"),
        "feet": _("Feet and inches"),
        "shoes": _("Shoe lengths"),
        "last_steps": _("The last three footfalls, to scale"),
        "contact": _("Contact"),
        "wind": _("Wind: move all marks"),
        "wind_column": _("Wind"),
        "move": _("All marks"),
        "between": _("Likely, with 95%"),
        "start_column": _("Start mark"),
        "watch": _("What to watch"),
        "from_line": facts.measured_from_the_line(),
        "strip": _(
            "The run-up from the start mark on the left to the take-off line on the right, with "
            "its phases, footfalls and check marks."
        ),
        "last_steps_drawing": _(
            "The last three footfalls before the take-off line, with the take-off board, to scale."
        ),
    }


def _plan_line(valid_from: datetime | None, marks: Marks | None, *, zone: tzinfo) -> str:
    if marks is None or valid_from is None:
        return _("No plan in force")
    return _("Plan revision {number}, in force from {day}").format(
        number=marks.revision, day=facts.day(valid_from, zone=zone)
    )


def _planned(title: Title, run_ups: RunUps, marks: Marks, found: Found) -> Planned:
    steps, shoe_m = title.steps, run_ups.shoe_length_m
    checks = sorted(marks.check_marks, key=lambda mark: -mark.footfall)
    phases = _phases(marks, steps)
    return Planned(
        start=facts.distance(marks.start_mark_m, shoe_length_m=shoe_m),
        advised=_advised_mark(found),
        first_foot=_first_foot(title),
        aim=words.place(marks.aim_m),
        aim_advice=_aim_advice(found.aim, marks.aim_m),
        check_marks=tuple(
            CheckMark(
                letter=drawings.letter(place),
                steps_run=_("after {steps}").format(steps=words.steps(steps - mark.footfall)),
                steps_left=_("{steps} left").format(steps=words.steps(mark.footfall)),
                foot=facts.foot_at(mark.footfall, title.take_off_foot),
                at=facts.distance(mark.at_m, shoe_length_m=shoe_m),
            )
            for place, mark in enumerate(checks)
        ),
        phases=tuple(phases),
        phases_note=""
        if marks.transition_footfall and marks.attack_footfall
        else _("The plan does not say where each phase begins."),
        strip=drawings.strip(marks, steps=steps, checks=checks),
        last_footfalls=tuple(_last_footfalls(title, run_ups, marks)),
        last_steps=drawings.last_steps(marks, shoe_length_m=shoe_m),
        last_steps_note=_last_steps_note(marks),
        winds=tuple(_wind_rows(found.winds.table, marks)),
        winds_note=_whose_winds(found.winds.table),
    )


def _advised_mark(found: Found) -> str:
    advice = _advised(found)
    if advice is None:
        return ""
    return _("Another mark is advised: {distance}. See what to watch.").format(
        distance=words.metres(advice.start_mark_m, 2)
    )


def _first_foot(title: Title) -> str:
    """Say which foot stands on the start mark, or hits it: footfall n is that of its parity."""
    is_take_off_foot = title.steps % 2 == 0
    foot = facts.foot_at(title.steps, title.take_off_foot)
    if title.take_off_foot is not None and is_take_off_foot:
        foot = _("{foot}, which takes off,").format(foot=foot)
    if title.start_style == "standing":
        return _("{foot} stands on the mark.").format(foot=foot)
    return _("{foot} hits the mark.").format(foot=foot)


def _aim_advice(found: Aim, planned_m: float) -> str:
    advice = found.aim
    if advice is None or isinstance(advice, NotEnoughAttempts):
        return aim.tell(found).text
    fixed = advice.fixed
    text = (
        _(
            "By these attempts it is a good one: with {n} attempts from {low} to {high} is as good "
            "as any. At {best} about {risk} of attempts are no jumps."
        )
        if fixed.good_from_m <= planned_m <= fixed.good_to_m
        else _(
            "By these attempts another one is better: with {n} attempts from {low} to {high} is as "
            "good as any. At {best} about {risk} of attempts are no jumps."
        )
    )
    return text.format(
        n=advice.attempts_left,
        low=words.centimetres(fixed.good_from_m),
        high=words.centimetres(fixed.good_to_m),
        best=words.centimetres(fixed.aim_m),
        risk=words.percent(fixed.probability_no_jump),
    )


def _phases(marks: Marks, steps: int) -> list[Phase]:
    """Return the parts that the plan tells apart, each with the steps from its first footfall."""
    transition, attack = marks.transition_footfall, marks.attack_footfall
    begins = [(steps, "acceleration", _("Acceleration"))]
    if transition:
        begins.append((transition, "transition", _("Transition")))
    if attack:
        begins.append((attack, "attack", _("Attack")))
    ends = [footfall for footfall, _look, _name in begins[1:]] + [0]
    return [
        Phase(
            look=look,
            name=name,
            steps=words.steps(footfall - end),
            begins=_phase_begins(marks, footfall, steps=steps),
        )
        for (footfall, look, name), end in zip(begins, ends, strict=True)
    ]


def _phase_begins(marks: Marks, footfall: int, *, steps: int) -> str:
    at_m = marks.start_mark_m if footfall == steps else marks.planned_m(footfall)
    if at_m is None:
        return _("from {steps} before take-off").format(steps=words.steps(footfall))
    return _("from {distance}").format(distance=words.metres(at_m, 2))


def _last_footfalls(title: Title, run_ups: RunUps, marks: Marks) -> list[LastFootfall]:
    contacts = facts.planned_contacts(marks)
    rows = []
    for contact, footfall in zip(contacts, (2, 1, 0), strict=True):
        at_m = drawings.last_toe_m(marks, footfall)
        if at_m is not None:
            rows.append(
                LastFootfall(
                    name=facts.last_footfall_name(footfall),
                    foot=facts.foot_at(footfall, title.take_off_foot),
                    contact=contact,
                    at=facts.distance(at_m, shoe_length_m=run_ups.shoe_length_m),
                )
            )
    return rows


def _last_steps_note(marks: Marks) -> str:
    """Return the lengths of the last steps, or why there are none."""
    lengths = drawings.last_lengths_m(marks)
    if lengths is None:
        return _("The plan has no footfalls, so only the aim is drawn.")
    third, penultimate, last = (words.metres(each, 2) for each in lengths)
    return _(
        "Planned step lengths: third-last {third}, penultimate {penultimate}, last {last}."
    ).format(third=third, penultimate=penultimate, last=last)


def _wind_rows(table: WindTable | NotEnoughAttempts, marks: Marks) -> list[WindRow]:
    if isinstance(table, NotEnoughAttempts):
        return []
    rows = []
    for place, wind_mps in enumerate(table.wind_mps):
        # To the centimetre first, so that the columns agree with each other.
        move_m = round(float(table.move_m[place]), 2)
        low_m, high_m = float(table.move_low_m[place]), float(table.move_high_m[place])
        carried_on = table.n > 0 and not table.seen[place]
        rows.append(
            WindRow(
                wind=_wind_name(float(wind_mps)) + (" *" if carried_on else ""),
                move=to_a_side(move_m) if move_m else _("stay"),
                between=_("between {low} and {high}").format(
                    low=to_a_side(low_m), high=to_a_side(high_m)
                )
                if wind_mps
                else "",
                start_mark=words.metres(marks.start_mark_m + move_m, 2),
            )
        )
    return rows


def _between(low_m: float, high_m: float) -> str:
    return _("between {low} and {high}").format(low=to_a_side(low_m), high=to_a_side(high_m))


def _wind_name(wind_mps: float) -> str:
    if wind_mps == 0:
        return _("Calm")
    text = _("Tail {wind} m/s") if wind_mps > 0 else _("Head {wind} m/s")
    return text.format(wind=words.number(abs(wind_mps)))


def _whose_winds(table: WindTable | NotEnoughAttempts) -> str:
    if isinstance(table, NotEnoughAttempts):
        return ""
    if table.n == 0:
        return _("This is what is usual, not this athlete's own: no attempt tells of the wind yet.")
    text = (
        _("Still more what is usual than this athlete's own: {attempts} tell {share} of it.")
        if table.own_share < OWN
        else _("This athlete's own: {attempts} tell {share} of it.")
    )
    said = text.format(attempts=words.attempts(table.n), share=words.percent(table.own_share))
    if table.seen.all():
        return said
    return said + " " + _("* No attempt in such a wind so far: the table is carried on.")


def _advised(found: Found) -> MarkAdvice | None:
    """Return the advice on the start mark where it is to be moved."""
    advice = found.mark.advice
    moved = isinstance(advice, MarkAdvice) and advice.answer is MarkAnswer.MOVE
    return advice if moved and isinstance(advice, MarkAdvice) else None


def _watch(found: Found) -> list[Watched]:
    practice = practice_focus.tell(found.focus).text
    mark = "" if _advised(found) is None else mark_advice.tell(found.mark).text
    # What is said of growth stands in both answers; once is enough on a card.
    said = [(_("Start mark"), mark), (_("Practice"), "" if practice in mark else practice)]
    said.append((_("Steering"), _where_steering_begins(found.steering)))
    return [Watched(about=about, text=text) for about, text in said if text]


def _where_steering_begins(found: Steering) -> str:
    spread = found.spread
    if isinstance(spread, NotEnoughAttempts):
        return _("Where steering begins is not known yet: {n} of {needed} attempts.").format(
            n=spread.n, needed=spread.needed
        )
    if spread.onset is None:
        return _("Where steering begins is not shown by these attempts.")
    return _("Steering begins {steps} before take-off, about {distance} from the line.").format(
        steps=words.steps(spread.onset.footfall), distance=words.metres(spread.onset.distance_m)
    )
