"""Where to lay ground markers for the last three footfalls, at short, medium and full length?"""

import math
from dataclasses import dataclass
from enum import StrEnum

import numpy as np
from django.utils.translation import gettext as _

from analytics.answers import drawing, laid_out, natural, told, words
from analytics.answers.design import FEET
from analytics.answers.laid_out import Place
from analytics.answers.natural import NOTHING_GIVEN, Nature
from analytics.answers.told import Reason, Told
from analytics.core import censored, conventions, run_up_lengths, run_up_model
from analytics.core.censored import CensoredFit
from analytics.core.conventions import (
    DEFAULT_AIM_M,
    DEFAULT_LEVEL,
    FloatArray,
    Interval,
    NotEnoughAttempts,
)
from analytics.core.run_up_model import Footfalls
from analytics.core.run_up_pace import FEWEST_STEPS, LastThree, RunUpSettings, StartStyle
from analytics.selectors import Marks, OwnRunUp, RunUps

MARKED = (2, 1, 0)
"""Footfalls with a ground marker: the third-last, the penultimate, the take-off foot."""

MIN_LANDED = 5
"""Measured landings below which nothing is said of where the feet land; ours."""


class Source(StrEnum):
    """What the markers come from."""

    PLAN = "plan"
    OWN_FOOTFALLS = "own_footfalls"
    MODEL = "model"


@dataclass(frozen=True, slots=True)
class Landed:
    """Where a foot really lands, from the attempts of the latest plan revision.

    Attributes
    ----------
    n
        Measured landings, and at the board unmeasured no jumps.
    off_m
        The mean less the marker: positive short of it.
    """

    n: int
    mean_m: float
    interval: Interval
    sd_m: float
    off_m: float


@dataclass(frozen=True, slots=True)
class Marker:
    """A ground marker, measured from the take-off line.

    Attributes
    ----------
    after_check_mark_m
        How far it lies beyond the last check mark before it; None without one.
    """

    footfall: int
    foot: str | None
    place: Place
    after_check_mark_m: float | None
    landed: Landed | NotEnoughAttempts


@dataclass(frozen=True, slots=True)
class MarkersAt:
    """The markers of one length.

    Attributes
    ----------
    start_mark
        Of the plan, else the designed one.
    check_mark, check_footfall
        The last check mark before the markers; None without one.
    """

    name: str
    steps: int
    start_mark: Place
    check_mark: Place | None
    check_footfall: int | None
    markers: tuple[Marker, ...]


@dataclass(frozen=True, slots=True)
class Layout:
    """The figures of the answer.

    Attributes
    ----------
    taken_from
        None where the plan has no footfalls and nothing is known of the athlete's sprint.
    lengths
        The shortest first.
    """

    steps: int
    aim_m: float
    taken_from: Source | None
    lengths: tuple[MarkersAt, ...]


@dataclass(frozen=True, slots=True)
class _Run:
    """One length before it is put in units."""

    toe_m: FloatArray
    start_mark_m: float
    check: tuple[int, float] | None


def work_out(run_ups: RunUps, *, own: OwnRunUp | None = None) -> Layout:
    """Return the ground markers of a run-up, by its plan, else by what is known of the athlete."""
    marks = run_ups.marks_now or run_ups.latest_marks()
    aim_m = DEFAULT_AIM_M if marks is None else marks.aim_m
    source, runs = _planned(marks, run_ups.steps)
    if source is None and own is not None:
        source, runs = _drawn(own, run_ups, aim_m, marks)
    jumper = None if own is None else own.jumper
    landings = {} if own is None else dict(own.shorter)
    landings[run_ups.steps] = run_ups
    names = laid_out.names_of(len(runs)) if runs else ()
    return Layout(
        steps=run_ups.steps,
        aim_m=aim_m,
        taken_from=source,
        lengths=tuple(
            _markers(
                name,
                run,
                landings.get(run.toe_m.size - 1),
                take_off_foot=None if jumper is None else jumper.take_off_foot,
                shoe_length_m=run_ups.shoe_length_m,
            )
            for name, run in zip(names, runs, strict=True)
        ),
    )


