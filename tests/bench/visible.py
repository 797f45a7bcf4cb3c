"""`visible`: from the answer of a push to the figure that knows the attempt, under load."""

import cProfile
import json
import math
import sys
from collections.abc import Callable, Sequence
from contextlib import ExitStack
from dataclasses import replace
from datetime import datetime

import psycopg
from celery import Celery
from django.utils import timezone

from tests.bench import profiling
from tests.bench.load import SENDERS, Load, Pace, run_load
from tests.bench.options import VisibleOptions
from tests.bench.outcome import Figures, Outcome, Target
from tests.bench.readings import ATHLETES, Measured, Runs
from tests.bench.rounds import percentiles
from tests.bench.scene import Scene
from tests.bench.stand import Door, Stand

WARM_UP_SECONDS = 3.0


def measure(stand: Stand, options: VisibleOptions) -> Outcome:
    stand.migrate()
    stand.make_stock()
    scene = Scene.make()
    subject = _subject(stand, scene, options)
    peer = _peer(stand, _pace(options, "peer", options.other_seconds))
    limit = _limit(stand, _pace(options, "limit", options.other_seconds))
    if options.profile:
        _profile(scene)
    visible, p95 = percentiles(subject.delays_s), percentiles(peer.delays_s)["p95"]
    floor = percentiles(limit.delays_s)
    return Outcome(
        name="visible",
        figures={
            "what": "from the answer of a push over HTTP to the trend, read over HTTP, that has it",
            **_figures(subject),
            "polls_per_s": options.polls,
            "batch": options.batch,
        },
        peer={
            "what": "rows written straight into the database, one Celery task for each attempt",
            **_figures(peer),
        },
        limit={
            "what": "the figure written by the pusher itself: what the observer adds",
            **_figures(limit),
        },
        ratios={
            "p95_to_peer": visible["p95"] / p95,
            "p95_to_limit": visible["p95"] / floor["p95"],
            "p95_beyond_limit_s": visible["p95"] - floor["p95"],
        },
        targets={
            "visible_p95_s": Target(visible["p95"], at_most=1.0),
            "visible_p99_s": Target(visible["p99"], at_most=2.0),
            "backlog_zero_s": Target(_or_never(subject.backlog_zero_s), at_most=5.0),
            "unseen": Target(subject.unseen, at_most=0),
            "attempts_per_s": Target(subject.attempts_per_s, at_least=0.98 * options.rate),
        },
    )


def _figures(load: Load) -> Figures:
    return {
        "attempts": load.sent,
        "attempts_per_s": load.attempts_per_s,
        "visible_s": percentiles(load.delays_s),
        "push_s": percentiles(load.pushes_s),
        "backlog_zero_s": load.backlog_zero_s,
        "unseen": load.unseen,
    }


def _or_never(seconds: float | None) -> float:
    return math.inf if seconds is None else seconds


def _pace(options: VisibleOptions, name: str, seconds: float) -> Pace:
    return Pace(name, seconds, rate=options.rate, batch=options.batch, polls=options.polls)


def _subject(stand: Stand, scene: Scene, options: VisibleOptions) -> Load:
    """Load the local stack: web, one worker, beat."""
    with (
        stand.web() as web,
        stand.worker("config.celery", stand.environment),
        stand.beat(),
        web.another(token=f"Bearer {scene.admin_token}") as reader,
        _Counter(stand, "SELECT count(*) FROM approaches_pendingrefresh") as backlog,
        ExitStack() as doors,
    ):
        senders = [
            _device(doors.enter_context(web.another(token=f"Bearer {scene.device_token}")), scene)
            for _ in range(SENDERS)
        ]
        trend = _Trend(reader, scene)
        run_load(senders, trend, backlog, _pace(options, "warm-up", WARM_UP_SECONDS))
        return run_load(senders, trend, backlog, _pace(options, "load", options.seconds))


def _device(door: Door, scene: Scene) -> Callable[[Sequence[Measured]], None]:
    path = f"{scene.path}attempts/batch/"

    def send(attempts: Sequence[Measured]) -> None:
        answer = json.loads(door.post(path, scene.body(attempts)))
        if answer["created"] != len(attempts):
            raise RuntimeError(f"Not all was stored: {answer}")

    return send


class _Trend:
    """Reads the latest point of a series, as a coach's page would."""

    def __init__(self, door: Door, scene: Scene) -> None:
        self._door = door
        self._paths = [
            f"{scene.path}approaches/{approach.id}/trend?last=1" for approach in scene.approaches
        ]

    def last_seen(self, athlete: int) -> datetime | None:
        points = json.loads(self._door.get(self._paths[athlete - 1]))["points"]
        return datetime.fromisoformat(points[-1]["started_at"]) if points else None


