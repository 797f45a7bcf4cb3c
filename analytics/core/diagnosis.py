"""Why did he miss: a wrong mark, an unsteady part of the run, late steering, or something else?"""

from __future__ import annotations

from dataclasses import dataclass
from enum import StrEnum

import numpy as np
import numpy.typing as npt
from scipy import stats

from analytics.core import causes, conventions, error_shares, growth, needed_made, spread
from analytics.core.causes import ErrorCauses, Slope
from analytics.core.conventions import FloatArray, Interval, NotEnoughAttempts

MIN_ATTEMPTS = 6
"""Attempts with a check footfall and a measured take-off toe below which nothing is said."""


class Trouble(StrEnum):
    """What may be wrong.

    A line of the errors has a cause on one side only: growth lengthens steps, so that the foot
    lands nearer the pit from session to session; tiredness shortens them, so that it lands farther
    from it from attempt to attempt. A line that goes the other way, or toward the pit in a body
    that does not grow, is named by what is seen (`SHORTER_LATER`, `LONGER_EACH_TIME`,
    `LONGER_LATER`), for nobody knows its cause.
    """

    WRONG_MARK = "wrong_mark"
    LAST_STEPS = "last_steps"
    GROWTH = "growth"
    LONGER_LATER = "longer_later"
    SHORTER_LATER = "shorter_later"
    FATIGUE = "fatigue"
    LONGER_EACH_TIME = "longer_each_time"
    WIND = "wind"
    UNSTEADY_PART = "unsteady_part"
    LATE_STEERING = "late_steering"


@dataclass(frozen=True, slots=True)
class DiagnosisSettings:
    """From where a trouble counts as shown. Our judgement; settings of the club change them.

    Attributes
    ----------
    board_off_m, check_off_m
        A mean error beyond this, at the board or at the check footfall, is a mark that is off.
    unsteady_m
        A spread at the board above this is unsteady.
    sure
        Probability at which a mean or a spread counts as shown.
    slope_level
        Confidence level at which the interval of a slope must leave out 0.
    tired_level
        Likewise for tiredness where it alone would make the mark look wrong.
    """

    board_off_m: float = 0.05
    check_off_m: float = 0.10
    unsteady_m: float = 0.10
    sure: float = 0.8
    slope_level: float = growth.LINE_LEVEL
    tired_level: float = 0.90


DEFAULT_SETTINGS = DiagnosisSettings()


@dataclass(frozen=True, slots=True)
class Finding:
    """One possible trouble, with the number that speaks for or against it.

    Attributes
    ----------
    trouble, shown
        Which, and whether the attempts show it.
    probability
        That it is there: of a mean or spread beyond its limit, or the confidence that a slope is
        not 0.
    estimate, interval
        Mean error in metres, slope (metres for each attempt, m/s of wind, or session), or spread
        in metres.
    size_m
        Typical error that it makes where it is seen, metres: what repairing it would take away.
    part
        Of `error_shares.PARTS`, for an unsteady part.
    """

    trouble: Trouble
    shown: bool
    probability: float
    estimate: float
    interval: Interval
    size_m: float
    part: str | None = None


@dataclass(frozen=True, slots=True)
class Diagnosis:
    """What the attempts show.

    Attributes
    ----------
    n, n_sessions
        Attempts used, and sessions.
    main
        The trouble to see to first; None when nothing is shown.
    findings
        All that could be judged: shown ones first, the larger before the smaller.
    """

    n: int
    n_sessions: int
    main: Trouble | None
    findings: tuple[Finding, ...]


@dataclass(frozen=True, slots=True)
class Plan:
    """The plan revision that the attempts were made under.

    Attributes
    ----------
    toe_m
        Shape (K,): planned footfalls, k = 0 the aim.
    phase_starts
        Footfalls at which transition and attack begin.
    check_footfall
        The footfall that the coach watches: before steering sets in, commonly 6 or 4 steps from
        the board (common practice, no source).
    """

    toe_m: npt.ArrayLike
    phase_starts: spread.PhaseStarts
    check_footfall: int = 6


