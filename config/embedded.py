"""A private PostgreSQL and Valkey, each a child of our own.

docs/decisions/0001-local-stack.md says why, and what each odd-looking step is good for.
"""

import os
import shutil
import signal
import sys
import time
from abc import ABC, abstractmethod
from pathlib import Path
from types import TracebackType
from typing import Literal, Self

import psycopg
import redis
from psycopg import sql

from config.binaries import Binaries
from config.children import (
    POLL_SECONDS,
    Child,
    LocalStackError,
    Roll,
    birth_of,
    write_private,
)
from config.local_dir import LOOPBACK, LocalDir

START_PATIENCE_SECONDS = 60.0
DATABASE = "penult"
SERVER_ENVIRONMENT = {"LC_ALL": "C", "TZ": "UTC", "PATH": os.defpath}

Role = Literal["superuser", "owner", "app", "backup"]
ROLE_NAMES: dict[Role, str] = {
    "superuser": "postgres",
    "owner": "penult_owner",
    "app": "penult_app",
    "backup": "penult_backup",
}
ROLE_RIGHTS: dict[Role, str] = {
    "owner": "LOGIN CREATEDB NOSUPERUSER NOCREATEROLE NOBYPASSRLS",
    "app": "LOGIN NOCREATEDB NOSUPERUSER NOCREATEROLE NOBYPASSRLS",
    "backup": "LOGIN NOCREATEDB NOSUPERUSER NOCREATEROLE BYPASSRLS",
}
ROLE_SETTINGS: dict[Role, dict[str, str]] = {
    # A migration that waits for a lock makes everybody behind it wait: it gives up and is repeated.
    "owner": {"lock_timeout": "5s"},
    "backup": {"default_transaction_read_only": "on"},
}


def start(local_dir: Path, *, postgres: bool = True, valkey: bool = True) -> "LocalServers":
    """Start the private servers of a data directory, which is made on the first start.

    What a stack that was killed left running in it is stopped first.

    Raises
    ------
    DirectoryInUseError
        Another stack runs in the directory.
    LocalStackError
        The directory is full, closed to us or another account's, or a server does not start.
    """
    servers = LocalServers(LocalDir.take(local_dir))
    try:
        servers.start(postgres=postgres, valkey=valkey)
    except BaseException:
        servers.stop()
        raise
    return servers


class LocalServers:
    """The servers of a data directory; nobody else can take the directory while this lives."""

    def __init__(self, local_dir: LocalDir) -> None:
        self.local_dir = local_dir
        self.roll = Roll(local_dir.path / "processes.json")
        self._binaries: Binaries | None = None
        self._postgres: Postgres | None = None
        self._valkey: Valkey | None = None

    def start(self, *, postgres: bool, valkey: bool) -> None:
        with self.local_dir.plain_errors():
            self.roll.stop_left_behind()
            if not postgres and not valkey:
                return
            self._binaries = Binaries.make_ready(self.local_dir)
            if postgres:
                self._postgres = Postgres(self, self._binaries)
                self._postgres.start()
                self._postgres.ensure_roles()
            if valkey:
                self._valkey = Valkey(self, self._binaries)
                self._valkey.start()

    @property
    def postgres(self) -> "Postgres":
        if self._postgres is None:
            raise LocalStackError("This stack runs no PostgreSQL of its own.")
        return self._postgres

    @property
    def valkey(self) -> "Valkey":
        if self._valkey is None:
            raise LocalStackError("This stack runs no Valkey of its own.")
        return self._valkey

    def running_servers(self) -> list["Server"]:
        """Return the servers that should be running now."""
        return [server for server in (self._postgres, self._valkey) if server is not None]

    def database_url(self, role: Role = "app", *, database: str = DATABASE) -> str:
        name = ROLE_NAMES[role]
        password = self.local_dir.secret(name)
        return f"postgresql://{name}:{password}@{LOOPBACK}:{self.postgres.port}/{database}"

    @property
    def redis_url(self) -> str:
        return f"redis://:{self.local_dir.secret('valkey')}@{LOOPBACK}:{self.valkey.port}/0"

    def stop(self) -> None:
        """Stop the servers and let the next stack have the directory."""
        for server in reversed(self.running_servers()):
            server.stop()
        if self._binaries is not None:
            self._binaries.remove_copies()
        self.local_dir.release()

    def __enter__(self) -> Self:
        return self

    def __exit__(
        self,
        kind: type[BaseException] | None,
        error: BaseException | None,
        trace: TracebackType | None,
    ) -> None:
        self.stop()


