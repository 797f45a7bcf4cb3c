"""What two blocks of so many attempts can show at all, before anything is read into them."""

from __future__ import annotations

import math
from collections.abc import Callable

from scipy import stats

DEFAULT_SURE = 0.95
DEFAULT_POWER = 0.80

_MOST_ATTEMPTS = 100_000


def attempts_to_show(
    *, change: float, sure: float = DEFAULT_SURE, power: float = DEFAULT_POWER
) -> int:
    """Return how many attempts each of two blocks needs to show that the spread fell.

    Parameters
    ----------
    change
        Share by which the SD is lower after, 0.20 for a fifth; inside (0, 1).
    sure
        Probability of a lower spread from which it counts as shown.
    power
        Chance that it is then shown.

    Returns
    -------
    int
        Attempts in each block, all measured, of one session. Each further session in a block (or
        plan revision, where sessions are not told apart) takes one more.

    Raises
    ------
    ValueError
        A share outside (0, 1), or a change so small that 100,000 attempts do not show it.

    Notes
    -----
    Smallest n with ``P(F < F(1 - sure) / (1 - change)^2) >= power``, F with n - 1 and n - 1
    degrees of freedom: the power of the one-sided F test.

    Examples
    --------
    >>> attempts_to_show(change=0.20), attempts_to_show(change=0.40)
    (127, 26)
    """
    _check_shares(change=change, sure=sure, power=power)
    n = _fewest(lambda n: power_to_show(change, df_before=n - 1, df_after=n - 1, sure=sure), power)
    if n is None:
        raise ValueError(f"a change of {change} would need more than {_MOST_ATTEMPTS} attempts")
    return n


def attempts_after_to_show(
    *,
    change: float,
    df_before: float,
    sure: float = DEFAULT_SURE,
    power: float = DEFAULT_POWER,
) -> int | None:
    """Return how many attempts a later block needs to show a fall below a block that is over.

    Parameters
    ----------
    change, sure, power
        As in `attempts_to_show`.
    df_before
        Degrees of freedom of the earlier block's SD, above 0.

    Returns
    -------
    int or None
        Attempts of one session, as in `attempts_to_show`; None where no number would do, since
        the earlier block itself says too little.

    Raises
    ------
    ValueError
        A share outside (0, 1), degrees of freedom that are not above 0.

    Examples
    --------
    >>> attempts_after_to_show(change=0.40, df_before=19)
    34
    >>> attempts_after_to_show(change=0.20, df_before=19) is None
    True
    """
    _check_shares(change=change, sure=sure, power=power)
    _check_df(df_before=df_before)
    return _fewest(
        lambda n: power_to_show(change, df_before=df_before, df_after=n - 1, sure=sure), power
    )


def power_to_show(
    change: float, *, df_before: float, df_after: float, sure: float = DEFAULT_SURE
) -> float:
    """Return the chance that two blocks show a fall of the spread that is true.

    Parameters
    ----------
    change
        Share by which the SD is lower after; from 0, no fall at all, to below 1.
    df_before, df_after
        Degrees of freedom of the SDs, as in `comparing.BlockFigures`.
    sure
        Probability of a lower spread from which it counts as shown.

    Returns
    -------
    float
        From 0 to 1; with no fall at all ``1 - sure``.

    Raises
    ------
    ValueError
        A change outside [0, 1), `sure` outside (0, 1), degrees of freedom that are not above 0.

    Notes
    -----
    ``P(F < F(1 - sure) / (1 - change)^2)``, F with the degrees of freedom after and before.

    Examples
    --------
    >>> round(power_to_show(0.20, df_before=19, df_after=19), 2)
    0.24
    >>> round(power_to_show(0.0, df_before=19, df_after=19), 2)
    0.05
    """
    _check_shares(sure=sure)
    _check_df(df_before=df_before, df_after=df_after)
    if not 0 <= change < 1:
        raise ValueError(f"change must lie from 0 to below 1, got {change}")
    limit = stats.f.ppf(1 - sure, df_after, df_before)
    return float(stats.f.cdf(limit / (1 - change) ** 2, df_after, df_before))


def change_to_show(
    *,
    df_before: float,
    df_after: float,
    sure: float = DEFAULT_SURE,
    power: float = DEFAULT_POWER,
) -> float:
    """Return how large a fall of the spread must be for two blocks to show it.

    Parameters
    ----------
    df_before, df_after, sure, power
        As in `power_to_show` and `attempts_to_show`.

    Returns
    -------
    float
        Share by which the SD must truly be lower after; 0 where `power` is no more than
        ``1 - sure``.

    Raises
    ------
    ValueError
        As in `power_to_show`.

    Notes
    -----
    ``1 - sqrt(F(1 - sure) / F(power))``, quantiles with the degrees of freedom after and before.

    Examples
    --------
    >>> round(change_to_show(df_before=19, df_after=19), 2)
    0.44
    """
    _check_shares(sure=sure, power=power)
    _check_df(df_before=df_before, df_after=df_after)
    shown = float(stats.f.ppf(1 - sure, df_after, df_before))
    usual = float(stats.f.ppf(power, df_after, df_before))
    return max(0.0, 1 - math.sqrt(shown / usual))


def _fewest(power_of: Callable[[int], float], power: float) -> int | None:
    """Return the fewest attempts, from 2, that reach the power; it grows with them."""
    if power_of(_MOST_ATTEMPTS) < power:
        return None
    low, high = 1, _MOST_ATTEMPTS
    while high - low > 1:
        middle = (low + high) // 2
        low, high = (low, middle) if power_of(middle) >= power else (middle, high)
    return high


def _check_shares(**shares: float) -> None:
    for name, share in shares.items():
        if not 0 < share < 1:
            raise ValueError(f"{name} must lie between 0 and 1, got {share}")


def _check_df(**figures: float) -> None:
    for name, figure in figures.items():
        if not 0 < figure < math.inf:
            raise ValueError(f"{name} must be finite and above 0, got {figure}")
