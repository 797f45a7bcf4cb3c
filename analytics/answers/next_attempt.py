"""The next attempt of a session: from which mark, with which aim, and why."""

from dataclasses import dataclass
from uuid import UUID

import numpy as np
from django.utils.translation import gettext as _

from analytics.answers import (
    aim,
    aim_first,
    growing,
    mark_advice,
    practice_focus,
    told,
    wind_table,
    words,
)
from analytics.answers.aim import Aim
from analytics.answers.aim_first import AimFirst
from analytics.answers.mark_advice import Mark
from analytics.answers.told import Reason, Told
from analytics.answers.warm_up import WarmingUp
from analytics.answers.wind_table import Winds
from analytics.core import warm_up
from analytics.core.after_advice import MARK_STANDS_M
from analytics.core.aim import AimAdvice
from analytics.core.conventions import DEFAULT_AIM_M, NotEnoughAttempts
from analytics.core.mark_advice import MarkAdvice
from analytics.core.warm_up import Believed, WarmUp
from analytics.selectors import Body, RunUps

CUT_AFTER = 3
BEST = 8


@dataclass(frozen=True, slots=True)
class Contest:
    """How far an athlete is in a competition.

    Attributes
    ----------
    attempts_taken, attempts_left
        None left: the competition is over for this athlete.
    cut_waits
        More than `BEST` take part, the cut is still to come, and nobody said what it will take:
        only the attempts before it are counted on.
    best_m
        Best official distance so far; None when nothing is scored.
    cut_m
        Distance that will be needed to be among the best, as somebody expects it.
    """

    attempts_taken: int
    attempts_left: int
    cut_waits: bool
    best_m: float | None
    cut_m: float | None


def contest_of(
    *,
    attempts_taken: int,
    best_m: float | None,
    attempts: int,
    field_size: int | None,
    cut_m: float | None,
) -> Contest:
    """Return how far an athlete is, in a competition of so many attempts and athletes."""
    left = max(attempts - attempts_taken, 0)
    has_cut = (
        field_size is not None
        and field_size > BEST
        and attempts > CUT_AFTER
        and attempts_taken < CUT_AFTER
    )
    if has_cut and cut_m is None:
        return Contest(attempts_taken, CUT_AFTER - attempts_taken, True, best_m, None)
    return Contest(attempts_taken, left, False, best_m, cut_m if has_cut else None)


@dataclass(frozen=True, slots=True)
class Today:
    """What the warm-up of this day and the jumps since say of its mark.

    Attributes
    ----------
    n_run_throughs, n_jumps
        With the watched footfall measured.
    start_mark_m
        Today's mark for the plan's aim, to the centimetre.
    bias_m, bias_sd_m
        Where jumps from today's mark are expected at the check mark, positive short, and how well
        that is known: nobody sets a mark anew for less than 3 cm.
    """

    n_run_throughs: int
    n_jumps: int
    start_mark_m: float
    bias_m: float
    bias_sd_m: float


@dataclass(frozen=True, slots=True, eq=False)
class NextAttempt:
    """The figures of the answer.

    Attributes
    ----------
    start_mark_m
        The mark for the next attempt, to the centimetre: today's where the session was warmed up
        for, else the advised one; moved further where another aim than the plan's is worth it. None
        where nothing is known.
    aim_m
        What it is laid out for.
    wind_mps, wind_moves_m
        Mean of the session's readings, None without any, and what of the mark is for it; 0 after a
        warm-up, whose mark holds the wind already.
    contest
        None outside of a competition: then the plan's aim holds.
    mark
        What the jumps of this and other days say of the plan's mark, as the answer of that name.
    today
        None without a warm-up that was measured.
    aim
        None outside of a competition, and when it is over.
    aim_first
        None in a competition, and where practice-focus names something else or nothing.
    """

    start_mark_m: float | None
    aim_m: float
    aim_moves_m: float
    wind_mps: float | None
    wind_moves_m: float
    contest: Contest | None
    mark: Mark
    today: Today | None
    aim: Aim | None
    aim_first: AimFirst | None


