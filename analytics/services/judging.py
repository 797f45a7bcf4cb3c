"""What the charts say of finished sessions, and the alerts that follow.

The points of a series form a chain: each starts from the state that the one before it left, so a
new session costs the same after ten sessions as after a thousand. When something changes in the
past, the chain is made anew from the first session that it touches.
"""

from collections.abc import Iterator, Mapping
from dataclasses import asdict, dataclass, field
from datetime import datetime, time, timedelta
from typing import Any
from uuid import UUID
from zoneinfo import ZoneInfo

import numpy as np
from django.db.models import Q

from analytics import selectors
from analytics.core import alert_rules, baselines, following
from analytics.core.alert_rules import CLOSED, Decision, Kind, Memory, RuleSettings, Verdict
from analytics.core.baselines import Baseline
from analytics.core.conventions import NotEnoughAttempts
from analytics.core.following import START, ChartState
from analytics.models import AlertRule, SessionPoint
from analytics.selectors import Series, SeriesAttempts
from analytics.services import figures
from clubs.models import Club

# A session without an attempt for so long has finished, and so has one of an earlier day.
QUIET_FOR = timedelta(hours=1)


@dataclass(frozen=True, slots=True)
class Rules:
    """The thresholds that hold in a club, and which rules it listens to."""

    settings: RuleSettings
    active: frozenset[Kind]


def rules_of(club: Club) -> Rules:
    """Return the defaults with what the club set otherwise."""
    own = {rule.kind: rule for rule in AlertRule.objects.all()}
    thresholds: dict[str, Any] = {}
    for rule in own.values():
        thresholds |= rule.thresholds
    return Rules(
        settings=RuleSettings(**thresholds),
        active=frozenset(kind for kind in Kind if kind not in own or own[kind].is_active),
    )


@dataclass(frozen=True, slots=True)
class Event:
    """An alert opens or closes with a session."""

    decision: Decision
    attempt_id: UUID
    at: datetime
    plan_id: UUID | None


@dataclass(frozen=True, slots=True)
class Judged:
    """What judging left: the alerts' events in order, and what still waits."""

    events: list[Event]
    since: datetime | None  # events before this moment are as they were
    kept_attempts: frozenset[UUID]  # sessions after `since` that were not judged again
    unjudged_since: datetime | None
    due_at: datetime | None


@dataclass(frozen=True, slots=True)
class _Group:
    """The attempts of one session under one plan revision, by their places in the series."""

    session_id: UUID
    plan_id: UUID | None
    places: list[int]


@dataclass(slots=True)
class _Chain:
    """What one session point hands to the next."""

    plan_id: UUID | None
    baseline: Baseline | None = None
    state: ChartState = START
    memories: dict[Kind, Memory] = field(default_factory=lambda: dict.fromkeys(Kind, CLOSED))

    def as_json(self) -> dict[str, Any]:
        return {
            "baseline": None if self.baseline is None else asdict(self.baseline),
            "state": asdict(self.state),
            "memories": {kind.value: asdict(memory) for kind, memory in self.memories.items()},
        }

    @classmethod
    def after(cls, point: SessionPoint) -> "_Chain":
        stored = point.chart_state
        return cls(
            plan_id=point.plan_id,
            baseline=None if stored["baseline"] is None else Baseline(**stored["baseline"]),
            state=ChartState(**stored["state"]),
            memories={Kind(kind): Memory(**each) for kind, each in stored["memories"].items()},
        )


def judge_sessions(*, club: Club, series: Series, since: datetime | None, now: datetime) -> Judged:
    """Judge every finished session that has an attempt at or after `since`, and those after it.

    `since` None means all of them. Call it in the club's scope with the series locked.
    """
    points = SessionPoint.objects.filter(
        approach_id=series.approach_id, finish_class=series.finish_class
    )
    if since is not None:
        # A judged session may have been longer, or may have grown since.
        grown = selectors.list_sessions_since(series, since)
        touched = (
            points.filter(Q(last_started_at__gte=since) | Q(session_id__in=grown))
            .order_by("first_started_at")
            .first()
        )
        if touched is not None:
            since = min(since, touched.first_started_at)
    redone = points if since is None else points.filter(first_started_at__gte=since)
    redone.delete()
    before = points.order_by("-first_started_at", "-session_id").first()
    kept = [] if since is None else list(points.filter(last_started_at__gte=since))

    attempts = selectors.read_series(series, since=since, before_that=figures.TWO_BLOCKS - 1)
    groups = _group(
        attempts, since=since, without={(point.session_id, point.plan_id) for point in kept}
    )
    rules = rules_of(club)
    chain = None if before is None else _Chain.after(before)
    events: list[Event] = []
    made: list[SessionPoint] = []
    unjudged_since = due_at = None
    for group in groups:
        first, last = group.places[0], group.places[-1]
        finishes_at = _finishes_at(attempts.started_at[last], club)
        if finishes_at > now:
            # Later sessions wait, too: the chain goes in order.
            unjudged_since, due_at = attempts.started_at[first], finishes_at
            break
        if chain is None or chain.plan_id != group.plan_id:
            events += _close_all(chain, attempts, group)
            chain = _Chain(plan_id=group.plan_id)
        point, decisions = _judge(series, attempts, group, chain, rules, made)
        made.append(point)
        events += [
            Event(decision, attempts.ids[last], attempts.started_at[last], group.plan_id)
            for decision in decisions
            if decision.verdict in {Verdict.OPENS, Verdict.CLOSES}
        ]
    for point in made:
        point.club = club
    SessionPoint.objects.bulk_create(made)
    return Judged(
        events=events,
        since=since,
        kept_attempts=frozenset(point.last_attempt_id for point in kept),
        unjudged_since=unjudged_since,
        due_at=due_at,
    )