def diagnose(
    toe_m: npt.ArrayLike,
    no_jump: npt.ArrayLike,
    *,
    plan: Plan,
    rng: np.random.Generator,
    session: npt.ArrayLike | None = None,
    wind_mps: npt.ArrayLike | None = None,
    grew: bool | None = None,
    settings: DiagnosisSettings = DEFAULT_SETTINGS,
) -> Diagnosis | NotEnoughAttempts:
    """Weigh what may be wrong with the attempts of one plan revision.

    Parameters
    ----------
    toe_m
        Shape (n, K), metres behind the take-off line, in the order of the attempts; the last
        column is where the run began. NaN where missing.
    no_jump
        Shape (n,), booleans.
    plan
        Of the revision.
    rng
        Source of chance of the resampling.
    session
        Shape (n,), labels in the order of the sessions; None for one session.
    wind_mps
        Shape (n,), positive a tail wind; NaN where not known.
    grew
        Whether heights say that the athlete has grown since the plan; None where nobody knows.
    settings
        Limits.

    Returns
    -------
    Diagnosis or NotEnoughAttempts
        `MIN_ATTEMPTS` attempts with the check footfall and the take-off toe are needed.

    Raises
    ------
    ValueError
        Shapes that do not fit, infinite values, a check footfall that the run-up does not have.

    Notes
    -----
    Errors are taken at the check footfall, where steering has not hidden them yet, and at the
    board. Within sessions a line on the place in the session (fatigue) and the wind is fitted by
    least squares; across sessions a line of the session means on the number of the session
    (growth, from four sessions on): `causes`. The mean error at the check footfall is the mark's:
    less what wind and place explain where their lines are shown, else as it is, for a line that
    chance drew would carry it off by decimetres.

    - **Wrong mark**: P(mean beyond 0.10 m at the check footfall, on one side) >= 0.8, and no line
      over sessions: a mark that moves away is not one mark that is wrong. One toward the pit in a
      body that did not grow hides no wrong mark: it is more often chance.
    - **Last steps**: the check footfall is met (P >= 0.8 within 0.10 m) and the board is missed (P
      >= 0.8 beyond 0.05 m): the mark is not the trouble.
    - **Growth, fatigue, wind**: the interval of the slope leaves out 0 (98 %), and its sign is that
      of the cause: for growth and for a tail wind toward the pit, for fatigue away from it. Lines
      over sessions and within them that go the other way are **shorter later** and **longer each
      time**. A line of fatigue of 90 % is enough, and the mark not wrong, where the mean is shown
      to be off and the first attempts of a session more likely are not.
    - **Unsteady part**: P(spread at the board > 0.10 m) >= 0.8, and one part of the run-up adds
      most spread in at least 0.6 of the resamples (`error_shares`).
    - **Late steering**: the board is unsteady likewise, and steps 5 to 3 take back less than half
      of what steps 2 and 1 do (P >= 0.8, `needed_made`). It goes before an unsteady part, which it
      lets through to the board.

    Edge cases: without wind or with one session the finding that needs it is left out.

    Source: the reasoning is ours, tried on simulated athletes with one known trouble each. Signs:
    growing legs take longer steps (Meyers et al. 2017, J Strength Cond Res 31:1009-1016, abstract),
    tired ones shorter ones (Girard et al. 2013, Int J Sports Med 34:832-840, abstract, over 5 km;
    that jumps with minutes between them tire so is our assumption).

    Examples
    --------
    >>> from analytics.core import simulator
    >>> athlete = simulator.Athlete(mark_error_m=0.30)
    >>> run_up = simulator.plan_run_up(athlete)
    >>> made = simulator.simulate(
    ...     athlete, attempts_by_session=[6] * 4, rng=np.random.default_rng(3)
    ... )
    >>> plan = Plan(run_up.toe_m, spread.PhaseStarts(transition=10, attack=6))
    >>> found = diagnose(
    ...     made.toe_m, made.no_jump, plan=plan, rng=np.random.default_rng(1), session=made.session
    ... )
    >>> found.main.value, round(found.findings[0].estimate, 1)
    ('wrong_mark', 0.3)
    """
    toe, planned = _check(toe_m, plan)
    _, beyond = conventions.check_attempts(toe[:, 0], no_jump)
    n_all = toe.shape[0]
    run = conventions.group_by(session, n=n_all).index
    wind = _check_wind(wind_mps, n=n_all)
    at_check = toe[:, plan.check_footfall] - planned[plan.check_footfall]
    at_board = toe[:, 0] - planned[0]
    usable = ~np.isnan(at_check) & ~np.isnan(at_board)
    n = int(usable.sum())
    if n < MIN_ATTEMPTS:
        return NotEnoughAttempts(n=n, needed=MIN_ATTEMPTS)

    place = causes.place_in_session(run)[usable]
    (check, check_mean), (board, board_mean) = (
        causes.lines_and_mean(
            error[usable],
            session=run[usable],
            place=place,
            wind_mps=wind[usable],
            level=settings.slope_level,
        )
        for error in (at_check, at_board)
    )
    tires = _tires(check, check_mean, settings)
    findings = [
        *_mark_findings(
            check_mean, board_mean, settings, drifts=tires or _drifts(check, settings, grew)
        ),
        *_slope_findings(check, settings, grew=grew, tires=tires),
        *_spread_findings(
            toe,
            beyond=beyond,
            planned=planned,
            plan=plan,
            board=board,
            rng=rng,
            settings=settings,
        ),
    ]
    ranked = sorted(findings, key=lambda finding: (not finding.shown, -finding.size_m))
    main = ranked[0].trouble if ranked and ranked[0].shown else None
    return Diagnosis(
        n=n, n_sessions=int(np.unique(run[usable]).size), main=main, findings=tuple(ranked)
    )