class Server(ABC):
    """What both servers have in common: a port that stays the same, and a start that waits."""

    name: str
    stop_signal: signal.Signals

    def __init__(self, servers: LocalServers, binaries: "Binaries") -> None:
        self.servers = servers
        self.binaries = binaries
        self.home = servers.local_dir.path / self.name
        self.log = servers.local_dir.log(self.name)
        self.port = servers.local_dir.choose_port(self.name)
        self._child: Child | None = None
        binaries.hand_over(self.home)

    @property
    def child(self) -> Child:
        if self._child is None:
            raise LocalStackError(f"{self.name} was not started.")
        return self._child

    @property
    def pid(self) -> int:
        return self.child.pid

    @property
    def is_running(self) -> bool:
        return self._child is not None and self._child.is_running

    def start(self) -> None:
        """Start the server and return when it answers; the port is kept over a restart."""
        deadline = time.monotonic() + START_PATIENCE_SECONDS
        restarted = self._child is not None
        while not self._try_to_start(deadline):
            said = self.child.last_words()
            if "ddress already in use" in said and not restarted:
                self.port = self.servers.local_dir.choose_port(self.name, anew=True)
            elif not self._is_passing(said) or time.monotonic() > deadline:
                raise LocalStackError(self.child.describe_end())
            time.sleep(POLL_SECONDS)

    def stop(self) -> None:
        if self._child is not None:
            self._child.stop()

    def kill(self) -> None:
        """End the server as a crash would; `start` brings it back."""
        self.child.kill()

    @abstractmethod
    def command(self) -> list[str]:
        """Return the program with its arguments."""

    @abstractmethod
    def is_ready(self) -> bool:
        """Answer whether the server takes connections."""

    def configuration(self) -> str | None:
        """Return what the server reads from its standard input."""
        return None

    def working_dir(self) -> Path:
        return self.home

    def _is_passing(self, said: str) -> bool:
        """Tell whether the reason for not starting goes away by itself after a crash."""
        return "ddress already in use" in said or "shared memory block" in said

    def _try_to_start(self, deadline: float) -> bool:
        self._child = Child(
            name=self.name,
            command=self.command(),
            log=self.log,
            roll=self.servers.roll,
            cwd=self.working_dir(),
            env=SERVER_ENVIRONMENT,
            account=self.binaries.account,
            stdin=self.configuration(),
            stop_signal=self.stop_signal,
        )
        self._child.start()
        while self._child.is_running:
            if self.is_ready():
                return True
            if time.monotonic() > deadline:
                self._child.stop()
                raise LocalStackError(
                    f"{self.name} did not answer within {START_PATIENCE_SECONDS:.0f} s. "
                    f"It wrote to {self.log}:\n{self._child.last_words()}"
                )
            time.sleep(POLL_SECONDS)
        return False


