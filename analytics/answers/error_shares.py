"""Which part of the run-up makes the board error differ from one attempt to the next?"""

from dataclasses import dataclass, replace

import numpy as np
from django.utils.translation import gettext as _

from analytics.answers import told, words
from analytics.answers.parts import parts_of
from analytics.answers.told import Reason, Told
from analytics.core import error_shares
from analytics.core.conventions import NotEnoughAttempts
from analytics.core.error_shares import PARTS, ErrorShares
from analytics.selectors import RunUps

# As sure as that a part must come out to be named, as in the diagnosis.
SURE_OF_PART = 0.6
# Share of the unsteadiness at the board from which on a part is worth rehearsing; ours. What later
# steps repair is nothing to practise for.
WORTH_REHEARSING = 0.1
# Equal attempts give equal answers.
_SEED = 20


@dataclass(frozen=True, slots=True, eq=False)
class Shares:
    """The figures of the answer, and what the plan leaves open."""

    error_shares: ErrorShares | NotEnoughAttempts
    has_phases: bool
    is_planned: bool


def work_out(run_ups: RunUps) -> Shares:
    """Return what each part adds to the error at the board."""
    parts = parts_of(run_ups)
    found = error_shares.error_shares(
        parts.start_m,
        parts.transition_m,
        parts.attack_m,
        parts.board_m,
        planned=parts.planned,
        rng=np.random.default_rng(_SEED),
        revision=run_ups.revisions,
    )
    if not isinstance(found, NotEnoughAttempts) and not parts.is_planned:
        nothing = np.full(len(PARTS), np.nan)
        found = replace(found, mean_m=nothing, mean_low_m=nothing, mean_high_m=nothing)
    return Shares(found, has_phases=parts.has_phases, is_planned=parts.is_planned)


def part_name(part: str) -> str:
    """Return a part of the run-up as it is called in a sentence."""
    return {
        "start": _("the start"),
        "acceleration": _("the acceleration"),
        "transition": _("the transition"),
        "attack": _("the attack"),
    }[part]


def tell(answer: Shares) -> Told:
    """Say which part adds most spread, and how much of it reaches the board."""
    found = answer.error_shares
    if isinstance(found, NotEnoughAttempts):
        return told.not_enough(
            found,
            what=_("with the start, the first footfalls of transition and attack, and the toe"),
            would_change=_missing_in_plan(answer),
        )
    text, rehearse = _which_part(found)
    return Told(
        text=text,
        reasons=tuple(_reason(found, part) for part in range(len(PARTS))),
        would_change=(*_what_else(found), *_missing_in_plan(answer)),
        caution=told.caution() if rehearse else None,
    )


def _which_part(found: ErrorShares) -> tuple[str, bool]:
    """Return what there is to say, and whether it is to rehearse a part."""
    if np.isnan(found.board_share).any():
        return (
            _("The toe came down at the same place each time: there is no error to share out."),
            False,
        )
    most, at_board = found.adds_most, int(np.argmax(found.board_share))
    said = {
        "part": part_name(PARTS[most]),
        "added": words.centimetres(float(found.added_sd_m[most])),
        "share": words.percent(float(found.board_share[most])),
    }
    if found.adds_most_frequency[most] < SURE_OF_PART:
        text = _(
            "No part of the run-up stands out. Most spread, {added}, comes from {part}, but with "
            "other attempts it could be another part."
        )
        return text.format(**said), False
    if found.board_share[most] < WORTH_REHEARSING:
        text = _(
            "Most spread comes from {part}: {added}. But later steps repair most of it: of "
            "the unsteadiness that is left at the board, {share} comes from there, and {left} "
            "from {last_part}."
        )
        return (
            text.format(
                **said,
                left=words.percent(float(found.board_share[at_board])),
                last_part=part_name(PARTS[at_board]),
            ),
            False,
        )
    text = _(
        "Most spread comes from {part}: {added}. Later steps repair part of it; of the "
        "unsteadiness that is left at the board, {share} comes from there. If the toe spreads too "
        "much at the board, this is the part to rehearse."
    )
    return text.format(**said), True


def _what_else(found: ErrorShares) -> tuple[str, ...]:
    sure = float(found.adds_most_frequency[found.adds_most])
    if np.isnan(sure):
        return ()
    return (
        _(
            "A part is named when it adds most spread in at least {limit} of the draws from these "
            "attempts; {part} does in {sure}."
        ).format(
            limit=words.percent(SURE_OF_PART),
            part=part_name(PARTS[found.adds_most]),
            sure=words.percent(sure),
        ),
    )


def _reason(found: ErrorShares, part: int) -> Reason:
    share = float(found.board_share[part])
    return Reason(
        code=PARTS[part],
        numbers={
            "added_sd_m": float(found.added_sd_m[part]),
            "board_share": share,
            "board_share_low": float(found.board_share_low[part]),
            "board_share_high": float(found.board_share_high[part]),
            "adds_most_frequency": float(found.adds_most_frequency[part]),
        },
        text=_(
            "From {part} come {added} of spread, and {share} of all spread at the board."
        ).format(
            part=part_name(PARTS[part]),
            added=words.centimetres(float(found.added_sd_m[part])),
            share=_("an unknown share") if np.isnan(share) else words.percent(share),
        ),
    )


def _missing_in_plan(answer: Shares) -> tuple[str, ...]:
    if not answer.has_phases:
        return (_("A plan that says at which footfalls transition and attack begin."),)
    if not answer.is_planned:
        return (
            _("Planned footfalls: they show which part has its mark wrong, besides the spread."),
        )
    return ()
