"""Run Penult on one machine: `demo` for people, `run` for tests and checks."""

import argparse
import os
import shutil
import signal
import subprocess
import sys
import threading
import time
import urllib.error
import urllib.request
from collections import deque
from collections.abc import Iterator, Mapping, Sequence
from contextlib import contextmanager
from itertools import takewhile
from pathlib import Path

from config import embedded
from config.children import Child, LocalStackError
from config.local_dir import DirectoryInUseError, is_port_free

CHECKOUT = Path(__file__).resolve().parent.parent
WATCH_SECONDS = 0.1
READY_PATIENCE_SECONDS = 60.0
MOST_RESTARTS = 5
RESTARTS_COUNTED_SECONDS = 60.0
MOST_PARALLEL_STACKS = 9


class StoppedError(Exception):
    """Somebody asked us to stop."""


def main(arguments: Sequence[str]) -> int:
    parser = argparse.ArgumentParser(prog="config.local_stack", description=__doc__)
    commands = parser.add_subparsers(dest="command", required=True)
    demo = commands.add_parser("demo", help="serve the demo club until Ctrl-C")
    demo.add_argument("--once", action="store_true", help="end after the report")
    run = commands.add_parser("run", help="run what follows -- with a database and a broker")
    run.add_argument("name", help="the data directory under .local")
    # Ours end at the first --; versions of argparse differ in what they make of it.
    ours = list(takewhile(lambda word: word != "--", arguments))
    command = arguments[len(ours) + 1 :]
    chosen = parser.parse_args(ours)
    try:
        if chosen.command == "demo":
            return serve_demo(once=chosen.once)
        if not command:
            parser.error("run needs -- and a command")
        return run_command(chosen.name, command)
    except LocalStackError as error:
        sys.stdout.flush()
        print(error, file=sys.stderr)
        return 1


def local_root() -> Path:
    return Path(os.environ.get("PENULT_LOCAL_DIR") or CHECKOUT / ".local").absolute()


@contextmanager
def open_servers(local_dir: Path) -> Iterator[tuple[embedded.LocalServers, dict[str, str]]]:
    """Start the servers that the environment does not name, and yield the addresses of all."""
    given = os.environ
    if given.get("DATABASE_URL") and not given.get("OWNER_DATABASE_URL"):
        raise LocalStackError(
            "DATABASE_URL is set, so OWNER_DATABASE_URL must name the same database with the role "
            "that migrates (docs/operations/local_stack.md)."
        )
    own_database, own_broker = not given.get("DATABASE_URL"), not given.get("REDIS_URL")
    with embedded.start(local_dir, postgres=own_database, valkey=own_broker) as servers:
        environment = dict(given)
        environment["PENULT_LOCAL_DIR"] = str(local_dir)
        environment.setdefault("SECRET_KEY", servers.local_dir.secret("secret_key"))
        if own_database:
            environment["DATABASE_URL"] = servers.database_url("app")
            environment["OWNER_DATABASE_URL"] = servers.database_url("owner")
            environment["BACKUP_DATABASE_URL"] = servers.database_url("backup")
        if own_broker:
            environment["REDIS_URL"] = servers.redis_url
        yield servers, environment


def run_command(name: str, command: Sequence[str]) -> int:
    """Run the command beside servers of its own, and return its status.

    Two runs of the same name get a directory each.
    """
    for number in range(1, MOST_PARALLEL_STACKS + 1):
        local_dir = local_root() / (name if number == 1 else f"{name}-{number}")
        try:
            with open_servers(local_dir) as (_, environment):
                return _run_in_foreground(command, environment)
        except DirectoryInUseError:
            if number == MOST_PARALLEL_STACKS:
                raise
    raise AssertionError("The loop returns or raises.")


def _run_in_foreground(command: Sequence[str], environment: Mapping[str, str]) -> int:
    """Run the command in our terminal; it gets Ctrl-C itself, and other signals from us."""
    signal.signal(signal.SIGINT, lambda *_: None)
    with subprocess.Popen(command, env=environment) as process:  # noqa: S603  # our scripts' words
        for number in (signal.SIGTERM, signal.SIGHUP):
            signal.signal(number, lambda received, _: process.send_signal(received))
        status = process.wait()
    return status if status >= 0 else 128 - status


def serve_demo(*, once: bool) -> int:
    stop = threading.Event()
    for number in (signal.SIGINT, signal.SIGTERM, signal.SIGHUP):
        signal.signal(number, lambda *_: stop.set())
    port = _wanted_port()
    local_dir = local_root()
    try:
        _say("Starting the database and the broker")
        with open_servers(local_dir) as (servers, environment):
            demo = Demo(servers, environment, stop, port)
            try:
                demo.start()
                status = demo.show_the_main_job()
                if once:
                    return status
                demo.stay_up()
            finally:
                _say("Stopping")
                demo.stop()
    except StoppedError:
        return 128 + signal.SIGINT if once else 0
    return 0


def _make_empty(folder: Path) -> Path:
    """Make the folder in which web and workers count together; counts begin anew with a start."""
    shutil.rmtree(folder, ignore_errors=True)
    folder.mkdir()
    return folder


