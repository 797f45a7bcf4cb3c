"""`refresh`: the figures after one new attempt, in a long series and in a short one."""

import cProfile
import json
import sys
import time
from collections.abc import Callable, Sequence
from dataclasses import dataclass
from datetime import datetime, timedelta
from typing import LiteralString

import numpy as np
import pandas as pd
import psycopg
from django.utils import timezone

from approaches.models import Approach
from approaches.services import batches, pushing, readings
from tests.bench import profiling
from tests.bench.options import RefreshOptions
from tests.bench.outcome import Outcome, Target
from tests.bench.readings import Measured, Runs
from tests.bench.rounds import Spread, interleave, percentiles
from tests.bench.scene import Scene
from tests.bench.stand import Stand

ATTEMPTS_PER_SESSION = 20
WINDOW = 20
BETWEEN_SESSIONS = timedelta(hours=6)
BETWEEN_ATTEMPTS = timedelta(minutes=3)
# By then a session without another attempt is judged.
UNTIL_JUDGED = timedelta(hours=2)
WARM_UP = 2
BATCH = 1000
_TOES: LiteralString = (
    "SELECT toe_m[1] FROM approaches_attempt WHERE club_id = %s AND approach_id = %s"
)


def measure(stand: Stand, options: RefreshOptions) -> Outcome:
    stand.migrate()
    scene = Scene.make()
    address = stand.servers.database_url("owner")
    with psycopg.connect(address, autocommit=True) as connection:
        connection.execute("CREATE TABLE bench_point (id serial, mean_m float8, sd_m float8)")
        rounds = WARM_UP + options.rounds
        short, long = (
            _Contestant(scene, number, connection, attempts=attempts, rounds=rounds)
            for number, attempts in enumerate((options.short, options.series))
        )
        connection.execute("VACUUM ANALYZE")
        interleave(
            {
                f"{name}_{job.__name__}": job
                for name, each in (("short", short), ("long", long))
                for job in (each.refresh, each.recompute, each.write)
            },
            rounds=options.rounds,
            warm_up=WARM_UP,
        )
    if options.profile:
        _profile(long)
    return _outcome(short, long, options)


@dataclass
class _Clock:
    """Seconds of what was timed, round by round; the warm-up is not among them."""

    seconds: list[float]

    def time(self, number: int, work: Callable[[], object]) -> None:
        began = time.perf_counter()
        work()
        if number >= WARM_UP:
            self.seconds.append(time.perf_counter() - began)