class Postgres(Server):
    name = "postgres"
    stop_signal = signal.SIGINT  # a fast shutdown; SIGTERM would wait for every client

    @property
    def data_dir(self) -> Path:
        return self.home / "data"

    def start(self) -> None:
        if not self.data_dir.exists():
            self._create_data_dir()
        self._free_lock_file()
        super().start()

    def command(self) -> list[str]:
        settings = {
            "listen_addresses": LOOPBACK,
            "port": str(self.port),
            "unix_socket_directories": "",  # their paths may be too long, the loopback never is
            "max_connections": "150",
            "timezone": "UTC",
            "log_timezone": "UTC",
        }
        options = [word for key, value in settings.items() for word in ("-c", f"{key}={value}")]
        return [str(self.binaries.postgres("postgres")), "-D", self._data_path(), *options]

    def working_dir(self) -> Path:
        return self.data_dir

    def is_ready(self) -> bool:
        """Tell what the server itself writes into its lock file: our child is ready."""
        lines = self._lock_file_lines()
        return len(lines) > 7 and lines[0] == str(self.pid) and lines[7].strip() == "ready"

    def ensure_roles(self) -> None:
        """Make the three roles and the database, where an earlier start did not get that far."""
        address = self.servers.database_url("superuser", database="postgres")
        with psycopg.connect(address, autocommit=True) as connection:
            known = {name for (name,) in connection.execute("SELECT rolname FROM pg_roles")}
            for role, rights in ROLE_RIGHTS.items():
                if ROLE_NAMES[role] not in known:
                    self._create_role(connection, role, rights)
            self._ensure_database(connection)

    def _create_role(self, connection: psycopg.Connection, role: Role, rights: str) -> None:
        name = ROLE_NAMES[role]
        # Encrypted here, so that no log of a statement can hold the password.
        verifier = connection.pgconn.encrypt_password(
            self.servers.local_dir.secret(name).encode(), name.encode(), b"scram-sha-256"
        )
        with connection.transaction():
            connection.execute(
                sql.SQL("CREATE ROLE {} WITH {} PASSWORD {}").format(
                    sql.Identifier(name), sql.SQL(rights), sql.Literal(verifier.decode())
                )
            )
            for setting, value in ROLE_SETTINGS.get(role, {}).items():
                connection.execute(
                    sql.SQL("ALTER ROLE {} SET {} = {}").format(
                        sql.Identifier(name), sql.Identifier(setting), sql.Literal(value)
                    )
                )

    def _ensure_database(self, connection: psycopg.Connection) -> None:
        found = connection.execute("SELECT 1 FROM pg_database WHERE datname = %s", [DATABASE])
        if found.fetchone() is None:
            connection.execute(
                sql.SQL("CREATE DATABASE {} OWNER {}").format(
                    sql.Identifier(DATABASE), sql.Identifier(ROLE_NAMES["owner"])
                )
            )
        connection.execute(
            sql.SQL(
                "REVOKE ALL ON DATABASE {database} FROM PUBLIC;"
                "GRANT CONNECT ON DATABASE {database} TO {app}, {backup}"
            ).format(
                database=sql.Identifier(DATABASE),
                app=sql.Identifier(ROLE_NAMES["app"]),
                backup=sql.Identifier(ROLE_NAMES["backup"]),
            )
        )

    def _create_data_dir(self) -> None:
        """Run initdb beside the final place, so that a half-made directory is never taken."""
        unfinished = self.home / "data.new"
        shutil.rmtree(unfinished, ignore_errors=True)
        self.binaries.hand_over(unfinished)
        password_file = self.home / "password"
        password = self.servers.local_dir.secret(ROLE_NAMES["superuser"])
        write_private(password_file, f"{password}\n")
        self.binaries.hand_over(password_file)
        child = Child(
            name="initdb",
            command=[
                str(self.binaries.postgres("initdb")),
                *("-D", self._data_path(unfinished)),
                *("-U", ROLE_NAMES["superuser"]),
                *("-A", "scram-sha-256"),
                "--pwfile=../password",
                "--encoding=UTF8",
                "--no-locale",
                "--locale-provider=builtin",
                "--builtin-locale=C.UTF-8",
            ],
            log=self.log,
            roll=self.servers.roll,
            cwd=unfinished,
            env=SERVER_ENVIRONMENT,
            account=self.binaries.account,
        )
        try:
            child.start()
            if child.wait() != 0:
                raise LocalStackError(child.describe_end())
        finally:
            child.stop()
            password_file.unlink()
        unfinished.rename(self.data_dir)

    def _data_path(self, data_dir: Path | None = None) -> str:
        """Return the directory as the server can reach it.

        Another account may not enter the folders above, so it goes by its working directory.
        """
        if self.binaries.account is not None and sys.platform == "linux":
            return "/proc/self/cwd"
        return str(data_dir or self.data_dir)

    def _lock_file_lines(self) -> list[str]:
        try:
            return (self.data_dir / "postmaster.pid").read_text().splitlines()
        except FileNotFoundError:
            return []

    def _free_lock_file(self) -> None:
        """Take a stranger's process id out of a lock file that a killed server left.

        The server refuses to start while the process in its lock file lives, be it another one
        that got the same id after a reboot. It knows that its parent's id, ours, is no server,
        and goes on to check that no old child still uses the shared memory.
        """
        lines = self._lock_file_lines()
        left_by = self.servers.roll.find_pid(self.name)
        if not lines or lines[0] != str(left_by) or self.servers.roll.is_running(self.name):
            return
        if left_by is not None and birth_of(left_by) is not None:
            lock_file = self.data_dir / "postmaster.pid"
            with lock_file.open("r+") as file:
                file.write("\n".join([str(os.getpid()), *lines[1:], ""]))
                file.truncate()


class Valkey(Server):
    name = "valkey"
    stop_signal = signal.SIGTERM

    def command(self) -> list[str]:
        return [str(self.binaries.valkey()), "-"]

    def configuration(self) -> str:
        """Return the configuration; from a pipe, so that no argument shows the password."""
        return "\n".join(
            [
                f"bind {LOOPBACK}",
                f"port {self.port}",
                f"requirepass {self.servers.local_dir.secret('valkey')}",
                "appendonly yes",
                'save ""',
                "",
            ]
        )

    def is_ready(self) -> bool:
        try:
            with redis.Redis.from_url(self.servers.redis_url, socket_timeout=5) as client:
                return bool(client.ping())
        except (redis.ConnectionError, redis.BusyLoadingError):
            return False
