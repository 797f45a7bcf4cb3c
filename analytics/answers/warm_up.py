"""What do the run-throughs of a warm-up say about today's mark?"""

from dataclasses import dataclass
from uuid import UUID

import numpy as np
from django.utils.translation import gettext as _

from analytics.answers import mark_advice, told, wind_table, words
from analytics.answers.told import Reason, Told
from analytics.answers.watched import watched_footfall
from analytics.answers.wind_table import LearnedWind
from analytics.core import components, todays_mark, usual_days, warm_up
from analytics.core.baselines import PRIOR_BETWEEN_SHARE
from analytics.core.components import SpreadComponents
from analytics.core.conventions import FloatArray, IntArray, NotEnoughAttempts
from analytics.core.mark_advice import MarkAdvice, MarkAnswer
from analytics.core.todays_mark import Part
from analytics.core.todays_mark import Reason as MovedFor
from analytics.core.usual_days import RunThroughOffset, UsualDay
from analytics.core.warm_up import Believed, WarmUp
from analytics.core.wind_table import CHECK_MARK_SD_M
from analytics.selectors import Marks, RunUps

# How far run-throughs may land from jumps where no three sessions have both: our judgement, of the
# order of what one attempt spreads.
UNKNOWN_OFFSET_SD_M = 0.10
# From how many degrees of freedom on the athlete's own spread stands for the usual one; ours.
_OWN_SPREAD_DF = 10


@dataclass(frozen=True, slots=True)
class Moved:
    """What today's mark is moved for before anything was run; positive: away from the pit."""

    reason: str
    move_m: float
    sd_m: float


@dataclass(frozen=True, slots=True, eq=False)
class WarmingUp:
    """The figures of the answer.

    Attributes
    ----------
    calibration
        After none, one, two ... run-throughs of the session.
    check_footfall
        The footfall that is watched.
    planned_start_mark_m, parts
        The plan's mark, and what moves it before anything was run.
    first_start_mark_m
        From which the first was run, and which the errors are of; the plan's before any.
    n_offset_sessions, offset_m, offset_sd_m
        How run-throughs land against jumps, from sessions with both; 0: what may be at most.
    error_sd_m, is_own_spread
        SD of one run-through at that footfall, and whether it is the athlete's own.
    """

    calibration: WarmUp | NotEnoughAttempts
    check_footfall: int | None
    planned_start_mark_m: float | None
    parts: tuple[Moved, ...]
    first_start_mark_m: float | None
    n_offset_sessions: int
    offset_m: float
    offset_sd_m: float
    error_sd_m: float
    is_own_spread: bool


