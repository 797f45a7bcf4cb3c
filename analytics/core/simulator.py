"""Invented attempts, step by step, from an athlete whose habits are known.

Serves demonstrations and tests: what the figures find can be held against what was put in.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from analytics.core import wind as wind_effect
from analytics.core.conventions import DEFAULT_AIM_M, BoolArray, FloatArray, IntArray

SHORTEST_STEP_M = 0.50
LONGEST_STEP_M = 3.20
"""No step is shorter or longer than this, whatever the errors add up to; ours."""

FASTEST_MPS = 12.0
"""No step is quicker than this, the top of what sprinters reach; its time gives way."""

_NEVER_NEGATIVE = (
    "walk_in_s",
    "start_sd_m",
    "session_sd_m",
    "step_sd_m",
    "unsteady_sd_m",
    "perception_sd_m",
    "perception_sd_share",
    "wind_sd_mps",
    "wind_reading_sd_mps",
    "speed_cv",
    "fatigue_spread",
    "measurement_sd_m",
    "time_cv",
    "effective_sd_m",
)

_SHORTEST_FLIGHT_S = 0.03
"""Shortest time in the air between two contacts; ours, so that no contact touches the next."""


@dataclass(frozen=True, slots=True)
class Athlete:
    """Habits of a simulated athlete. Lengths in metres, times in seconds, speeds in m/s.

    Attributes
    ----------
    n_steps
        Steps of the run-up.
    aim_m
        Where the plan wants the toe, behind the take-off line.
    top_speed_mps, rise_time_s
        The speed curve ``top (1 - exp(-t / rise))`` (Furusawa, Hill & Parkinson 1927).
    walk_in_s
        How long before the first footfall the athlete was already on that curve.
    first_frequency_hz, top_frequency_hz
        Step frequency of the first step, and that reached at the sixth.
    mark_error_m
        Constant error of the start mark; positive: too far from the pit.
    start_sd_m, session_sd_m
        Start error of each attempt, and the part that a whole session shares.
    persistence
        Correlation of the start error from one attempt to the next within a session, [0, 1).
    step_sd_m
        Unsteadiness of each step's length.
    unsteady_steps, unsteady_sd_m
        The first and last of a run of steps that are less steady than the others, by number, and
        their SD; (0, 0) for none.
    step_sds_m
        SD of each step, of steps 1 to n, in place of those two; empty for none.
    steering_from, steering_gain
        Footfall from which the board is steered to (0: not at all), and the share g of the
        perceived deviation that each step then takes back.
    gains
        Gain of each step, of steps 1 to n, in place of those two; empty for none.
    perception_sd_m, perception_sd_share
        Error of that perception, and by which share of the distance to the board it is larger.
    wind_sd_mps, mean_wind_mps, wind_reading_sd_mps
        Wind along the runway, positive a tail wind, one value for each attempt; and by how much
        what is read of it differs from what the athlete felt.
    speed_cv
        Unsteadiness of the whole run's speed, as a share of it: half of it goes to the length of
        the steps, half to their time.
    fatigue, fatigue_spread
        Shares by which the steps shorten, and by which their SDs grow, from one attempt of a
        session to the next.
    growth
        Share by which the steps lengthen from one session to the next.
    measurement_sd_m
        Reading error of each measured footfall.
    unmeasured_no_jump_share
        Share of the no jumps whose toe nobody measured.
    time_cv
        Unsteadiness of the step times, as a share of them.
    effective_m, effective_sd_m
        Mean and SD of the effective distance at the planned speed.
    gate_at_m
        Where the timing gates stand, from the line, falling.
    """

    n_steps: int = 16
    aim_m: float = DEFAULT_AIM_M
    top_speed_mps: float = 8.6
    rise_time_s: float = 1.1
    walk_in_s: float = 0.35
    first_frequency_hz: float = 3.5
    top_frequency_hz: float = 4.3
    mark_error_m: float = 0.0
    start_sd_m: float = 0.06
    session_sd_m: float = 0.04
    persistence: float = 0.2
    step_sd_m: float = 0.05
    unsteady_steps: tuple[int, int] = (0, 0)
    unsteady_sd_m: float = 0.05
    step_sds_m: tuple[float, ...] = ()
    steering_from: int = 5
    steering_gain: float = 0.45
    gains: tuple[float, ...] = ()
    perception_sd_m: float = 0.04
    perception_sd_share: float = 0.0
    wind_sd_mps: float = 0.8
    mean_wind_mps: float = 0.0
    wind_reading_sd_mps: float = 0.0
    speed_cv: float = 0.0
    fatigue: float = 0.0
    fatigue_spread: float = 0.0
    growth: float = 0.0
    measurement_sd_m: float = 0.005
    unmeasured_no_jump_share: float = 0.5
    time_cv: float = 0.015
    effective_m: float = 5.80
    effective_sd_m: float = 0.12
    gate_at_m: tuple[float, ...] = (21.0, 11.0, 6.0, 1.0)


@dataclass(frozen=True, slots=True)
class PlannedRunUp:
    """The run-up that a simulated athlete means to make.

    Attributes
    ----------
    toe_m
        Shape (n_steps + 1,): planned footfalls, k = 0 the take-off foot.
    step_time_s
        Shape (n_steps,): of steps 1 to n, step 1 the last.
    start_mark_m
        Where it begins, ``toe_m[-1]``.
    """

    toe_m: FloatArray
    step_time_s: FloatArray
    start_mark_m: float


@dataclass(frozen=True, slots=True)
class SimulatedAttempts:
    """Attempts as a club would measure them, and what was true.

    Attributes
    ----------
    session
        Shape (n,): number of the session, from 0.
    toe_m
        Shape (n, n_steps + 1): measured footfalls, k = 0 the take-off foot, NaN where nobody
        measured. Grows with k.
    touchdown_s, toe_off_s
        Shape (n, n_steps + 1): on one clock for each attempt that starts at the first footfall;
        fall with k.
    gate_time_s
        Shape (n, gates): when each gate of `Athlete.gate_at_m` was passed, NaN where the run did
        not pass it.
    no_jump
        Shape (n,): the true toe was beyond the line.
    wind_mps
        Shape (n,): as read.
    effective_m, official_m
        Shape (n,): distance from the toe, and what officials read: less the toe-to-board distance,
        rounded down to the centimetre, NaN for a no jump.
    true_board_m
        Shape (n,): the toe-to-board distance before reading error.
    """

    session: IntArray
    toe_m: FloatArray
    touchdown_s: FloatArray
    toe_off_s: FloatArray
    gate_time_s: FloatArray
    no_jump: BoolArray
    wind_mps: FloatArray
    effective_m: FloatArray
    official_m: FloatArray
    true_board_m: FloatArray


def plan_run_up(athlete: Athlete) -> PlannedRunUp:
    """Return the footfalls and step times that the athlete's plan asks for.

    Raises
    ------
    ValueError
        Settings outside their range, or steps shorter than 0.50 m or longer than 3.20 m.

    Notes
    -----
    Distance ``top (t + rise (exp(-t / rise) - 1))`` at the times of the footfalls, laid out back
    from the aim. The penultimate step is made 12 % longer than the last, their sum kept
    (Panoutsakopoulos et al. 2021, elite women: 12.2 ± 2.8 %).

    Examples
    --------
    >>> plan = plan_run_up(Athlete())
    >>> plan.toe_m.size, round(plan.start_mark_m, 1)
    (17, 26.7)
    """
    _check_athlete(athlete)
    rising = np.minimum(np.arange(athlete.n_steps) / 5, 1.0)
    frequency = athlete.first_frequency_hz + rising * (
        athlete.top_frequency_hz - athlete.first_frequency_hz
    )
    step_time = 1 / frequency
    at = athlete.walk_in_s + np.concatenate([[0.0], np.cumsum(step_time)])
    run = athlete.top_speed_mps * (at + athlete.rise_time_s * np.expm1(-at / athlete.rise_time_s))
    toe = athlete.aim_m + (run[-1] - run)[::-1]
    if athlete.n_steps >= 2:
        toe[1] = toe[0] + (toe[2] - toe[0]) / 2.12
    steps = np.diff(toe)
    if steps.min() < SHORTEST_STEP_M or steps.max() > LONGEST_STEP_M:
        raise ValueError(
            f"planned steps must lie between {SHORTEST_STEP_M} and {LONGEST_STEP_M} m, "
            f"got {steps.min():.2f} to {steps.max():.2f} m"
        )
    return PlannedRunUp(toe_m=toe, step_time_s=step_time[::-1], start_mark_m=float(toe[-1]))


def simulate(
    athlete: Athlete, *, attempts_by_session: Sequence[int], rng: np.random.Generator
) -> SimulatedAttempts:
    """Simulate the jumps of several sessions.

    Parameters
    ----------
    athlete
        Whose habits.
    attempts_by_session
        Attempts in each session.
    rng
        Source of chance; the same seed gives the same attempts.

    Returns
    -------
    SimulatedAttempts
        n is the sum of `attempts_by_session`.

    Raises
    ------
    ValueError
        Settings outside their range, a negative number of attempts.

    Notes
    -----
    ``toe_(k-1) = toe_k - (L_k + noise_k + g_k (toe_k - plan_k + perception error))``, from the
    start mark on, with ``g_k`` the steering gain for k up to `steering_from`, else 0. Wind adds
    the growth of ``0.08 (D / 35)^1.5 (w - w^2 / 16)`` over the step, D the metres run. A step is
    kept between 0.50 and 3.20 m. Gate times are interpolated between touchdowns.

    Chance is drawn in the same order and number whatever the habits, so that two athletes with the
    same number of steps and the same seed have the same luck: what differs between their attempts
    is what differs between them.

    Examples
    --------
    >>> made = simulate(Athlete(), attempts_by_session=[6, 6], rng=np.random.default_rng(1))
    >>> made.toe_m.shape, made.session.tolist()[5:7]
    ((12, 17), [0, 1])
    """
    plan = plan_run_up(athlete)
    counts = _check_counts(attempts_by_session)
    n = int(counts.sum())
    session = np.repeat(np.arange(counts.size), counts)
    wind = rng.normal(athlete.mean_wind_mps, athlete.wind_sd_mps, size=n)
    start_error = _start_errors(athlete, counts, rng)
    # Of a stream of its own: habits that came later leave the attempts of a seed as they were.
    (later,) = rng.spawn(1)
    faster = athlete.speed_cv * later.standard_normal(n)
    read_wind = wind + athlete.wind_reading_sd_mps * later.standard_normal(n)
    place = _place_in_session(counts)
    true_toe = _footfalls(
        athlete,
        plan,
        rng,
        start_error=start_error,
        wind=wind,
        stretch=(1 - athlete.fatigue * place) * (1 + athlete.growth * session) * (1 + faster / 2),
        unsteadier=np.asarray(1.0 + athlete.fatigue_spread * place, dtype=np.float64),
    )
    touchdown, toe_off = _contact_times(athlete, plan, true_toe, rng, quicker=faster / 2)
    board = true_toe[:, 0].copy()
    no_jump = board < 0
    toe = true_toe + rng.normal(0.0, athlete.measurement_sd_m, size=true_toe.shape)
    unmeasured = no_jump & (rng.random(n) < athlete.unmeasured_no_jump_share)
    toe[unmeasured, 0] = np.nan
    speed = (true_toe[:, 2] - true_toe[:, 0]) / (touchdown[:, 0] - touchdown[:, 2])
    planned_speed = (plan.toe_m[2] - plan.toe_m[0]) / (plan.step_time_s[0] + plan.step_time_s[1])
    # 0.8 m of distance per m/s within an athlete (Bridgett, Galloway & Linthorne 2002).
    effective = rng.normal(
        athlete.effective_m + 0.8 * (speed - planned_speed), athlete.effective_sd_m
    )
    official = np.where(no_jump, np.nan, np.floor(100 * (effective - board) + 1e-9) / 100)
    return SimulatedAttempts(
        session=session.astype(np.int64),
        toe_m=toe,
        touchdown_s=touchdown,
        toe_off_s=toe_off,
        gate_time_s=_gate_times(athlete, true_toe, touchdown),
        no_jump=no_jump,
        wind_mps=read_wind,
        effective_m=effective,
        official_m=official,
        true_board_m=board,
    )


def step_sds(athlete: Athlete) -> FloatArray:
    """Return the SD of each step's length, of steps 1 to n.

    Examples
    --------
    >>> step_sds(Athlete(n_steps=5, unsteady_steps=(5, 4), unsteady_sd_m=0.15)).tolist()
    [0.05, 0.05, 0.05, 0.15, 0.15]
    """
    if athlete.step_sds_m:
        return np.asarray(athlete.step_sds_m, dtype=np.float64)
    step = np.arange(1, athlete.n_steps + 1)
    # Step numbers count back from the board, so that a run of steps begins with the higher.
    first, last = athlete.unsteady_steps
    return np.where((first >= step) & (step >= last), athlete.unsteady_sd_m, athlete.step_sd_m)


def step_gains(athlete: Athlete) -> FloatArray:
    """Return the share of a seen deviation that each step takes back, of steps 1 to n.

    Examples
    --------
    >>> step_gains(Athlete(n_steps=4, steering_from=2)).tolist()
    [0.45, 0.45, 0.0, 0.0]
    """
    if athlete.gains:
        return np.asarray(athlete.gains, dtype=np.float64)
    step = np.arange(1, athlete.n_steps + 1)
    return np.where(step <= athlete.steering_from, athlete.steering_gain, 0.0)


def _start_errors(athlete: Athlete, counts: IntArray, rng: np.random.Generator) -> FloatArray:
    """Return where each attempt starts against the plan: mark, session and own error."""
    day = rng.normal(0.0, athlete.session_sd_m, size=counts.size)
    own = rng.normal(0.0, athlete.start_sd_m, size=int(counts.sum()))
    if athlete.persistence:
        renewed = np.sqrt(1 - athlete.persistence**2)
        place = _place_in_session(counts)
        for number in range(1, int(counts.max(initial=0))):
            later = np.flatnonzero(place == number)
            own[later] = athlete.persistence * own[later - 1] + renewed * own[later]
    return athlete.mark_error_m + np.repeat(day, counts) + own


def _footfalls(
    athlete: Athlete,
    plan: PlannedRunUp,
    rng: np.random.Generator,
    *,
    start_error: FloatArray,
    wind: FloatArray,
    stretch: FloatArray,
    unsteadier: FloatArray,
) -> FloatArray:
    n = start_error.size
    toe = np.empty((n, plan.toe_m.size))
    toe[:, -1] = plan.start_mark_m + start_error
    slope = wind_effect.usual_wind_slope(plan.start_mark_m - plan.toe_m)
    felt = wind_effect.felt_wind(wind)
    sds, gains = step_sds(athlete), step_gains(athlete)
    for k in range(athlete.n_steps, 0, -1):
        length = (plan.toe_m[k] - plan.toe_m[k - 1]) * stretch
        length += rng.normal(0.0, sds[k - 1], size=n) * unsteadier
        length += (slope[k] - slope[k - 1]) * felt
        blurred = athlete.perception_sd_m + athlete.perception_sd_share * plan.toe_m[k]
        seen = toe[:, k] - plan.toe_m[k] + rng.normal(0.0, blurred, size=n)
        length += gains[k - 1] * seen
        toe[:, k - 1] = toe[:, k] - np.clip(length, SHORTEST_STEP_M, LONGEST_STEP_M)
    return toe


def _contact_times(
    athlete: Athlete,
    plan: PlannedRunUp,
    toe: FloatArray,
    rng: np.random.Generator,
    *,
    quicker: FloatArray,
) -> tuple[FloatArray, FloatArray]:
    """Return touchdown and toe-off times; contacts shorten as the run gets faster."""
    n = toe.shape[0]
    swing = np.clip(rng.normal(1.0, athlete.time_cv, size=(n, athlete.n_steps)), 0.8, 1.2)
    planned_time = plan.step_time_s * swing / (1 + np.maximum(quicker, -0.5))[:, None]
    step_time = np.maximum(planned_time, np.diff(toe, axis=1) / FASTEST_MPS)
    touchdown = np.zeros((n, athlete.n_steps + 1))
    # Column k is k steps before take-off: times add up from the last column to the first.
    touchdown[:, :-1] = np.cumsum(step_time[:, ::-1], axis=1)[:, ::-1]
    contact = np.linspace(0.115, 0.17, athlete.n_steps + 1) * np.clip(
        rng.normal(1.0, 0.03, size=touchdown.shape), 0.8, 1.2
    )
    contact[:, 1:] = np.minimum(contact[:, 1:], step_time - _SHORTEST_FLIGHT_S)
    return touchdown, touchdown + contact


def _gate_times(athlete: Athlete, toe: FloatArray, touchdown: FloatArray) -> FloatArray:
    gates = np.asarray(athlete.gate_at_m, dtype=np.float64)
    times = np.full((toe.shape[0], gates.size), np.nan)
    if not gates.size:
        return times  # passing them is a third of the time of a simulation
    for row, (place, moment) in enumerate(zip(toe, touchdown, strict=True)):
        times[row] = np.interp(gates, place, moment, left=np.nan, right=np.nan)
    return times


def _place_in_session(counts: IntArray) -> IntArray:
    return np.arange(counts.sum()) - np.repeat(np.cumsum(counts) - counts, counts)


def _check_counts(attempts_by_session: Sequence[int]) -> IntArray:
    counts = np.asarray(attempts_by_session, dtype=np.int64)
    if counts.ndim != 1 or np.any(counts < 0):
        raise ValueError("attempts_by_session must hold one number, 0 or more, for each session")
    return counts


def _check_athlete(athlete: Athlete) -> None:
    rules = {
        "n_steps must be at least 3": athlete.n_steps >= 3,
        "steering_from must lie between 0 and n_steps": 0
        <= athlete.steering_from
        <= athlete.n_steps,
        "persistence must lie in [0, 1)": 0 <= athlete.persistence < 1,
        "unmeasured_no_jump_share must lie in [0, 1]": 0 <= athlete.unmeasured_no_jump_share <= 1,
        "step_sds_m must hold one SD, 0 or more, for each step": len(athlete.step_sds_m)
        in {0, athlete.n_steps}
        and all(0 <= sd < np.inf for sd in athlete.step_sds_m),
        "gains must hold one finite gain for each step": len(athlete.gains) in {0, athlete.n_steps}
        and bool(np.all(np.isfinite(athlete.gains))),
        "gate_at_m must fall": list(athlete.gate_at_m)
        == sorted(set(athlete.gate_at_m), reverse=True),
        "first_frequency_hz must be at least 2": athlete.first_frequency_hz >= 2,
    }
    for name in ("top_speed_mps", "rise_time_s", "top_frequency_hz"):
        rules[f"{name} must be above 0"] = getattr(athlete, name) > 0
    for name in _NEVER_NEGATIVE:
        rules[f"{name} must not be negative"] = getattr(athlete, name) >= 0
    for rule, holds in rules.items():
        if not holds:
            raise ValueError(rule)
