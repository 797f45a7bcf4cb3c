"""Which kinds of alerts there are, and the thresholds that they are judged by."""

from __future__ import annotations

import dataclasses
from collections.abc import Mapping
from dataclasses import dataclass
from enum import StrEnum
from types import MappingProxyType
from typing import cast

from analytics.core import comparing, rolling


class Kind(StrEnum):
    """What an alert is about."""

    LEVEL = "level"
    SPREAD = "spread"
    NO_JUMP_SHARE = "no_jump_share"
    PROGRESS = "progress"


@dataclass(frozen=True, slots=True)
class RuleSettings:
    """Thresholds of the rules; the defaults are the product's.

    Attributes
    ----------
    calm_sessions
        Session points inside half of the limit, one after the other, that close a level or a
        spread alert; likewise for the shares of the two other kinds.
    no_jump_share_limit
        Share of no jumps above which the whole interval must lie. About a third of elite
        long-jump attempts are no jumps (World Athletics statements: about 32 % over the years).
    no_jump_attempts
        Attempts in the window below which the share is not judged. Our choice.
    progress_probability
        How sure a lower spread must be, two sessions running, to be told as progress.
    progress_lost_probability
        Below this it counts toward closing. Our choice.
    progress_sessions
        Sessions running that must agree before progress is told.
    progress_block_attempts
        Attempts in each of the two neighbouring blocks that are compared. Our choice.
    """

    calm_sessions: int = 2
    no_jump_share_limit: float = 0.32
    no_jump_attempts: int = 10
    progress_probability: float = 0.95
    progress_lost_probability: float = 0.80
    progress_sessions: int = 2
    progress_block_attempts: int = 20

    def __post_init__(self) -> None:
        broken = find_broken_rules(dataclasses.asdict(self))
        if broken:
            raise ValueError("; ".join(f"{each.name}: {each.rule}" for each in broken))


@dataclass(frozen=True, slots=True)
class BrokenRule:
    """A threshold that cannot be, and the rule that it breaks."""

    name: str
    rule: str


COUNTS: Mapping[str, tuple[int, int]] = MappingProxyType(
    {
        "calm_sessions": (1, 20),
        # A window that is never long enough would be a rule that is off, and does not say so.
        "no_jump_attempts": (1, rolling.DEFAULT_WINDOW),
        "progress_sessions": (1, 20),
        "progress_block_attempts": (comparing.MIN_MEASURED, 100),
    }
)
"""Whole numbers, from and to. The upper ends of sessions and blocks are ours: what needs more than
that would be told a season late."""

SHARES = ("no_jump_share_limit", "progress_probability", "progress_lost_probability")
"""Shares and probabilities, above 0 and below 1."""

LEAST_PROGRESS_PROBABILITY = 0.5
"""What is not more likely than its opposite is no progress."""


def find_broken_rules(thresholds: Mapping[str, object]) -> list[BrokenRule]:
    """Return every rule that thresholds break, each with the name of the threshold.

    Parameters
    ----------
    thresholds
        Values by the names of `RuleSettings`, all of them.

    Returns
    -------
    list of BrokenRule
        Empty when `RuleSettings` takes them.

    Examples
    --------
    >>> thresholds = dataclasses.asdict(RULE_DEFAULTS) | {"no_jump_attempts": 21}
    >>> find_broken_rules(thresholds)
    [BrokenRule(name='no_jump_attempts', rule='a whole number from 1 to 20')]
    """
    broken = []
    for name, (least, most) in COUNTS.items():
        count = thresholds[name]
        if isinstance(count, bool) or not isinstance(count, int) or not least <= count <= most:
            broken.append(BrokenRule(name, f"a whole number from {least} to {most}"))
    for name in SHARES:
        share = thresholds[name]
        # The comparison is false for NaN, too.
        if isinstance(share, bool) or not isinstance(share, int | float) or not 0 < share < 1:
            broken.append(BrokenRule(name, "a number above 0 and below 1"))
    if not broken:
        sure, lost = (cast(float, thresholds[name]) for name in SHARES[1:])
        if sure <= LEAST_PROGRESS_PROBABILITY:
            broken.append(BrokenRule("progress_probability", f"above {LEAST_PROGRESS_PROBABILITY}"))
        if lost > sure:
            broken.append(
                BrokenRule("progress_lost_probability", "no more than progress_probability")
            )
    return broken


RULE_DEFAULTS = RuleSettings()
"""The one table of defaults."""

THRESHOLDS_OF_KIND: Mapping[Kind, tuple[str, ...]] = MappingProxyType(
    {
        Kind.LEVEL: ("calm_sessions",),
        Kind.SPREAD: ("calm_sessions",),
        Kind.NO_JUMP_SHARE: ("no_jump_share_limit", "no_jump_attempts", "calm_sessions"),
        Kind.PROGRESS: (
            "progress_probability",
            "progress_lost_probability",
            "progress_sessions",
            "progress_block_attempts",
            "calm_sessions",
        ),
    }
)
"""Which settings each kind of alert is judged by. The limits of the charts are no settings: they
follow from the false alarms that an athlete who has not changed may get."""
