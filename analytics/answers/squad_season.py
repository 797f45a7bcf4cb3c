"""What a season brought to a squad: each athlete in few figures, and what is usual among them.

Figures of few attempts are mostly chance. They are drawn toward the squad's, each with its range,
and nobody is ranked: athletes stand in the order of their codes.
"""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from datetime import date
from enum import StrEnum
from typing import Any
from uuid import UUID

import numpy as np
from django.utils.translation import gettext as _
from django.utils.translation import ngettext

from analytics.answers import told, words
from analytics.answers.season import AthleteSeason
from analytics.answers.season_run_up import RunUpSeason, Share
from analytics.answers.told import Reason, Told
from analytics.core import comparing, conventions, shrinkage
from analytics.core.comparing import BlockFigures
from analytics.core.conventions import DEFAULT_LEVEL, FloatArray, NotEnoughAttempts
from analytics.core.shrinkage import Shrunken


class Differs(StrEnum):
    """Whether an athlete's range lies wholly on one side of what is usual in the squad."""

    LOWER = "lower"
    HIGHER = "higher"
    NOT_SHOWN = "not_shown"


@dataclass(frozen=True, slots=True)
class Own:
    """What an athlete's own attempts say, before they are drawn anywhere."""

    n: int
    bias_m: float
    bias_low_m: float
    bias_high_m: float
    sd_m: float
    sd_low_m: float
    sd_high_m: float


@dataclass(frozen=True, slots=True)
class Drawn:
    """A figure after it was drawn toward the squad.

    `own_weight` is how much of the distance to the squad is left, from 0 to 1.
    """

    value: float
    low: float
    high: float
    own_weight: float
    differs: Differs


@dataclass(frozen=True, slots=True)
class Line:
    """An athlete's season in few figures, of the run-up with most jumps and pop-ups."""

    athlete: UUID
    athlete_code: str
    approach_code: str | None
    event: str | None
    steps: int | None
    n: int
    n_sessions: int
    n_competitions: int
    block: BlockFigures | NotEnoughAttempts
    on_board: Share | None
    no_jumps: Share | None
    spread_shown: str | None
    best_m: float | None
    grown_m: float | None
    most_in_session: int
    most_in_week: int


def line_of(found: AthleteSeason) -> Line:
    """Return an athlete's season in few figures."""
    main = max(
        found.run_ups,
        key=lambda each: (len(each.found.run_ups), each.found.approach.steps),
        default=None,
    )
    approach = None if main is None else main.found.approach
    bests = {each.event: each.official for each in found.bests}
    official = () if approach is None else bests.get(approach.event, ())
    change = None if main is None else main.change
    return Line(
        athlete=found.season.athlete.id,
        athlete_code=found.season.athlete.code,
        approach_code=None if approach is None else approach.code,
        event=None if approach is None else approach.event,
        steps=None if approach is None else approach.steps,
        n=0 if main is None else len(main.found.run_ups),
        n_sessions=0 if main is None else main.n_sessions,
        n_competitions=len({each.session for each in found.competitions}),
        block=_block(main),
        on_board=None if main is None else main.board.on_board,
        no_jumps=None if main is None else main.board.no_jumps,
        spread_shown=(
            None
            if change is None or isinstance(change, NotEnoughAttempts)
            else change.spread_shown.value
        ),
        best_m=official[-1].distance_m if official else None,
        grown_m=found.grown.grown_m,
        most_in_session=found.load.load.most_in_session,
        most_in_week=found.load.load.most_in_week,
    )


def _block(main: RunUpSeason | None) -> BlockFigures | NotEnoughAttempts:
    """Return bias and spread at the board over the whole season."""
    if main is None:
        return NotEnoughAttempts(n=0, needed=comparing.MIN_MEASURED)
    run_ups = main.found.run_ups
    return comparing.block_figures(
        run_ups.board_toe_m,
        run_ups.no_jump,
        aim_m=run_ups.aim_m,
        revision=run_ups.revisions,
        session=run_ups.session_labels,
    )


@dataclass(frozen=True, slots=True)
class Usual:
    """What is usual in the squad, and by how much athletes truly differ.

    `squad_sd` of spreads is that of their logarithm: 0.3 means that they differ by about 30 %.
    """

    n_athletes: int
    squad_value: float
    squad_sd: float


@dataclass(frozen=True, slots=True)
class SquadSeason:
    """The season of a squad; `own`, `bias` and `spread` have one for each line, or None."""

    lines: tuple[Line, ...]
    own: tuple[Own | None, ...]
    bias: tuple[Drawn | None, ...]
    spread: tuple[Drawn | None, ...]
    usual_bias: Usual | NotEnoughAttempts
    usual_spread: Usual | NotEnoughAttempts


def work_out(lines: Sequence[Line]) -> SquadSeason:
    """Return a squad's season, each athlete's bias and spread drawn toward the squad."""
    spreads, biases = _draw([each.block for each in lines])
    return SquadSeason(
        lines=tuple(lines),
        own=tuple(_own(each.block) for each in lines),
        bias=_each(biases, len(lines)),
        spread=_each(spreads, len(lines)),
        usual_bias=_usual(biases),
        usual_spread=_usual(spreads),
    )


def _draw(
    blocks: Sequence[BlockFigures | NotEnoughAttempts],
) -> tuple[Shrunken | NotEnoughAttempts, Shrunken | NotEnoughAttempts]:
    """Return spreads, then biases as sure as the drawn spreads make them.

    A spread that came out small by chance would hold a chance bias for certain.
    """
    known = [each if isinstance(each, BlockFigures) and each.sd_m > 0 else None for each in blocks]
    sd_m, df, bias_m, error_m = (
        _column(known, name) for name in ("sd_m", "df", "bias_m", "bias_standard_error_m")
    )
    spreads = shrinkage.shrink_sds(sd_m, df)
    if isinstance(spreads, NotEnoughAttempts):
        return spreads, spreads
    return spreads, shrinkage.shrink_means(bias_m, error_m * spreads.estimate / sd_m)


