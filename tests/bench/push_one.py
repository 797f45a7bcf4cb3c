"""`push-one`: single attempts over HTTP, one by one, beside a view that does nothing."""

import cProfile
import json
import sys
from collections.abc import Callable
from functools import partial

import numpy as np
from django.test import Client

from tests.bench import profiling
from tests.bench.asking import Dial, Line, PushLine, ask_in_turn
from tests.bench.copying import Copier
from tests.bench.options import PushOneOptions
from tests.bench.outcome import Outcome, Target
from tests.bench.readings import FOOTFALLS, GATES_AT_M, Runs
from tests.bench.rounds import Run, Spread, interleave, percentiles
from tests.bench.scene import Scene
from tests.bench.stand import Stand

WARM_UP = 3  # each of two web processes with its threads prepares its statements
PROFILED = 300


def measure(stand: Stand, options: PushOneOptions) -> Outcome:
    stand.migrate()
    stock_token = f"Token {stand.make_stock()}"
    scene = Scene.make()
    attempts, for_stock = Runs(), Runs()

    def push_line(port: int) -> Line:
        # One more than is counted: the first one opens the connection.
        bodies = [scene.body_of_one(attempts.take(1)[0]) for _ in range(options.pushes + 1)]
        token = f"Bearer {scene.device_token}"
        return PushLine(port, f"{scene.path}attempts/", token=token, bodies=bodies)

    def stock_line(port: int) -> Line:
        bodies = [
            json.dumps(each.as_nested()).encode() for each in for_stock.take(options.pushes + 1)
        ]
        return PushLine(port, "/attempts/", token=stock_token, bodies=bodies)

    with (
        stand.web() as web,
        stand.stock_web() as stock,
        Copier(stand.servers.database_url("owner")) as copier,
    ):
        seconds: dict[str, list[list[float]]] = {"push": [], "stock": [], "empty": []}
        dials: dict[str, Dial] = {
            "push": partial(push_line, web.port),
            "stock": partial(stock_line, stock.port),
            "empty": partial(Line, stock.port, "/empty/", token=stock_token),
        }
        runs = {name: _run_of(dial, options, seconds[name]) for name, dial in dials.items()}
        interleave(runs, rounds=options.rounds, warm_up=WARM_UP)
        stored = copier.count("approaches_attempt")
        if stored != (WARM_UP + options.rounds) * (options.pushes + 1):
            raise RuntimeError(f"{stored} attempts are stored.")
    if options.profile:
        _profile(scene)
    return _outcome(seconds, options)


def _run_of(dial: Dial, options: PushOneOptions, seconds: list[list[float]]) -> Run:
    def run(number: int) -> Callable[[], None] | None:
        taken = ask_in_turn(dial, options.pushes)
        if number >= WARM_UP:
            seconds.append(taken)
        return None

    return run


def _ratio(mine: list[list[float]], theirs: list[list[float]], quantile: float) -> Spread:
    """Return, round by round, a quantile of mine as a multiple of the same one of theirs."""
    return Spread.of(
        [
            float(np.quantile(one, quantile) / np.quantile(other, quantile))
            for one, other in zip(mine, theirs, strict=True)
        ]
    )


def _outcome(seconds: dict[str, list[list[float]]], options: PushOneOptions) -> Outcome:
    push, stock, empty = seconds["push"], seconds["stock"], seconds["empty"]
    ratios = {
        "p95_to_empty": _ratio(push, empty, 0.95),
        "median_to_empty": _ratio(push, empty, 0.5),
        "p95_to_stock": _ratio(push, stock, 0.95),
    }

    def together(rounds: list[list[float]]) -> dict[str, float]:
        return percentiles([each for one in rounds for each in one])

    return Outcome(
        name="push-one",
        figures={
            "what": "an attempt over HTTP with token, wall, natural key, outbox and audit",
            "pushes": options.pushes * options.rounds,
            "footfalls": FOOTFALLS,
            "gates": len(GATES_AT_M),
            "push_s": together(push),
        },
        peer={
            "what": "nested ModelSerializer view set with child rows, same server, same data",
            "push_s": together(stock),
        },
        limit={
            "what": "a view of the REST framework that finds who asks and answers {}",
            "read_s": together(empty),
        },
        ratios=ratios,
        targets={"p95_to_empty": Target(ratios["p95_to_empty"].median, at_most=3.0)},
    )


def _profile(scene: Scene) -> None:
    """Push in this process, and show where the time goes."""
    client = Client(headers={"authorization": f"Bearer {scene.device_token}", "host": "localhost"})
    bodies = [scene.body_of_one(each) for each in Runs(prefix="profiled").take(PROFILED + 100)]
    profile = cProfile.Profile()
    for number, body in enumerate(bodies):
        if number == 100:  # the others warm up
            profile.enable()
        answer = client.post(f"{scene.path}attempts/", body, "application/json")
        if answer.status_code != 201:
            raise RuntimeError(f"The attempt was not stored: {answer.content!r}")
    profile.disable()
    profiling.show(profile, title=f"{PROFILED} single pushes", stream=sys.stderr)
