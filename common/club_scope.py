"""The one durable transaction of a use case, in which one club's rows can be seen."""

from collections.abc import Callable, Iterator
from contextlib import AbstractContextManager, contextmanager, nullcontext
from contextvars import ContextVar
from typing import Protocol, TypeVar
from uuid import UUID

import psycopg
from django.db import connection, transaction

# Which club this thread of execution is in; None outside of every scope.
_current: ContextVar[UUID | None] = ContextVar("penult_club", default=None)


class Tenant(Protocol):
    """Whatever stands for a club; its id is all that the wall needs."""

    @property
    def id(self) -> UUID: ...


class Entered(Protocol):
    """What was found together with the club that it belongs to."""

    @property
    def club_id(self) -> UUID: ...


Found = TypeVar("Found", bound=Entered)


class ScopeError(RuntimeError):
    """A use case tried to reach into a second club."""


def current_club_id() -> UUID | None:
    """Return the club in scope, or None."""
    return _current.get()


@contextmanager
def club_scope(
    club: Tenant | UUID, *, read_only: bool = False, pipelined: bool = False
) -> Iterator[None]:
    """Open the transaction of a use case and show it the rows of `club`, and no others.

    Writes run READ COMMITTED, reads REPEATABLE READ READ ONLY, so that one answer shows one state.
    A scope inside a scope of the same club joins it: a service may call a service. The setting is
    local to the transaction, which keeps it safe behind a transaction pooler.

    In a pipelined scope a statement waits until the next rows are read, or for the commit, and
    travels with it. That saves round trips, but a write that fails says so only then, and COPY does
    not work.

    Raises
    ------
    ScopeError
        Another club's scope is open.
    """
    club_id = club if isinstance(club, UUID) else club.id
    outer = _current.get()
    if outer is not None:
        if outer != club_id:
            raise ScopeError("One use case stays within one club.")
        yield
        return
    with _transaction(read_only=read_only, pipelined=pipelined):
        _set_club(str(club_id))
        with _current_club(club_id):
            yield


@contextmanager
def scope_entered_by(enter: Callable[[], Found]) -> Iterator[Found]:
    """Open a reading scope of a club that the database tells, and yield what `enter` found.

    `enter` sends the statement that finds the club and shows its rows, both at once.

    Raises
    ------
    ScopeError
        A scope is open already.
    """
    if _current.get() is not None:
        raise ScopeError("One use case stays within one club.")
    with _transaction(read_only=True):
        found = enter()
        with _current_club(found.club_id):
            yield found


def find_by(enter: Callable[[], Found]) -> Found:
    """Return what `enter` found, as in `scope_entered_by`, and open no scope.

    A statement by itself is a transaction: what it shows is hidden again with its end.
    """
    if connection.in_atomic_block:  # of a test
        with scope_entered_by(enter) as found:
            return found
    return enter()


@contextmanager
def _transaction(*, read_only: bool, pipelined: bool = False) -> Iterator[None]:
    wrapped = connection.in_atomic_block  # by a test; a durable block refuses every other one
    if read_only and not wrapped:
        _prepare_reading()
    pipeline = _pipeline() if pipelined else nullcontext()
    try:
        with pipeline, transaction.atomic(durable=True):
            try:
                yield
            finally:
                if wrapped and not connection.needs_rollback:
                    _set_club("")
    finally:
        if read_only and not wrapped:
            _stop_reading()


@contextmanager
def _current_club(club_id: UUID) -> Iterator[None]:
    marker = _current.set(club_id)
    try:
        yield
    finally:
        _current.reset(marker)


def _set_club(club_id: str) -> None:
    with connection.cursor() as cursor:
        cursor.execute("SELECT set_config('penult.club', %s, true)", [club_id])


def _pipeline() -> AbstractContextManager[object]:
    connection.ensure_connection()
    pipeline: AbstractContextManager[object] = connection.connection.pipeline()
    return pipeline


def _prepare_reading() -> None:
    """Make the next transaction a snapshot; psycopg sends it with BEGIN, at no extra round trip."""
    connection.ensure_connection()
    raw = connection.connection
    raw.isolation_level = psycopg.IsolationLevel.REPEATABLE_READ
    raw.read_only = True


def _stop_reading() -> None:
    raw = connection.connection
    if raw is not None and not raw.closed:
        raw.isolation_level = psycopg.IsolationLevel.READ_COMMITTED
        raw.read_only = False
