"""`push`: a batch of attempts over HTTP, beside a stock view set and beside plain COPY."""

import cProfile
import json
import sys

from django.test import Client

from tests.bench import profiling
from tests.bench.copying import Copier, as_row
from tests.bench.options import PushOptions
from tests.bench.outcome import Outcome, Target
from tests.bench.readings import FOOTFALLS, GATES_AT_M, Runs
from tests.bench.rounds import Run, interleave, rates, times_as_fast
from tests.bench.scene import Scene
from tests.bench.stand import Door, Stand

WARM_UP = 3  # two web processes each have their first batch, and prepared statements


def measure(stand: Stand, options: PushOptions) -> Outcome:
    stand.migrate()
    stock_token = stand.make_stock()
    scene = Scene.make()
    with (
        stand.web() as web,
        stand.stock_web() as stock,
        Copier(stand.servers.database_url("owner")) as copier,
        web.another(token=f"Bearer {scene.device_token}") as device,
        stock.another(token=f"Token {stock_token}") as stock_client,
    ):
        contest = Contest(
            scene=scene, device=device, stock=stock_client, copier=copier, options=options
        )
        seconds = interleave(contest.runs(), rounds=options.rounds, warm_up=WARM_UP)
        contest.check()
    if options.profile:
        _profile(scene, options)
    return _outcome(seconds, options)


class Contest:
    """What each contestant does in a round: new attempts each time, made before the clock runs."""

    def __init__(
        self,
        *,
        scene: Scene,
        device: Door,
        stock: Door,
        copier: Copier,
        options: PushOptions,
    ) -> None:
        attempts = Runs()
        self._device, self._stock, self._copier = device, stock, copier
        self._path = f"{scene.path}attempts/batch/"
        self._options = options
        rounds = range(WARM_UP + options.rounds)
        self._bodies = [scene.body(attempts.take(options.attempts)) for _ in rounds]
        self._nested = [
            [
                json.dumps([row.as_nested() for row in attempts.take(options.peer_attempts)])
                for _ in rounds
            ]
            for _ in range(2)
        ]
        self._rows = [
            [
                as_row(
                    each,
                    source=scene.source,
                    approach=scene.approaches[each.athlete - 1],
                    plan=scene.plans[each.athlete - 1],
                    session=scene.session,
                )
                for each in attempts.take(options.attempts)
            ]
            for _ in rounds
        ]
        self._encoded = copier.encode(self._rows[0])

    def runs(self) -> dict[str, Run]:
        return {
            "push": self._push,
            "stock": lambda number: self._push_to_stock("/attempts/", self._nested[0][number]),
            "stock_once": lambda number: self._push_to_stock(
                "/one-transaction/", self._nested[1][number]
            ),
            "copy": lambda number: self._copier.copy_rows(self._rows[number]),
            "bare": lambda _: self._copier.copy_bytes(self._encoded),
        }

    def check(self) -> None:
        """See that every contestant stored what it was given."""
        batches = WARM_UP + self._options.rounds
        # The push and the COPY write into the same table.
        stored = self._copier.count("approaches_attempt")
        if stored != 2 * batches * self._options.attempts:
            raise RuntimeError(f"{stored} attempts are stored after {batches} batches each.")

    def _push(self, number: int) -> None:
        answer = json.loads(self._device.post(self._path, self._bodies[number]))
        if answer["created"] != self._options.attempts:
            raise RuntimeError(f"The batch was not stored: {answer}")

    def _push_to_stock(self, path: str, body: str) -> None:
        answer = json.loads(self._stock.post(path, body.encode()))
        if len(answer) != self._options.peer_attempts:
            raise RuntimeError(f"The peer stored {len(answer)} attempts.")


def _outcome(seconds: dict[str, list[float]], options: PushOptions) -> Outcome:
    count, peer_count = options.attempts, options.peer_attempts
    push = seconds["push"]
    ratios = {
        "to_row_by_row_copy": times_as_fast(push, seconds["copy"], count=count, other_count=count),
        "to_encoded_copy": times_as_fast(push, seconds["bare"], count=count, other_count=count),
        "to_stock": times_as_fast(push, seconds["stock"], count=count, other_count=peer_count),
        "to_stock_in_one_transaction": times_as_fast(
            push, seconds["stock_once"], count=count, other_count=peer_count
        ),
    }
    return Outcome(
        name="push",
        figures={
            "what": "batch over HTTP with token, wall, natural key, outbox and audit",
            "attempts": count,
            "footfalls": FOOTFALLS,
            "gates": len(GATES_AT_M),
            "attempts_per_s": rates(push, count=count),
        },
        peer={
            "what": "nested ModelSerializer view set with child rows, same server, same data",
            "attempts": peer_count,
            "attempts_per_s": rates(seconds["stock"], count=peer_count),
            "in_one_transaction": {
                "attempts_per_s": rates(seconds["stock_once"], count=peer_count),
            },
        },
        limit={
            "what": "binary COPY: row by row into the same table; encoded bytes into a bare one",
            "attempts": count,
            "row_by_row": {"attempts_per_s": rates(seconds["copy"], count=count)},
            "encoded": {"attempts_per_s": rates(seconds["bare"], count=count)},
        },
        ratios=ratios,
        targets={
            "to_row_by_row_copy": Target(ratios["to_row_by_row_copy"].median, at_least=0.5),
            "to_stock": Target(ratios["to_stock"].median, at_least=150.0),
        },
    )


def _profile(scene: Scene, options: PushOptions) -> None:
    """Push in this process, and show where the time goes."""
    client = Client(headers={"authorization": f"Bearer {scene.device_token}", "host": "localhost"})
    fresh = Runs(prefix="profiled")
    bodies = [scene.body(fresh.take(options.attempts)) for _ in range(4)]
    profile = cProfile.Profile()
    for number, body in enumerate(bodies):
        if number == len(bodies) - 1:  # the others warm up
            profile.enable()
        answer = client.post(f"{scene.path}attempts/batch/", body, "application/json")
        profile.disable()
        if answer.status_code != 200 or answer.json()["created"] != options.attempts:
            raise RuntimeError(f"The batch was not stored: {answer.content!r}")
    profiling.show(profile, title=f"One batch of {options.attempts}", stream=sys.stderr)
