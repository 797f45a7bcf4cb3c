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
from django.db.models import Q, QuerySet

from analytics import selectors
from analytics.core import alert_rules, baselines, following
from analytics.core.alert_rules import CLOSED, Decision, Memory, Verdict
from analytics.core.alert_settings import Kind, RuleSettings
from analytics.core.baselines import Baseline
from analytics.core.conventions import NotEnoughAttempts
from analytics.core.following import START, ChartState
from analytics.models import SessionPoint
from analytics.selectors import Series, SeriesAttempts
from analytics.services import figures
from clubs.models import Club

# A session without an attempt for so long has finished, and so has one of an earlier day.
QUIET_FOR = timedelta(hours=1)
# Attempts kept for a baseline. Where the board is hardly ever measured it may never come; the
# oldest then make room, so that a session costs the same however long the series is.
MOST_MATERIAL = 200


@dataclass(frozen=True, slots=True)
class Rules:
    """The thresholds that hold in a club, by kind; a rule that is off is not judged."""

    settings: Mapping[Kind, RuleSettings]
    active: frozenset[Kind]
    stamp: int  # grows with each change of a rule; 0 while the club has set nothing

    @property
    def reach(self) -> int:
        """Return how many attempts the judgement of one session looks at."""
        return max(figures.WINDOW, 2 * self.settings[Kind.PROGRESS].progress_block_attempts)


def rules_of_club() -> Rules:
    """Return the defaults with what the club in scope set otherwise."""
    held = selectors.list_alert_rules()
    return Rules(
        settings={rule.kind: rule.settings for rule in held},
        active=frozenset(rule.kind for rule in held if rule.is_active),
        stamp=selectors.stamp_of(held),
    )


@dataclass(frozen=True, slots=True)
class Event:
    """An alert opens or closes with a session."""

    decision: Decision
    session_id: UUID
    attempt_id: UUID
    at: datetime
    plan_id: UUID | None


@dataclass(frozen=True, slots=True)
class Judged:
    """What judging left: the alerts' events in order, and what still waits."""

    events: list[Event]
    since: datetime | None  # sessions that began before this moment are as they were
    kept_attempts: frozenset[UUID]  # the last ones of such sessions, if they lasted longer
    open_before: Mapping[Kind, UUID]  # alerts that the first event finds open, by opening attempt
    unjudged_since: datetime | None
    due_at: datetime | None


@dataclass(frozen=True, slots=True)
class _Group:
    """The attempts of one session under one plan revision, by their places in the series."""

    session_id: UUID
    plan_id: UUID | None
    places: list[int]


Material = tuple[int, float | None, bool]
"""One attempt that may help to make a baseline: number of its session, toe, no jump."""


@dataclass(slots=True)
class _Chain:
    """What one session point hands to the next."""

    plan_id: UUID | None
    baseline: Baseline | None = None
    # Attempts of the revision so far, until they make a baseline.
    material: list[Material] = field(default_factory=list)
    n_sessions: int = 0
    state: ChartState = START
    memories: dict[Kind, Memory] = field(default_factory=lambda: dict.fromkeys(Kind, CLOSED))
    # With which attempt each alert opened that is open.
    opened_with: dict[Kind, UUID] = field(default_factory=dict)

    def as_json(self) -> dict[str, Any]:
        return {
            "baseline": None if self.baseline is None else asdict(self.baseline),
            "material": [list(each) for each in self.material],
            "n_sessions": self.n_sessions,
            "state": asdict(self.state),
            "memories": {kind.value: asdict(memory) for kind, memory in self.memories.items()},
            "opened_with": {kind.value: str(each) for kind, each in self.opened_with.items()},
        }

    @classmethod
    def after(cls, point: SessionPoint) -> "_Chain":
        stored = point.chart_state
        return cls(
            plan_id=point.plan_id,
            baseline=None if stored["baseline"] is None else Baseline(**stored["baseline"]),
            material=[(number, toe, beyond) for number, toe, beyond in stored["material"]],
            n_sessions=stored["n_sessions"],
            state=ChartState(**stored["state"]),
            memories={Kind(kind): Memory(**each) for kind, each in stored["memories"].items()},
            opened_with={Kind(kind): UUID(each) for kind, each in stored["opened_with"].items()},
        )

    def decide(self, decision: Decision, attempt_id: UUID) -> None:
        """Remember a decision that was made with the session that ends with `attempt_id`."""
        self.memories[decision.kind] = decision.memory
        if decision.verdict is Verdict.OPENS:
            self.opened_with[decision.kind] = attempt_id
        elif decision.verdict is Verdict.CLOSES:
            del self.opened_with[decision.kind]


@dataclass(frozen=True, slots=True)
class Waiting:
    """The session that is still open, for which it and all later ones wait."""

    unjudged_since: datetime
    due_at: datetime


def find_open_session(
    *, club: Club, series: Series, since: datetime | None, now: datetime
) -> Waiting | None:
    """Return the open session when nothing from `since` on can be judged, else None.

    This is what nearly every refresh meets, and what it costs does not grow with the session.
    """
    if since is None:
        return None
    if _list_touched(series, since).exists():
        return None
    span = selectors.find_first_open(series, since)
    if span is None:
        return None
    finishes_at = _finishes_at(span[1], club)
    return Waiting(unjudged_since=span[0], due_at=finishes_at) if finishes_at > now else None


