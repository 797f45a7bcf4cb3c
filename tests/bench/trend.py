"""`trend`: the last 100 points of a series over HTTP, beside a view that does nothing."""

import cProfile
import sys
from datetime import timedelta
from functools import partial
from uuid import UUID

import numpy as np
import psycopg
from django.db import connections
from django.test import Client
from django.utils import timezone

from athletes.services import coaching
from clubs.models import Role
from tests import factories
from tests.bench import profiling
from tests.bench.asking import Dial, Line, ask_in_turn, ask_together
from tests.bench.filling import multiply_attempts
from tests.bench.options import AnswersOptions, TrendOptions
from tests.bench.outcome import Outcome, Target
from tests.bench.readings import ATHLETES, Runs
from tests.bench.rounds import Run, Spread, interleave, percentiles
from tests.bench.scene import Scene
from tests.bench.stand import Stand

POINTS = 100
SMALL_DATABASE_ATTEMPTS = 10_000
LARGE = "large"
WARM_UP = 3  # each of two web processes with its threads prepares its statements


def measure(stand: Stand, options: TrendOptions) -> Outcome:
    stand.migrate()
    stock_token = stand.make_stock()
    _make_stock_points(stand)
    scene = Scene.make()
    token = f"Bearer {_make_coach(scene)}"
    path = f"{scene.path}approaches/{scene.approaches[0].id}/trend?last={POINTS}"
    attempts = _fill(stand, scene, options)
    with stand.web() as small, stand.web(database=LARGE) as large, stand.stock_web() as stock:
        stock_line = partial(Line, stock.port, token=f"Token {stock_token}")
        contest = Contest(
            {
                "short": partial(Line, small.port, path, token=token),
                "long": partial(Line, large.port, path, token=token),
                "stock": partial(stock_line, "/approaches/1/trend/"),
                "empty": partial(stock_line, "/empty/"),
            },
            options,
        )
        contest.run()
        with contest.dials["short"]() as line:
            content_bytes = line.ask()
    if options.profile:
        _profile(path, token)
    return _outcome(contest, options, attempts=attempts, content_bytes=content_bytes)


class Contest:
    """Questions in turn, for how long one takes, and side by side, for how many a second."""

    def __init__(self, dials: dict[str, Dial], options: TrendOptions | AnswersOptions) -> None:
        self.dials = dials
        self._options = options
        self.seconds: dict[str, list[list[float]]] = {name: [] for name in dials}
        self.rates: dict[str, list[float]] = {name: [] for name in dials}

    def run(self) -> None:
        runs = {name: self._run_of(name) for name in self.dials}
        interleave(runs, rounds=self._options.rounds, warm_up=WARM_UP)

    def p95_ratio(self, subject: str, other: str) -> Spread:
        """Return, round by round, the subject's 95th percentile as a multiple of the other's."""
        p95 = {
            name: [float(np.quantile(each, 0.95)) for each in self.seconds[name]]
            for name in (subject, other)
        }
        return Spread.of(
            [mine / theirs for mine, theirs in zip(p95[subject], p95[other], strict=True)]
        )

    def rate_ratio(self, subject: str, other: str) -> Spread:
        """Return, round by round, the subject's rate as a multiple of the other's."""
        pairs = zip(self.rates[subject], self.rates[other], strict=True)
        return Spread.of([mine / theirs for mine, theirs in pairs])

    def figures(self, name: str) -> dict[str, object]:
        return {
            "reads_per_s": Spread.of(self.rates[name]),
            "read_s": percentiles([each for round_ in self.seconds[name] for each in round_]),
        }

    def _run_of(self, name: str) -> Run:
        dial, options = self.dials[name], self._options

        def run(number: int) -> None:
            seconds = ask_in_turn(dial, options.reads)
            rate = ask_together(dial, options.reads, clients=options.clients)
            if number >= WARM_UP:
                self.seconds[name].append(seconds)
                self.rates[name].append(rate)

        return run


def _make_coach(scene: Scene) -> str:
    """Return the token of a coach who may see the first athlete; coaches read trends."""
    coach = factories.make_member(scene.club, Role.COACH)
    coaching.assign_coach(
        club=scene.club,
        coach=coach,
        athlete=scene.approaches[0].athlete,
        from_date=timezone.now().date() - timedelta(days=1),
    )
    return factories.make_person_token(coach)