class _Contestant:
    """A series of some length, to which attempts are added one by one, each in a new session."""

    def __init__(
        self,
        scene: Scene,
        number: int,
        connection: psycopg.Connection,
        *,
        attempts: int,
        rounds: int,
    ) -> None:
        self._scene, self._athlete, self._connection = scene, number + 1, connection
        self._runs = Runs(prefix=f"series-{number}")
        self.approach: Approach = scene.approaches[number]
        self.attempts = attempts
        # One session for each round, and one for a profile.
        sessions = -(-attempts // ATTEMPTS_PER_SESSION) + rounds + 1
        self._next = timezone.now() - sessions * BETWEEN_SESSIONS - UNTIL_JUDGED
        self.new, self.judged, self.pandas, self.least = (_Clock([]) for _ in range(4))
        made = [self._take(min(ATTEMPTS_PER_SESSION, left)) for left in
                range(attempts, 0, -ATTEMPTS_PER_SESSION)]  # fmt: skip
        flat = [each for session in made for each in session]
        for start in range(0, len(flat), BATCH):
            self._store(flat[start : start + BATCH])
        self._refresh(now=self._next)

    def refresh(self, number: int) -> None:
        """Time the refresh after one attempt, and the one that judges its session."""
        at = self.add_one()
        self.new.time(number, lambda: self._refresh(now=at + timedelta(seconds=1)))
        self.judged.time(number, lambda: self._refresh(now=at + UNTIL_JUDGED))

    def recompute(self, number: int) -> None:
        """Time the same two figures made anew over the whole series by pandas."""
        self.pandas.time(number, self._by_pandas)

    def write(self, number: int) -> None:
        """Time the least that a refresh does: read a window, write a row."""
        self.least.time(number, self._read_and_write)

    def add_one(self) -> datetime:
        """Store one more attempt, and return when it started."""
        session = self._take(1)
        self._store(session)
        return session[0][1].started_at

    def _take(self, count: int) -> list[tuple[str, Measured]]:
        code = f"{self._athlete}-{self._next:%Y-%m-%d-%H}"
        taken = [
            (code, self._runs.one(self._athlete, now=self._next + place * BETWEEN_ATTEMPTS))
            for place in range(count)
        ]
        self._next += BETWEEN_SESSIONS
        return taken

    def _store(self, attempts: Sequence[tuple[str, Measured]]) -> None:
        athlete = self._scene.athlete_codes[self._athlete - 1]
        body = [each.as_reading(athlete_code=athlete, session_code=code) for code, each in attempts]
        outcome = pushing.record_attempts(
            club=self._scene.club,
            source_id=self._scene.source.id,
            rows=batches.read_json_batch(json.dumps(body).encode(), readings.ATTEMPTS),
            make_sessions=True,
        )
        if outcome.created != len(attempts):
            raise RuntimeError(f"Not all was stored: {outcome}")

    def _refresh(self, *, now: datetime) -> None:
        if not self._scene.refresh(self.approach, now=now):
            raise RuntimeError("There was nothing to refresh.")

    def _by_pandas(self) -> None:
        rows = self._connection.execute(
            f"{_TOES} ORDER BY started_at", [self._scene.club.id, self.approach.id]
        ).fetchall()
        rolling = pd.Series([toe_m for (toe_m,) in rows]).rolling(WINDOW, min_periods=5)
        self._write(rolling.mean().iloc[-1], rolling.std().iloc[-1])

    def _read_and_write(self) -> None:
        rows = self._connection.execute(
            f"{_TOES} ORDER BY started_at DESC LIMIT %s",
            [self._scene.club.id, self.approach.id, WINDOW],
        ).fetchall()
        toes_m = np.array([toe_m for (toe_m,) in rows])
        self._write(toes_m.mean(), toes_m.std(ddof=1))

    def _write(self, mean_m: float, sd_m: float) -> None:
        self._connection.execute(
            "INSERT INTO bench_point (mean_m, sd_m) VALUES (%s, %s)", [float(mean_m), float(sd_m)]
        )


def _outcome(short: _Contestant, long: _Contestant, options: RefreshOptions) -> Outcome:
    ratios = {
        "long_to_short": _ratio(long.new, short.new),
        "long_to_short_judged": _ratio(long.judged, short.judged),
        "pandas_long_to_short": _ratio(long.pandas, short.pandas),
        "to_limit": _ratio(long.new, long.least),
    }
    return Outcome(
        name="refresh",
        figures={
            "what": "a series' figures after one new attempt, refreshed in this process",
            "rounds": options.rounds,
            "attempts_in_session": ATTEMPTS_PER_SESSION,
            **{
                name: {
                    "series": each.attempts,
                    "new_attempt_s": percentiles(each.new.seconds),
                    "session_judged_s": percentiles(each.judged.seconds),
                }
                for name, each in (("short", short), ("long", long))
            },
        },
        peer={
            "what": "pandas: mean and standard deviation of each window, of the whole series anew",
            "short": percentiles(short.pandas.seconds),
            "long": percentiles(long.pandas.seconds),
        },
        limit={
            "what": "the last toes read, the two figures of one window written",
            "long": percentiles(long.least.seconds),
        },
        ratios=ratios,
        targets={"long_to_short": Target(ratios["long_to_short"].median, at_most=1.2)},
    )


def _ratio(mine: _Clock, other: _Clock) -> Spread:
    pairs = zip(mine.seconds, other.seconds, strict=True)
    return Spread.of([one / another for one, another in pairs])


def _profile(contestant: _Contestant) -> None:
    """Refresh once more in this process, and show where the time goes."""
    at = contestant.add_one()
    for title, now in (
        ("One new attempt in the long series", at + timedelta(seconds=1)),
        ("Its session judged", at + UNTIL_JUDGED),
    ):
        profile = cProfile.Profile()
        profile.enable()
        contestant._refresh(now=now)
        profile.disable()
        profiling.show(profile, title=title, stream=sys.stderr)