def work_out(
    run_throughs: RunUps,
    jumps: RunUps,
    *,
    session: UUID,
    competitions: frozenset[UUID] = frozenset(),
) -> WarmingUp:
    """Return what the run-throughs of a session say, given those of others and their jumps.

    Watched is a footfall before steering begins: at the board it is not one number how
    run-throughs land against jumps, for jumps steer more.
    """
    marks = jumps.marks_now or jumps.latest_marks()
    footfall = watched_footfall(jumps, marks)
    at_m = None if marks is None or footfall is None else marks.planned_m(footfall)
    if marks is None or footfall is None or at_m is None:
        return _nothing(None if marks is None else marks.start_mark_m)
    is_here = np.array([each == session for each in run_throughs.session_ids], dtype=np.bool_)
    here = run_throughs.those(is_here & ~np.isnan(run_throughs.start_mark_m))
    before = run_throughs.those(~is_here)
    past = jumps.those(np.array([each != session for each in jumps.session_ids], dtype=np.bool_))
    labels = {
        each: number for number, each in enumerate({*run_throughs.session_ids, *jumps.session_ids})
    }
    sessions = [
        np.array([labels[each] for each in some.session_ids], dtype=np.int64)
        for some in (before, past, run_throughs)
    ]
    blows = wind_table.learned_from(past)
    errors = [_error(some, marks, footfall, at_m, blows) for some in (before, past, run_throughs)]

    offset = usual_days.run_through_offset(errors[0], sessions[0], errors[1], sessions[1])
    if isinstance(offset, RunThroughOffset):
        n_offset, offset_m, offset_sd = offset.n_sessions, offset.mean_m, offset.standard_error_m
    else:
        n_offset, offset_m, offset_sd = 0, 0.0, UNKNOWN_OFFSET_SD_M
    error_sd = _own_spread(errors[2], sessions[2])
    is_own = error_sd is not None
    error_sd = CHECK_MARK_SD_M if error_sd is None else error_sd
    run_m = max(marks.start_mark_m - at_m, 0.0)
    parts = {MovedFor.DAY: _day(past, errors[1], sessions[1], session, competitions)}
    plan = _plan(past, blows)
    if plan is not None:
        parts[MovedFor.PLAN] = plan
    blowing = here.wind_mps[~np.isnan(here.wind_mps)]
    if blowing.size:
        parts[MovedFor.WIND] = todays_mark.wind_part(
            float(blows.slope_m(run_m)),
            slope_sd_m=blows.slope_sd_m,
            wind_mps=float(blowing.mean()),
        )
    today = todays_mark.todays_mark(marks.start_mark_m, parts)
    first = float(here.start_mark_m[0]) if len(here) else marks.start_mark_m
    calibration = warm_up.calibrate(
        here.toe_m[:, footfall] - at_m,
        start_mark_m=here.start_mark_m if len(here) else first,
        believed=Believed(
            # A mark farther from the pit than today's lets the foot land as much shorter.
            bias_m=first - marks.start_mark_m - today.move_m,
            bias_sd_m=today.sd_m,
            offset_m=offset_m,
            offset_sd_m=offset_sd,
            error_sd_m=error_sd,
        ),
    )
    return WarmingUp(
        calibration=calibration,
        check_footfall=footfall,
        planned_start_mark_m=marks.start_mark_m,
        parts=tuple(
            Moved(reason.value, part.move_m, part.sd_m) for reason, part in today.parts.items()
        ),
        first_start_mark_m=first,
        n_offset_sessions=n_offset,
        offset_m=offset_m,
        offset_sd_m=offset_sd,
        error_sd_m=error_sd,
        is_own_spread=is_own,
    )


def _nothing(start_mark_m: float | None) -> WarmingUp:
    missing = NotEnoughAttempts(n=0, needed=1)
    return WarmingUp(missing, None, start_mark_m, (), None, 0, 0.0, 0.0, CHECK_MARK_SD_M, False)


def _error(
    run_ups: RunUps, marks: Marks, footfall: int, at_m: float, blows: LearnedWind
) -> FloatArray:
    """Return errors at the footfall from the mark that was used, freed of the wind."""
    moved = run_ups.start_mark_m - marks.start_mark_m
    by_wind = blows.moves_error(run_ups.start_mark_m - at_m, run_ups.wind_mps)
    return np.asarray(run_ups.toe_m[:, footfall] - at_m - moved - by_wind)


def _plan(past: RunUps, blows: LearnedWind) -> Part | None:
    """Return what the plan's mark is to be moved by, where mark-advice says so of other days."""
    advice = mark_advice.work_out(past, wind=blows).advice
    if not isinstance(advice, MarkAdvice) or advice.answer is not MarkAnswer.MOVE:
        return None
    place = advice.board if advice.check is None else advice.check
    return Part(advice.move_m, place.sd_m)


def _own_spread(error_m: FloatArray, sessions: IntArray) -> float | None:
    """Return the SD of one run-through in its session, or None where it is not the athlete's."""
    spread = components.spread_components(error_m, sessions)
    if not isinstance(spread, SpreadComponents) or spread.within_df < _OWN_SPREAD_DF:
        return None
    return spread.within_sd_m or None


def _day(
    past: RunUps,
    error_m: FloatArray,
    sessions: IntArray,
    session: UUID,
    competitions: frozenset[UUID],
) -> Part:
    """Return what a day of this kind moves the mark by: who lands short moves toward the pit."""
    is_contest = session in competitions
    held = np.array([each in competitions for each in past.session_ids], dtype=np.bool_)
    day = usual_days.usual_day(error_m, sessions, held)
    if isinstance(day, UsualDay):
        return Part(-day.shift_m, day.sd_m) if is_contest else Part(0.0, day.day_sd_m)
    usual = PRIOR_BETWEEN_SHARE * CHECK_MARK_SD_M
    contest = usual_days.USUAL_COMPETITION_SD_M if is_contest else 0.0
    return Part(0.0, float(np.hypot(usual, contest)))


