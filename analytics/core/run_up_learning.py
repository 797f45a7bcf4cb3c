"""Where an athlete's feet land in a run-up: from the model to the athlete's own."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import numpy.typing as npt
from scipy import linalg

from analytics.core import conventions, run_up_steering
from analytics.core.conventions import FloatArray, IntArray, NotEnoughAttempts
from analytics.core.run_up_model import Footfalls
from analytics.core.run_up_steering import USUAL_HABITS, Habits, Steering

MIN_ATTEMPTS = 3
"""Attempts below which the model stays as it is."""

FARTHEST_START_M = 2.0
"""A start farther from its mark, about a step, is a mark in another unit or another run-up's."""


class TooFarFromModelError(ValueError):
    """Attempts that no run-up near the model explains: they are another run-up's."""


@dataclass(frozen=True, slots=True)
class Attempts:
    """Full run-ups of one approach, all finished in one way.

    Attributes
    ----------
    toe_m
        Shape (a, n + 1): measured footfalls, k = 0 the take-off foot; NaN where not measured.
    start_mark_m
        Shape (a,), or one number: the start mark used.
    session
        Labels; None for one session.
    """

    toe_m: npt.ArrayLike
    start_mark_m: npt.ArrayLike
    session: npt.ArrayLike | None = None


_SETTLED_M = 1e-4
_WHOLE_PASSES = 20
_MOST_PASSES = 200
"""Passes over the attempts: how far the mark was off, and with it what an uncertain gain may have
done, is known better in each, until the start mark moves by less than a tenth of a millimetre."""


@dataclass(frozen=True, slots=True)
class Learned:
    """The athlete's own footfalls.

    Attributes
    ----------
    footfalls
        Model and attempts weighed against each other.
    own_share
        Shape (n + 1,): how much of the model's doubt (variance) about each position the attempts
        have removed, 0 to 1; NaN for the take-off foot, which stands on the aim.
    gain
        Shape (n,): share of a deviation that each of the steps 1 to n takes back, as it was used.
    """

    footfalls: Footfalls
    own_share: FloatArray
    gain: FloatArray


def learn_footfalls(
    model: Footfalls, attempts: Attempts, *, habits: Habits = USUAL_HABITS
) -> Learned | NotEnoughAttempts:
    """Move the planned positions from the model's to the athlete's own.

    Parameters
    ----------
    model
        What is believed before these attempts.
    attempts
        All that is known of them; those that are far from what the athlete does now, before a
        growth spurt or another start, are better left out.
    habits
        What is usual.

    Returns
    -------
    Learned or NotEnoughAttempts
        `MIN_ATTEMPTS` attempts with a footfall beside the take-off foot's are needed.

    Raises
    ------
    ValueError
        A model without doubt, shapes that do not fit it, infinite values, a start mark that is not
        finite, positions that do not grow going back.
    TooFarFromModelError
        Attempts so far from the model that a step would vanish, or that no start mark fits.

    Notes
    -----
    Let theta be the positions of the natural run-up that ends on the aim, and s the start mark of
    an attempt. Steering takes the share g_k of a deviation back in step k, so

    ``E[toe_k] = theta_k + c_k (s - theta_n)``, ``c_n = 1``, ``c_(k-1) = (1 - g_k) c_k``

    which is linear in theta: with the model as its normal prior and the noise of start, steps,
    sessions and readings carried through the same chain, the posterior is normal and, for known
    gains, exact, with any footfalls missing. Whole positions are weighed, with their covariance:
    the errors of neighbours hang together. The mean of the measured positions is no substitute:
    under a wrong mark steering brings the foot to the board all the same, and the mean would make
    the wrong mark and the reaching or chopped steps the plan.

    The gains are the slopes of step length on position, centred within sessions, less what the
    reading error lends to them, drawn to the usual gains (`run_up_steering`). What
    is left of their doubt is one more unknown, taken as linear about the mark that was learned
    in the pass before. The step SD is drawn to the usual one and then taken for known.

    Edge cases: a no jump whose toe nobody measured is left out; it says little of the steps before.
    With each measured attempt the same start mark and steering that takes back nearly all, the
    attempts say little of the start mark, and its SD shows it.

    Source: conjugate normal regression (textbook); the chain is that of `simulator`. Values of
    `Habits` are ours.

    Examples
    --------
    >>> from analytics.core.run_up_model import StepFrequency, model_footfalls
    >>> from analytics.core.run_up_pace import RunUpSettings, Sprint
    >>> model = model_footfalls(
    ...     Sprint(9.2, 1.15), StepFrequency(), RunUpSettings(steps=16)
    ... )
    >>> own = model.toe_m[0] + 1.05 * (model.toe_m - model.toe_m[0])
    >>> learned = learn_footfalls(model, Attempts([own] * 12, start_mark_m=own[-1]))
    >>> start = [each[-1] for each in (model.toe_m, own, learned.footfalls.toe_m)]
    >>> [round(float(each), 2) for each in start]
    [26.42, 27.74, 27.73]
    """
    n_steps = model.toe_m.size - 1
    prior = _precision(model)
    toe, mark, session = _check_attempts(attempts, n_steps=n_steps)
    used = np.any(~np.isnan(toe[:, 1:]), axis=1)
    n = int(np.count_nonzero(used))
    if n < MIN_ATTEMPTS:
        return NotEnoughAttempts(n=n, needed=MIN_ATTEMPTS)
    toe, mark, session = toe[used], mark[used], session[used]
    steering = run_up_steering.estimate_steering(toe, session, natural_m=model.toe_m, habits=habits)
    weighed = _add_up(model, (toe, mark, session), steering)
    mean, covariance = _settle(model, prior, weighed, steering)
    if np.any(np.diff(mean) <= 0):
        raise TooFarFromModelError("too far from the model: a step would have no length")
    with np.errstate(invalid="ignore"):  # 0 / 0 for the take-off foot: NaN
        own_share = 1 - np.diag(covariance) / np.diag(model.covariance_m2)
    return Learned(
        footfalls=Footfalls(toe_m=mean, covariance_m2=covariance, n_attempts=n),
        own_share=np.asarray(own_share),
        gain=steering.gain,
    )


