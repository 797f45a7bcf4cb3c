"""What a season brought to one run-up. Figures only; `season_words` says them."""

from collections.abc import Sequence
from dataclasses import dataclass, replace
from datetime import date, datetime
from uuid import UUID

import numpy as np

from analytics.answers import practice_focus
from analytics.answers.practice_focus import Focus
from analytics.core import breaks, conventions, gate_speeds, last_steps
from analytics.core import season_ends as ends
from analytics.core.breaks import Shift
from analytics.core.conventions import (
    BOARD_WIDTH_M,
    DEFAULT_LEVEL,
    FloatArray,
    Interval,
    NotEnoughAttempts,
)
from analytics.core.season_ends import BoardChange, MeanChange
from analytics.selectors import Body, RunUps
from analytics.selectors.seasons import Season, SeasonRunUp, SeasonSession

# As many of the last attempts as practice-focus looks at unless it is asked for others.
LAST = 40

# Equal attempts give equal answers.
_SEED = 20
_DAYS_OF_YEAR = 365.25


@dataclass(frozen=True, slots=True)
class Revision:
    """A revision of the plan, and by how much it moved the start mark.

    `moved_m` is negative toward the pit; None for the first that the season knows.
    """

    plan: UUID
    revision: int
    valid_from: datetime
    start_mark_m: float
    moved_m: float | None
    aim_m: float
    reason: str
    advice: UUID | None
    n: int


@dataclass(frozen=True, slots=True)
class Share:
    """Attempts of a kind among attempts of which that is known, with Wilson's interval."""

    n: int
    k: int
    share: float
    interval: Interval


@dataclass(frozen=True, slots=True)
class KindShare:
    """No jumps in sessions of one kind."""

    kind: str
    n_sessions: int
    no_jumps: Share


@dataclass(frozen=True, slots=True)
class Board:
    """How the board was used; None where nothing is known of it."""

    on_board: Share | None
    no_jumps: Share | None
    by_kind: tuple[KindShare, ...]


@dataclass(frozen=True, slots=True)
class LevelShift:
    """A lasting shift of the level at the board: first session of the later part, and how sure."""

    first_session_date: date
    earliest_date: date
    latest_date: date
    change_m: float
    interval_m: Interval
    p: float


@dataclass(frozen=True, slots=True)
class NoShift:
    """None is shown."""

    n_sessions: int
    p: float


@dataclass(frozen=True, eq=False)
class RunUpSeason:
    """The season of one run-up."""

    found: SeasonRunUp
    n_sessions: int
    first_date: date | None
    last_date: date | None
    revisions: tuple[Revision, ...]
    change: BoardChange | NotEnoughAttempts
    shift: LevelShift | NoShift | NotEnoughAttempts
    board: Board
    length_ratio_2: MeanChange | NotEnoughAttempts
    length_ratio_1: MeanChange | NotEnoughAttempts
    speed_6_1_mps: MeanChange | NotEnoughAttempts
    speed_gain_mps: MeanChange | NotEnoughAttempts
    focus: Focus
    n_official: int
    n_wind: int


def work_out_run_up(found: SeasonRunUp, season: Season) -> RunUpSeason:
    """Return the figures of one run-up."""
    run_ups = found.run_ups
    sessions = [season.sessions[each].held_date for each in run_ups.session_ids]
    labels = run_ups.session_labels
    zones = gate_speeds.zone_speeds(run_ups.gate_at_m, run_ups.gate_time_s)
    ratios = last_steps.step_ratios(_four(run_ups.toe_m))
    return RunUpSeason(
        found=found,
        n_sessions=len(set(run_ups.session_ids)),
        first_date=min(sessions, default=None),
        last_date=max(sessions, default=None),
        revisions=_revisions(found),
        change=ends.change_at_board(
            run_ups.board_toe_m,
            run_ups.no_jump,
            session=labels,
            aim_m=run_ups.aim_m,
            revision=run_ups.revisions,
        ),
        shift=_shift(run_ups, season),
        board=_board(run_ups, season),
        length_ratio_2=ends.change_of_mean(ratios.length_ratio_2, session=labels),
        length_ratio_1=ends.change_of_mean(ratios.length_ratio_1, session=labels),
        speed_6_1_mps=ends.change_of_mean(zones.speed_6_1_mps, session=labels),
        speed_gain_mps=ends.change_of_mean(zones.gain_mps, session=labels),
        focus=practice_focus.work_out(_last_of(found), body=_body(found, season)),
        n_official=int(np.count_nonzero(run_ups.official_m > 0)),
        n_wind=int(np.count_nonzero(~np.isnan(run_ups.wind_mps))),
    )


