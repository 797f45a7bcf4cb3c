"""How an athlete runs by nature: from a sprint, else from age and height; and from attempts."""

from dataclasses import dataclass, replace
from datetime import date
from enum import StrEnum
from uuid import UUID

import numpy as np

from analytics.answers.length_study import profile_of
from analytics.core import run_up_learning, run_up_model, usual_sprints
from analytics.core.conventions import Interval, NotEnoughAttempts
from analytics.core.run_up_learning import (
    FARTHEST_START_M,
    Attempts,
    Learned,
    TooFarFromModelError,
)
from analytics.core.run_up_model import Footfalls, ModelDoubt, StepFrequency
from analytics.core.run_up_pace import Sprint
from analytics.core.sprint_profile import SprintProfile
from analytics.selectors import Jumper, RunUps

# Slower, quicker or lazier than any jumper: then it is another unit, or no sprint. Ours.
SPRINT_SPEEDS_MPS = (5.0, 13.0)
RISE_TIMES_S = (0.3, 3.0)

COUNTED_DOUBT = 0.02
"""SD of a step frequency that somebody counted, as a share; ours."""

BY_HEIGHT_DOUBT = 0.08
"""The same where height and speed say it: as good as the line of `usual_sprints.usual_step`."""

FARTHEST_SDS = 4.0
"""SDs of the model's start mark, beyond which marks that were used are another run-up's; ours."""

OLDEST_YEARS = 100.0


class Basis(StrEnum):
    """What the speed of the run-up is taken from."""

    GIVEN_SPRINT = "given_sprint"
    STORED_SPRINT = "stored_sprint"
    AGE_AND_HEIGHT = "age_and_height"


class Lack(StrEnum):
    """What is not known; a sprint can replace the others."""

    SPRINT = "sprint"
    AGE = "age"
    HEIGHT = "height"
    STEPS = "steps"


@dataclass(frozen=True, slots=True)
class GivenSprint:
    """A sprint that the question brings with it; how it began, metres and seconds."""

    start: str
    at_m: tuple[float, ...]
    time_s: tuple[float, ...]


@dataclass(frozen=True, slots=True)
class Given:
    """What the question says of the athlete: it goes before what is stored."""

    sprint: GivenSprint | None = None
    step_frequency_hz: float | None = None
    age_years: float | None = None
    height_m: float | None = None


NOTHING_GIVEN = Given()


@dataclass(frozen=True, slots=True)
class Nature:
    """How an athlete sprints and steps.

    Attributes
    ----------
    top_speed_interval
        None where age says it.
    sprint_test, sprint_date
        Of a stored sprint.
    splits
        Of the sprint; 0 without one.
    splits_unread
        The sprint of the question told no speed curve, and was left aside.
    """

    basis: Basis
    sprint: Sprint
    frequency: StepFrequency
    doubt: ModelDoubt
    top_speed_interval: Interval | None = None
    sprint_test: UUID | None = None
    sprint_date: date | None = None
    splits: int = 0
    splits_unread: bool = False


@dataclass(frozen=True, slots=True)
class Unknown:
    """What would be needed; `splits_unread` as in `Nature`."""

    lacking: tuple[Lack, ...]
    splits_unread: bool = False