def _list_touched(series: Series, since: datetime) -> QuerySet[SessionPoint]:
    """Return the judged sessions that a change from `since` on may have made longer or shorter."""
    grown = selectors.list_sessions_since(series, since)
    return SessionPoint.objects.filter(
        Q(last_started_at__gte=since) | Q(session_id__in=grown),
        approach_id=series.approach_id,
        finish_class=series.finish_class,
    )


def judge_sessions(
    *, club: Club, series: Series, rules: Rules, since: datetime | None, now: datetime
) -> Judged:
    """Judge every finished session that has an attempt at or after `since`, and those after it.

    `since` None means all of them. Call it in the club's scope with the series locked.
    """
    points = SessionPoint.objects.filter(
        approach_id=series.approach_id, finish_class=series.finish_class
    )
    if since is not None:
        touched = _list_touched(series, since).order_by("first_started_at").first()
        if touched is not None:
            since = min(since, touched.first_started_at)
    redone = points if since is None else points.filter(first_started_at__gte=since)
    redone.delete()
    before = points.order_by("-first_started_at", "-session_id").first()
    kept = [] if since is None else list(points.filter(last_started_at__gte=since))

    attempts = selectors.read_series(series, since=since, before_that=rules.reach - 1)
    groups = _group(
        attempts, since=since, without={(point.session_id, point.plan_id) for point in kept}
    )
    chain = None if before is None else _Chain.after(before)
    open_before = {} if chain is None else dict(chain.opened_with)
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
        decisions, measured = _judge(attempts, group, chain, rules)
        made.append(
            SessionPoint(
                club=club,
                approach_id=series.approach_id,
                finish_class=series.finish_class,
                session_id=group.session_id,
                plan_id=group.plan_id,
                first_started_at=attempts.started_at[first],
                last_started_at=attempts.started_at[last],
                last_attempt_id=attempts.ids[last],
                figures={
                    "n": len(group.places),
                    "session": figures.as_json(measured),
                    "evidence": {each.kind.value: _plain(each.evidence) for each in decisions},
                },
                chart_state=chain.as_json(),
            )
        )
        events += [
            Event(
                decision=decision,
                session_id=group.session_id,
                attempt_id=attempts.ids[last],
                at=attempts.started_at[last],
                plan_id=group.plan_id,
            )
            for decision in decisions
            if decision.verdict in {Verdict.OPENS, Verdict.CLOSES}
        ]
    SessionPoint.objects.bulk_create(made, batch_size=500)
    return Judged(
        events=events,
        since=since,
        kept_attempts=frozenset(point.last_attempt_id for point in kept),
        open_before=open_before,
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
    attempts: SeriesAttempts, group: _Group, chain: _Chain, rules: Rules
) -> tuple[list[Decision], following.SessionPoint | NotEnoughAttempts | None]:
    """Move the chain on by one session; return what was decided, and what was measured."""
    last = group.places[-1]
    measured: following.SessionPoint | NotEnoughAttempts | None = None
    decisions: list[Decision] = []
    if chain.baseline is None:
        _look_for_baseline(attempts, group, chain)
    else:
        places = np.array(group.places)
        measured = following.summarise_session(
            attempts.board_toe_m[places], attempts.no_jump[places], baseline=chain.baseline
        )
        # A session that says nothing about the board neither alarms nor calms.
        if isinstance(measured, following.SessionPoint):
            chain.state = following.follow_session(chain.state, measured, baseline=chain.baseline)
            for judge, kind in (
                (alert_rules.judge_level, Kind.LEVEL),
                (alert_rules.judge_spread, Kind.SPREAD),
            ):
                settings = rules.settings[kind]
                decisions.append(
                    judge(chain.state, chain.baseline, chain.memories[kind], settings=settings)
                )
    n_no_jumps, n = _window_counts(attempts, last)
    decisions.append(
        alert_rules.judge_no_jump_share(
            n_no_jumps,
            n,
            chain.memories[Kind.NO_JUMP_SHARE],
            settings=rules.settings[Kind.NO_JUMP_SHARE],
        )
    )
    settings = rules.settings[Kind.PROGRESS]
    decisions.append(
        alert_rules.judge_progress(
            figures.compare_at(attempts, last + 1, block=settings.progress_block_attempts),
            chain.memories[Kind.PROGRESS],
            settings=settings,
        )
    )
    decisions = [decision for decision in decisions if decision.kind in rules.active]
    for decision in decisions:
        chain.decide(decision, attempts.ids[last])
    return decisions, measured


def _look_for_baseline(attempts: SeriesAttempts, group: _Group, chain: _Chain) -> None:
    """Add the session to what may make a baseline, and make it as soon as it is enough."""
    for place in group.places:
        toe, beyond = float(attempts.board_toe_m[place]), bool(attempts.no_jump[place])
        if beyond or not np.isnan(toe):
            chain.material.append((chain.n_sessions, figures.as_json(toe), beyond))
    chain.n_sessions += 1
    chain.material = chain.material[-MOST_MATERIAL:]
    if not chain.material:
        return
    session, toe_m, no_jump = zip(*chain.material, strict=True)
    found = baselines.find_baseline(
        np.array(toe_m, dtype=np.float64),  # reads None as NaN
        np.array(no_jump),
        np.array(session),
        aim_m=float(attempts.aim_m[group.places[-1]]),
    )
    if isinstance(found, Baseline):
        chain.baseline, chain.material = found, []


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
            yield Event(
                decision=decision,
                session_id=group.session_id,
                attempt_id=attempts.ids[first],
                at=attempts.started_at[first],
                plan_id=group.plan_id,
            )


def _plain(evidence: Mapping[str, Any]) -> dict[str, Any]:
    return {name: figures.as_json(value) for name, value in evidence.items()}
