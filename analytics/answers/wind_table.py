"""How far do the marks move for the wind?"""

from dataclasses import dataclass

import numpy as np
from django.utils.translation import gettext as _

from analytics.answers import told, words
from analytics.answers.told import Reason, Told
from analytics.answers.watched import USUAL, watched_footfall
from analytics.core import wind_table
from analytics.core.conventions import FloatArray, NotEnoughAttempts
from analytics.core.wind import felt_wind, usual_wind_slope
from analytics.core.wind_table import SLOPE_SD_M, WindTable
from analytics.selectors import Marks, RunUps

# From here on the table is more the athlete's own than what is usual.
OWN = 0.5
# What official readings are called legal up to, and an even number to speak of.
SPOKEN_MPS = 2.0


@dataclass(frozen=True, slots=True, eq=False)
class Winds:
    """The figures of the answer.

    Attributes
    ----------
    table
        For a mark that is passed before steering begins, and so for the start mark and all others.
    check_footfall
        The footfall whose errors it comes from; None where no such footfall was measured.
    run_m
        Metres run to it.
    gust_sd_mps
        SD of the wind about its reading that was asked for.
    """

    table: WindTable | NotEnoughAttempts
    check_footfall: int | None
    run_m: float | None
    gust_sd_mps: float


def work_out(run_ups: RunUps, *, gust_sd_mps: float = 0.0) -> Winds:
    """Return the athlete's wind table; where little is known, what is usual.

    Errors are taken at a footfall before steering begins: at the board steering hides the wind.
    """
    marks = run_ups.marks_now or run_ups.latest_marks()
    start_m = _start_mark(run_ups, marks)
    if start_m is None:
        return Winds(NotEnoughAttempts(n=0, needed=1), None, None, gust_sd_mps)
    footfall = watched_footfall(run_ups, marks)
    if footfall is None and run_ups.steps > USUAL:
        footfall = USUAL
    passed_m = run_ups.start_mark_m - (
        run_ups.toe_m[:, footfall] if footfall is not None else np.nan
    )
    planned_m = None if footfall is None or marks is None else marks.planned_m(footfall)
    run_m = _run_to(start_m, planned_m, passed_m)
    if run_m is None:
        # Nobody planned or measured the footfall: the usual table for the whole run-up, all of
        # which the wind works on.
        footfall, run_m = None, start_m
    table = wind_table.wind_table(
        # Whoever ran less far landed short of where the mark, wherever it lay, would have had him.
        run_m - passed_m,
        run_ups.wind_mps,
        run_m=run_m,
        session=run_ups.session_labels,
        revision=run_ups.revisions,
        gust_sd_mps=gust_sd_mps,
    )
    return Winds(table, footfall, run_m, gust_sd_mps)


def _start_mark(run_ups: RunUps, marks: Marks | None) -> float | None:
    if marks is not None:
        return marks.start_mark_m
    known = run_ups.start_mark_m[~np.isnan(run_ups.start_mark_m)]
    return float(known[-1]) if known.size else None


def _run_to(start_m: float, planned_m: float | None, passed_m: FloatArray) -> float | None:
    """Return the metres from the start mark to the footfall: as planned, else as they were run."""
    if planned_m is not None:
        return max(start_m - planned_m, 0.0)
    known = passed_m[~np.isnan(passed_m)]
    return max(float(known.mean()), 0.0) if known.size else None


@dataclass(frozen=True, slots=True)
class LearnedWind:
    """What the wind does to this athlete's errors, as the wind table has it: for other answers.

    Attributes
    ----------
    n
        Attempts with a reading that it was learned from.
    own_share
        How much of it is the athlete's own, 0 to 1; the rest is what is usual.
    by_usual
        The athlete's slope as a share of the usual one: taken to be the same at every footfall.
    """

    n: int
    own_share: float
    by_usual: float

    @property
    def is_own(self) -> bool:
        """More the athlete's own than what is usual."""
        return self.own_share >= OWN

    def slope_m(self, run_m: FloatArray | float) -> FloatArray:
        """Return by how much errors change for each m/s of felt wind after so many metres."""
        return np.asarray(self.by_usual * usual_wind_slope(np.maximum(run_m, 0.0)))

    @property
    def slope_sd_m(self) -> float:
        """How well the slope at a check mark is known."""
        return float(SLOPE_SD_M * np.sqrt(1 - self.own_share))

    def moves_error(self, run_m: FloatArray | float, wind_mps: FloatArray) -> FloatArray:
        """Return what the wind did to errors, against still air; 0 where nobody read it."""
        return np.nan_to_num(self.slope_m(run_m) * felt_wind(wind_mps), nan=0.0)


def learned_from(run_ups: RunUps) -> LearnedWind:
    """Return what the wind table of these attempts says; what is usual where it says nothing."""
    return learned(work_out(run_ups))


def learned(found: Winds) -> LearnedWind:
    """Return what a wind table that was worked out says."""
    table = found.table
    if isinstance(table, NotEnoughAttempts) or table.usual_slope_m == 0:
        return LearnedWind(n=0, own_share=0.0, by_usual=1.0)
    return LearnedWind(table.n, table.own_share, table.slope_m / table.usual_slope_m)