def _planned(marks: Marks | None, steps: int) -> tuple[Source | None, list[_Run]]:
    """Return the run-ups of a plan with footfalls: shorter ones are made of its first steps."""
    if marks is None or marks.toe_m is None or marks.toe_m.size != steps + 1 or steps < 2:
        return None, []
    full = _Run(marks.toe_m, marks.start_mark_m, _last_check(marks))
    if steps < FEWEST_STEPS:
        return Source.PLAN, [full]
    footfalls = Footfalls(marks.toe_m, np.zeros((steps + 1, steps + 1)))
    rhythm = _rhythm(marks.toe_m)
    runs = []
    for each in run_up_lengths.short_and_medium(steps):
        shorter = run_up_lengths.first_steps(footfalls, steps=each)
        toe_m = run_up_model.in_rhythm(shorter.toe_m, rhythm)
        runs.append(_Run(toe_m, float(toe_m[-1]), _shorter_check(toe_m, each)))
    return Source.PLAN, [*runs, full]


def _rhythm(toe_m: FloatArray) -> LastThree | None:
    """Return the rhythm that a plan has, or None where no run-up has such steps."""
    last, penultimate, third = np.diff(toe_m[:4]).tolist()
    parts = (third, penultimate, last)
    return LastThree(*parts) if max(parts) <= 2 * min(parts) else None


def _last_check(marks: Marks) -> tuple[int, float] | None:
    before = [each for each in marks.check_marks if each.footfall > MARKED[0]]
    if not before:
        return None
    nearest = min(before, key=lambda each: each.footfall)
    return nearest.footfall, nearest.at_m


def _shorter_check(toe_m: FloatArray, steps: int) -> tuple[int, float] | None:
    """Return the coach's mark of a shorter run-up: four steps from the board, from eight on."""
    return (4, float(toe_m[4])) if steps >= 8 else None


def _drawn(
    own: OwnRunUp, run_ups: RunUps, aim_m: float, marks: Marks | None
) -> tuple[Source | None, list[_Run]]:
    nature = natural.nature_of(own.jumper, NOTHING_GIVEN)
    if not isinstance(nature, Nature) or own.steps < FEWEST_STEPS:
        return None, []
    settings = RunUpSettings(steps=own.steps, start_style=StartStyle(own.start_style), aim_m=aim_m)
    drawn = drawing.draw(nature, settings, run_ups)
    runs = []
    for design in run_up_lengths.design_lengths(drawn.footfalls, drawn.pace, settings):
        last = design.coach_mark
        check = None if last is None else (last.footfall, last.at_m)
        start_mark_m = design.start_mark_m
        if design.settings.steps == own.steps and marks is not None:
            check, start_mark_m = _last_check(marks), marks.start_mark_m
        runs.append(_Run(design.toe_m, start_mark_m, check))
    return (Source.OWN_FOOTFALLS if drawn.rests_on.n_attempts else Source.MODEL), runs


def _markers(
    name: str,
    run: _Run,
    landings: RunUps | None,
    *,
    take_off_foot: str | None,
    shoe_length_m: float | None,
) -> MarkersAt:
    check_m = None if run.check is None else run.check[1]

    def placed(at_m: float) -> Place:
        return laid_out.place_of(at_m, shoe_length_m=shoe_length_m)

    return MarkersAt(
        name=name,
        steps=run.toe_m.size - 1,
        start_mark=placed(run.start_mark_m),
        check_mark=None if check_m is None else placed(check_m),
        check_footfall=None if run.check is None else run.check[0],
        markers=tuple(
            Marker(
                footfall=k,
                foot=laid_out.foot_of(k, take_off_foot),
                place=placed(run.toe_m[k]),
                after_check_mark_m=(
                    None if check_m is None else round(check_m - float(run.toe_m[k]), 2)
                ),
                landed=_landed(landings, k, marker_m=float(run.toe_m[k])),
            )
            for k in MARKED
        ),
    )


def _landed(
    run_ups: RunUps | None, footfall: int, *, marker_m: float
) -> Landed | NotEnoughAttempts:
    if run_ups is None:
        return NotEnoughAttempts(n=0, needed=MIN_LANDED)
    latest = run_ups.of_latest_revision()
    toe_m = latest.toe_m[:, footfall]
    n = int(np.count_nonzero(~np.isnan(toe_m)))
    if n < MIN_LANDED:
        return NotEnoughAttempts(n=n, needed=MIN_LANDED)
    if footfall == 0:
        # A no jump that nobody measured landed beyond the line, and counts as such.
        fit = censored.fit_censored(toe_m, latest.no_jump)
        if not isinstance(fit, CensoredFit):
            return fit
        return Landed(
            n=fit.n,
            mean_m=fit.mean_m,
            interval=fit.mean_interval,
            sd_m=fit.adjusted_sd_m,
            off_m=fit.mean_m - marker_m,
        )
    known = toe_m[~np.isnan(toe_m)]
    mean_m, sd_m = float(known.mean()), float(known.std(ddof=1))
    return Landed(
        n=n,
        mean_m=mean_m,
        interval=conventions.t_interval(
            estimate=mean_m, standard_error=sd_m / math.sqrt(n), df=n - 1, level=DEFAULT_LEVEL
        ),
        sd_m=sd_m,
        off_m=mean_m - marker_m,
    )


