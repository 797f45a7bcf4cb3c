"""What did more steps bring so far, in speed and in distance, and what would a pair more bring?"""

from collections.abc import Callable
from dataclasses import dataclass

import numpy as np
from django.utils.translation import gettext as _

from analytics.answers import told, words
from analytics.answers.speed import mps
from analytics.answers.told import Reason, Told
from analytics.core import expected_gain, gate_speeds, length_study, sprint_profile
from analytics.core.conventions import FloatArray, NotEnoughAttempts
from analytics.core.expected_gain import ExpectedGain
from analytics.core.length_study import LengthStudy, NotEnoughStepCounts, Peak
from analytics.core.sprint_profile import Correction, SprintProfile
from analytics.selectors import LengthAttempts

Study = LengthStudy | NotEnoughStepCounts | NotEnoughAttempts

# Splits from which on what started the clock can be fitted besides.
_SPLITS_FOR_CORRECTION = 5


@dataclass(frozen=True, slots=True)
class AtLength:
    """What was reached from one number of steps.

    Attributes
    ----------
    n
        Attempts.
    mean_speed_mps, mean_effective_m
        Over those of which it is known; None where it is of none.
    """

    steps: int
    n: int
    mean_speed_mps: float | None
    mean_effective_m: float | None


@dataclass(frozen=True, slots=True, eq=False)
class Lengths:
    """The figures of the answer.

    Attributes
    ----------
    by_steps
        The fewest steps first.
    speed, distance
        Of the speed from 6 to 1 m, and of the effective distance.
    expected
        By the athlete's sprint alone, before anything was tried; None without a sprint test.
    """

    steps_now: int
    by_steps: tuple[AtLength, ...]
    speed: Study
    distance: Study
    expected: ExpectedGain | None


def work_out(attempts: LengthAttempts) -> Lengths:
    """Return what the numbers of steps that were jumped from brought."""
    zones = gate_speeds.zone_speeds(attempts.gate_at_m, attempts.gate_time_s)
    speed = zones.speed_6_1_mps
    effective = np.where(attempts.is_scored, attempts.official_m + attempts.board_toe_m, np.nan)
    return Lengths(
        steps_now=attempts.steps_now,
        by_steps=tuple(
            AtLength(
                steps=int(steps),
                n=int(np.count_nonzero(those := attempts.steps == steps)),
                mean_speed_mps=_mean(speed[those]),
                mean_effective_m=_mean(effective[those]),
            )
            for steps in np.unique(attempts.steps)
        ),
        speed=_study(attempts, speed),
        distance=_study(attempts, effective),
        expected=_expected(attempts),
    )


def _mean(values: FloatArray) -> float | None:
    known = values[~np.isnan(values)]
    return float(known.mean()) if known.size else None


def _study(attempts: LengthAttempts, values: FloatArray) -> Study:
    tried = attempts.steps[~np.isnan(values)]
    now = attempts.steps_now
    within = tried.size > 0 and tried.min() <= now <= tried.max()
    return length_study.study_length(
        attempts.steps,
        values,
        session=attempts.session_labels,
        steps_now=now if within else None,
    )


def _expected(attempts: LengthAttempts) -> ExpectedGain | None:
    if attempts.run_m is None or attempts.run_m <= 0:
        return None
    for start, at_m, time_s in attempts.sprints:
        profile = profile_of(start, at_m, time_s)
        if profile is not None:
            return expected_gain.expect_gain(
                top_speed_mps=profile.top_speed_mps,
                rise_time_s=profile.rise_time_s,
                run_m=attempts.run_m,
            )
    return None


def profile_of(
    start: str, at_m: tuple[float, ...], time_s: tuple[float, ...]
) -> SprintProfile | None:
    """Return the curve of a stored sprint, or None where its splits do not tell it.

    A clock that a signal started is behind the first movement by a reaction, one that a gate
    started by the way to the gate; a flying sprint says nothing of the start.
    """
    if start == "flying":
        return None
    at, time = np.array(at_m), np.array(time_s)
    after_start = (at > 0) & (time > 0)
    at, time = at[after_start], time[after_start]
    correction = Correction.NONE
    if at.size >= _SPLITS_FOR_CORRECTION:
        correction = Correction.TIME_SHIFT if start == "block" else Correction.FLYING_DISTANCE
    found = sprint_profile.fit_profile(at, time, correction=correction)
    return found if isinstance(found, SprintProfile) else None


