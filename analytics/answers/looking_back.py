"""What came after an advice that was decided on, and how often advice was right."""

from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from typing import Any
from uuid import UUID

import numpy as np
from django.utils.translation import gettext as _
from django.utils.translation import ngettext

from analytics.answers import words
from analytics.core import after_advice, comparing
from analytics.core.after_advice import MARK_STANDS_M, Look, MarkAfter, Verdict
from analytics.core.comparing import BlockFigures
from analytics.core.conventions import BoolArray, NotEnoughAttempts
from analytics.core.diagnosis import Trouble
from analytics.core.length_advice import LengthAnswer
from analytics.models import Advice, AdviceDecision, AdviceKind
from analytics.selectors import Landings

MOST_ATTEMPTS = 20
"""Attempts of each side that are compared, those nearest to the advice; ours."""

# What was advised of the start mark and can be looked at afterwards; the other answers claim
# nothing that attempts could show.
TO_CHECK = frozenset({"move", "keep"})
# Of what to practise: whether the toe spreads less can be seen. Of a wrong mark the advice on the
# mark is asked; growth, tiredness, wind and the aim leave no trace that is theirs alone.
SPREADS = frozenset({Trouble.UNSTEADY_PART.value, Trouble.LATE_STEERING.value})


@dataclass(frozen=True, slots=True)
class Afterwards:
    """What was measured before an advice and after the decision.

    Attributes
    ----------
    look
        What follows from both.
    footfall
        Where the errors are from: 0 the board, else the check mark's footfall.
    moved_m
        By how much the start mark of the later attempts differs from the one the advice began with,
        negative toward the pit; None where nobody knows, or before the first of them.
    before, after
        Up to `MOST_ATTEMPTS` attempts of each side with one start mark.
    """

    look: Look
    kind: str
    footfall: int
    moved_m: float | None
    before: BlockFigures | NotEnoughAttempts
    after: BlockFigures | NotEnoughAttempts


def look_back(advice: Advice, landings: Landings) -> Afterwards | None:
    """Return what came after an advice; None for one that claims nothing to be checked."""
    if advice.kind == AdviceKind.PRACTICE:
        return _after_practice(advice, landings)
    if advice.kind == AdviceKind.LENGTH:
        return _after_length(advice, landings)
    if advice.answer not in TO_CHECK:
        return None
    given = advice.figures
    began_m = given["began_m"]
    earlier, later = _sides(advice, landings)
    before = _nearest(earlier & _stands(landings, began_m), last=True)
    later_marks = landings.start_mark_m[later]
    mark_m = float(later_marks[0]) if later_marks.size else np.nan
    # Where nobody knows the mark, it is at least the same that nobody knows.
    same_mark = np.isnan(landings.start_mark_m) if np.isnan(mark_m) else _stands(landings, mark_m)
    after = _nearest(later & same_mark, last=False)
    footfall, at_m = given["footfall"], given["at_m"]
    sides = [_block(landings, chosen, footfall, at_m) for chosen in (before, after)]
    moved_m = mark_m - began_m
    return Afterwards(
        look=after_advice.look_back(
            *sides, move_m=given["move_m"], moved_m=moved_m, limit_m=given["limit_m"]
        ),
        kind=advice.kind,
        footfall=footfall,
        moved_m=None if np.isnan(moved_m) else round(moved_m, 3),
        before=sides[0],
        after=sides[1],
    )


def _sides(advice: Advice, landings: Landings) -> tuple[BoolArray, BoolArray]:
    """Return which attempts the advice may rest on, and which started after the decision."""
    earlier = np.array(
        [
            (started_at, id_) <= (advice.through_started_at, advice.through_attempt_id)
            for started_at, id_ in zip(landings.started_at, landings.ids, strict=True)
        ],
        dtype=np.bool_,
    )
    later = np.array([each > advice.decided_at for each in landings.started_at], dtype=np.bool_)
    return earlier, later


def _at_board(advice: Advice, landings: Landings) -> list[BlockFigures | NotEnoughAttempts]:
    earlier, later = _sides(advice, landings)
    return [
        _block(landings, _nearest(chosen, last=last), 0, None)
        for chosen, last in ((earlier, True), (later, False))
    ]


