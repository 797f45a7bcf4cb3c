"""Shall the start mark be moved, and by how much?"""

from dataclasses import dataclass

import numpy as np
from django.utils.translation import gettext as _

from analytics.answers import expecting, told, words
from analytics.answers.told import Reason, Told
from analytics.answers.watched import USUAL, watched_footfall
from analytics.core import mark_advice, needed_made, tape
from analytics.core.conventions import DEFAULT_AIM_M, FloatArray, NotEnoughAttempts
from analytics.core.mark_advice import (
    DEFAULT_SETTINGS,
    Errors,
    History,
    MarkAdvice,
    MarkAnswer,
    PlaceBias,
)
from analytics.core.wind import felt_wind, usual_wind_slope
from analytics.selectors import Marks, RunUps


@dataclass(frozen=True, slots=True, eq=False)
class Mark:
    """The figures of the answer.

    Attributes
    ----------
    check_footfall
        The footfall that was watched beside the board; None where the plan has none.
    pass_through
        Share of a moved mark that was taken to be still there at the board.
    n_with_wind
        Attempts whose errors were freed of what the wind usually does.
    start_mark_feet, start_mark_shoes
        The mark as it is laid out without a metric tape; None where there is no mark, or no shoe.
    """

    advice: MarkAdvice | NotEnoughAttempts
    check_footfall: int | None
    pass_through: float
    n_with_wind: int
    start_mark_feet: str | None
    start_mark_shoes: float | None


def work_out(run_ups: RunUps) -> Mark:
    """Return what to do about the start mark, as the plan of this moment has it."""
    marks = run_ups.marks_now or run_ups.latest_marks()
    # Who does not know where the run began cannot say where it should begin.
    known = run_ups.those(~np.isnan(run_ups.start_mark_m))
    footfall = watched_footfall(known, marks)
    share = _pass_through(known, footfall)
    advice = mark_advice.advise_mark(
        *_board_and_history(known, marks, share),
        check=None if footfall is None else _check(known, marks, footfall),
    )
    feet = shoes = None
    if isinstance(advice, MarkAdvice):
        feet = str(tape.feet_and_inches(advice.start_mark_m))
        if run_ups.shoe_length_m:
            shoes = tape.shoe_lengths(advice.start_mark_m, shoe_length_m=run_ups.shoe_length_m)
    return Mark(
        advice=advice,
        check_footfall=footfall,
        pass_through=share,
        n_with_wind=int(np.count_nonzero(~np.isnan(known.wind_mps))),
        start_mark_feet=feet,
        start_mark_shoes=shoes,
    )


def _pass_through(run_ups: RunUps, footfall: int | None) -> float:
    """Return what steering lets through to the board; all of it where the steps are not known."""
    steps = min(footfall or USUAL, run_ups.steps)
    steering = needed_made.needed_and_made(
        run_ups.toe_m[:, : steps + 1], revision=run_ups.revisions
    )
    if isinstance(steering, NotEnoughAttempts) or np.isnan(steering.gain).any():
        return 1.0
    return float(np.clip(needed_made.pass_through(steering.gain), 0, 1))


def _by_wind(run_ups: RunUps, at_m: float) -> FloatArray:
    """Return what the wind usually does to an error at a place; 0 where nobody read the wind."""
    slope = usual_wind_slope(np.maximum(run_ups.start_mark_m - at_m, 0.0))
    return np.nan_to_num(slope * felt_wind(run_ups.wind_mps), nan=0.0)


def _board_and_history(
    run_ups: RunUps, marks: Marks | None, pass_through: float
) -> tuple[Errors, History]:
    """Return the errors at the board and what else is known, up to the mark of this moment.

    All errors are against the aim of now: what changes is where the run began. A plan that was made
    after the last attempt stands for one more, of which nothing is measured yet.
    """
    aim_m = DEFAULT_AIM_M if marks is None else marks.aim_m
    error = run_ups.board_toe_m - aim_m - pass_through * _by_wind(run_ups, aim_m)
    beyond = np.where(run_ups.no_jump, -aim_m, np.nan)
    changed = np.diff(run_ups.revisions, prepend=run_ups.revisions[:1]) != 0
    start, session = run_ups.start_mark_m, run_ups.session_labels
    if len(run_ups) and marks is not None and expecting.mark_was_moved(run_ups):
        error, beyond = np.append(error, np.nan), np.append(beyond, np.nan)
        start, session = np.append(start, marks.start_mark_m), np.append(session, session.max() + 1)
        changed = np.append(changed, True)
    return (
        Errors(error, beyond),
        History(start, session, may_have_changed=changed, pass_through=pass_through),
    )


def _check(run_ups: RunUps, marks: Marks | None, footfall: int) -> Errors | None:
    """Return the errors at the watched footfall, against where the plan of now has it."""
    at_m = None if marks is None else marks.planned_m(footfall)
    if at_m is None:
        return None
    error = run_ups.toe_m[:, footfall] - at_m - _by_wind(run_ups, at_m)
    if len(run_ups) and expecting.mark_was_moved(run_ups):
        error = np.append(error, np.nan)
    return Errors(error)