def _column(blocks: Sequence[BlockFigures | None], name: str) -> FloatArray:
    return np.array(
        [np.nan if each is None else getattr(each, name) for each in blocks], dtype=np.float64
    )


def _each(drawn: Shrunken | NotEnoughAttempts, n: int) -> tuple[Drawn | None, ...]:
    if isinstance(drawn, NotEnoughAttempts):
        return (None,) * n
    return tuple(
        None
        if np.isnan(drawn.estimate[place])
        else Drawn(
            value=float(drawn.estimate[place]),
            low=float(drawn.low[place]),
            high=float(drawn.high[place]),
            own_weight=float(drawn.own_weight[place]),
            differs=_differs(drawn, place),
        )
        for place in range(n)
    )


def _differs(drawn: Shrunken, place: int) -> Differs:
    if drawn.high[place] < drawn.squad_value:
        return Differs.LOWER
    return Differs.HIGHER if drawn.low[place] > drawn.squad_value else Differs.NOT_SHOWN


def _usual(drawn: Shrunken | NotEnoughAttempts) -> Usual | NotEnoughAttempts:
    if isinstance(drawn, NotEnoughAttempts):
        return drawn
    return Usual(drawn.n_athletes, drawn.squad_value, drawn.squad_sd)


def _own(block: BlockFigures | NotEnoughAttempts) -> Own | None:
    if isinstance(block, NotEnoughAttempts):
        return None
    bias = conventions.t_interval(
        estimate=block.bias_m,
        standard_error=block.bias_standard_error_m,
        df=block.bias_df,
        level=DEFAULT_LEVEL,
    )
    sd = conventions.sd_interval(sd=block.sd_m, df=block.df, level=DEFAULT_LEVEL)
    return Own(block.n, block.bias_m, bias.low, bias.high, block.sd_m, sd.low, sd.high)


def tell(stored: Mapping[str, Any]) -> Told:
    """Say a stored squad's season: what is usual, then one athlete after the other."""
    lines = stored["results"]
    first, last = (words.day(date.fromisoformat(stored[name])) for name in ("from_date", "to_date"))
    text = ngettext(
        "From {first} to {last}: {attempts} of {n} athlete.",
        "From {first} to {last}: {attempts} of {n} athletes.",
        len(lines),
    ).format(first=first, last=last, attempts=words.attempts(stored["n"]), n=len(lines))
    usual = stored["usual_spread_m"]
    order = _("Athletes stand in the order of their codes: no figure ranks them.")
    return Told(
        text=f"{text} {_usual_text(usual, stored['usual_bias_m'])} {order}",
        reasons=tuple(_reason(each) for each in lines),
        would_change=(
            _("A report on twenty athletes shows something of one of them by chance alone."),
            _(
                "A figure of few attempts is drawn toward the squad's, and moves away from it as "
                "attempts come."
            ),
        ),
        caution=told.caution(),
    )


def _usual_text(spread: Mapping[str, Any], bias: Mapping[str, Any]) -> str:
    if "needed" in spread:
        return _(
            "What is usual in the squad cannot be told: {n} of {needed} athletes with enough "
            "attempts measured at the board."
        ).format(n=spread["n"], needed=spread["needed"])
    return _(
        "Usual at the board is a spread of {spread} within a session, and to land {bias} on the "
        "mean, from {n} athletes."
    ).format(
        spread=words.centimetres(spread["squad_value"]),
        bias=words.error(bias["squad_value"]),
        n=spread["n_athletes"],
    )


def _reason(line: Mapping[str, Any]) -> Reason:
    own, drawn = line["own"], line["spread_m"]
    numbers = {
        "n": line["n"],
        "spread_m": None if drawn is None else drawn["value"],
        "own_spread_m": None if own is None else own["sd_m"],
        "own_weight": None if drawn is None else drawn["own_weight"],
    }
    return Reason(code="athlete", numbers=numbers, text=_line_text(line))


def _line_text(line: Mapping[str, Any]) -> str:
    own, drawn = line["own"], line["spread_m"]
    if own is None:
        return _("{athlete}: {attempts}, too few to tell a spread.").format(
            athlete=line["athlete_code"], attempts=words.attempts(line["n"])
        )
    values = {
        "athlete": line["athlete_code"],
        "attempts": words.attempts(line["n"]),
        "own": words.centimetres(own["sd_m"]),
    }
    if drawn is None:
        return _("{athlete}: {attempts}; the toe spreads by {own} ({low} to {high} cm).").format(
            **values, low=_whole_cm(own["sd_low_m"]), high=_whole_cm(own["sd_high_m"])
        )
    text = {
        Differs.LOWER.value: _(
            "{athlete}: {attempts}; the toe spreads by {drawn} ({low} to {high} cm), less than is "
            "usual; {own} by the own attempts alone."
        ),
        Differs.HIGHER.value: _(
            "{athlete}: {attempts}; the toe spreads by {drawn} ({low} to {high} cm), more than is "
            "usual; {own} by the own attempts alone."
        ),
        Differs.NOT_SHOWN.value: _(
            "{athlete}: {attempts}; the toe spreads by {drawn} ({low} to {high} cm), not shown to "
            "be other than usual; {own} by the own attempts alone."
        ),
    }[drawn["differs"]]
    return text.format(
        **values,
        drawn=words.centimetres(drawn["value"]),
        low=_whole_cm(drawn["low"]),
        high=_whole_cm(drawn["high"]),
    )


def _whole_cm(value_m: float) -> str:
    return words.number(100 * value_m)