@dataclass(frozen=True, slots=True)
class _Weighed:
    """What every pass needs of the attempts, added up once.

    Positions enter an attempt by `at_mark`; gains by `Steering.bent`, times how far its mark is
    from where the natural run-up begins. So sums of powers of the mark, counted from the model's,
    are enough.

    Attributes
    ----------
    at_mark
        Shape (n + 1, n): how each footfall changes with each unknown position.
    heavy, heavy_by_mark, heavy_by_square
        Shape (n + 1, n + 1): inverse noise, summed over attempts, plain and times mark and square.
    left, left_by_mark
        Shape (n + 1,): the same of what the marks leave to explain.
    day_weight, day_left
        Shape (s,): of each session's stretch alone, its prior included.
    day, day_by_mark
        Shape (s, n + 1): of each session's stretch with the footfalls.
    """

    at_mark: FloatArray
    heavy: FloatArray
    heavy_by_mark: FloatArray
    heavy_by_square: FloatArray
    left: FloatArray
    left_by_mark: FloatArray
    day_weight: FloatArray
    day_left: FloatArray
    day: FloatArray
    day_by_mark: FloatArray


def _add_up(
    model: Footfalls, attempts: tuple[FloatArray, FloatArray, IntArray], steering: Steering
) -> _Weighed:
    toe, mark, session = attempts
    known = ~np.isnan(toe)
    patterns, pattern_of = np.unique(known, axis=0, return_inverse=True)
    pattern_of = pattern_of.reshape(-1)
    # Those that were not measured stand by themselves in the inverse, and weigh nothing.
    both = patterns[:, :, None] & patterns[:, None, :]
    alone = np.where(both, steering.noise, np.eye(toe.shape[1]))
    weight = np.where(both, np.linalg.inv(alone), 0.0)
    left = toe - np.outer(mark, steering.passed)
    left[:, 0] -= model.toe_m[0]
    heavy_left = np.einsum("aij,aj->ai", weight[pattern_of], np.where(known, left, 0.0))
    heavy_day = (weight @ steering.stretched)[pattern_of]
    # From the model's start mark, or the squares would leave few digits to what marks differ by.
    off = mark - model.toe_m[-1]

    def over_patterns(values: FloatArray) -> FloatArray:
        sums = np.bincount(pattern_of, weights=values, minlength=len(patterns))
        return np.asarray(np.tensordot(sums, weight, axes=1))

    def over_sessions(values: FloatArray) -> FloatArray:
        sums = np.zeros((int(session.max()) + 1, *values.shape[1:]))
        np.add.at(sums, session, values)
        return sums

    at_mark = np.eye(toe.shape[1])[:, 1:]
    at_mark[:, -1] -= steering.passed
    return _Weighed(
        at_mark=at_mark,
        heavy=over_patterns(np.ones_like(off)),
        heavy_by_mark=over_patterns(off),
        heavy_by_square=over_patterns(off**2),
        left=heavy_left.sum(axis=0),
        left_by_mark=off @ heavy_left,
        day_weight=1.0 + over_sessions(heavy_day @ steering.stretched),
        day_left=over_sessions(heavy_left @ steering.stretched),
        day=over_sessions(heavy_day),
        day_by_mark=over_sessions(off[:, None] * heavy_day),
    )