def tell(found: Mark) -> Told:
    """Say whether to move the start mark, and why."""
    advice = found.advice
    if isinstance(advice, NotEnoughAttempts):
        return told.not_enough(
            advice,
            what=_("with a start mark and a measured toe or a no jump"),
            would_change=(
                _("A measured check mark: with it, one attempt that misses both is enough."),
            ),
        )
    return Told(
        text=_decision(found, advice),
        reasons=tuple(_reasons(found, advice)),
        would_change=tuple(_would_change(advice)),
        caution=told.caution(),
    )


def laid_out(found: Mark, advice: MarkAdvice) -> str:
    """Return the start mark in metres, in feet and inches, and in the athlete's shoes."""
    metres = words.metres(advice.start_mark_m, 2)
    if found.start_mark_shoes is None:
        return _("{metres} ({feet})").format(metres=metres, feet=found.start_mark_feet)
    return _("{metres} ({feet}, {shoes} shoe lengths)").format(
        metres=metres, feet=found.start_mark_feet, shoes=words.halves(found.start_mark_shoes)
    )


def _decision(found: Mark, advice: MarkAdvice) -> str:
    mark = laid_out(found, advice)
    if advice.answer is MarkAnswer.LAST_STEPS:
        return _(
            "Leave the start mark at {mark}: the check mark is met. At the board the foot lands "
            "{error} all the same, so the trouble lies in the last steps."
        ).format(mark=mark, error=words.error(advice.board.mean_m))
    if advice.answer is MarkAnswer.KEEP:
        return _(
            "Leave the start mark at {mark}. It is right: what the foot is off by on the mean is "
            "not worth a move."
        ).format(mark=mark)
    if advice.answer is MarkAnswer.UNDECIDED:
        return _(
            "Leave the start mark at {mark} for now. These attempts do not show whether it is "
            "wrong; more of them will tell."
        ).format(mark=mark)
    from_check = advice.check is not None
    place = advice.check if advice.check is not None else advice.board
    text = (
        _(
            "Move the start mark by {size} toward the pit, to {mark}. {where} the foot lands "
            "{error} on the mean."
        )
        if advice.move_m < 0
        else _(
            "Move the start mark back by {size}, away from the pit, to {mark}. {where} the foot "
            "lands {error} on the mean."
        )
    )
    sentence = text.format(
        size=words.centimetres(advice.move_m),
        mark=mark,
        where=_("At the check mark") if from_check else _("At the board"),
        error=words.error(place.mean_m),
    )
    check_marks = (
        _("The check mark stays where it is.")
        if from_check
        else _("Set check marks anew in a run-through.")
    )
    return f"{sentence} {check_marks}"


def _reasons(found: Mark, advice: MarkAdvice) -> list[Reason]:
    reasons = [
        _reason("board", _("At the board"), advice.board, DEFAULT_SETTINGS.board.off_m),
    ]
    if advice.check is not None:
        where = _("At the check mark, {steps} before the board").format(
            steps=words.steps(found.check_footfall or 0)
        )
        reasons.append(_reason("check_mark", where, advice.check, DEFAULT_SETTINGS.check.off_m))
    return reasons


def _reason(code: str, where: str, place: PlaceBias, limit_m: float) -> Reason:
    return Reason(
        code=code,
        numbers={
            "n": place.n,
            "mean_m": place.mean_m,
            "low_m": place.interval.low,
            "high_m": place.interval.high,
            "probability_off": place.probability_off,
            "probability_right": place.probability_right,
            "limit_m": limit_m,
            "sure": DEFAULT_SETTINGS.sure,
        },
        text=_(
            "{where}: from {attempts} the foot now lands {error} on the mean. That it is off by "
            "more than {limit} to that side has a chance of {off}; that it is not off, {right}."
        ).format(
            where=where,
            attempts=words.attempts(place.n),
            error=words.error(place.mean_m),
            limit=words.centimetres(limit_m),
            off=words.percent(place.probability_off),
            right=words.percent(place.probability_right),
        ),
    )


def _would_change(advice: MarkAdvice) -> list[str]:
    changes = [
        _(
            "It counts as shown from {sure} on that the foot lands off by more than {board} at the "
            "board, or by more than {check} at the check mark."
        ).format(
            sure=words.percent(DEFAULT_SETTINGS.sure),
            board=words.centimetres(DEFAULT_SETTINGS.board.off_m),
            check=words.centimetres(DEFAULT_SETTINGS.check.off_m),
        )
    ]
    if advice.check is None:
        changes.append(
            _(
                "A check mark in the plan and footfalls measured there: steering hides a wrong "
                "mark from the board."
            )
        )
    return changes
