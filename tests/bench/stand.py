"""The bench's own servers and processes: started empty, used, and thrown away."""

import fcntl
import http.client
import os
import secrets
import shutil
import subprocess
import sys
import tempfile
import time
from collections.abc import Iterator, Mapping, Sequence
from contextlib import contextmanager
from pathlib import Path
from typing import Self

import psycopg
import redis

from config import embedded
from config.children import Child, Roll
from config.local_dir import LOOPBACK, find_free_port

CHECKOUT = Path(__file__).resolve().parents[2]
LOCAL = CHECKOUT / ".local"
PATIENCE_SECONDS = 60.0
# A server closes a connection that idles for some seconds; we open it anew before that.
IDLE_SECONDS = 2.0
PREFIX = "bench-"
STOCK_DATABASE = "stock"
STOCK_SETTINGS = "tests.bench.stock.settings"
SETTINGS = "config.settings.local"


class Stand:
    """A private PostgreSQL and Valkey, and Penult beside its peers on them."""

    def __init__(self, servers: embedded.LocalServers) -> None:
        self.servers = servers
        self._secret_key = secrets.token_urlsafe(50)

    @property
    def environment(self) -> dict[str, str]:
        """Return the settings of a Penult process: it serves as the application role."""
        return {
            **os.environ,
            "PYTHONPATH": str(CHECKOUT),
            "DJANGO_SETTINGS_MODULE": SETTINGS,
            "REQUESTS_PER_MINUTE": "1000000",
            "LOG_LEVEL": "INFO",
            "SECRET_KEY": self._secret_key,
            "DATABASE_URL": self.servers.database_url("app"),
            "OWNER_DATABASE_URL": self.servers.database_url("owner"),
            "REDIS_URL": self.servers.redis_url,
        }

    @property
    def stock_environment(self) -> dict[str, str]:
        """Return the settings of a peer's process: a database and a broker number of its own."""
        return {
            **self.environment,
            "DJANGO_SETTINGS_MODULE": STOCK_SETTINGS,
            "DATABASE_URL": self.servers.database_url("owner", database=STOCK_DATABASE),
            "REDIS_URL": self.servers.redis_url.removesuffix("/0") + "/1",
        }

    def migrate(self) -> None:
        """Make Penult's tables, as owner."""
        owner = {**self.environment, "DATABASE_URL": self.servers.database_url("owner")}
        run([sys.executable, "manage.py", "migrate", "--verbosity=0"], owner)

    def make_stock(self) -> str:
        """Make the peer's database and the rows that attempts refer to; return its token."""
        address = self.servers.database_url("owner")
        with psycopg.connect(address, autocommit=True) as connection:
            connection.execute(f"CREATE DATABASE {STOCK_DATABASE}")
        return run([sys.executable, "-m", "tests.bench.stock.prepare"], self.stock_environment)

    def copy_database(self, name: str) -> None:
        """Make a copy of Penult's database, which nobody may be using just now."""
        address = self.servers.database_url("owner", database="postgres")
        with psycopg.connect(address, autocommit=True) as connection:
            connection.execute(f"CREATE DATABASE {name} TEMPLATE {embedded.DATABASE}")

    @contextmanager
    def web(
        self,
        *,
        database: str = embedded.DATABASE,
        name: str | None = None,
        settings: Mapping[str, str] | None = None,
    ) -> Iterator["Door"]:
        """Serve Penult as the local stack does, or with other settings."""
        environment = {
            **self.environment,
            "DATABASE_URL": self.servers.database_url("app", database=database),
            **(settings or {}),
        }
        arguments = ["--config", "config/gunicorn.py", "config.wsgi"]
        with self._gunicorn(f"web-{name or database}", arguments, environment) as door:
            yield door

    @contextmanager
    def stock_web(self) -> Iterator["Door"]:
        """Serve the peer by the same kind of server: two processes with threads."""
        with self._gunicorn(
            "stock",
            [
                *("--workers", "2", "--threads", "4", "--worker-class", "gthread"),
                *("--timeout", "120", "--keep-alive", "30", "tests.bench.stock.wsgi"),
            ],
            self.stock_environment,
        ) as door:
            yield door

    @contextmanager
    def worker(self, application: str, environment: Mapping[str, str]) -> Iterator[None]:
        """Run one worker with two processes, as the local stack does."""
        command = ["celery", "--app", application, "worker", "--concurrency=2"]
        command += ["--without-gossip", "--without-mingle"]
        with self.child("worker", ["-m", *command], environment):
            yield

    @contextmanager
    def beat(self) -> Iterator[None]:
        """Run the schedule."""
        schedule = str(self.servers.local_dir.path / "beat-schedule")
        command = ["celery", "--app", "config.celery", "beat", "--schedule", schedule, "--pidfile="]
        with self.child("beat", ["-m", *command], self.environment):
            yield

    @contextmanager
    def child(
        self, name: str, arguments: Sequence[str], environment: Mapping[str, str]
    ) -> Iterator[Child]:
        """Run a Python program while the block lasts; say so if it did not last as long."""
        child = Child(
            name=name,
            command=[sys.executable, *arguments],
            log=self.servers.local_dir.log(name),
            roll=self.servers.roll,
            cwd=CHECKOUT,
            env=environment,
        )
        child.start()
        try:
            yield child
            if not child.is_running:
                raise RuntimeError(child.describe_end())
        finally:
            child.stop()

    def server_versions(self) -> dict[str, str]:
        """Return the versions of the servers, as they say themselves."""
        with psycopg.connect(self.servers.database_url("owner")) as connection:
            (postgresql,) = connection.execute("SHOW server_version").fetchone() or ("unknown",)
        with redis.Redis.from_url(self.servers.redis_url) as broker:
            said = broker.info("server")
        return {"postgresql": postgresql, "valkey": str(said.get("valkey_version", "unknown"))}

    @contextmanager
    def _gunicorn(
        self, name: str, arguments: Sequence[str], environment: Mapping[str, str]
    ) -> Iterator["Door"]:
        port = find_free_port()
        command = ["-m", "gunicorn", "--bind", f"{LOOPBACK}:{port}", *arguments]
        with self.child(name, command, environment) as child:
            door = Door(port)
            deadline = time.monotonic() + PATIENCE_SECONDS
            while not door.answers("/"):
                if not child.is_running or time.monotonic() > deadline:
                    raise RuntimeError(child.describe_end())
                time.sleep(0.05)
            with door:
                yield door


