"""The rhythm of the last three steps: lengths, times, contacts."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from enum import StrEnum

import numpy as np
import numpy.typing as npt

from analytics.core import conventions, needed_made
from analytics.core.conventions import (
    DEFAULT_LEVEL,
    BoolArray,
    FloatArray,
    Interval,
    NotEnoughAttempts,
)

MIN_ATTEMPTS = 5
"""Attempts below which a mean is not given; one more for each further plan revision."""


class Contact(StrEnum):
    """What of the foot meets the ground first."""

    BALL = "ball"
    FLAT = "flat"
    HEEL = "heel"


DEFAULT_CONTACTS = (Contact.BALL, Contact.FLAT, Contact.FLAT)
"""Contacts of footfalls 2, 1 and 0 unless the plan says otherwise (common practice, no source)."""


@dataclass(frozen=True, slots=True)
class MeanOf:
    """A mean over attempts, its interval, the SD from attempt to attempt, and how many they are."""

    n: int
    mean: float
    interval: Interval
    sd: float


@dataclass(frozen=True, slots=True)
class LastSteps:
    """The last three steps, step 3 the third-last. Ratios are to step 3 of the same attempt.

    Attributes
    ----------
    n
        Attempts of which anything of the last three steps was measured.
    length_ratio_2, length_ratio_1
        Length of the penultimate and of the last step.
    penultimate_longer_percent
        By how much the penultimate step is longer than the last.
    n_lengths, n_medium_long_short
        Attempts with three lengths, and those among them whose penultimate step is the longest
        and last the shortest.
    time_ratio_2, time_ratio_1
        Time of the penultimate and of the last step, touchdown to touchdown.
    contact_s
        Time on the ground of footfalls 2, 1 and 0.
    n_contacts, n_contacts_as_planned
        Attempts of which footfalls 2, 1 and 0 were all watched, and those that met the plan.
    contact_as_planned
        Of each of footfalls 2, 1 and 0: how often it met the plan, of how many watched.
    """

    n: int
    length_ratio_2: MeanOf | NotEnoughAttempts
    length_ratio_1: MeanOf | NotEnoughAttempts
    penultimate_longer_percent: MeanOf | NotEnoughAttempts
    n_lengths: int
    n_medium_long_short: int
    time_ratio_2: MeanOf | NotEnoughAttempts
    time_ratio_1: MeanOf | NotEnoughAttempts
    contact_s: tuple[MeanOf | NotEnoughAttempts, ...]
    n_contacts: int
    n_contacts_as_planned: int
    contact_as_planned: tuple[tuple[int, int], ...]


@dataclass(frozen=True, slots=True)
class StepRatios:
    """The last three steps of each attempt, to its step 3. Shape (n,), NaN where not measured."""

    length_ratio_2: FloatArray
    length_ratio_1: FloatArray
    time_ratio_2: FloatArray
    time_ratio_1: FloatArray


def step_ratios(toe_m: npt.ArrayLike, *, touchdown_s: npt.ArrayLike | None = None) -> StepRatios:
    """Return the ratios of the last three steps, attempt by attempt.

    Parameters
    ----------
    toe_m, touchdown_s
        As in `last_steps`.

    Returns
    -------
    StepRatios

    Raises
    ------
    ValueError
        Shapes that do not fit, infinite values, steps that do not go forward.

    Examples
    --------
    >>> found = step_ratios([[0.06, 2.06, 4.31, 6.46]])
    >>> found.length_ratio_2.round(3).tolist(), found.length_ratio_1.round(3).tolist()
    ([1.047], [0.93])
    """
    length, time = _last_three(toe_m, touchdown_s)
    return StepRatios(
        length_ratio_2=length[:, 1] / length[:, 2],
        length_ratio_1=length[:, 0] / length[:, 2],
        time_ratio_2=time[:, 1] / time[:, 2],
        time_ratio_1=time[:, 0] / time[:, 2],
    )


def last_steps(
    toe_m: npt.ArrayLike,
    *,
    touchdown_s: npt.ArrayLike | None = None,
    toe_off_s: npt.ArrayLike | None = None,
    contact: Sequence[Sequence[str | None]] | None = None,
    planned_contacts: Sequence[str] = DEFAULT_CONTACTS,
    revision: npt.ArrayLike | None = None,
    level: float = DEFAULT_LEVEL,
) -> LastSteps | NotEnoughAttempts:
    """Describe the rhythm of the last three steps.

    Parameters
    ----------
    toe_m
        Shape (n, K), K >= 4, metres behind the take-off line; NaN where missing.
    touchdown_s, toe_off_s
        Shape (n, K), seconds on one clock for each attempt; NaN where missing.
    contact
        Shape (n, 3): contacts of footfalls 2, 1 and 0 of each attempt, None where not watched.
    planned_contacts
        Those that the plan wants, of footfalls 2, 1 and 0.
    revision
        Shape (n,), labels of the plan revision; SDs and intervals are within it.
    level
        Of the intervals.

    Returns
    -------
    LastSteps or NotEnoughAttempts
        `MIN_ATTEMPTS` attempts with something measured are needed; each figure then says for
        itself whether there is enough of it.

    Raises
    ------
    ValueError
        Shapes that do not fit, infinite values, steps that do not go forward, contacts that are
        none of `Contact`, a level outside (0, 1).

    Notes
    -----
    ``L_k = toe_k - toe_(k-1)``, ``T_k = touchdown_(k-1) - touchdown_k``, contact = toe-off less
    touchdown. A ratio is taken in each attempt, then averaged: the ratio of two means would give
    long attempts more weight. Medium-long-short is the usual pattern of the three lengths. Elite
    women's penultimate step is 12.2 ± 2.8 % longer than the last (Panoutsakopoulos, Theodorou,
    Fragkoulis & Kotzamanidou 2021, JHSE 16(Proc3), read in the abstract).

    Edge cases: attempts without one of the two steps of a ratio are left out of that ratio only.
    Equal lengths are not medium-long-short.

    Examples
    --------
    >>> toe = [[0.06, 2.06, 4.31, 6.46]] * 5
    >>> found = last_steps(toe)
    >>> round(found.penultimate_longer_percent.mean, 1), found.n_medium_long_short
    (12.5, 5)
    """
    conventions.check_level(level)
    length, time = _last_three(toe_m, touchdown_s)
    n = length.shape[0]
    shape = np.shape(toe_m)
    down = _check_times(touchdown_s, shape, name="touchdown_s")
    off = _check_times(toe_off_s, shape, name="toe_off_s")
    on_ground = (off - down)[:, :3]
    _check_forward(on_ground, name="toe_off_s")
    ratios = step_ratios(toe_m, touchdown_s=touchdown_s)
    watched, met = _check_contacts(contact, planned_contacts, n=n)

    known = ~np.isnan(np.column_stack([length, time, on_ground])).all(axis=1)
    known |= watched.any(axis=1)
    labels = conventions.group_by(revision, n=n).index
    if int(known.sum()) < MIN_ATTEMPTS:
        return NotEnoughAttempts(n=int(known.sum()), needed=MIN_ATTEMPTS)

    def mean_of(values: FloatArray) -> MeanOf | NotEnoughAttempts:
        return _mean_of(values, labels, level)

    three = ~np.isnan(length).any(axis=1)
    ordered = (length[:, 1] > length[:, 2]) & (length[:, 2] > length[:, 0])
    all_watched = watched.all(axis=1)
    return LastSteps(
        n=int(known.sum()),
        length_ratio_2=mean_of(ratios.length_ratio_2),
        length_ratio_1=mean_of(ratios.length_ratio_1),
        penultimate_longer_percent=mean_of(100 * (length[:, 1] / length[:, 0] - 1)),
        n_lengths=int(three.sum()),
        n_medium_long_short=int(ordered[three].sum()),
        time_ratio_2=mean_of(ratios.time_ratio_2),
        time_ratio_1=mean_of(ratios.time_ratio_1),
        contact_s=tuple(mean_of(on_ground[:, k]) for k in (2, 1, 0)),
        n_contacts=int(all_watched.sum()),
        n_contacts_as_planned=int(met[all_watched].all(axis=1).sum()),
        contact_as_planned=tuple(
            (int(met[watched[:, place], place].sum()), int(watched[:, place].sum()))
            for place in range(3)
        ),
    )


def _last_three(
    toe_m: npt.ArrayLike, touchdown_s: npt.ArrayLike | None
) -> tuple[FloatArray, FloatArray]:
    """Return lengths and times of steps 1, 2 and 3, each of shape (n, 3)."""
    toe = needed_made.check_footfalls(toe_m)
    if toe.shape[1] < 4:
        raise ValueError(f"the last three steps need four footfalls, got {toe.shape[1]}")
    length = np.diff(toe[:, :4], axis=1)
    time = -np.diff(_check_times(touchdown_s, toe.shape, name="touchdown_s")[:, :4], axis=1)
    _check_forward(length, name="toe_m")
    _check_forward(time, name="touchdown_s")
    return length, time


def _check_forward(values: FloatArray, *, name: str) -> None:
    if np.any(values <= 0):
        raise ValueError(f"{name} must let every step and contact go forward")


def _mean_of(
    values: FloatArray, labels: conventions.IntArray, level: float
) -> MeanOf | NotEnoughAttempts:
    seen = ~np.isnan(values)
    n = int(seen.sum())
    groups = conventions.group_by(labels[seen], n=n)
    needed = MIN_ATTEMPTS + max(groups.n_groups - 1, 0)
    if n < needed:
        return NotEnoughAttempts(n=n, needed=needed)
    kept = values[seen]
    df = n - groups.n_groups
    left = conventions.centred(kept, groups)
    sd = float(np.sqrt(left @ left / df))
    mean = float(kept.mean())
    interval = conventions.t_interval(
        estimate=mean, standard_error=sd / float(np.sqrt(n)), df=df, level=level
    )
    return MeanOf(n=n, mean=mean, interval=interval, sd=sd)


def _check_times(times: npt.ArrayLike | None, shape: tuple[int, ...], *, name: str) -> FloatArray:
    if times is None:
        return np.full(shape, np.nan)
    array = np.asarray(times, dtype=np.float64)
    if array.shape != shape:
        raise ValueError(f"{name} needs the shape of toe_m, {shape}, got {array.shape}")
    conventions.check_not_infinite(array, name=name)
    return array


def _check_contacts(
    contact: Sequence[Sequence[str | None]] | None, planned: Sequence[str], *, n: int
) -> tuple[BoolArray, BoolArray]:
    """Return which contacts were watched, and which met the plan, each of shape (n, 3)."""
    if len(planned) != 3:
        raise ValueError(f"planned_contacts are of footfalls 2, 1 and 0, got {len(planned)}")
    wanted = [Contact(each) for each in planned]
    rows = [[None] * 3] * n if contact is None else [list(row) for row in contact]
    if len(rows) != n or any(len(row) != 3 for row in rows):
        raise ValueError("contact needs three values for each attempt")
    seen = [[None if each is None else Contact(each) for each in row] for row in rows]
    watched = np.array([[each is not None for each in row] for row in seen], dtype=np.bool_)
    met = np.array(
        [[each is want for each, want in zip(row, wanted, strict=True)] for row in seen],
        dtype=np.bool_,
    )
    return watched.reshape(n, 3), met.reshape(n, 3)