def _after_practice(advice: Advice, landings: Landings) -> Afterwards | None:
    """Return whether the toe spreads less; None where it was not to, or nobody followed."""
    if advice.answer not in SPREADS or advice.decision != AdviceDecision.FOLLOWED:
        return None
    before, after = _at_board(advice, landings)
    look = after_advice.look_back_on_practice(before, after)
    return Afterwards(look, advice.kind, footfall=0, moved_m=None, before=before, after=after)


def _after_length(advice: Advice, landings: Landings) -> Afterwards | None:
    """Return whether the steadiness held that "ready" rests on; None for other answers."""
    if advice.answer != LengthAnswer.READY.value:
        return None
    before, after = _at_board(advice, landings)
    look = after_advice.look_back_on_readiness(after, limit_m=advice.figures["ready_sd_m"])
    return Afterwards(look, advice.kind, footfall=0, moved_m=None, before=before, after=after)


def _stands(landings: Landings, mark_m: float) -> BoolArray:
    # Marks are to the centimetre: a hair of slack for their last digit.
    stands: BoolArray = np.abs(landings.start_mark_m - mark_m) <= MARK_STANDS_M + 1e-9
    return stands


def _nearest(chosen: BoolArray, *, last: bool) -> Sequence[int]:
    places = np.flatnonzero(chosen)
    kept = places[-MOST_ATTEMPTS:] if last else places[:MOST_ATTEMPTS]
    return [int(each) for each in kept]


def _block(
    landings: Landings, chosen: Sequence[int], footfall: int, at_m: float | None
) -> BlockFigures | NotEnoughAttempts:
    toe_m = landings.toe_m[chosen, footfall]
    numbers: dict[UUID, int] = {}
    sessions = [numbers.setdefault(landings.session_ids[each], len(numbers)) for each in chosen]
    return comparing.block_figures(
        toe_m,
        # Of a no jump that nobody measured only the toe is known to be beyond the line.
        landings.no_jump[chosen] if footfall == 0 else np.zeros(toe_m.size, dtype=np.bool_),
        aim_m=landings.aim_m[chosen] if at_m is None else at_m,
        session=sessions,
    )


def tell_of(found: Afterwards) -> str:
    """Say in a few sentences what came after an advice."""
    look = found.look
    if look.verdict is Verdict.NOT_ENOUGH:
        return _not_enough(found)
    if found.kind != AdviceKind.MARK:
        return f"{_spread_since(found)} {_verdict_on_spread(look)}"
    if look.mark is MarkAfter.OTHERWISE:
        return _(
            "The start mark was moved otherwise than advised: these attempts say nothing about "
            "the advice."
        )
    if look.mark is MarkAfter.UNKNOWN:
        return _("Nobody said where these runs began: they say nothing about the advice.")
    return f"{_landed(found)} {_verdict(look)}"


def _spread_since(found: Afterwards) -> str:
    before, after = found.before, found.after
    assert isinstance(after, BlockFigures)  # noqa: S101  # else there is no verdict
    now = words.centimetres(after.sd_m)
    if found.look.sd_after_interval is None and isinstance(before, BlockFigures):
        return _(
            "Before, from {n_before}, the toe spread by {before} at the board; since then, from "
            "{n_after}, by {after}."
        ).format(
            n_before=words.attempts(before.n),
            before=words.centimetres(before.sd_m),
            n_after=words.attempts(after.n),
            after=now,
        )
    return _(
        "Since then, from {n}, the toe of this run-up spreads by {spread} at the board."
    ).format(n=words.attempts(after.n), spread=now)


def _verdict_on_spread(look: Look) -> str:
    if look.verdict is Verdict.NOT_SHOWN:
        return _("That does not show yet whether the advice was right.")
    if look.sd_after_interval is None:
        if look.verdict is Verdict.RIGHT:
            return _("It is steadier: the advice was right, as far as attempts can say.")
        return _("It is less steady: the advice did not help.")
    if look.verdict is Verdict.RIGHT:
        return _("That is steady enough for more steps: the advice was right.")
    return _("That is not steady enough for more steps: the advice was wrong.")