def _group(
    attempts: SeriesAttempts,
    *,
    since: datetime | None,
    without: set[tuple[UUID, UUID | None]],
) -> list[_Group]:
    """Return sessions in the order of their first attempts."""
    places: dict[tuple[UUID, UUID | None], list[int]] = {}
    for place, started_at in enumerate(attempts.started_at):
        key = (attempts.session_ids[place], attempts.plan_ids[place])
        if (since is None or started_at >= since) and key not in without:
            places.setdefault(key, []).append(place)
    groups = [_Group(*key, found) for key, found in places.items()]
    return sorted(
        groups, key=lambda group: (attempts.started_at[group.places[0]], group.session_id)
    )


def _finishes_at(last_started_at: datetime, club: Club) -> datetime:
    zone = ZoneInfo(club.time_zone)
    next_day = last_started_at.astimezone(zone).date() + timedelta(days=1)
    midnight = datetime.combine(next_day, time(), tzinfo=zone)
    return min(last_started_at + QUIET_FOR, midnight)


def _judge(
    series: Series,
    attempts: SeriesAttempts,
    group: _Group,
    chain: _Chain,
    rules: Rules,
    made: list[SessionPoint],
) -> tuple[SessionPoint, list[Decision]]:
    """Move the chain on by one session; return its point and what the rules decided."""
    places = np.array(group.places)
    toe_m, no_jump = attempts.board_toe_m[places], attempts.no_jump[places]
    last = group.places[-1]
    measured: following.SessionPoint | NotEnoughAttempts | None = None
    decisions: list[Decision] = []
    if chain.baseline is None:
        chain.baseline = _find_baseline(series, attempts, group, made)
    else:
        measured = following.summarise_session(toe_m, no_jump, baseline=chain.baseline)
        if isinstance(measured, following.SessionPoint):
            chain.state = following.follow_session(chain.state, measured, baseline=chain.baseline)
            for judge, kind in (
                (alert_rules.judge_level, Kind.LEVEL),
                (alert_rules.judge_spread, Kind.SPREAD),
            ):
                decisions.append(
                    judge(
                        chain.state, chain.baseline, chain.memories[kind], settings=rules.settings
                    )
                )
    n_no_jumps, n = _window_counts(attempts, last)
    decisions.append(
        alert_rules.judge_no_jump_share(
            n_no_jumps, n, chain.memories[Kind.NO_JUMP_SHARE], settings=rules.settings
        )
    )
    block = rules.settings.progress_block_attempts
    decisions.append(
        alert_rules.judge_progress(
            figures.compare_at(attempts, last + 1, block=block),
            chain.memories[Kind.PROGRESS],
            settings=rules.settings,
        )
    )
    decisions = [decision for decision in decisions if decision.kind in rules.active]
    for decision in decisions:
        chain.memories[decision.kind] = decision.memory
    point = SessionPoint(
        approach_id=series.approach_id,
        finish_class=series.finish_class,
        session_id=group.session_id,
        plan_id=group.plan_id,
        first_started_at=attempts.started_at[group.places[0]],
        last_started_at=attempts.started_at[last],
        last_attempt_id=attempts.ids[last],
        figures={
            "n": len(group.places),
            "session": figures.as_json(measured),
            "evidence": {each.kind.value: _plain(each.evidence) for each in decisions},
        },
        chart_state=chain.as_json(),
    )
    return point, decisions


def _find_baseline(
    series: Series, attempts: SeriesAttempts, group: _Group, made: list[SessionPoint]
) -> Baseline | None:
    """Return the baseline when the sessions of this plan, this one included, complete it."""
    stored = list(
        SessionPoint.objects.filter(
            approach_id=series.approach_id, finish_class=series.finish_class, plan=group.plan_id
        ).order_by("first_started_at", "session_id")
    )
    sessions = [point.session_id for point in [*stored, *made] if point.plan_id == group.plan_id]
    if stored:
        attempts = selectors.read_series(series, since=stored[0].first_started_at)
    sessions.append(group.session_id)
    ordered = [
        place
        for session_id in sessions
        for place in range(len(attempts))
        if attempts.session_ids[place] == session_id and attempts.plan_ids[place] == group.plan_id
    ]
    part = np.array(ordered)
    found = baselines.find_baseline(
        attempts.board_toe_m[part],
        attempts.no_jump[part],
        np.array([sessions.index(attempts.session_ids[place]) for place in ordered]),
        aim_m=float(attempts.aim_m[part[-1]]),
    )
    return found if isinstance(found, Baseline) else None


def _window_counts(attempts: SeriesAttempts, last: int) -> tuple[int, int]:
    """Return no jumps and attempts in the rolling window that ends at place `last`."""
    start = max(0, last + 1 - figures.WINDOW)
    window = attempts[start : last + 1]
    same = window.revisions == attempts.revisions[last]
    # The window restarts at a plan revision.
    begin = int(np.flatnonzero(~same)[-1]) + 1 if not same.all() else 0
    beyond = window.no_jump | (window.board_toe_m < 0)
    return int(beyond[begin:].sum()), int(beyond[begin:].size)


def _close_all(chain: _Chain | None, attempts: SeriesAttempts, group: _Group) -> Iterator[Event]:
    """Close what is open when a new plan revision begins."""
    if chain is None:
        return
    first = group.places[0]
    for kind, memory in chain.memories.items():
        decision = alert_rules.judge_plan_change(kind, memory)
        if decision.verdict is Verdict.CLOSES:
            yield Event(decision, attempts.ids[first], attempts.started_at[first], group.plan_id)


def _plain(evidence: Mapping[str, Any]) -> dict[str, Any]:
    return {name: figures.as_json(value) for name, value in evidence.items()}
