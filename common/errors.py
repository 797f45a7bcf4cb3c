"""The base of every refusal."""

from collections.abc import Sequence
from dataclasses import dataclass


@dataclass(frozen=True, slots=True)
class Fault:
    """One thing that is wrong with what was sent: where, which rule, and why."""

    pointer: str  # JSON pointer (RFC 6901) into what was sent
    code: str
    detail: str


def pointer_part(name: str) -> str:
    """Return a name as one part of a JSON pointer."""
    return name.replace("~", "~0").replace("/", "~1")


class DomainError(Exception):
    """A refusal that a person or a program can act on.

    `code` is stable and documented in docs/api/errors.md, `status` is the HTTP answer that fits,
    `title` is the same for every refusal with this code, `detail` tells about this one.
    """

    code = "refused"
    status = 400
    title = "The request was refused"
    retry_after_s: int | None = None  # when sending the same again is worth a try

    def __init__(self, detail: str = "", *, faults: Sequence[Fault] = ()) -> None:
        super().__init__(detail or self.title)
        self.detail = detail or self.title
        self.faults = tuple(faults)


class NotFoundError(DomainError):
    """What was asked for does not exist, or is not the caller's."""

    code = "not_found"
    status = 404
    title = "There is no such thing here"


class InvalidInputError(DomainError):
    """Some fields break a rule; `faults` names each."""

    code = "invalid_input"
    status = 400
    title = "Some fields are wrong"


class AlreadyExistsError(DomainError):
    """Something with this name or code exists already."""

    code = "already_exists"
    status = 409
    title = "This exists already"


class StaleVersionError(DomainError):
    """The row was changed since the caller read it."""

    code = "stale_version"
    status = 412
    title = "Somebody changed this meanwhile"


class UnreadableBodyError(DomainError):
    """The body is not what its content type says."""

    code = "unreadable_body"
    status = 400
    title = "The body cannot be read"


class InvalidColumnsError(DomainError):
    """The header of a table names a column that is unknown, misses one, or names one twice."""

    code = "invalid_columns"
    status = 400
    title = "The columns of the table are not those that it may have"
