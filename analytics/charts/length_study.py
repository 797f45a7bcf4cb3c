"""Distance, or speed, against the number of steps; and what the next pair brings."""

from dataclasses import dataclass

import numpy as np
from django.utils.translation import gettext as _

from analytics.answers import words
from analytics.answers.length_study import Lengths
from analytics.answers.speed import mps
from analytics.answers.told import Told
from analytics.charts import basis
from analytics.charts.sheet import Entry, Sheet, label_ticks, marks, rule
from analytics.core import gate_speeds
from analytics.core.conventions import FloatArray
from analytics.core.length_study import LengthStudy
from analytics.selectors import LengthAttempts

# How attempts from one number of steps are laid beside each other; columns are steps apart.
MOST_COLUMNS, ATTEMPTS_OF_A_COLUMN, COLUMN_STEPS = 5, 8, 0.2


@dataclass(frozen=True, slots=True)
class _Curve:
    """The curve of a study and its attempts, as they would have been on one day."""

    steps: FloatArray
    values: FloatArray
    at: FloatArray
    curve: FloatArray
    gain_from: float


def draw(sheet: Sheet, attempts: LengthAttempts, found: Lengths, said: Told) -> None:
    """Draw the attempts, the curve through them, and the next pair of steps at the right."""
    is_distance = isinstance(found.distance, LengthStudy)
    study = found.distance if is_distance else found.speed
    title = _("Distance against the number of steps")
    if not isinstance(study, LengthStudy):
        sheet.words_only(title, said.text, caution=said.caution or "")
        return
    if not is_distance:
        title = _("Speed against the number of steps")
    colours = sheet.colours
    sheet.head(
        title, _headline(study, is_distance=is_distance), said=basis.said_and_cautioned(said)
    )
    sheet.foot(
        _(
            "Days differ: attempts are drawn as if all had been made on one. Upright line: 95% "
            "interval."
        ),
        _("From {attempts} in {sessions}, {days}.").format(
            attempts=words.attempts(study.n),
            sessions=words.sessions(study.n_sessions),
            days=basis.days(attempts.started_at, sheet),
        ),
        basis.short_caution(said),
    )
    sheet.key(
        Entry(_("one attempt"), colours.soft, mark="o", filled=False),
        Entry(_("curve"), colours.main, line="-"),
        Entry(_("next pair of steps"), colours.second, mark="D"),
    )
    shown = _curve(attempts, study, is_distance=is_distance)
    axes = sheet.panel(
        left=48,
        up=_("effective distance, m") if is_distance else _("speed from 6 to 1 m, m/s"),
        along=_("steps of the run-up"),
    )
    then = shown.gain_from + study.gain
    low, high = _limits(shown, then, study)
    axes.set_ylim(low, high)
    axes.set_xlim(study.fewest_steps - 1, max(study.most_steps, study.to_steps) + 1)
    rule(axes, sheet, label_ticks(axes, "y", low, high))
    counts = sorted({*shown.steps.astype(int).tolist(), study.to_steps})
    axes.set_xticks(counts, [words.number(each) for each in counts])
    axes.plot(
        shown.steps + _beside(shown),
        np.clip(shown.values, low, high),
        linestyle="none",
        **marks(sheet, "o", colours.soft, filled=False, size=4.5),
    )
    axes.plot(shown.at, shown.curve, color=colours.main, linewidth=2.2)
    axes.plot(
        [study.from_steps, study.to_steps],
        [shown.gain_from, then],
        color=colours.second,
        linewidth=1.8,
        linestyle="--",
    )
    ends = [shown.gain_from + each for each in (study.gain_interval.low, study.gain_interval.high)]
    axes.plot([study.to_steps] * 2, np.clip(ends, low, high), color=colours.second, linewidth=2.4)
    axes.plot(
        [study.to_steps],
        [float(np.clip(then, low, high))],
        linestyle="none",
        **marks(sheet, "D", colours.second, size=8),
    )


def _beside(shown: _Curve) -> FloatArray:
    """Return by how much each attempt is drawn beside its number of steps, to be seen among many.

    Neighbours in height stand beside each other; few attempts stand in one column.
    """
    beside = np.zeros(shown.steps.size)
    for steps in np.unique(shown.steps):
        those = np.flatnonzero(shown.steps == steps)
        columns = min(MOST_COLUMNS, 1 + those.size // ATTEMPTS_OF_A_COLUMN)
        place = np.empty(those.size)
        place[np.argsort(shown.values[those], kind="stable")] = np.arange(those.size) % columns
        beside[those] = COLUMN_STEPS * (place - (columns - 1) / 2)
    return beside


def _curve(attempts: LengthAttempts, study: LengthStudy, *, is_distance: bool) -> _Curve:
    """Return the curve that the core found, through the middle of the attempts.

    What it found is the bend and the gain from one number of steps to another; each session has a
    level of its own, and all are drawn at the mean of these.
    """
    values = (
        np.where(attempts.is_scored, attempts.official_m + attempts.board_toe_m, np.nan)
        if is_distance
        else gate_speeds.zone_speeds(attempts.gate_at_m, attempts.gate_time_s).speed_6_1_mps
    )
    known = ~np.isnan(values)
    steps, values = attempts.steps[known].astype(np.float64), values[known]
    slope = study.gain / (study.to_steps - study.from_steps) - study.curvature * (
        study.to_steps + study.from_steps
    )

    def shape(x: FloatArray) -> FloatArray:
        return slope * x + study.curvature * x**2

    left = values - shape(steps)
    levels = np.unique(attempts.session_labels[known], return_inverse=True)[1]
    own = np.bincount(levels, left) / np.bincount(levels)
    level = float(left.mean())
    at = np.linspace(study.fewest_steps, study.most_steps, 60)
    return _Curve(
        steps=steps,
        values=values - own[levels] + level,
        at=at,
        curve=shape(at) + level,
        gain_from=float(shape(np.array([float(study.from_steps)]))[0]) + level,
    )


def _limits(shown: _Curve, then: float, study: LengthStudy) -> tuple[float, float]:
    """Return the lowest and the highest value that are drawn; of an interval, what is near."""
    values = [*np.quantile(shown.values, [0.01, 0.99]), *shown.curve, then]
    reach = max(3 * study.residual_sd, 0.1)
    values.append(max(shown.gain_from + study.gain_interval.low, min(values) - reach))
    values.append(min(shown.gain_from + study.gain_interval.high, max(values) + reach))
    room = max(0.08 * (max(values) - min(values)), 0.05)
    return float(min(values) - room), float(max(values) + room)


def _headline(study: LengthStudy, *, is_distance: bool) -> str:
    size = _size(abs(study.gain), is_distance=is_distance)
    said = {
        "now": words.number(study.from_steps),
        "then": words.number(study.to_steps),
        "size": size,
    }
    if study.gain_interval.low <= 0 <= study.gain_interval.high:
        return _("From {now} to {then} steps no gain is shown.").format(**said)
    if study.gain > 0:
        return _("From {now} to {then} steps: {size} more.").format(**said)
    return _("From {now} to {then} steps: {size} less.").format(**said)


def _size(value: float, *, is_distance: bool) -> str:
    return words.centimetres(value) if is_distance else mps(value)