def work_out(
    run_ups: RunUps,
    *,
    session: UUID,
    contest: Contest | None,
    body: Body | None = None,
    warming: WarmingUp | None = None,
    winds: Winds | None = None,
) -> NextAttempt:
    """Return mark and aim of the next attempt in a session; `warming` is its warm-up.

    `winds` is the wind table of the same attempts, where it was worked out.

    From the plan's mark, not from that of the last attempt: what it was moved for then, another aim
    or another wind, would be in it twice.
    """
    wind = None if winds is None else wind_table.learned(winds)
    mark = mark_advice.work_out(run_ups, body=body, wind=wind)
    today = None if warming is None else _today(run_ups, session, warming)
    planned_aim_m = DEFAULT_AIM_M if run_ups.marks_now is None else run_ups.marks_now.aim_m
    best = None
    if contest is not None and contest.attempts_left:
        best = aim.work_out(
            run_ups,
            attempts_left=contest.attempts_left,
            best_m=contest.best_m,
            cut_m=contest.cut_m,
            session=session,
        )
    aim_m = planned_aim_m
    # Within a centimetre of distance the aim that is practised is the better one.
    if best is not None and isinstance(best.aim, AimAdvice):
        choice = best.aim.fixed
        if not choice.good_from_m <= planned_aim_m <= choice.good_to_m:
            aim_m = choice.aim_m
    base_m, wind_mps, wind_moves_m = None, _wind_of(run_ups, session), 0.0
    if today is not None:
        base_m = today.start_mark_m
    elif isinstance(mark.advice, MarkAdvice):
        base_m = mark.advice.start_mark_m
    elif run_ups.marks_now is not None:
        base_m = run_ups.marks_now.start_mark_m
    if today is None and base_m is not None and wind_mps is not None:
        wind_moves_m = round(-_by_wind(run_ups, mark, base_m, wind_mps), 2)
    start = None if base_m is None else round(base_m + wind_moves_m + aim_m - planned_aim_m, 2)
    first = None
    if contest is None:
        first = aim_first.judge(
            practice_focus.work_out(run_ups, body=body),
            planned_aim_m=planned_aim_m,
            start_mark_m=start,
            mark_moves=today is not None
            or (isinstance(mark.advice, MarkAdvice) and mark.advice.move_m != 0),
        )
    return NextAttempt(
        start_mark_m=start,
        aim_m=aim_m,
        aim_moves_m=round(aim_m - planned_aim_m, 2),
        wind_mps=wind_mps,
        wind_moves_m=wind_moves_m,
        contest=contest,
        mark=mark,
        today=today,
        aim=best,
        aim_first=first,
    )


def _wind_of(run_ups: RunUps, session: UUID) -> float | None:
    """Return the mean of a session's readings; None without any."""
    here = np.array([each == session for each in run_ups.session_ids], dtype=np.bool_)
    read = run_ups.wind_mps[here & ~np.isnan(run_ups.wind_mps)]
    return float(read.mean()) if read.size else None


def _by_wind(run_ups: RunUps, mark: Mark, start_m: float, wind_mps: float) -> float:
    """Return what a wind does to where the foot lands before steering begins.

    At the watched footfall, as the wind table has it; where none is watched, at the board.
    """
    marks = run_ups.marks_now or run_ups.latest_marks()
    at_m = None
    if marks is not None and mark.check_footfall is not None:
        at_m = marks.planned_m(mark.check_footfall)
    run_m = max(start_m - (at_m or 0.0), 0.0)
    return float(mark.wind.moves_error(run_m, np.array(wind_mps)))


def _today(run_ups: RunUps, session: UUID, warming: WarmingUp) -> Today | None:
    """Return today's mark: what the run-throughs say, and then each jump of the session.

    A jump says what a run-through does, but for nothing that tells the two apart.
    """
    calibration, footfall = warming.calibration, warming.check_footfall
    marks = run_ups.marks_now or run_ups.latest_marks()
    at_m = None if marks is None or footfall is None else marks.planned_m(footfall)
    if (
        isinstance(calibration, NotEnoughAttempts)
        or calibration.n[-1] == 0
        or footfall is None
        or at_m is None
        or warming.first_start_mark_m is None
    ):
        return None
    here = np.array([each == session for each in run_ups.session_ids], dtype=np.bool_)
    jumps = run_ups.those(here & ~np.isnan(run_ups.start_mark_m))
    n_run_throughs = int(calibration.n[-1])
    bias_m, bias_sd_m = float(calibration.bias_m[-1]), float(calibration.bias_sd_m[-1])
    if not len(jumps):
        start_m = float(calibration.start_mark_m[-1])
        left_m = bias_m + start_m - warming.first_start_mark_m
        return Today(n_run_throughs, 0, start_m, left_m, bias_sd_m)
    # A mark farther from the pit than that of the first run-through lets the foot land as much
    # shorter.
    moved_m = float(jumps.start_mark_m[0]) - warming.first_start_mark_m
    learned: WarmUp = warm_up.calibrate(
        jumps.toe_m[:, footfall] - at_m,
        start_mark_m=jumps.start_mark_m,
        believed=Believed(
            bias_m=bias_m + moved_m,
            bias_sd_m=bias_sd_m,
            offset_m=0.0,
            offset_sd_m=0.0,
            error_sd_m=warming.error_sd_m,
        ),
    )
    start_m = float(learned.start_mark_m[-1])
    left_m = float(learned.bias_m[-1]) + start_m - float(jumps.start_mark_m[0])
    return Today(n_run_throughs, int(learned.n[-1]), start_m, left_m, float(learned.bias_sd_m[-1]))


