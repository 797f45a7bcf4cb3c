"""Limits of the advice on the number of steps. Our judgement; settings of the club change them."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

PAIR_OF_STEPS = 2
"""Steps by which a run-up is lengthened or shortened: the take-off foot stays on its side."""

USUAL_STEPS = ((13.0, 12, 14), (16.0, 14, 16), (19.0, 16, 18), (np.inf, 18, 22))
"""Below which age, and how many steps are then usual in the long jump, from and to. Coaching
articles and handbooks: common practice, no evidence, and never a limit. In the triple jump usually
slightly fewer."""


@dataclass(frozen=True, slots=True)
class ReadySds:
    """Spread at the board with which one may be ready for more steps, metres. Ours.

    A young athlete lengthens a short run-up, with much growing still to do: less is asked.
    """

    senior_m: float = 0.10
    age_16_to_17_m: float = 0.12
    age_14_to_15_m: float = 0.14
    under_14_m: float = 0.16


@dataclass(frozen=True, slots=True)
class LengthSettings:
    """When an athlete is called ready for more steps. Ours.

    Attributes
    ----------
    ready_sds
        Largest spread at the board, by age.
    sure
        Probability at which something counts as shown, and less `sure` as shown not to be.
    far_too_wide
        Times the ready SD: beyond it fewer steps are advised.
    most_no_jumps
        Largest predicted share of no jumps.
    lost_mps
        Largest loss of speed into the board, from 11-6 m to 6-1 m.
    least_pattern_share
        Share of attempts in which the pattern of the last three steps is to be held.
    attempts, sessions
        That are needed.
    latest_attempts
        So many of the latest are looked at: older ones are of another athlete.
    """

    ready_sds: ReadySds = ReadySds()
    sure: float = 0.8
    far_too_wide: float = 1.5
    most_no_jumps: float = 0.30
    lost_mps: float = 0.3
    least_pattern_share: float = 2 / 3
    attempts: int = 15
    sessions: int = 3
    latest_attempts: int = 40


DEFAULT_SETTINGS = LengthSettings()

STEADY_SHARE = 0.8
"""Share of the ready SD for which the power is told: an athlete who is ready, not by a hair."""

CHANCES_IF_STEADY = {15: 0.45, 20: 0.51, 30: 0.72, 40: 0.78}
"""How often one look at so many attempts, in sessions of five that differ by 0.3 of the spread
within them, shows a spread of `STEADY_SHARE` of the limit to be below it (measured:
docs/metrics/decisions.md)."""


def ready_sd_m(age_years: float | None, *, settings: LengthSettings = DEFAULT_SETTINGS) -> float:
    """Return the spread at the board with which an athlete of an age may be ready for more steps.

    Parameters
    ----------
    age_years
        None where it is not known: then the strictest holds.
    settings
        Of the club.

    Raises
    ------
    ValueError
        An age that is not positive and finite.

    Examples
    --------
    >>> ready_sd_m(13.9), ready_sd_m(14), ready_sd_m(17.9), ready_sd_m(18), ready_sd_m(None)
    (0.16, 0.14, 0.12, 0.1, 0.1)
    """
    sds = settings.ready_sds
    if age_years is None:
        return min(sds.senior_m, sds.age_16_to_17_m, sds.age_14_to_15_m, sds.under_14_m)
    _check_age(age_years)
    if age_years < 14:
        return sds.under_14_m
    if age_years < 16:
        return sds.age_14_to_15_m
    if age_years < 18:
        return sds.age_16_to_17_m
    return sds.senior_m


def usual_steps(age_years: float) -> tuple[int, int]:
    """Return how many steps are usual at an age, from and to: guidance, never a limit.

    Parameters
    ----------
    age_years
        Of the athlete.

    Raises
    ------
    ValueError
        An age that is not positive and finite.

    Examples
    --------
    >>> usual_steps(12.5), usual_steps(15), usual_steps(18.5), usual_steps(24)
    ((12, 14), (14, 16), (16, 18), (18, 22))
    """
    _check_age(age_years)
    return next((low, high) for below, low, high in USUAL_STEPS if age_years < below)


def chance_if_steady(n: int, *, settings: LengthSettings = DEFAULT_SETTINGS) -> float | None:
    """Return how often one look shows the spread of a steady athlete to be small enough.

    Parameters
    ----------
    n
        Attempts that are looked at.
    settings
        Of the club.

    Returns
    -------
    float or None
        Between the numbers of attempts that were measured by a straight line, and for more than
        those as for the most of them; None for fewer, and where "shown" does not mean P >= 0.8.

    Examples
    --------
    >>> chance_if_steady(15), chance_if_steady(10)
    (0.45, None)
    """
    if n < min(CHANCES_IF_STEADY) or settings.sure != DEFAULT_SETTINGS.sure:
        return None
    return float(np.interp(n, [*CHANCES_IF_STEADY], [*CHANCES_IF_STEADY.values()]))


def _check_age(age_years: float) -> None:
    if not 0 < age_years < np.inf:
        raise ValueError(f"age_years must be positive and finite, got {age_years}")
