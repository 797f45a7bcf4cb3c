"""The latest figures of a series as people read them."""

from dataclasses import dataclass

from analytics.core.rolling import DEFAULT_MIN_VALID
from analytics.selectors import SeriesSummary

NOT_ENOUGH = f"needs {DEFAULT_MIN_VALID} measured"


@dataclass(frozen=True, slots=True)
class InWords:
    """The figures after the last computed attempt of a series.

    Attributes
    ----------
    bias, spread
        With their intervals; `NOT_ENOUGH` where they are not known.
    no_jumps, n
        Of how many attempts; "" before the first.
    """

    summary: SeriesSummary
    name: str
    bias: str
    spread: str
    no_jumps: str
    n: str


def in_words(summary: SeriesSummary) -> InWords:
    """Return the figures of one series as people read them."""
    point = summary.point
    return InWords(
        summary=summary,
        name=str(summary.finish_class.label),
        bias=NOT_ENOUGH
        if point is None
        else _centimetres(point.bias_m, point.bias_low_m, point.bias_high_m, sign="+"),
        spread=NOT_ENOUGH
        if point is None
        else _centimetres(point.spread_m, point.spread_low_m, point.spread_high_m, sign="-"),
        no_jumps="" if point is None else f"{point.n_no_jumps} of {point.n}",
        n="" if point is None else f"{point.n_measured} of {point.n}",
    )


def _centimetres(
    value_m: float | None, low_m: float | None, high_m: float | None, *, sign: str
) -> str:
    """Return a figure with its interval; `sign` is + where the direction matters, else -."""
    if value_m is None:
        return NOT_ENOUGH
    value = f"{100 * value_m:{sign}.1f} cm"
    if low_m is None or high_m is None:
        return _true_minus(value)
    return _true_minus(f"{value} ({100 * low_m:{sign}.1f} to {100 * high_m:{sign}.1f})")


def _true_minus(text: str) -> str:
    return text.replace("-", "−")