def tell(found: WarmingUp) -> Told:
    """Say from which mark to run, and what was learned."""
    calibration = found.calibration
    if isinstance(calibration, NotEnoughAttempts):
        return told.not_enough(
            calibration,
            what=_("with a planned check mark to watch"),
            would_change=(_("A check mark in the plan, four steps or more before the board."),),
        )
    n = int(calibration.n[-1])
    return Told(
        text=_decision(found, calibration, n),
        reasons=tuple(_reasons(found, calibration, n)),
        would_change=tuple(_would_change(found, n)),
        caution=told.caution(),
    )


def _decision(found: WarmingUp, calibration: WarmUp, n: int) -> str:
    mark = words.metres(float(calibration.start_mark_m[-1]), 2)
    if n == 0:
        return _(
            "No run-through with the check mark measured yet. Begin the warm-up from {mark}."
        ).format(mark=mark)
    move, bias = float(calibration.move_m[-1]), float(calibration.bias_m[-1])
    if move == 0:
        return _(
            "Leave the start mark at {mark}: by {attempts} the foot of a jump is expected {error} "
            "at the check mark, too little to set a mark anew."
        ).format(mark=mark, attempts=words.attempts(n), error=words.error(bias))
    text = (
        _(
            "Run from {mark}: {size} toward the pit. By {attempts} the foot of a jump from the "
            "first mark is expected {error} at the check mark."
        )
        if move < 0
        else _(
            "Run from {mark}: {size} farther back. By {attempts} the foot of a jump from the first "
            "mark is expected {error} at the check mark."
        )
    )
    return text.format(
        mark=mark,
        size=words.centimetres(move),
        attempts=words.attempts(n),
        error=words.error(bias),
    )


def _reasons(found: WarmingUp, calibration: WarmUp, n: int) -> list[Reason]:
    low, high = float(calibration.low_m[-1]), float(calibration.high_m[-1])
    reasons = [
        Reason(
            code="bias",
            numbers={
                "n": n,
                "bias_m": float(calibration.bias_m[-1]),
                "bias_sd_m": float(calibration.bias_sd_m[-1]),
                "low_m": low,
                "high_m": high,
                "sd_before_m": float(calibration.bias_sd_m[0]),
            },
            text=_(
                "At the check mark the foot of a jump from the first mark is expected between "
                "{low} and {high}."
            ).format(low=words.error(low), high=words.error(high)),
        ),
        Reason(
            code="offset",
            numbers={
                "n_sessions": found.n_offset_sessions,
                "offset_m": found.offset_m,
                "offset_sd_m": found.offset_sd_m,
            },
            text=_(
                "In run-throughs the foot comes down {error} against jumps, from {sessions} with "
                "both."
            ).format(
                error=words.error(found.offset_m), sessions=words.sessions(found.n_offset_sessions)
            )
            if found.n_offset_sessions
            else _(
                "How the foot comes down in run-throughs against jumps is not known: no difference "
                "was assumed, give or take {size}."
            ).format(size=words.centimetres(found.offset_sd_m)),
        ),
    ]
    reasons += [
        Reason(
            code=each.reason,
            numbers={"move_m": each.move_m, "sd_m": each.sd_m},
            text=(
                _("{what} moves the mark by {size} to begin with, give or take {sd}.")
                if each.move_m
                else _("{what} leaves the mark where it is to begin with, give or take {sd}.")
            ).format(
                what=_part_name(each.reason),
                size=_side(each.move_m),
                sd=words.centimetres(each.sd_m),
            ),
        )
        for each in found.parts
    ]
    return reasons


def _part_name(reason: str) -> str:
    """Return what moves the mark, as it is called at the beginning of a sentence."""
    return {
        MovedFor.PLAN.value: _("What earlier attempts say of the plan's mark"),
        MovedFor.WIND.value: _("The wind"),
        MovedFor.DAY.value: _("The day"),
    }[reason]


def _side(move_m: float) -> str:
    size = words.centimetres(move_m)
    return (_("{size} toward the pit") if move_m < 0 else _("{size} back")).format(size=size)


def _would_change(found: WarmingUp, n: int) -> list[str]:
    changes = []
    if n < 3:
        changes.append(
            _("Another run-through, up to three: after them one more tells little. Save the legs.")
        )
    if not found.n_offset_sessions:
        changes.append(_("Three sessions with run-throughs and jumps, both measured there."))
    if not found.is_own_spread:
        changes.append(_("More measured run-throughs: their usual spread was assumed."))
    return changes