class Door:
    """One HTTP connection that stays open, as a script would keep it."""

    def __init__(self, port: int, *, token: str = "") -> None:
        self.port = port
        self._connection = http.client.HTTPConnection(LOOPBACK, port, timeout=PATIENCE_SECONDS)
        self._headers = {"Authorization": token} if token else {}
        self._last_used = time.monotonic()

    def another(self, *, token: str) -> "Door":
        """Return a connection of its own to the same server, with an Authorization header."""
        return Door(self.port, token=token)

    def post(self, path: str, body: bytes) -> bytes:
        """Send JSON, and return the answer if all went well."""
        headers = {**self._headers, "Content-Type": "application/json"}
        return self._ask("POST", path, body, headers)

    def get(self, path: str) -> bytes:
        return self._ask("GET", path, None, self._headers)

    def answers(self, path: str) -> bool:
        """Tell whether anybody answers, whatever they say."""
        return self.status(path) is not None

    def status(self, path: str) -> int | None:
        """Return the status of a read, or None where nobody answers."""
        try:
            self._connection.request("GET", path)
            response = self._connection.getresponse()
            response.read()
        except (OSError, http.client.HTTPException):
            self._connection.close()
            return None
        return response.status

    def _ask(self, method: str, path: str, body: bytes | None, headers: Mapping[str, str]) -> bytes:
        if time.monotonic() - self._last_used > IDLE_SECONDS:
            self.close()
        self._connection.request(method, path, body=body, headers=dict(headers))
        response = self._connection.getresponse()
        answer = response.read()
        self._last_used = time.monotonic()
        if response.status not in {200, 201}:
            raise RuntimeError(f"{method} {path}: {response.status} {answer[:500]!r}")
        return answer

    def close(self) -> None:
        """Let go; the next request opens the connection again."""
        self._connection.close()

    def __enter__(self) -> Self:
        return self

    def __exit__(self, *_: object) -> None:
        self.close()


@contextmanager
def empty_stand() -> Iterator[Stand]:
    """Start the servers on an empty data directory, which is removed afterwards."""
    LOCAL.mkdir(mode=0o700, exist_ok=True)
    with (
        _among_benchmarks(),
        empty_directory() as folder,
        embedded.start(folder) as servers,
    ):
        yield Stand(servers)


@contextmanager
def empty_directory() -> Iterator[Path]:
    """Make a data directory beside the others of the checkout, and remove it afterwards."""
    folder = Path(tempfile.mkdtemp(prefix=PREFIX, dir=LOCAL))
    try:
        yield folder
    finally:
        shutil.rmtree(folder)


@contextmanager
def _among_benchmarks() -> Iterator[None]:
    """Clear up after benchmarks that were killed, unless another one runs just now."""
    with (LOCAL / "bench.lock").open("w") as lock:
        try:
            fcntl.flock(lock, fcntl.LOCK_EX | fcntl.LOCK_NB)
        except BlockingIOError:
            pass  # the other one shares the lock, and so do we; the next one clears up
        else:
            for folder in LOCAL.glob(f"{PREFIX}*/"):
                Roll(folder / "processes.json").stop_left_behind()
                shutil.rmtree(folder)
        fcntl.flock(lock, fcntl.LOCK_SH)
        yield


def run(command: Sequence[str], environment: Mapping[str, str]) -> str:
    """Run a program to its end, and return what it printed."""
    ended = subprocess.run(
        command, cwd=CHECKOUT, env=dict(environment), capture_output=True, text=True, check=False
    )
    if ended.returncode != 0:
        raise RuntimeError(f"{' '.join(command)} ended with {ended.returncode}: {ended.stderr}")
    return ended.stdout.strip()