class Demo:
    """The demo club, served; what dies is started again, unless it keeps dying."""

    def __init__(
        self,
        servers: embedded.LocalServers,
        environment: Mapping[str, str],
        stop: threading.Event,
        port: int | None,
    ) -> None:
        self._servers = servers
        self._stop = stop
        self._port = servers.local_dir.choose_port("web") if port is None else port
        self._url = f"http://127.0.0.1:{self._port}"
        self._environment = {
            "DJANGO_SETTINGS_MODULE": "config.settings.local",
            **environment,
            "PENULT_PORT": str(self._port),
            "PYTHONUNBUFFERED": "1",
        }
        self._environment["PROMETHEUS_MULTIPROC_DIR"] = str(
            _make_empty(servers.local_dir.path / "metrics")
        )
        self._children: list[Child] = []
        self._restarts: deque[float] = deque()

    def start(self) -> None:
        if not is_port_free(self._port):
            raise LocalStackError(
                f"Port {self._port} is taken; stop what uses it, or choose another one: "
                "PENULT_PORT=8001 script/demo."
            )
        _say("Bringing the tables up to date")
        owner = {"DATABASE_URL": self._environment["OWNER_DATABASE_URL"]}
        self._finish("migrate", ["manage.py", "migrate", "--no-input"], owner)
        _say("Loading the demo club")
        self._finish("load_demo_club", ["manage.py", "load_demo_club"], on_terminal=True)
        _say("Starting web, worker and beat")
        schedule = str(self._servers.local_dir.path / "beat-schedule")
        celery = ["-m", "celery", "-A", "config.celery"]
        for name, words in {
            "worker": [
                *celery,
                "worker",
                "--concurrency=2",
                "--without-gossip",
                "--without-mingle",
            ],
            "beat": [*celery, "beat", f"--schedule={schedule}", "--pidfile="],
            "web": ["-m", "gunicorn", "--config=config/gunicorn.py", "config.wsgi"],
        }.items():
            child = self._child(name, words)
            self._children.append(child)
            child.start()
        self._wait_until_ready()

    def show_the_main_job(self) -> int:
        """Push a session, push it again, print what the coach reads, and write what can be printed.

        Returns the status: 0 when all of it went well.
        """
        tokens = str(self._servers.local_dir.path / "demo" / "tokens.json")
        words = ["--tokens", tokens, "--base-url", self._url]
        for title in ("Pushing a session", "Pushing it again"):
            _say(title)
            self._finish("push", ["fixtures_demo/push_session.py", *words], on_terminal=True)
        _say("Reading it as the coach")
        report = self._child("report", ["fixtures_demo/report.py", *words], on_terminal=True)
        status = self._wait_for(report)
        _say("Writing what can be printed")
        folder = str(self._servers.local_dir.path / "demo" / "papers")
        papers = ["fixtures_demo/papers.py", *words, "--folder", folder]
        return self._wait_for(self._child("papers", papers, on_terminal=True)) or status

    def stay_up(self) -> None:
        _say(f"Serving at {self._url} until Ctrl-C")
        while True:
            self._watch()

    def stop(self) -> None:
        """Stop in the order in which nobody misses anybody: the web, beat, the worker."""
        for child in reversed(self._children):
            child.stop()

    def _child(
        self,
        name: str,
        words: Sequence[str],
        extra: Mapping[str, str] | None = None,
        *,
        on_terminal: bool = False,
    ) -> Child:
        return Child(
            name=name,
            command=[sys.executable, *words],
            log=None if on_terminal else self._servers.local_dir.log(name),
            roll=self._servers.roll,
            cwd=CHECKOUT,
            # On the terminal, only what a person should see.
            env={
                **self._environment,
                **({"LOG_LEVEL": "WARNING"} if on_terminal else {}),
                **(extra or {}),
            },
        )

    def _finish(
        self,
        name: str,
        words: Sequence[str],
        extra: Mapping[str, str] | None = None,
        *,
        on_terminal: bool = False,
    ) -> None:
        child = self._child(name, words, extra, on_terminal=on_terminal)
        if self._wait_for(child) != 0:
            raise LocalStackError(child.describe_end())

    def _wait_for(self, child: Child) -> int:
        child.start()
        try:
            while child.is_running:
                self._watch()
            return child.wait()
        finally:
            child.stop()

    def _wait_until_ready(self) -> None:
        deadline = time.monotonic() + READY_PATIENCE_SECONDS
        while not _is_answering(f"{self._url}/readyz"):
            for child in self._children:
                if not child.is_running:
                    raise LocalStackError(child.describe_end())
            if time.monotonic() > deadline:
                words = self._children[-1].last_words()
                raise LocalStackError(
                    f"{self._url}/readyz does not say 200. The web wrote:\n{words}"
                )
            self._pause()

    def _watch(self) -> None:
        """Pause, then start again what died."""
        self._pause()
        for server in self._servers.running_servers():
            if not server.is_running:
                self._allow_restart(server.child)
                server.start()
        for child in self._children:
            if not child.is_running:
                self._allow_restart(child)
                child.start()

    def _allow_restart(self, child: Child) -> None:
        now = time.monotonic()
        self._restarts.append(now)
        while self._restarts[0] < now - RESTARTS_COUNTED_SECONDS:
            self._restarts.popleft()
        if len(self._restarts) > MOST_RESTARTS:
            raise LocalStackError(f"Too many restarts. {child.describe_end()}")
        print(
            f"{child.describe_end()}\n{child.name} is started again.", file=sys.stderr, flush=True
        )

    def _pause(self) -> None:
        if self._stop.wait(WATCH_SECONDS):
            raise StoppedError


def _wanted_port() -> int | None:
    """Return PENULT_PORT; 0 asks for any free one."""
    text = os.environ.get("PENULT_PORT") or "8000"
    if not text.isdecimal() or int(text) > 65535:
        raise LocalStackError(f"PENULT_PORT is a port number, not {text!r}.")
    return int(text) or None


def _is_answering(url: str) -> bool:
    try:
        with urllib.request.urlopen(url, timeout=5) as answer:  # noqa: S310  # our own http address
            return bool(answer.status == 200)
    except (urllib.error.URLError, ConnectionError, TimeoutError):
        return False


def _say(line: str) -> None:
    print(f"==> {line}", flush=True)


if __name__ == "__main__":
    sys.exit(main(sys.argv[1:]))
