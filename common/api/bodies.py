"""The body of a request, read piece by piece: never more of it than a limit allows.

The limit holds for what arrives and for what it inflates to, so that a small body cannot grow into
one that fills the memory.
"""

import zlib
from collections.abc import Iterator
from functools import partial

from django.http import HttpRequest

from common.api.errors import IncompleteBodyError, LengthRequiredError, UnreadableGzipError
from common.api.problems import BodyTooLargeError, UnsupportedEncodingError

PIECE_BYTES = 64 * 1024
GZIP_NAMES = frozenset({"gzip", "x-gzip"})  # two names of one coding (RFC 9110, 8.4.1.3)
_WITH_GZIP_HEADER = zlib.MAX_WBITS | 16


def read_body(request: HttpRequest, *, limit: int) -> bytes:
    """Return the body, inflated where it came as gzip (RFC 1952).

    Raises
    ------
    BodyTooLargeError
        It has more than `limit` bytes, as sent or inflated.
    IncompleteBodyError
        Less arrived than was announced.
    LengthRequiredError
        It was sent in chunks, and the server does not say where they end.
    UnreadableGzipError
        It is no whole gzip.
    UnsupportedEncodingError
        It is compressed in another way.
    """
    encoding = request.headers.get("Content-Encoding", "identity").strip().lower()
    pieces = _at_most(limit, _arriving(request, limit=limit))
    if encoding in GZIP_NAMES:
        pieces = _at_most(limit, inflated(pieces))
    elif encoding != "identity":
        raise UnsupportedEncodingError
    return b"".join(pieces)


def inflated(pieces: Iterator[bytes]) -> Iterator[bytes]:
    """Yield what the members of a gzip hold, in pieces of limited size.

    Raises
    ------
    UnreadableGzipError
        A member is broken or does not end, or something else follows the last one.
    """
    member: zlib._Decompress | None = zlib.decompressobj(_WITH_GZIP_HEADER)
    for piece in pieces:
        rest = piece
        while rest:
            if member is None:
                member = zlib.decompressobj(_WITH_GZIP_HEADER)
            yield _inflate(member, rest)
            rest = member.unused_data if member.eof else member.unconsumed_tail
            if member.eof:
                member = None
        if member is not None:
            # What did not fit into the last piece waits in the member.
            yield from iter(partial(_inflate, member, b""), b"")
            member = None if member.eof else member
    if member is not None:
        raise UnreadableGzipError("The gzip ends before its end.")


def _inflate(member: "zlib._Decompress", rest: bytes) -> bytes:
    try:
        return member.decompress(rest, PIECE_BYTES)
    except zlib.error as error:
        raise UnreadableGzipError(f"The gzip is broken: {error}.") from error


def _arriving(request: HttpRequest, *, limit: int) -> Iterator[bytes]:
    if "Transfer-Encoding" in request.headers:
        return _chunked(request)
    length = request.headers.get("Content-Length", "")
    announced = int(length) if length.isdecimal() else 0
    if announced > limit:
        raise _too_large(limit)
    return _announced(request, announced)


def _announced(request: HttpRequest, announced: int) -> Iterator[bytes]:
    arrived = 0
    try:
        for piece in iter(partial(request.read, PIECE_BYTES), b""):
            arrived += len(piece)
            yield piece
    except OSError as error:
        raise IncompleteBodyError from error
    if arrived < announced:
        raise IncompleteBodyError(f"{arrived} of {announced} bytes arrived.")


def _chunked(request: HttpRequest) -> Iterator[bytes]:
    """Yield a body of unknown length; the framework itself would take it for an empty one."""
    if not request.META.get("wsgi.input_terminated"):
        raise LengthRequiredError
    stream = request.META["wsgi.input"]
    try:
        yield from iter(partial(stream.read, PIECE_BYTES), b"")
    except Exception as error:
        # Each server has classes of its own for chunks that break off or are none.
        raise IncompleteBodyError from error


def _at_most(limit: int, pieces: Iterator[bytes]) -> Iterator[bytes]:
    length = 0
    for piece in pieces:
        length += len(piece)
        if length > limit:
            raise _too_large(limit)
        yield piece


def _too_large(limit: int) -> BodyTooLargeError:
    return BodyTooLargeError(f"A body has at most {limit} bytes here, also when inflated.")
