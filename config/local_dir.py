"""The data directory of a local stack: who may use it, its secrets, logs and ports."""

import errno
import fcntl
import json
import os
import secrets
import shutil
import socket
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path
from typing import IO, Any, Self

from config.children import LocalStackError, write_private

LOOPBACK = "127.0.0.1"
ROOM_NEEDED_BYTES = 300 * 1024 * 1024


class DirectoryInUseError(LocalStackError):
    """Another stack runs in the directory."""


class LocalDir:
    """A data directory that is ours until we release it, even if we are killed."""

    def __init__(self, path: Path, lock: IO[str]) -> None:
        self.path = path
        self._lock = lock
        self._secrets = path / "secrets.json"
        self._ports = path / "ports.json"

    @classmethod
    def take(cls, path: Path) -> Self:
        """Make the directory where it is missing, and take it.

        Raises
        ------
        DirectoryInUseError
            Another stack runs in it.
        LocalStackError
            It belongs to another account, cannot be written, or the disk is full.
        """
        path = path.absolute()
        with plain_errors(path):
            path.mkdir(mode=0o700, parents=True, exist_ok=True)
            if path.stat().st_uid != os.geteuid():
                raise LocalStackError(
                    f"{path} belongs to another account; "
                    "remove it, or name another directory in PENULT_LOCAL_DIR."
                )
            local_dir = cls(path, _lock(path))
            try:
                local_dir._check()
            except BaseException:
                local_dir.release()
                raise
            return local_dir

    def release(self) -> None:
        self._lock.close()

    def log(self, name: str) -> Path:
        logs = self.path / "logs"
        logs.mkdir(mode=0o700, exist_ok=True)
        return logs / f"{name}.log"

    def secret(self, name: str) -> str:
        """Return the password of that name, which is drawn when it is first asked for."""
        known: dict[str, str] = _read(self._secrets)
        if name not in known:
            known[name] = secrets.token_urlsafe(48)
            write_private(self._secrets, json.dumps(known))
        return known[name]

    def choose_port(self, name: str, *, anew: bool = False) -> int:
        """Return the server's port, the same as last time if it can be, so that clients find it."""
        ports: dict[str, int] = _read(self._ports)
        if anew or name not in ports or not is_port_free(ports[name]):
            ports[name] = find_free_port()
            write_private(self._ports, json.dumps(ports))
        return ports[name]

    @contextmanager
    def plain_errors(self) -> Iterator[None]:
        with plain_errors(self.path):
            yield

    def _check(self) -> None:
        if (self.path / "postgres" / "data").exists() and not self._secrets.exists():
            raise LocalStackError(
                f"The passwords of the database in {self.path} are gone; "
                "remove the directory to begin anew."
            )
        if shutil.disk_usage(self.path).free < ROOM_NEEDED_BYTES:
            raise OSError(errno.ENOSPC, os.strerror(errno.ENOSPC))


@contextmanager
def plain_errors(path: Path) -> Iterator[None]:
    """Say in one sentence what a person can do about a directory that cannot be written."""
    try:
        yield
    except OSError as error:
        if error.errno in {errno.ENOSPC, errno.EDQUOT}:
            needed = ROOM_NEEDED_BYTES // 1024**2
            raise LocalStackError(
                f"The disk is full: {path} needs {needed} MB; "
                "make room, or name another directory in PENULT_LOCAL_DIR."
            ) from error
        if error.errno in {errno.EACCES, errno.EPERM, errno.EROFS, errno.ENOTDIR, errno.EEXIST}:
            raise LocalStackError(
                f"{error.filename or path} cannot be written ({error.strerror}); "
                "name another directory in PENULT_LOCAL_DIR."
            ) from error
        raise


def find_free_port() -> int:
    with socket.socket() as probe:
        probe.bind((LOOPBACK, 0))
        port: int = probe.getsockname()[1]
        return port


def is_port_free(port: int) -> bool:
    """Tell whether a server could listen there; connections that just closed do not count."""
    with socket.socket() as probe:
        probe.setsockopt(socket.SOL_SOCKET, socket.SO_REUSEADDR, 1)
        try:
            probe.bind((LOOPBACK, port))
        except OSError as error:
            if error.errno != errno.EADDRINUSE:
                raise
            return False
    return True


def _read(path: Path) -> dict[str, Any]:
    values: dict[str, Any] = json.loads(path.read_text()) if path.exists() else {}
    return values


def _lock(path: Path) -> IO[str]:
    """Take the lock, which the system gives back when we end, however we end."""
    lock = (path / "lock").open("w")
    try:
        fcntl.flock(lock, fcntl.LOCK_EX | fcntl.LOCK_NB)
    except BlockingIOError as error:
        lock.close()
        raise DirectoryInUseError(
            f"A stack already runs in {path}; stop that one first."
        ) from error
    return lock