def nature_of(jumper: Jumper | None, given: Given) -> Nature | Unknown:
    """Return how an athlete runs, by the best that is known.

    A sprint of the question, then the latest stored one that tells a speed curve, then age and
    height.
    """
    height_m = given.height_m or (jumper.height_m if jumper else None)
    age_years = given.age_years or (jumper.age_years if jumper else None)
    unread = False
    if given.sprint is not None:
        profile = _curve(given.sprint.start, given.sprint.at_m, given.sprint.time_s)
        if profile is not None:
            return _of_sprint(Basis.GIVEN_SPRINT, profile, height_m, given.step_frequency_hz)
        unread = True
    for test in () if jumper is None else jumper.sprints:
        profile = _curve(test.start, test.at_m, test.time_s)
        if profile is not None:
            found = _of_sprint(Basis.STORED_SPRINT, profile, height_m, given.step_frequency_hz)
            return replace(
                found,
                sprint_test=test.id,
                sprint_date=test.tested_date,
                splits_unread=unread,
            )
    lacking = [Lack.SPRINT]
    if age_years is None or not usual_sprints.YOUNGEST_YEARS <= age_years <= OLDEST_YEARS:
        lacking.append(Lack.AGE)
    if height_m is None or not 1.0 <= height_m <= 2.3:
        lacking.append(Lack.HEIGHT)
    if age_years is None or height_m is None or len(lacking) > 1:
        return Unknown(tuple(lacking), splits_unread=unread)
    usual = usual_sprints.usual_sprint(age_years, height_m)
    counted = given.step_frequency_hz
    return Nature(
        basis=Basis.AGE_AND_HEIGHT,
        sprint=usual.profile,
        frequency=usual.frequency if counted is None else StepFrequency(top_hz=counted),
        doubt=usual.doubt if counted is None else replace(usual.doubt, frequency=COUNTED_DOUBT),
        splits_unread=unread,
    )


def _curve(start: str, at_m: tuple[float, ...], time_s: tuple[float, ...]) -> SprintProfile | None:
    found = profile_of(start, at_m, time_s)
    if found is None:
        return None
    slowest, fastest = SPRINT_SPEEDS_MPS
    shortest, longest = RISE_TIMES_S
    is_a_sprint = (
        slowest <= found.top_speed_mps <= fastest and shortest <= found.rise_time_s <= longest
    )
    return found if is_a_sprint else None


def _of_sprint(
    basis: Basis, profile: SprintProfile, height_m: float | None, counted_hz: float | None
) -> Nature:
    doubt = run_up_model.doubt_of_fit(profile.covariance)
    frequency = StepFrequency()
    if counted_hz is not None:
        frequency, doubt = StepFrequency(top_hz=counted_hz), replace(doubt, frequency=COUNTED_DOUBT)
    elif height_m is not None:
        step_m = usual_sprints.usual_step(profile.top_speed_mps, height_m)
        frequency = StepFrequency(top_hz=profile.top_speed_mps / step_m)
        doubt = replace(doubt, frequency=BY_HEIGHT_DOUBT)
    return Nature(
        basis=basis,
        sprint=Sprint(profile.top_speed_mps, profile.rise_time_s),
        frequency=frequency,
        doubt=doubt,
        top_speed_interval=profile.top_speed_interval,
        splits=profile.n,
    )


@dataclass(frozen=True, slots=True)
class TooFar:
    """Attempts that no run-up near the model explains."""

    n: int


def learn(model: Footfalls, run_ups: RunUps) -> Learned | NotEnoughAttempts | TooFar:
    """Return the athlete's own footfalls, from full run-ups.

    An attempt under another aim is moved by the difference: who aims farther back runs the same
    run-up farther back. One that began far from the mark that it names is left out.
    """
    moved_m = float(model.toe_m[0]) - run_ups.aim_m
    toe_m = run_ups.toe_m + moved_m[:, None]
    mark_m = run_ups.start_mark_m + moved_m
    off_m = np.abs(toe_m[:, -1] - mark_m)
    fits = ~np.isnan(mark_m) & (mark_m > 0) & (np.isnan(off_m) | (off_m <= FARTHEST_START_M))
    if fits.any():
        away_m = abs(float(np.median(mark_m[fits])) - float(model.toe_m[-1]))
        if away_m > FARTHEST_SDS * float(model.sd_m[-1]):
            return TooFar(n=int(fits.sum()))
    try:
        return run_up_learning.learn_footfalls(
            model,
            Attempts(toe_m[fits], mark_m[fits], session=run_ups.session_labels[fits]),
        )
    except TooFarFromModelError:
        return TooFar(n=int(fits.sum()))