class _Counter:
    """Asks the database for a number, as owner, who sees every club."""

    def __init__(self, stand: Stand, query: str, *, stock: bool = False) -> None:
        self._connection = psycopg.connect(_owner_address(stand, stock=stock), autocommit=True)
        self._query = query

    def __call__(self) -> int:
        (count,) = self._connection.execute(self._query).fetchone() or (0,)
        return int(count)

    def __enter__(self) -> "_Counter":
        return self

    def __exit__(self, *_: object) -> None:
        self._connection.close()


class _Latest:
    """Reads the latest point of an athlete from the database."""

    def __init__(self, connection: psycopg.Connection, query: str) -> None:
        self._connection, self._query = connection, query

    def last_seen(self, athlete: int) -> datetime | None:
        started_at: datetime | None
        (started_at,) = self._connection.execute(self._query, [athlete]).fetchone() or (None,)
        return started_at


def _peer(stand: Stand, pace: Pace) -> Load:
    """Load one worker with a task for each attempt; web and outbox are spared."""
    queue = Celery(
        "stock-sender", broker=stand.stock_environment["REDIS_URL"], set_as_current=False
    )
    unseen = "SELECT (SELECT count(*) FROM stock_attempt) - (SELECT count(*) FROM stock_point)"
    latest = (
        "SELECT max(a.started_at) FROM stock_point AS p JOIN stock_attempt AS a"
        " ON a.id = p.attempt_id WHERE a.approach_id = %s"
    )
    with (
        stand.worker("tests.bench.stock.celery", stand.stock_environment),
        _Counter(stand, unseen, stock=True) as backlog,
        queue,
        ExitStack() as stack,
    ):
        address = _owner_address(stand, stock=True)
        senders = [
            _task_sender(stack.enter_context(psycopg.connect(address, autocommit=True)), queue)
            for _ in range(SENDERS)
        ]
        watch = _Latest(stack.enter_context(psycopg.connect(address, autocommit=True)), latest)
        run_load(senders, watch, backlog, replace(pace, name="warm-up", seconds=WARM_UP_SECONDS))
        return run_load(senders, watch, backlog, pace)


def _task_sender(
    connection: psycopg.Connection, queue: Celery
) -> Callable[[Sequence[Measured]], None]:
    insert = """
        WITH made AS (
            INSERT INTO stock_attempt (club_id, source_id, external_id, athlete_id, approach_id,
                                       plan_id, session_id, started_at, finish, outcome)
            VALUES (1, 1, %s, %s, %s, %s, 1, %s, 'jump', 'valid') RETURNING id
        )
        INSERT INTO stock_footfall (attempt_id, number, toe_m)
        SELECT id, 0, %s FROM made RETURNING attempt_id
    """

    def send(attempts: Sequence[Measured]) -> None:
        ids = []
        with connection.transaction():
            for each in attempts:
                values = [each.external_id, *[each.athlete] * 3, each.started_at, each.toe_m[0]]
                ids += connection.execute(insert, values).fetchall()
        for (attempt_id,) in ids:
            queue.send_task("stock.follow_attempt", kwargs={"attempt_id": attempt_id})

    return send


def _limit(stand: Stand, pace: Pace) -> Load:
    """Let the pusher write the figure itself, so that it is visible with the answer."""
    address = _owner_address(stand, stock=True)
    with ExitStack() as stack:
        connections = [
            stack.enter_context(psycopg.connect(address, autocommit=True))
            for _ in range(SENDERS + 1)
        ]
        reading = connections.pop()
        reading.execute(
            "CREATE TABLE bench_point (athlete int, started_at timestamptz, toe_m float8,"
            " PRIMARY KEY (athlete, started_at))"
        )
        latest = "SELECT max(started_at) FROM bench_point WHERE athlete = %s"
        senders = [_point_writer(connection) for connection in connections]
        return run_load(senders, _Latest(reading, latest), lambda: 0, pace)


def _point_writer(connection: psycopg.Connection) -> Callable[[Sequence[Measured]], None]:
    def send(attempts: Sequence[Measured]) -> None:
        with connection.transaction(), connection.cursor() as cursor:
            cursor.executemany(
                "INSERT INTO bench_point VALUES (%s, %s, %s)",
                [(each.athlete, each.started_at, each.toe_m[0]) for each in attempts],
            )

    return send


def _owner_address(stand: Stand, *, stock: bool) -> str:
    address = stand.stock_environment["DATABASE_URL"]
    return address if stock else stand.servers.database_url("owner")


def _profile(scene: Scene) -> None:
    """Push a few attempts and refresh their series in this process, and show the time it takes."""
    runs = Runs(prefix="profiled")
    profile = cProfile.Profile()
    for round_number in range(4):
        scene.store(runs.take(ATHLETES, now=timezone.now()))
        for approach in scene.approaches:
            if round_number == 3:  # the others warm up
                profile.enable()
            scene.refresh(approach)
            profile.disable()
    profiling.show(profile, title=f"Refreshing {ATHLETES} series", stream=sys.stderr)