def tell(found: NextAttempt) -> Told:
    """Say from which mark to run and where to aim, and why."""
    if found.contest is not None and not found.contest.attempts_left:
        return Told(text=_("All attempts of this competition are taken."))
    of_mark = mark_advice.tell(found.mark)
    of_aim = None if found.aim is None else aim.tell(found.aim)
    reasons, changes = list(of_mark.reasons), list(of_mark.would_change)
    if found.today is not None:
        reasons.insert(0, _of_today(found.today))
    if of_aim is not None:
        reasons += of_aim.reasons
        changes += of_aim.would_change
    if found.aim_first is not None:
        reasons.append(aim_first.reason(found.aim_first))
        changes.append(aim_first.would_change())
    if found.contest is not None and found.contest.cut_waits:
        changes.append(
            _(
                "The distance expected to be among the best {best}: without it only the attempts "
                "before the cut are counted on."
            ).format(best=BEST)
        )
    return Told(
        text=" ".join([_short(found), *_why(found, of_mark, of_aim)]),
        reasons=tuple(reasons),
        would_change=tuple(changes),
        caution=told.caution(),
        more_attempts_needed=of_mark.more_attempts_needed,
    )


def _short(found: NextAttempt) -> str:
    aim_ = words.centimetres(found.aim_m)
    if found.start_mark_m is None:
        return _("There is no start mark yet. Aim {aim} behind the line.").format(aim=aim_)
    return _("Run from {mark} and aim {aim} behind the line.").format(
        mark=words.metres(found.start_mark_m, 2), aim=aim_
    )


def _moved_by_hand(found: NextAttempt) -> list[str]:
    """Say that the last attempt began elsewhere, where nobody wrote down what for."""
    ran_from_m = found.mark.ran_from_m
    if (
        found.today is not None
        or found.wind_mps is not None
        or found.start_mark_m is None
        or ran_from_m is None
        or abs(ran_from_m - found.start_mark_m) <= MARK_STANDS_M + 1e-9
        or found.contest is not None
    ):
        return []
    return [
        _(
            "The last attempt began at {mark}: if the mark was moved for a wind that nobody wrote "
            "down, leave it there."
        ).format(mark=words.metres(ran_from_m, 2))
    ]


def _of_today(today: Today) -> Reason:
    return Reason(
        code="today",
        numbers={
            "n_run_throughs": today.n_run_throughs,
            "n_jumps": today.n_jumps,
            "start_mark_m": today.start_mark_m,
            "bias_m": today.bias_m,
            "bias_sd_m": today.bias_sd_m,
        },
        text=_(
            "From today's mark, {mark}, the foot is expected {error} at the check mark, give or "
            "take {sd}."
        ).format(
            mark=words.metres(today.start_mark_m, 2),
            error=words.error(today.bias_m),
            sd=words.centimetres(today.bias_sd_m),
        ),
    )


def _why(found: NextAttempt, of_mark: Told, of_aim: Told | None) -> list[str]:
    why = []
    advice = found.mark.advice
    if found.today is not None:
        why.append(
            _(
                "That is today's mark, from {run_throughs} and {jumps} of this day: it is for "
                "today, and the plan stays as it is."
            ).format(
                run_throughs=words.run_throughs(found.today.n_run_throughs),
                jumps=words.jumps(found.today.n_jumps),
            )
        )
    elif isinstance(advice, NotEnoughAttempts):
        why.append(_("About the mark: {text}").format(text=of_mark.text))
    elif advice.move_m:
        place = advice.board if advice.check is None else advice.check
        where = _("at the board") if advice.check is None else _("at the check mark")
        why.append(
            _("The mark moves by {size}: {where} the foot lands {error} on the mean.").format(
                size=words.centimetres(advice.move_m),
                where=where,
                error=words.error(place.mean_m),
            )
        )
    else:
        why.append(_("The mark itself is not shown to be wrong."))
    if found.wind_moves_m:
        text = (
            _("For the wind of this session, {wind} m/s, it stands {size} farther back.")
            if found.wind_moves_m > 0
            else _("For the wind of this session, {wind} m/s, it stands {size} toward the pit.")
        )
        why.append(
            text.format(
                wind=words.number(found.wind_mps or 0.0, 1),
                size=words.centimetres(found.wind_moves_m),
            )
        )
    why += _moved_by_hand(found)
    if found.mark.growing.outgrown:
        why.append(growing.tell(found.mark.growing))
    why += _why_aim(found, of_aim)
    return why


def _why_aim(found: NextAttempt, of_aim: Told | None) -> list[str]:
    """Say what the mark is moved for by another aim, or why the plan's is kept."""
    left = words.attempts(found.contest.attempts_left if found.contest else 0)
    size = words.centimetres(found.aim_moves_m)
    if found.aim_moves_m > 0:
        text = _(
            "{size} of that mark keep clear of the line: with {attempts} left, so is most to "
            "be won."
        )
        return [text.format(size=size, attempts=left)]
    if found.aim_moves_m < 0:
        text = _(
            "{size} nearer the line than planned: with {attempts} left, the risk of a no jump "
            "is worth it."
        )
        return [text.format(size=size, attempts=left)]
    if of_aim is not None and found.aim is not None and isinstance(found.aim.aim, AimAdvice):
        return [_("The planned aim is as good as any other now.")]
    if of_aim is not None:
        return [_("About the aim: {text}").format(text=of_aim.text)]
    return [] if found.aim_first is None else [aim_first.tell(found.aim_first)]
