"""A whole Penult of its own: real servers and programs, each of which can be hit by a signal."""

import json
import os
import signal
import subprocess
import sys
import time
import urllib.error
import urllib.request
from collections.abc import Callable, Iterator, Mapping
from contextlib import contextmanager
from pathlib import Path
from typing import Any, Self

import redis

from config import embedded
from config.children import Child
from config.embedded import LocalServers
from config.local_dir import find_free_port

CHECKOUT = Path(__file__).resolve().parents[2]
PATIENCE_SECONDS = 30.0
START_PATIENCE_SECONDS = 180.0  # on a busy machine the programs import for a minute
POLL_SECONDS = 0.05
_CELERY = ["-m", "celery", "-A", "config.celery"]


class Program:
    """A Python program of the stack, started again at will under the same name."""

    def __init__(
        self, name: str, words: list[str], servers: LocalServers, environment: Mapping[str, str]
    ) -> None:
        self.name = name
        self._words = words
        self._servers = servers
        self._environment = environment
        self._child = self._new_child()

    @property
    def pid(self) -> int:
        return self._child.pid

    @property
    def is_running(self) -> bool:
        return self._child.is_running

    @property
    def log(self) -> Path:
        return self._servers.local_dir.log(self.name)

    def start(self) -> None:
        self._child = self._new_child()
        self._child.start()

    def kill_with_children(self) -> None:
        """Kill the program and all that it forked at once; each program leads its own group."""
        os.killpg(self.pid, signal.SIGKILL)
        self._child.wait()

    def terminate(self) -> float:
        """Ask the program to stop, and return how many seconds it took to end well."""
        os.kill(self.pid, signal.SIGTERM)
        seconds = wait_until(lambda: not self.is_running, f"{self.name} has stopped")
        assert self._child.wait() == 0, self._child.describe_end()
        return seconds

    def stop(self) -> None:
        self._child.stop()

    def wait(self) -> int:
        """Return the status with which the program ended."""
        return self._child.wait()

    def children(self) -> list[int]:
        """Return the ids of the processes that the program forked."""
        return children_of(self.pid)

    def _new_child(self) -> Child:
        return Child(
            name=self.name,
            command=[sys.executable, *self._words],
            log=self._servers.local_dir.log(self.name),
            roll=self._servers.roll,
            cwd=CHECKOUT,
            env=self._environment,
        )