def tell(found: Lengths) -> Told:
    """Say what a pair of steps more brings."""
    sentences = [
        *_said(found.distance, _distance_gain),
        *_said(found.speed, _speed_gain),
    ]
    if not sentences:
        return _not_yet(found)
    accuracy = _("Whether the board is met from there is another question: see the length advice.")
    return Told(
        text=" ".join([*sentences, *_expected_said(found), accuracy]),
        reasons=tuple(_reasons(found)),
        would_change=(
            _("Jumps from other numbers of steps in the same session: days differ by themselves."),
        ),
        caution=told.caution(),
    )


def _said(study: Study, tell_gain: Callable[[LengthStudy], str]) -> list[str]:
    return [tell_gain(study)] if isinstance(study, LengthStudy) else []


def _distance_gain(study: LengthStudy) -> str:
    return " ".join(
        [
            _(
                "From {now} to {then} the jump goes {size}, by the curve through {attempts} from "
                "{numbers} numbers of steps: between {low} and {high}."
            ).format(
                now=words.number(study.from_steps),
                then=words.steps(study.to_steps),
                size=_farther(study.gain),
                attempts=words.attempts(study.n),
                numbers=words.number(study.n_step_counts),
                low=_farther(study.gain_interval.low),
                high=_farther(study.gain_interval.high),
            ),
            _peak(study),
        ]
    )


def _farther(metres_: float) -> str:
    size = words.centimetres(metres_)
    return (_("{size} less far") if metres_ < 0 else _("{size} farther")).format(size=size)


def _length(metres_: float) -> str:
    if metres_ < 0:
        return _("{size} less").format(size=words.centimetres(metres_))
    return words.centimetres(metres_)


def _speed_gain(study: LengthStudy) -> str:
    return _("Speed into the board is {size}: between {low} and {high}.").format(
        size=_faster(study.gain),
        low=_faster(study.gain_interval.low),
        high=_faster(study.gain_interval.high),
    )


def _faster(value_mps: float) -> str:
    size = mps(abs(value_mps))
    return (_("{size} lower") if value_mps < 0 else _("{size} higher")).format(size=size)


def _peak(study: LengthStudy) -> str:
    if study.peak is Peak.SHOWN and study.peak_steps is not None:
        return _("Best so far are about {steps}.").format(
            steps=words.steps(round(study.peak_steps))
        )
    if study.peak is Peak.BEYOND_TRIED:
        return _("The best number of steps lies beyond those that were tried.")
    return _("A best number of steps is not shown.")


def _expected_said(found: Lengths) -> list[str]:
    expected = found.expected
    if expected is None:
        return []
    return [
        _(
            "By the sprint alone a pair of steps more would bring {speed} and about {distance} "
            "(between {low} and {high}), the board met as well as now."
        ).format(
            speed=mps(expected.speed_gain_mps),
            distance=words.centimetres(expected.distance_gain_m),
            low=_length(expected.distance_gain_interval.low),
            high=_length(expected.distance_gain_interval.high),
        )
    ]


def _not_yet(found: Lengths) -> Told:
    lacking = found.distance
    would_change = (
        _("Jumps from four numbers of steps or more, such as 8, 10, 12 and 14, in one session."),
    )
    if isinstance(lacking, NotEnoughAttempts):
        said = told.not_enough(
            lacking,
            what=_("with an official distance and a measured toe"),
            would_change=would_change,
        )
        text, more = said.text, said.more_attempts_needed
    elif isinstance(lacking, NotEnoughStepCounts):
        missing = lacking.needed - lacking.n
        text, more = (
            _(
                "Not enough numbers of steps yet: {n} of {needed} can be compared with one another."
            ).format(n=words.number(lacking.n), needed=words.number(lacking.needed)),
            missing,  # one jump from each that is missing is the least
        )
    else:
        raise TypeError("there is a study of the distance")
    return Told(
        text=" ".join([text, *_expected_said(found)]),
        reasons=tuple(_reasons(found)),
        would_change=would_change,
        caution=told.caution(),
        more_attempts_needed=more,
    )


def _reasons(found: Lengths) -> list[Reason]:
    reasons = []
    for code, study in (("distance", found.distance), ("speed", found.speed)):
        if not isinstance(study, LengthStudy):
            continue
        reasons.append(
            Reason(
                code=code,
                numbers={
                    "n": study.n,
                    "n_sessions": study.n_sessions,
                    "gain": study.gain,
                    "low": study.gain_interval.low,
                    "high": study.gain_interval.high,
                    "probability_gain": study.probability_gain,
                },
                text=(
                    _("That the jump grows at all by a pair more has a chance of {chance}{beyond}.")
                    if code == "distance"
                    else _("That speed grows at all by it has a chance of {chance}{beyond}.")
                ).format(
                    chance=words.percent(study.probability_gain),
                    beyond=_(", drawn on beyond what was tried") if study.beyond_tried else "",
                ),
            )
        )
    return reasons