def _settle(
    model: Footfalls, prior: FloatArray, weighed: _Weighed, steering: Steering
) -> tuple[FloatArray, FloatArray]:
    """Return what `_weigh` finds about the start mark that it finds."""
    near = float(model.toe_m[-1])
    for i in range(_MOST_PASSES):
        mean, covariance = _weigh(model, prior, weighed, steering, near_m=near)
        if abs(mean[-1] - near) < _SETTLED_M:
            return mean, covariance
        # What swings to and fro settles in half steps.
        near += (1.0 if i < _WHOLE_PASSES else 0.5) * float(mean[-1] - near)
    raise TooFarFromModelError("too far from the model: no start mark fits the attempts")


def _weigh(
    model: Footfalls, prior: FloatArray, weighed: _Weighed, steering: Steering, *, near_m: float
) -> tuple[FloatArray, FloatArray]:
    """Return mean and covariance of the positions, given the attempts.

    The take-off foot of the natural run-up stands on the aim, so it is known. Unknown are the
    other positions, by how much each gain differs from its estimate, whose effect is taken where
    the natural run-up begins `near_m`, and for each session by how much all its steps were longer
    or shorter. A session's stretch touches no other session, so each is solved for by itself and
    taken out (the Schur complement, textbook): a thousand sessions cost little more than ten.
    """
    w, p, b = weighed, weighed.at_mark, steering.bent
    near = near_m - float(model.toe_m[-1])
    places = model.toe_m.size
    off_mark = w.heavy_by_mark - near * w.heavy
    off_square = w.heavy_by_square - 2 * near * w.heavy_by_mark + near**2 * w.heavy
    both = p.T @ off_mark @ b
    precision = np.block(
        [
            [prior + p.T @ w.heavy @ p, both],
            [both.T, np.diag(1 / steering.gain_variance) + b.T @ off_square @ b],
        ]
    )
    weighted = np.concatenate(
        [prior @ model.toe_m[1:] + p.T @ w.left, b.T @ (w.left_by_mark - near * w.left)]
    )
    with_day = np.hstack([w.day @ p, (w.day_by_mark - near * w.day) @ b])
    taken_out = with_day / w.day_weight[:, None]
    full = np.linalg.inv(precision - with_day.T @ taken_out)
    found = full @ (weighted - taken_out.T @ w.day_left)
    mean = np.concatenate([model.toe_m[:1], found[: places - 1]])
    covariance = np.zeros((places, places))
    covariance[1:, 1:] = full[: places - 1, : places - 1]
    return mean, covariance


def _precision(model: Footfalls) -> FloatArray:
    """Return the inverse of the model's covariance, the take-off foot left out."""
    covariance = model.covariance_m2[1:, 1:]
    try:
        factor = linalg.cho_factor(covariance, lower=True)
    except linalg.LinAlgError as error:
        raise ValueError("a model that leaves no doubt cannot learn from attempts") from error
    return np.asarray(linalg.cho_solve(factor, np.eye(covariance.shape[0])))


def _check_attempts(attempts: Attempts, *, n_steps: int) -> tuple[FloatArray, FloatArray, IntArray]:
    toe = np.asarray(attempts.toe_m, dtype=np.float64)
    if toe.ndim != 2 or toe.shape[1] != n_steps + 1:
        raise ValueError(
            f"toe_m needs {n_steps + 1} footfalls for each attempt, got shape {toe.shape}"
        )
    conventions.check_not_infinite(toe, name="toe_m")
    farthest_before = np.fmax.accumulate(toe, axis=1)[:, :-1]
    if np.any(toe[:, 1:] <= farthest_before):
        raise ValueError("positions must grow going back from the board")
    mark = np.asarray(attempts.start_mark_m, dtype=np.float64)
    if mark.shape not in {(), (toe.shape[0],)} or not np.all(np.isfinite(mark)):
        raise ValueError("start_mark_m needs one finite mark for each attempt, or one for all")
    if np.any(mark <= 0):
        raise ValueError("a start mark must lie behind the take-off line")
    if np.any(np.abs(toe[:, -1] - mark) > FARTHEST_START_M):
        raise ValueError(
            f"an attempt began more than {FARTHEST_START_M:g} m from its start mark: one is wrong"
        )
    session = conventions.group_by(attempts.session, n=toe.shape[0]).index
    return toe, np.broadcast_to(mark, toe.shape[:1]), session