class Stack:
    """PostgreSQL, Valkey, two web workers, a Celery worker with two children, and beat."""

    def __init__(self, local_dir: Path) -> None:
        self.servers = embedded.start(local_dir)
        self.port = find_free_port()
        self.base_url = f"http://127.0.0.1:{self.port}"
        self.environment = {
            **os.environ,
            "DJANGO_SETTINGS_MODULE": "config.settings.local",
            "REQUESTS_PER_MINUTE": "1000000",
            "DATABASE_URL": self.servers.database_url("app"),
            "REDIS_URL": self.servers.redis_url,
            "SECRET_KEY": self.servers.local_dir.secret("secret_key"),
            "PENULT_LOCAL_DIR": str(local_dir),
            "PENULT_PORT": str(self.port),
            "WAKER_ENABLED": "1",
            "WEB_CONCURRENCY": "2",
            "PYTHONUNBUFFERED": "1",
            # A worker that was killed is missed soon.
            "WORK_LEASE_SECONDS": "5",
            "PROMETHEUS_MULTIPROC_DIR": str(local_dir / "metrics"),
        }
        (local_dir / "metrics").mkdir()
        schedule = f"--schedule={local_dir / 'beat-schedule'}"
        self.web = self._program("web", ["-m", "gunicorn", "-c", "config/gunicorn.py"])
        self.worker = self.new_worker()
        self.beat = self._program("beat", [*_CELERY, "beat", schedule, "--pidfile="])

    @property
    def programs(self) -> tuple[Program, ...]:
        return (self.web, self.beat, self.worker)

    def start(self) -> None:
        """Migrate as owner, then serve as the application role."""
        self.run(["manage.py", "migrate", "--no-input", "--verbosity=0"], as_owner=True)
        for program in self.programs:
            program.start()
        self.wait_until_whole()

    def mend(self) -> None:
        """Bring back whatever a test left stopped, paused or dead."""
        for server in (self.servers.postgres, self.servers.valkey):
            if server.is_running:
                os.kill(server.pid, signal.SIGCONT)
            else:
                server.start()
        self.start_what_ended()
        with redis.Redis.from_url(self.servers.redis_url) as client:
            client.delete("refresh")  # thousands of wake-ups may be left, and all for nothing
        self.wait_until_whole()

    def start_what_ended(self) -> list[str]:
        """Start programs again that ended by themselves, as every supervisor of them must."""
        ended = [program for program in self.programs if not program.is_running]
        for program in ended:
            program.start()
        return [program.name for program in ended]

    def wait_until_whole(self) -> None:
        wait_until(
            lambda: self.readiness().get("status") == "ready",
            "the stack is whole",
            patience_seconds=START_PATIENCE_SECONDS,
        )

    def stop(self) -> None:
        for program in self.programs:
            program.stop()
        self.servers.stop()

    def run(self, words: list[str], *, as_owner: bool = False, stdin: str | None = None) -> str:
        """Run a Python program of the checkout to its end and return what it printed."""
        owner = {"DATABASE_URL": self.servers.database_url("owner")} if as_owner else {}
        done = subprocess.run(
            [sys.executable, *words],
            env={**self.environment, **owner},
            cwd=CHECKOUT,
            input=stdin,
            capture_output=True,
            text=True,
            timeout=120,
            check=False,
        )
        if done.returncode != 0:
            raise AssertionError(f"{words} ended with {done.returncode}:\n{done.stderr[-4000:]}")
        return done.stdout

    def flush_broker(self) -> None:
        """Take every message away, as a broker that forgets would."""
        with redis.Redis.from_url(self.servers.redis_url) as client:
            client.flushall()

    def readiness(self) -> dict[str, Any]:
        """Return what /readyz says, with the HTTP status beside it; empty while nobody answers."""
        try:
            with urllib.request.urlopen(  # noqa: S310  # our own http address
                f"{self.base_url}/readyz", timeout=10
            ) as answer:
                said: dict[str, Any] = json.load(answer)
                return {**said, "http_status": answer.status}
        except urllib.error.HTTPError as error:
            with error:
                return {"http_status": error.code}
        except (urllib.error.URLError, ConnectionError, TimeoutError):
            return {}

    def new_worker(self, **environment: str) -> Program:
        """Return a worker that is not started yet, with other settings than the others have."""
        words = ["worker", "--concurrency=2", "--without-gossip", "--without-mingle"]
        return self._program("worker", [*_CELERY, *words], **environment)

    def _program(self, name: str, words: list[str], **environment: str) -> Program:
        if name == "web":
            words = [*words, "config.wsgi"]
        return Program(name, words, self.servers, {**self.environment, **environment})

    def __enter__(self) -> Self:
        try:
            self.start()
        except BaseException:
            self.stop()
            raise
        return self

    def __exit__(self, *_: object) -> None:
        self.stop()


@contextmanager
def paused(pid: int) -> Iterator[None]:
    """Stop a process where it stands, as a machine that swaps or a cut network would."""
    os.kill(pid, signal.SIGSTOP)
    try:
        yield
    finally:
        os.kill(pid, signal.SIGCONT)


def children_of(pid: int) -> list[int]:
    """Return the living children of a process, from proc(5)."""
    children = []
    for stat in Path("/proc").glob("[0-9]*/stat"):
        try:
            fields = stat.read_text().rpartition(")")[2].split()
        except (FileNotFoundError, ProcessLookupError):
            continue  # it ended while we looked
        if int(fields[1]) == pid and fields[0] != "Z":
            children.append(int(stat.parent.name))
    return sorted(children)


def wait_until(
    holds: Callable[[], object], what: str, *, patience_seconds: float = PATIENCE_SECONDS
) -> float:
    """Wait until `holds` and return how many seconds that took."""
    begun = time.monotonic()
    while not holds():
        if time.monotonic() - begun > patience_seconds:
            raise AssertionError(f"Not within {patience_seconds:.0f} s: {what}.")
        time.sleep(POLL_SECONDS)
    return time.monotonic() - begun