def _last_of(found: SeasonRunUp) -> RunUps:
    """Return the season's last attempts, as if the plan of its end were the one of now."""
    run_ups = found.run_ups[-LAST:]
    return replace(run_ups, marks_now=run_ups.latest_marks())


def _body(found: SeasonRunUp, season: Season) -> Body:
    """Return what was known of the athlete on the season's last day."""
    approach, last_day = found.approach, season.to_date.toordinal()
    return Body(
        today=last_day,
        age_years=(season.to_date - season.athlete.birth_date).days / _DAYS_OF_YEAR,
        event=approach.event,
        steps=approach.steps,
        plan_day=found.plans[-1].valid_from.date().toordinal() if found.plans else None,
        heights=tuple(season.heights),
        jumps=tuple(
            (each.held_date.toordinal(), each.session_id)
            for each in season.jumps
            if each.steps >= approach.steps
        ),
        going_on=frozenset(),
    )


def _four(footfalls: FloatArray) -> FloatArray:
    """Return footfalls of a run-up of two steps as if a third one had not been measured."""
    missing = max(0, 4 - footfalls.shape[1])
    return np.pad(footfalls, ((0, 0), (0, missing)), constant_values=np.nan)


def _revisions(found: SeasonRunUp) -> tuple[Revision, ...]:
    counts = {each.id: 0 for each in found.plans}
    for plan_id in found.run_ups.plan_ids:
        if plan_id in counts:
            counts[plan_id] += 1
    before: float | None = None
    revisions = []
    for plan in found.plans:
        revisions.append(
            Revision(
                plan=plan.id,
                revision=plan.revision,
                valid_from=plan.valid_from,
                start_mark_m=plan.start_mark_m,
                moved_m=None if before is None else round(plan.start_mark_m - before, 3),
                aim_m=plan.aim_m,
                reason=plan.reason,
                advice=plan.advice_id,
                n=counts[plan.id],
            )
        )
        before = plan.start_mark_m
    return tuple(revisions)


def _shift(run_ups: RunUps, season: Season) -> LevelShift | NoShift | NotEnoughAttempts:
    """Look for one lasting shift of the sessions' mean errors at the board."""
    order = list(dict.fromkeys(run_ups.session_ids))
    error = run_ups.board_toe_m - run_ups.aim_m
    labels = run_ups.session_labels
    measured = ~np.isnan(error)
    # A session of which no toe was measured has no mean.
    counts = np.bincount(labels[measured], minlength=len(order))
    sums = np.bincount(labels[measured], weights=error[measured], minlength=len(order))
    means = np.where(counts > 0, sums / np.maximum(counts, 1), np.nan)
    found = breaks.find_break(means, rng=np.random.default_rng(_SEED))
    if isinstance(found, NotEnoughAttempts):
        return found
    if found.shift is None:
        return NoShift(n_sessions=found.n, p=found.p)
    return _dated(found.shift, [season.sessions[each] for each in order], p=found.p)


def _dated(shift: Shift, sessions: Sequence[SeasonSession], *, p: float) -> LevelShift:
    return LevelShift(
        first_session_date=sessions[shift.after].held_date,
        earliest_date=sessions[shift.earliest].held_date,
        latest_date=sessions[shift.latest].held_date,
        change_m=shift.change_m,
        interval_m=shift.interval_m,
        p=p,
    )


def _share(k: int, n: int) -> Share | None:
    if n == 0:
        return None
    interval = conventions.wilson_interval(successes=k, n=n, level=DEFAULT_LEVEL)
    return Share(n=n, k=k, share=k / n, interval=interval)


def _board(run_ups: RunUps, season: Season) -> Board:
    toe, beyond = conventions.check_attempts(run_ups.board_toe_m, run_ups.no_jump)
    is_known = ~np.isnan(toe) | beyond
    on_board = (toe >= 0) & (toe <= BOARD_WIDTH_M)
    kinds = np.array([season.sessions[each].kind for each in run_ups.session_ids], dtype=np.str_)
    by_kind = []
    for kind in sorted(set(kinds.tolist())):
        those = kinds == kind
        share = _share(int(beyond[those].sum()), int(those.sum()))
        if share is not None:
            held = {run_ups.session_ids[place] for place in np.flatnonzero(those).tolist()}
            by_kind.append(KindShare(kind=kind, n_sessions=len(held), no_jumps=share))
    return Board(
        on_board=_share(int(on_board.sum()), int(is_known.sum())),
        no_jumps=_share(int(beyond.sum()), int(toe.size)),
        by_kind=tuple(by_kind),
    )