def _mark_findings(
    check: ErrorCauses, board: ErrorCauses, settings: DiagnosisSettings, *, drifts: bool
) -> list[Finding]:
    off = check.probability_beyond(settings.check_off_m)
    met = check.probability_within(settings.check_off_m)
    missed = board.probability_beyond(settings.board_off_m)
    return [
        Finding(
            trouble=Trouble.WRONG_MARK,
            shown=off >= settings.sure and not drifts,
            probability=off,
            estimate=check.mean_m,
            interval=check.mean_interval(),
            size_m=abs(check.mean_m),
        ),
        Finding(
            trouble=Trouble.LAST_STEPS,
            shown=met >= settings.sure and missed >= settings.sure,
            probability=min(met, missed),
            estimate=board.mean_m,
            interval=board.mean_interval(),
            size_m=abs(board.mean_m),
        ),
    ]


def _drifts(check: ErrorCauses, settings: DiagnosisSettings, grew: bool | None) -> bool:
    """Tell whether the mark moved away from session to session, rather than being wrong."""
    line = check.session
    if line is None or not line.is_shown(settings.slope_level):
        return False
    return _over_sessions(line, grew) is not Trouble.LONGER_LATER


def _tires(check: ErrorCauses, check_mean: ErrorCauses, settings: DiagnosisSettings) -> bool:
    """Tell whether the check footfall is missed on the mean, and most likely met at first."""
    line = check.place
    return (
        line is not None
        and _within_sessions(line) is Trouble.FATIGUE
        and line.is_shown(settings.tired_level)
        and check_mean.probability_beyond(settings.check_off_m) >= settings.sure
        and check.probability_beyond(settings.check_off_m) < 0.5
    )


def _slope_findings(
    check: ErrorCauses, settings: DiagnosisSettings, *, grew: bool | None, tires: bool
) -> list[Finding]:
    found = []
    for trouble, slope in (
        (_within_sessions(check.place), check.place),
        (Trouble.WIND, check.wind),
        (_over_sessions(check.session, grew), check.session),
    ):
        if slope is None or trouble is None:
            continue
        interval = conventions.t_interval(
            estimate=slope.estimate,
            standard_error=slope.standard_error,
            df=slope.df,
            level=settings.slope_level,
        )
        # A tail wind that brought the foot farther from the pit would be no wind effect.
        expected = trouble is not Trouble.WIND or slope.estimate < 0
        found.append(
            Finding(
                trouble=trouble,
                shown=expected
                and (slope.is_shown(settings.slope_level) or (tires and slope is check.place)),
                probability=1 - slope.p_value,
                estimate=slope.estimate,
                interval=interval,
                size_m=abs(slope.estimate) * slope.spread_of_cause,
            )
        )
    return found


