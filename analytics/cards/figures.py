"""The latest figures of a series as people read them."""

from dataclasses import dataclass

from analytics.core.rolling import DEFAULT_MIN_VALID
from analytics.models import SeriesState
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
    with_unmeasured
        Both again where no jumps were not measured, which bias and spread leave out: those lie
        beyond the line, so the figures above look better than the attempts were. "" otherwise.
    """

    summary: SeriesSummary
    name: str
    bias: str
    spread: str
    no_jumps: str
    n: str
    with_unmeasured: str


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
        with_unmeasured=_with_unmeasured(summary.state),
    )


def _with_unmeasured(state: SeriesState | None) -> str:
    figures = {} if state is None else state.figures
    fit = figures.get("censored", {})
    n = fit.get("n_unmeasured_no_jumps", 0)
    if not n:
        return ""
    aim_m = figures["window"]["aim_m"]
    mean, spread = fit["mean_interval"], fit["sd_interval"]
    bias = _centimetres(
        fit["mean_m"] - aim_m, _less(mean["low"], aim_m), _less(mean["high"], aim_m), sign="+"
    )
    spread = _centimetres(fit["adjusted_sd_m"], spread["low"], spread["high"], sign="-")
    whose = "1 no jump that was" if n == 1 else f"{n} no jumps that were"
    return f"Counting the {whose} not measured: bias {bias}, spread {spread}."


def _less(value_m: float | None, aim_m: float) -> float | None:
    return None if value_m is None else value_m - aim_m


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
