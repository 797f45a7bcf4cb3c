"""`start`: from the command to an answer, with the packages installed and the data there."""

import os
import signal
import subprocess
import sys
import threading
import time
from collections.abc import Callable
from contextlib import ExitStack
from pathlib import Path

from config import embedded
from config.local_dir import find_free_port
from tests.bench.options import StartOptions
from tests.bench.outcome import Figures, Outcome, Target
from tests.bench.rounds import Spread, interleave
from tests.bench.stand import CHECKOUT, Door, Stand, empty_directory, run

PATIENCE_SECONDS = 300.0
POLL_SECONDS = 0.02


def measure(stand: Stand, options: StartOptions) -> Outcome:
    with empty_directory() as demo_dir, empty_directory() as stock_dir:
        demo = Demo(demo_dir)
        began = time.perf_counter()
        stop = demo.start(0)
        first_s = time.perf_counter() - began
        stop()
        with embedded.start(stock_dir) as servers:
            Stand(servers).make_stock()
        seconds = interleave(
            {
                "demo": demo.start,
                "stock": lambda _: _start_stock(stock_dir),
                "servers": lambda _: embedded.start(stock_dir).stop,
            },
            rounds=options.rounds,
        )
    if options.profile:
        print("\nThe last start of the local stack:", file=sys.stderr)
        print("\n".join(demo.lines), file=sys.stderr)
    figures: dict[str, object] = {
        "what": "script/demo until /readyz answers 200: packages installed, data there",
        "ready_s": Spread.of(seconds["demo"]),
        "first_ready_s": first_s,
    }
    targets = {"ready_s": Target(Spread.of(seconds["demo"]).median, at_most=10.0)}
    if options.tests:
        figures["tests_s"] = tests_s = _time_tests()
        targets["tests_s"] = Target(tests_s, at_most=300.0)
    return Outcome(
        name="start",
        figures=figures,
        peer=_ready(
            "a plain Django project on the same servers: start them, migrate, serve, answer",
            seconds["stock"],
        ),
        limit=_ready("PostgreSQL and Valkey alone, on data that is there", seconds["servers"]),
        ratios={
            f"to_{name}": Spread.of(
                [mine / theirs for mine, theirs in zip(seconds["demo"], other, strict=True)]
            )
            for name, other in (("stock", seconds["stock"]), ("servers", seconds["servers"]))
        },
        targets=targets,
    )


def _ready(what: str, seconds: list[float]) -> Figures:
    return {"what": what, "ready_s": Spread.of(seconds)}


class Demo:
    """The local stack as a person starts it, in a data directory of its own."""

    def __init__(self, local_dir: Path) -> None:
        self._local_dir = local_dir
        self.lines: list[str] = []

    def start(self, _: int) -> Callable[[], None]:
        """Start it and wait until it is ready; return what stops it."""
        port = find_free_port()
        self.lines = []
        environment = _as_a_person() | {
            "PENULT_LOCAL_DIR": str(self._local_dir),
            "PENULT_PORT": str(port),
        }
        process = subprocess.Popen(
            ["script/demo"],
            cwd=CHECKOUT,
            env=environment,
            stdin=subprocess.DEVNULL,
            stdout=subprocess.PIPE,
            stderr=subprocess.STDOUT,
            text=True,
        )
        reader = threading.Thread(target=self._read, args=(process,), daemon=True)
        reader.start()
        door = Door(port)
        deadline = time.monotonic() + PATIENCE_SECONDS
        while door.status("/readyz") != 200:
            if process.poll() is not None or time.monotonic() > deadline:
                process.kill()
                raise RuntimeError("script/demo did not get ready:\n" + "\n".join(self.lines))
            time.sleep(POLL_SECONDS)
        door.close()

        def stop() -> None:
            process.send_signal(signal.SIGTERM)
            process.wait(PATIENCE_SECONDS)
            reader.join()

        return stop

    def _read(self, process: "subprocess.Popen[str]") -> None:
        """Keep what it says, with the second at which it says it."""
        began = time.perf_counter()
        for line in process.stdout or ():
            self.lines.append(f"{time.perf_counter() - began:7.2f} s  {line.rstrip()}")


def _start_stock(local_dir: Path) -> Callable[[], None]:
    with ExitStack() as stack:
        stand = Stand(stack.enter_context(embedded.start(local_dir)))
        migrate = [sys.executable, "-m", "django", "migrate", "--run-syncdb", "--verbosity=0"]
        run(migrate, stand.stock_environment)
        stack.enter_context(stand.stock_web())
        return stack.pop_all().close


def _time_tests() -> float:
    """Return how long the fast tests take.

    Raises
    ------
    RuntimeError
        They fail; then their time says nothing.
    """
    began = time.perf_counter()
    run(["script/test"], _as_a_person())
    return time.perf_counter() - began


def _as_a_person() -> dict[str, str]:
    """Return the environment without the addresses of the bench's own servers."""
    ours = {"DATABASE_URL", "OWNER_DATABASE_URL", "REDIS_URL", "SECRET_KEY"}
    ours |= {"DJANGO_SETTINGS_MODULE", "PENULT_LOCAL_DIR", "PYTHONPATH"}
    return {name: value for name, value in os.environ.items() if name not in ours}
