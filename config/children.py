"""Child processes of the local stack: started with a log, watched, and stopped with patience."""

import json
import os
import signal
import subprocess
import time
from collections.abc import Mapping, Sequence
from contextlib import AbstractContextManager, nullcontext, suppress
from dataclasses import dataclass, field
from pathlib import Path
from typing import IO, TypedDict

PATIENCE_SECONDS = 30.0
POLL_SECONDS = 0.02
LOG_LIMIT_BYTES = 10 * 1024 * 1024


class LocalStackError(Exception):
    """The local stack cannot go on; the message is one sentence for the person at the terminal."""


@dataclass(frozen=True)
class Account:
    """The account that a child runs as, where that is not our own."""

    uid: int
    gid: int


@dataclass
class Child:
    """One program that we start and therefore stop."""

    name: str
    command: Sequence[str]
    log: Path | None  # None: it speaks to the terminal
    roll: "Roll"
    cwd: Path
    env: Mapping[str, str] | None = None
    account: Account | None = None
    stdin: str | None = None
    stop_signal: signal.Signals = signal.SIGTERM
    process: "subprocess.Popen[str] | None" = field(default=None, init=False)
    _said_before: int = field(default=0, init=False)

    def start(self) -> None:
        """Start the program in a session of its own, so that Ctrl-C reaches us alone."""
        with self._open_log() as log:
            try:
                # The commands are composed from our own constants and paths, without a shell.
                self.process = subprocess.Popen(  # noqa: S603  # see above
                    self.command,
                    stdin=subprocess.DEVNULL if self.stdin is None else subprocess.PIPE,
                    stdout=log,
                    stderr=None if log is None else subprocess.STDOUT,
                    cwd=self.cwd,
                    env=self.env,
                    text=True,
                    start_new_session=True,
                    user=self.account.uid if self.account else None,
                    group=self.account.gid if self.account else None,
                    extra_groups=[] if self.account else None,
                )
            except OSError as error:
                raise LocalStackError(f"{self.name} cannot be started: {error}.") from error
        self.roll.add(self.name, self.process.pid, self.stop_signal)
        if self.stdin is not None and self.process.stdin is not None:
            self.process.stdin.write(self.stdin)
            self.process.stdin.close()

    def _open_log(self) -> AbstractContextManager[IO[str] | None]:
        if self.log is None:
            return nullcontext()
        turn_over(self.log)
        self._said_before = self.log.stat().st_size if self.log.exists() else 0
        return self.log.open("a")

    def last_words(self, count: int = 12) -> str:
        """Return the last lines that the program wrote since this start."""
        if self.log is None:
            return ""
        with self.log.open(errors="replace") as file:
            file.seek(self._said_before)
            lines = file.read().splitlines()[-count:]
        return "\n".join(f"  | {line}" for line in lines)

    @property
    def pid(self) -> int:
        if self.process is None:
            raise LocalStackError(f"{self.name} was not started.")
        return self.process.pid

    @property
    def is_running(self) -> bool:
        return self.process is not None and self.process.poll() is None

    def stop(self, *, patience_seconds: float = PATIENCE_SECONDS) -> None:
        """Ask politely, wait, and kill only what did not listen."""
        if self.process is None:
            return
        if self.process.poll() is None:
            self.process.send_signal(self.stop_signal)
            # A paused program would not hear the request.
            self.process.send_signal(signal.SIGCONT)
            try:
                self.process.wait(patience_seconds)
            except subprocess.TimeoutExpired:
                self.kill()
        self.roll.remove(self.name)

    def wait(self) -> int:
        if self.process is None:
            raise LocalStackError(f"{self.name} was not started.")
        return self.process.wait()

    def kill(self) -> None:
        """End the program without warning, as a crash would."""
        if self.process is not None and self.process.poll() is None:
            self.process.kill()
            self.process.wait()

    def describe_end(self) -> str:
        """Return how the program ended and what it said last."""
        status = None if self.process is None else self.process.poll()
        how = signal.Signals(-status).name if status and status < 0 else f"status {status}"
        words = self.last_words()
        return f"{self.name} ended ({how})." + (
            f" It wrote to {self.log}:\n{words}" if words else ""
        )


class Entry(TypedDict):
    """A line of the roll."""

    pid: int
    born: str | None
    stop_signal: int


class Roll:
    """The processes that belong to a data directory, on disk.

    A stack that was killed leaves its children behind. The next one finds them here and stops
    them; a process id alone could by then belong to a stranger, so its birth is written beside it.
    """

    def __init__(self, path: Path) -> None:
        self._path = path

    def add(self, name: str, pid: int, stop_signal: signal.Signals) -> None:
        entry = Entry(pid=pid, born=birth_of(pid), stop_signal=stop_signal)
        self._write({**self._read(), name: entry})

    def remove(self, name: str) -> None:
        self._write({key: entry for key, entry in self._read().items() if key != name})

    def find_pid(self, name: str) -> int | None:
        """Return the process id that was written down, whether that process lives or not."""
        entry = self._read().get(name)
        return None if entry is None else entry["pid"]

    def is_running(self, name: str) -> bool:
        """Tell whether the very process that was written down lives."""
        entry = self._read().get(name)
        return (
            entry is not None
            and entry["born"] is not None
            and birth_of(entry["pid"]) == entry["born"]
        )

    def stop_left_behind(self) -> list[str]:
        """Stop what an earlier stack could not stop, last started first; return the names."""
        stopped = []
        for name, entry in reversed(self._read().items()):
            if self.is_running(name):
                self._end(name, entry)
                stopped.append(name)
        return stopped

    def _end(self, name: str, entry: Entry) -> None:
        deadline = time.monotonic() + PATIENCE_SECONDS
        _send(entry["pid"], entry["stop_signal"], signal.SIGCONT)
        while self.is_running(name):
            if time.monotonic() > deadline:
                _send(entry["pid"], signal.SIGKILL)
            time.sleep(POLL_SECONDS)

    def _read(self) -> dict[str, Entry]:
        try:
            entries: dict[str, Entry] = json.loads(self._path.read_text())
        except FileNotFoundError:
            return {}
        return entries

    def _write(self, entries: Mapping[str, Entry]) -> None:
        write_private(self._path, json.dumps(entries))


def _send(pid: int, *signals: int) -> None:
    with suppress(ProcessLookupError):  # it ended by itself, which is what we want
        for number in signals:
            os.kill(pid, number)


def birth_of(pid: int) -> str | None:
    """Return what tells this process from a later one with the same id; None when it is gone.

    Outside Linux nothing is known, and nothing that was left behind is touched.
    """
    try:
        stat = Path(f"/proc/{pid}/stat").read_text()
        boot = Path("/proc/sys/kernel/random/boot_id").read_text().strip()
    except (FileNotFoundError, ProcessLookupError):
        return None
    # The name, in brackets, may hold spaces. See proc(5): the state is field 3, the start time 22.
    fields = stat.rpartition(")")[2].split()
    return None if fields[0] in {"Z", "X"} else f"{boot} {fields[19]}"


def write_private(path: Path, text: str) -> None:
    """Replace the file in one step; only its owner can read it."""
    fresh = path.with_name(f"{path.name}.new")
    with os.fdopen(os.open(fresh, os.O_WRONLY | os.O_CREAT | os.O_TRUNC, 0o600), "w") as file:
        file.write(text)
    fresh.replace(path)


def turn_over(log: Path) -> None:
    """Put a log that has grown large aside, in place of the one put aside before."""
    if log.exists() and log.stat().st_size > LOG_LIMIT_BYTES:
        log.replace(log.with_name(f"{log.name}.1"))