def _within_sessions(slope: Slope | None) -> Trouble | None:
    """Return what a line on the place in the session may be, by its sign."""
    if slope is None:
        return None
    return Trouble.LONGER_EACH_TIME if slope.estimate < 0 else Trouble.FATIGUE


def _over_sessions(slope: Slope | None, grew: bool | None) -> Trouble | None:
    """Return what a line over sessions may be, by its sign and by what heights say."""
    if slope is None:
        return None
    if not growth.lengthens_steps(slope):
        return Trouble.SHORTER_LATER
    return Trouble.LONGER_LATER if grew is False else Trouble.GROWTH


def _spread_findings(
    toe: FloatArray,
    *,
    beyond: conventions.BoolArray,
    planned: FloatArray,
    plan: Plan,
    board: ErrorCauses,
    rng: np.random.Generator,
    settings: DiagnosisSettings,
) -> list[Finding]:
    if board.sd_df < 1:
        return []
    # P(sigma > limit | sd): with a flat prior on log sigma, df sd^2 / sigma^2 is chi-square.
    unsteady = float(
        stats.chi2.cdf(board.sd_df * (board.sd_m / settings.unsteady_m) ** 2, board.sd_df)
    )
    interval = conventions.sd_interval(
        sd=board.sd_m, df=board.sd_df, level=conventions.DEFAULT_LEVEL
    )
    starts = plan.phase_starts
    shares = error_shares.error_shares(
        toe[:, -1],
        toe[:, starts.transition],
        toe[:, starts.attack],
        toe[:, 0],
        planned=error_shares.PlannedParts(
            float(planned[-1]),
            float(planned[starts.transition]),
            float(planned[starts.attack]),
            float(planned[0]),
        ),
        rng=rng,
        n_resamples=200,
    )
    late = needed_made.steers_late(toe)
    part, sure_of_part, added = None, False, board.sd_m
    if not isinstance(shares, NotEnoughAttempts):
        part = error_shares.PARTS[shares.adds_most]
        sure_of_part = bool(shares.adds_most_frequency[shares.adds_most] >= 0.6)
        added = float(shares.added_sd_m[shares.adds_most])
    is_unsteady = unsteady >= settings.sure
    steers_late = is_unsteady and late >= settings.sure
    return [
        Finding(
            trouble=Trouble.LATE_STEERING,
            shown=steers_late,
            probability=min(unsteady, late),
            estimate=board.sd_m,
            interval=interval,
            size_m=board.sd_m,
        ),
        Finding(
            trouble=Trouble.UNSTEADY_PART,
            shown=is_unsteady and sure_of_part and not steers_late,
            probability=unsteady,
            estimate=added,
            interval=interval,
            size_m=board.sd_m,
            part=part,
        ),
    ]


def _check(toe_m: npt.ArrayLike, plan: Plan) -> tuple[FloatArray, FloatArray]:
    toe = np.asarray(toe_m, dtype=np.float64)
    planned = np.asarray(plan.toe_m, dtype=np.float64)
    if toe.ndim != 2 or planned.shape != toe.shape[1:] or not np.all(np.isfinite(planned)):
        raise ValueError(
            f"toe_m needs attempts by the footfalls of the plan, "
            f"got shapes {toe.shape} and {planned.shape}"
        )
    conventions.check_not_infinite(toe, name="toe_m")
    if not 0 < plan.check_footfall < planned.size - 1:
        raise ValueError(f"the run-up has no check footfall {plan.check_footfall}")
    if plan.phase_starts.transition >= planned.size - 1:
        raise ValueError(f"the run-up has no footfall {plan.phase_starts.transition}")
    return toe, planned


def _check_wind(wind_mps: npt.ArrayLike | None, *, n: int) -> FloatArray:
    if wind_mps is None:
        return np.full(n, np.nan)
    wind = np.asarray(wind_mps, dtype=np.float64)
    if wind.shape != (n,):
        raise ValueError(f"wind_mps needs one value for each of {n} attempts, got {wind.shape}")
    conventions.check_not_infinite(wind, name="wind_mps")
    return wind