def tell_of_use(found: LearnedWind, n_freed: int) -> str | None:
    """Say by which wind table errors were freed of the wind; None where none was read."""
    if n_freed == 0:
        return None
    if found.is_own:
        return _(
            "What the wind did was taken out of {attempts} by this athlete's own wind table, of "
            "which {share} is learned."
        ).format(attempts=words.attempts(n_freed), share=words.percent(found.own_share))
    return _(
        "What the wind did was taken out of {attempts} by what is usual: of this athlete's own "
        "wind table {share} is learned so far."
    ).format(attempts=words.attempts(n_freed), share=words.percent(found.own_share))


def tell(found: Winds) -> Told:
    """Say what the wind does and how far the marks move for it."""
    table = found.table
    if isinstance(table, NotEnoughAttempts):
        return told.not_enough(
            table,
            what=_("with a start mark"),
            would_change=(_("A plan, which says how long the run-up is."),),
        )
    return Told(
        text=_what_the_wind_does(table),
        reasons=tuple(_reasons(found, table)),
        would_change=tuple(_would_change(found, table)),
        caution=told.caution(),
    )


def _what_the_wind_does(table: WindTable) -> str:
    text = (
        _("This is what is usual, not this athlete's own: no attempt with a reading says anything.")
        if table.n == 0
        else _(
            "This is still more what is usual than this athlete's own, of which {attempts} tell "
            "{share}."
        )
        if table.own_share < OWN
        else _("This is the athlete's own, from {attempts}, of which {share} is learned from them.")
    )
    return " ".join(
        [
            _moved(table, SPOKEN_MPS),
            _moved(table, -SPOKEN_MPS),
            text.format(attempts=words.attempts(table.n), share=words.percent(table.own_share)),
        ]
    )


def _moved(table: WindTable, wind_mps: float) -> str:
    row = int(np.flatnonzero(table.wind_mps == wind_mps)[0])
    move, low, high = table.move_m[row], table.move_low_m[row], table.move_high_m[row]
    tail = wind_mps > 0
    if move >= 0:
        text = (
            _(
                "With a tail wind of {wind} m/s move all marks back by {size}, away from the pit "
                "({range})."
            )
            if tail
            else _(
                "With a head wind of {wind} m/s move all marks back by {size}, away from the pit "
                "({range})."
            )
        )
    else:
        text = (
            _("With a tail wind of {wind} m/s move all marks {size} toward the pit ({range}).")
            if tail
            else _("With a head wind of {wind} m/s move all marks {size} toward the pit ({range}).")
        )
    return text.format(
        wind=words.number(abs(wind_mps)),
        size=words.centimetres(float(move)),
        range=_between(float(low), float(high)),
    )


def _between(low_m: float, high_m: float) -> str:
    return _("between {low} and {high}").format(low=to_a_side(low_m), high=to_a_side(high_m))


def to_a_side(move_m: float) -> str:
    """Return how far marks move, and which way."""
    size = words.centimetres(move_m)
    if move_m < 0:
        return _("{size} toward the pit").format(size=size)
    return _("{size} back").format(size=size)


def _reasons(found: Winds, table: WindTable) -> list[Reason]:
    low, high = (-each for each in (table.slope_interval.high, table.slope_interval.low))
    reasons = [
        Reason(
            code="slope",
            numbers={
                "n": table.n,
                "n_sessions": table.n_sessions,
                "slope_m": table.slope_m,
                "low_m": table.slope_interval.low,
                "high_m": table.slope_interval.high,
                "usual_slope_m": table.usual_slope_m,
                "own_share": table.own_share,
                "run_m": found.run_m,
                "check_footfall": found.check_footfall,
            },
            text=_(
                "After {run} each metre per second of a light tail wind moves the marks by {size} "
                "({range}); usual after so long a run are {usual}."
            ).format(
                run=words.metres(found.run_m or 0.0),
                size=to_a_side(-table.slope_m),
                range=_between(low, high),
                usual=to_a_side(-table.usual_slope_m),
            ),
        )
    ]
    if found.gust_sd_mps > 0:
        most = float(table.attempt_sd_with_gusts_m.max())
        reasons.append(
            Reason(
                code="gusts",
                numbers={
                    "gust_sd_mps": found.gust_sd_mps,
                    "attempt_sd_m": table.attempt_sd_m,
                    "attempt_sd_with_gusts_m": most,
                },
                text=_(
                    "In such gusts one attempt spreads by up to {gusty} at that footfall, without "
                    "them by {calm}: no mark is right for all of it."
                ).format(gusty=words.centimetres(most), calm=words.centimetres(table.attempt_sd_m)),
            )
        )
    return reasons


def _would_change(found: Winds, table: WindTable) -> list[str]:
    changes = []
    if found.check_footfall is None:
        changes.append(
            _(
                "A check mark in the plan and footfalls measured there: at the board steering "
                "hides what the wind does."
            )
        )
    if table.own_share < OWN:
        changes.append(
            _("More attempts with a wind reading, in different winds: one wind compares nothing.")
        )
    if table.n and not table.seen.all():
        seen = table.wind_mps[table.seen]
        changes.append(
            _(
                "Attempts in stronger winds: beyond {low} to {high} m/s the table is carried on."
            ).format(low=words.number(float(seen.min())), high=words.number(float(seen.max())))
            if seen.size
            else _("Attempts in stronger winds: these were in none that the table has a row for.")
        )
    return changes