_NAMES = {
    "short": lambda: _("short run-up"),
    "medium": lambda: _("medium run-up"),
    "full": lambda: _("full run-up"),
}
_SOURCES = {
    Source.PLAN: lambda: _("The markers are those of the plan."),
    Source.OWN_FOOTFALLS: lambda: _(
        "The plan has no footfalls: the markers follow from the athlete's own, so far as measured."
    ),
    Source.MODEL: lambda: _(
        "The plan has no footfalls and nobody measured any: the markers are a first guess."
    ),
}


def source_text(source: Source) -> str:
    """Say what the markers come from."""
    return _SOURCES[source]()


def tell(found: Layout) -> Told:
    """Say where the markers lie, and where the feet land beside them."""
    if found.taken_from is None:
        return Told(
            text=_(
                "Where the last feet shall land is not known: the plan has no footfalls, and "
                "neither a sprint nor age and height say where they would."
            ),
            would_change=(
                _("A plan with footfalls: design a run-up, and publish it."),
                _("A sprint test with four splits or more."),
            ),
            caution=told.caution(),
        )
    full = found.lengths[-1]
    return Told(
        text=" ".join(
            [
                *(_laid(each) for each in found.lengths),
                source_text(found.taken_from),
                *_really(full),
            ]
        ),
        reasons=tuple(
            reason
            for each in found.lengths
            for marker in each.markers
            for reason in _reasons(each, marker)
        ),
        would_change=_would_change(found),
        caution=told.caution(),
    )


def _laid(at: MarkersAt) -> str:
    places = [
        words.metres(marker.place.at_m, 2)
        if marker.foot is None
        else _("{metres} ({foot})").format(
            metres=words.metres(marker.place.at_m, 2), foot=FEET[marker.foot]()
        )
        for marker in at.markers
    ]
    return _("For the {name} of {steps}: {third}, {penultimate} and {last} from the line.").format(
        name=_NAMES[at.name](),
        steps=words.steps(at.steps),
        third=places[0],
        penultimate=places[1],
        last=places[2],
    )


def _really(full: MarkersAt) -> list[str]:
    known = [each.landed for each in full.markers if isinstance(each.landed, Landed)]
    if len(known) < len(MARKED):
        return []
    third, penultimate, last = (
        _("{metres} ± {spread}").format(
            metres=words.metres(each.mean_m, 2), spread=words.centimetres(each.sd_m)
        )
        for each in known
    )
    return [
        _("From the full run-up the feet really land at {third}, {penultimate} and {last}.").format(
            third=third, penultimate=penultimate, last=last
        )
    ]


_FOOTFALLS = {
    2: lambda: _("The third-last foot"),
    1: lambda: _("The penultimate foot"),
    0: lambda: _("The take-off foot"),
}


def _reasons(at: MarkersAt, marker: Marker) -> list[Reason]:
    landed = marker.landed
    if not isinstance(landed, Landed):
        return []
    return [
        Reason(
            code=f"{at.name}_{marker.footfall}",
            numbers={
                "n": landed.n,
                "marker_m": marker.place.at_m,
                "mean_m": landed.mean_m,
                "low_m": landed.interval.low,
                "high_m": landed.interval.high,
                "sd_m": landed.sd_m,
            },
            text=_("{foot} lands {off}, by {attempts} ({name}).").format(
                foot=_FOOTFALLS[marker.footfall](),
                off=_off(landed.off_m),
                attempts=words.attempts(landed.n),
                name=_NAMES[at.name](),
            ),
        )
    ]


def _off(off_m: float) -> str:
    size = words.centimetres(off_m)
    if off_m < 0:
        return _("{size} beyond its marker, nearer the pit").format(size=size)
    return _("{size} short of its marker").format(size=size)


def _would_change(found: Layout) -> tuple[str, ...]:
    few = [
        marker.landed
        for each in found.lengths
        for marker in each.markers
        if isinstance(marker.landed, NotEnoughAttempts)
    ]
    changes = [_("Another plan, or a growth of 2 cm or more.")]
    if few:
        changes.insert(
            0,
            _("Where the feet land is told from {attempts} of each length, with footfalls.").format(
                attempts=words.attempts(MIN_LANDED)
            ),
        )
    return tuple(changes)
