"""Shall the start mark be moved, and by how much?"""

from dataclasses import dataclass

import numpy as np
from django.utils.translation import gettext as _

from analytics.answers import expecting, growing, told, wind_table, words
from analytics.answers.growing import Growing
from analytics.answers.told import Reason, Told
from analytics.answers.watched import USUAL, watched_footfall
from analytics.answers.wind_table import LearnedWind
from analytics.core import mark_advice, needed_made, tape
from analytics.core.after_advice import MARK_STANDS_M
from analytics.core.conventions import DEFAULT_AIM_M, NotEnoughAttempts
from analytics.core.mark_advice import (
    DEFAULT_SETTINGS,
    Errors,
    History,
    MarkAdvice,
    MarkAnswer,
    PlaceBias,
)
from analytics.selectors import Body, Marks, RunUps

_SAME_MARK_M = 0.005  # marks are to the centimetre


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
        Attempts whose errors were freed of what the wind did.
    wind
        By which wind table: the athlete's own as far as it is known, else the usual one.
    growing
        Whether the marks have been outgrown, as practice-focus has it.
    ran_from_m
        Where the last of the attempts began; None where nobody said.
    start_mark_feet, start_mark_shoes
        The mark as it is laid out without a metric tape; None where there is no mark, or no shoe.
    """

    advice: MarkAdvice | NotEnoughAttempts
    check_footfall: int | None
    pass_through: float
    n_with_wind: int
    wind: LearnedWind
    growing: Growing
    ran_from_m: float | None
    start_mark_feet: str | None
    start_mark_shoes: float | None


def work_out(run_ups: RunUps, *, body: Body | None = None, wind: LearnedWind | None = None) -> Mark:
    """Return what to do about the start mark, as the plan of this moment has it.

    In still air, and against the plan's mark: a mark that was moved for a day's wind, or for
    another aim, is no other plan. `wind` is what these attempts say of it, where that is known.
    """
    marks = run_ups.marks_now or run_ups.latest_marks()
    # Who does not know where the run began cannot say where it should begin.
    known = run_ups.those(~np.isnan(run_ups.start_mark_m))
    footfall = watched_footfall(known, marks)
    grown = growing.judge(run_ups, body)
    given = _Given(
        run_ups=known,
        marks=marks,
        wind=wind_table.learned_from(run_ups) if wind is None else wind,
        pass_through=_pass_through(known, footfall),
        growing=grown,
    )
    advice = mark_advice.advise_mark(
        *_board_and_history(given), check=None if footfall is None else _check(given, footfall)
    )
    feet = shoes = None
    if isinstance(advice, MarkAdvice):
        feet = str(tape.feet_and_inches(advice.start_mark_m))
        if run_ups.shoe_length_m:
            shoes = tape.shoe_lengths(advice.start_mark_m, shoe_length_m=run_ups.shoe_length_m)
    return Mark(
        advice=advice,
        check_footfall=footfall,
        pass_through=given.pass_through,
        n_with_wind=int(np.count_nonzero(~np.isnan(known.wind_mps))),
        wind=given.wind,
        growing=grown,
        ran_from_m=float(known.start_mark_m[-1]) if len(known) else None,
        start_mark_feet=feet,
        start_mark_shoes=shoes,
    )


@dataclass(frozen=True, slots=True, eq=False)
class _Given:
    """What the advice is worked out from."""

    run_ups: RunUps
    marks: Marks | None
    wind: LearnedWind
    pass_through: float
    growing: Growing


def _pass_through(run_ups: RunUps, footfall: int | None) -> float:
    """Return what steering lets through to the board; all of it where the steps are not known."""
    steps = min(footfall or USUAL, run_ups.steps)
    steering = needed_made.needed_and_made(
        run_ups.toe_m[:, : steps + 1], revision=run_ups.revisions
    )
    if isinstance(steering, NotEnoughAttempts) or np.isnan(steering.gain).any():
        return 1.0
    return float(np.clip(needed_made.pass_through(steering.gain), 0, 1))


def _board_and_history(given: _Given) -> tuple[Errors, History]:
    """Return the errors at the board and what else is known, up to the mark of this moment.

    All errors are against the aim of now: what changes is where the run began. A plan that was made
    after the last attempt stands for one more, of which nothing is measured yet, and so does the
    plan's mark where the last attempt began elsewhere.
    """
    run_ups, marks = given.run_ups, given.marks
    aim_m = DEFAULT_AIM_M if marks is None else marks.aim_m
    by_wind = given.wind.moves_error(run_ups.start_mark_m - aim_m, run_ups.wind_mps)
    error = run_ups.board_toe_m - aim_m - given.pass_through * by_wind
    beyond = np.where(run_ups.no_jump, -aim_m, np.nan)
    changed = np.diff(run_ups.revisions, prepend=run_ups.revisions[:1]) != 0
    changed |= growing.first_grown(run_ups, given.growing)
    start, session = run_ups.start_mark_m, run_ups.session_labels
    if marks is not None and _has_one_more(given):
        was_moved = expecting.mark_was_moved(run_ups)
        error, beyond = np.append(error, np.nan), np.append(beyond, np.nan)
        start = np.append(start, marks.start_mark_m)
        session = np.append(session, session.max() + 1 if was_moved else session[-1])
        changed = np.append(changed, was_moved)
    return (
        Errors(error, beyond),
        History(start, session, may_have_changed=changed, pass_through=given.pass_through),
    )


def _has_one_more(given: _Given) -> bool:
    """Tell whether the mark of now is another one than the last attempt began from."""
    run_ups, marks = given.run_ups, given.marks
    if not len(run_ups) or marks is None:
        return False
    elsewhere = abs(run_ups.start_mark_m[-1] - marks.start_mark_m) > _SAME_MARK_M
    return expecting.mark_was_moved(run_ups) or bool(elsewhere)


def _check(given: _Given, footfall: int) -> Errors | None:
    """Return the errors at the watched footfall, against where the plan of now has it."""
    run_ups = given.run_ups
    at_m = None if given.marks is None else given.marks.planned_m(footfall)
    if at_m is None:
        return None
    by_wind = given.wind.moves_error(run_ups.start_mark_m - at_m, run_ups.wind_mps)
    error = run_ups.toe_m[:, footfall] - at_m - by_wind
    return Errors(np.append(error, np.nan) if _has_one_more(given) else error)


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
    sentences = [_decision(found, advice), *_for_which_air(found, advice)]
    if found.growing.outgrown:
        sentences.append(growing.tell(found.growing))
    return Told(
        text=" ".join(sentences),
        reasons=tuple(_reasons(found, advice)),
        would_change=tuple(_would_change(advice)),
        caution=told.caution(),
    )


def _for_which_air(found: Mark, advice: MarkAdvice) -> list[str]:
    """Say what wind the mark is for, and where it is run from already."""
    said = []
    ran_from_m = found.ran_from_m
    if (
        advice.answer is MarkAnswer.MOVE
        and ran_from_m is not None
        and abs(advice.move_m) > MARK_STANDS_M
        and abs(ran_from_m - advice.start_mark_m) <= MARK_STANDS_M + 1e-9
    ):
        said.append(_("The last attempts began there already: it is the plan that is behind."))
    if found.n_with_wind:
        said.append(
            _("That is the mark for still air; the wind table says how far it moves in a wind.")
        )
    return said


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
    if found.growing.outgrown:
        return sentence  # of check marks speaks what is said of growth
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
    by_wind = wind_table.tell_of_use(found.wind, found.n_with_wind)
    if by_wind is not None:
        reasons.append(
            Reason(
                code="wind",
                numbers={
                    "n": found.n_with_wind,
                    "own_share": found.wind.own_share,
                    "slope_by_usual": found.wind.by_usual,
                },
                text=by_wind,
            )
        )
    if found.growing.outgrown:
        reasons.append(growing.reason(found.growing))
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
