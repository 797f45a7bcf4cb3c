"""The next attempt of a session: from which mark, with which aim, and why."""

from dataclasses import dataclass
from uuid import UUID

from django.utils.translation import gettext as _

from analytics.answers import aim, mark_advice, told, words
from analytics.answers.aim import Aim
from analytics.answers.mark_advice import Mark
from analytics.answers.told import Told
from analytics.core.aim import AimAdvice
from analytics.core.conventions import DEFAULT_AIM_M, NotEnoughAttempts
from analytics.core.mark_advice import MarkAdvice
from analytics.selectors import RunUps

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


@dataclass(frozen=True, slots=True, eq=False)
class NextAttempt:
    """The figures of the answer.

    Attributes
    ----------
    start_mark_m
        The mark for the next attempt, to the centimetre: the advised one, moved further where
        another aim than the plan's is worth it. None where nothing is known.
    aim_m
        What it is laid out for.
    contest
        None outside of a competition: then the plan's aim holds.
    aim
        None outside of a competition, and when it is over.
    """

    start_mark_m: float | None
    aim_m: float
    aim_moves_m: float
    contest: Contest | None
    mark: Mark
    aim: Aim | None


def work_out(run_ups: RunUps, *, session: UUID, contest: Contest | None) -> NextAttempt:
    """Return mark and aim of the next attempt in a session."""
    mark = mark_advice.work_out(run_ups)
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
    start = None
    if isinstance(mark.advice, MarkAdvice):
        start = round(mark.advice.start_mark_m + aim_m - planned_aim_m, 2)
    elif run_ups.marks_now is not None:
        start = round(run_ups.marks_now.start_mark_m + aim_m - planned_aim_m, 2)
    return NextAttempt(
        start_mark_m=start,
        aim_m=aim_m,
        aim_moves_m=round(aim_m - planned_aim_m, 2),
        contest=contest,
        mark=mark,
        aim=best,
    )


def tell(found: NextAttempt) -> Told:
    """Say from which mark to run and where to aim, and why."""
    if found.contest is not None and not found.contest.attempts_left:
        return Told(text=_("All attempts of this competition are taken."))
    of_mark = mark_advice.tell(found.mark)
    of_aim = None if found.aim is None else aim.tell(found.aim)
    reasons, changes = list(of_mark.reasons), list(of_mark.would_change)
    if of_aim is not None:
        reasons += of_aim.reasons
        changes += of_aim.would_change
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


def _why(found: NextAttempt, of_mark: Told, of_aim: Told | None) -> list[str]:
    why = []
    advice = found.mark.advice
    if isinstance(advice, NotEnoughAttempts):
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
    if found.aim_moves_m > 0:
        why.append(
            _(
                "{size} of that mark are for safety: with {attempts} left, so is most to be won."
            ).format(
                size=words.centimetres(found.aim_moves_m),
                attempts=words.attempts(found.contest.attempts_left if found.contest else 0),
            )
        )
    elif found.aim_moves_m < 0:
        why.append(
            _("{size} nearer than planned: with {attempts} left, risk is worth it.").format(
                size=words.centimetres(found.aim_moves_m),
                attempts=words.attempts(found.contest.attempts_left if found.contest else 0),
            )
        )
    elif of_aim is not None and found.aim is not None and isinstance(found.aim.aim, AimAdvice):
        why.append(_("The planned aim is as good as any other now."))
    elif of_aim is not None:
        why.append(_("About the aim: {text}").format(text=of_aim.text))
    return why