def _not_enough(found: Afterwards) -> str:
    if isinstance(found.after, NotEnoughAttempts):
        return _("Not enough attempts since then: {n} of {needed} measured {where}.").format(
            n=found.after.n, needed=found.after.needed, where=_where(found)
        )
    assert isinstance(found.before, NotEnoughAttempts)  # noqa: S101  # one of both says too little
    return _(
        "Not enough attempts before it to compare with: {n} of {needed} measured {where}."
    ).format(n=found.before.n, needed=found.before.needed, where=_where(found))


def _where(found: Afterwards) -> str:
    return _("at the board") if found.footfall == 0 else _("at the check mark")


def _landed(found: Afterwards) -> str:
    after = found.after
    assert isinstance(after, BlockFigures)  # noqa: S101  # else there is no verdict
    if found.look.mark is MarkAfter.AS_ADVISED and isinstance(found.before, BlockFigures):
        return _(
            "The start mark was moved. Before, from {n_before}, the foot landed {before} {where} "
            "on the mean; since then, from {n_after}, {after}."
        ).format(
            n_before=words.attempts(found.before.n),
            before=words.error(found.before.bias_m),
            where=_where(found),
            n_after=words.attempts(after.n),
            after=words.error(after.bias_m),
        )
    return _(
        "The start mark was left where it was. Since then, from {n}, the foot lands {error} "
        "{where} on the mean."
    ).format(n=words.attempts(after.n), error=words.error(after.bias_m), where=_where(found))


def _verdict(look: Look) -> str:
    if look.verdict is Verdict.NOT_SHOWN:
        return _("That does not show yet whether the advice was right.")
    if look.mark is MarkAfter.AS_ADVISED:
        if look.verdict is Verdict.RIGHT:
            return _("It went the advised way: the advice was right.")
        return _("It came no nearer: the advice was wrong.")
    if look.verdict is Verdict.RIGHT:
        return _("That is as the advice said: it was right.")
    return _("That is not what the advice said: it was wrong.")


@dataclass(frozen=True, slots=True)
class Tally:
    """How often advice of one kind was right, by what was decided."""

    kind: str
    decision: str
    n: int
    right: int = 0
    wrong: int = 0
    not_shown: int = 0
    not_tried: int = 0
    not_enough: int = 0
    nothing_to_check: int = 0


def count_up(looked: Iterable[tuple[Advice, Afterwards | None]]) -> list[Tally]:
    """Return how often advice was right.

    Of one answer under one plan revision the latest decision counts alone: the same advice, asked
    for again and again, rests on nearly the same attempts.
    """
    latest: dict[tuple[Any, ...], tuple[Advice, Afterwards | None]] = {}
    for advice, found in sorted(looked, key=lambda each: each[0].decided_at):
        latest[advice.kind, advice.finish_class, advice.plan_id, advice.answer] = (advice, found)
    counts: dict[tuple[str, str], dict[str, int]] = {}
    for advice, found in latest.values():
        of_decision = counts.setdefault((advice.kind, advice.decision), {})
        name = "nothing_to_check" if found is None else found.look.verdict.value
        of_decision[name] = of_decision.get(name, 0) + 1
    return [
        Tally(kind=kind, decision=decision, n=sum(found.values()), **found)
        for (kind, decision), found in sorted(counts.items())
    ]


def tell_tallies(tallies: Sequence[Tally]) -> str:
    """Say how often advice was right, as far as attempts have shown it."""
    right, wrong = (sum(getattr(each, name) for each in tallies) for name in ("right", "wrong"))
    n = sum(each.n for each in tallies)
    if n == 0:
        return _("No advice was decided on yet.")
    decided = ngettext("{n} decision about advice.", "{n} decisions about advice.", n).format(n=n)
    if right + wrong == 0:
        return f"{decided} " + _("The attempts since then do not show yet whether it was right.")
    shown = ngettext(
        "Of {shown} that the attempts since then have shown, {right} was right and {wrong} wrong.",
        "Of {shown} that the attempts since then have shown, {right} were right and {wrong} wrong.",
        right,
    ).format(shown=right + wrong, right=right, wrong=wrong)
    return f"{decided} {shown}"