def _fill(stand: Stand, scene: Scene, options: TrendOptions) -> dict[str, int]:
    """Make a small database and a large one, and return how many attempts are in each.

    The same 100 attempts end the series that is read. In the small database they are all of it; in
    the large one it is as long as the options say. The rest is other series of the same club.
    """
    scene.store(Runs().take(POINTS * ATHLETES))
    for approach in scene.approaches:
        scene.refresh(approach)
    first, *others = [approach.id for approach in scene.approaches]
    small = stand.servers.database_url("superuser")
    large = stand.servers.database_url("superuser", database=LARGE)
    in_others = len(others) * POINTS
    stored = {"small": POINTS * ATHLETES}
    stored["small"] += _multiply(small, others, in_others, SMALL_DATABASE_ATTEMPTS - POINTS)
    connections.close_all()
    stand.copy_database(LARGE)
    stored["large"] = stored["small"] + _multiply(large, [first], POINTS, options.series)
    in_others = stored["small"] - POINTS
    stored["large"] += _multiply(large, others, in_others, options.attempts - options.series)
    return stored


def _multiply(address: str, approach_ids: list[UUID], there: int, wanted: int) -> int:
    return multiply_attempts(
        address, approach_ids=[str(each) for each in approach_ids], copies=wanted // there - 1
    )


def _make_stock_points(stand: Stand) -> None:
    """Store as many figures of one run-up for the peer, whose tasks are not running here."""
    with psycopg.connect(stand.stock_environment["DATABASE_URL"]) as connection:
        connection.execute(
            """
            WITH made AS (
                INSERT INTO stock_attempt (club_id, source_id, external_id, athlete_id, approach_id,
                                           plan_id, session_id, started_at, finish, outcome)
                SELECT 1, 1, 'trend-' || number, 1, 1, 1, 1,
                       timestamptz '2026-05-02 08:00+00' + number * interval '1 minute',
                       'jump', 'valid'
                  FROM generate_series(1, %s) AS copy (number)
                RETURNING id
            )
            INSERT INTO stock_point (attempt_id, n, bias_m, spread_m)
            SELECT id, 20, 0.0123456 + id * 0.001, 0.0789012 + id * 0.001 FROM made
            """,
            [POINTS],
        )


def _outcome(
    contest: Contest, options: TrendOptions, *, attempts: dict[str, int], content_bytes: int
) -> Outcome:
    ratios = {
        "to_empty": contest.rate_ratio("short", "empty"),
        "to_stock": contest.rate_ratio("short", "stock"),
        "p95_of_long_to_short": contest.p95_ratio("long", "short"),
    }
    return Outcome(
        name="trend",
        figures={
            "what": f"the last {POINTS} points of a series, read by a coach over HTTP",
            "points": POINTS,
            "content_bytes": content_bytes,
            "clients": options.clients,
            "short": {
                "series": POINTS,
                "in_database": attempts["small"],
                **contest.figures("short"),
            },
            "long": {
                "series": options.series // POINTS * POINTS,
                "in_database": attempts["large"],
                **contest.figures("long"),
            },
        },
        peer={
            "what": "a list view with a model serializer over ready rows, same server, no wall",
            "points": POINTS,
            **contest.figures("stock"),
        },
        limit={
            "what": "a view of the REST framework that finds who asks and answers {}",
            **contest.figures("empty"),
        },
        ratios=ratios,
        targets={
            "to_empty": Target(ratios["to_empty"].median, at_least=0.6),
            "p95_of_long_to_short": Target(ratios["p95_of_long_to_short"].median, at_most=1.15),
        },
    )


def _profile(path: str, token: str) -> None:
    """Read in this process, and show where the time goes."""
    client = Client(headers={"authorization": token, "host": "localhost"})
    profile = cProfile.Profile()
    for number in range(400):
        if number == 100:  # the others warm up
            profile.enable()
        answer = client.get(path)
    profile.disable()
    if answer.status_code != 200 or len(answer.json()["points"]) != POINTS:
        raise RuntimeError(f"The trend was not read: {answer.content[:500]!r}")
    profiling.show(profile, title=f"300 reads of {POINTS} points", stream=sys.stderr)
