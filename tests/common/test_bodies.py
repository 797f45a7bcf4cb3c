"""Bodies as they arrive: whole or cut off, plain or as gzip (RFC 1952), small or endless."""

import gzip
import io
import itertools
import random
import tracemalloc
import zlib
from typing import Any

import pytest
from django.core.handlers.wsgi import WSGIRequest

from common.api.bodies import inflated, read_body
from common.api.errors import IncompleteBodyError, LengthRequiredError, UnreadableGzipError
from common.api.problems import BodyTooLargeError, UnsupportedEncodingError

LIMIT = 1024 * 1024
TEXT = b"run-1,34.20\n" * 1_000
PACKED = gzip.compress(TEXT, mtime=0)


def sent(body: bytes, **environ: Any) -> WSGIRequest:
    return WSGIRequest(
        {
            "REQUEST_METHOD": "POST",
            "wsgi.input": io.BytesIO(body),
            "CONTENT_LENGTH": str(len(body)),
            **environ,
        }
    )


def gzipped(body: bytes, **environ: Any) -> WSGIRequest:
    return sent(body, HTTP_CONTENT_ENCODING="gzip", **environ)


class Broken(io.RawIOBase):
    """A connection that breaks off after a few bytes."""

    def __init__(self, error: Exception) -> None:
        super().__init__()
        self._pieces = iter([b"run-1"])
        self._error = error

    def read(self, size: int = -1) -> bytes:
        for piece in self._pieces:
            return piece
        raise self._error


class TestPlainBody:
    def test_is_read_as_it_is(self):
        assert read_body(sent(TEXT), limit=LIMIT) == TEXT
        assert read_body(sent(b""), limit=LIMIT) == b""
        assert read_body(sent(TEXT, HTTP_CONTENT_ENCODING="Identity"), limit=LIMIT) == TEXT

    def test_may_be_as_long_as_the_limit_and_no_longer(self):
        assert len(read_body(sent(b"x" * LIMIT), limit=LIMIT)) == LIMIT

        with pytest.raises(BodyTooLargeError):
            read_body(sent(b"x" * (LIMIT + 1)), limit=LIMIT)

    def test_is_incomplete_when_less_arrives_than_was_announced(self):
        with pytest.raises(IncompleteBodyError, match="12000 of 12001 bytes"):
            read_body(sent(TEXT, CONTENT_LENGTH=str(len(TEXT) + 1)), limit=LIMIT)

    def test_is_incomplete_when_the_connection_breaks(self):
        broken = {"wsgi.input": Broken(ConnectionResetError()), "CONTENT_LENGTH": "9"}

        with pytest.raises(IncompleteBodyError):
            read_body(sent(b"", **broken), limit=LIMIT)

    @pytest.mark.parametrize("encoding", ["br", "deflate", "gzip, gzip", "", "compress"])
    def test_is_refused_in_another_encoding(self, encoding: str):
        with pytest.raises(UnsupportedEncodingError):
            read_body(sent(TEXT, HTTP_CONTENT_ENCODING=encoding), limit=LIMIT)


class TestChunkedBody:
    CHUNKED = {"HTTP_TRANSFER_ENCODING": "chunked", "CONTENT_LENGTH": ""}  # read only

    def test_is_read_to_its_end(self):
        """Without a length the framework would take it for empty."""
        request = sent(TEXT, **self.CHUNKED, **{"wsgi.input_terminated": True})

        assert read_body(request, limit=LIMIT) == TEXT

    def test_is_held_to_the_limit(self):
        request = sent(b"x" * (LIMIT + 1), **self.CHUNKED, **{"wsgi.input_terminated": True})

        with pytest.raises(BodyTooLargeError):
            read_body(request, limit=LIMIT)

    def test_needs_a_server_that_knows_its_end(self):
        with pytest.raises(LengthRequiredError):
            read_body(sent(TEXT, **self.CHUNKED), limit=LIMIT)

    def test_is_incomplete_when_a_chunk_breaks_off(self):
        broken = {"wsgi.input": Broken(ValueError("no chunk")), "wsgi.input_terminated": True}

        with pytest.raises(IncompleteBodyError):
            read_body(sent(b"", **self.CHUNKED, **broken), limit=LIMIT)


class TestGzip:
    """Written by Python's own gzip, and by hand where that writes nothing wrong."""

    @pytest.mark.parametrize("level", [0, 1, 9])
    def test_is_inflated(self, level: int):
        assert read_body(gzipped(gzip.compress(TEXT, level)), limit=LIMIT) == TEXT

    def test_goes_by_its_older_name_too(self):
        request = sent(gzip.compress(TEXT), HTTP_CONTENT_ENCODING="X-GZIP")

        assert read_body(request, limit=LIMIT) == TEXT

    def test_may_have_several_members(self):
        """RFC 1952, section 2.2: members follow one another, with nothing between them."""
        members = gzip.compress(TEXT) + gzip.compress(b"") + gzip.compress(TEXT)

        assert read_body(gzipped(members), limit=LIMIT) == TEXT + TEXT

    def test_may_name_a_file(self):
        named = io.BytesIO()
        with gzip.GzipFile("attempts.ndjson", "wb", fileobj=named) as file:
            file.write(TEXT)

        assert read_body(gzipped(named.getvalue()), limit=LIMIT) == TEXT

    @pytest.mark.parametrize(
        "broken",
        [
            pytest.param(b"", id="nothing"),
            pytest.param(TEXT, id="plain text"),
            pytest.param(zlib.compress(TEXT), id="zlib"),
            pytest.param(PACKED[:-1], id="without its last byte"),
            pytest.param(PACKED[:-8], id="without its trailer"),
            pytest.param(PACKED[:20], id="a part"),
            pytest.param(PACKED[:5], id="a part of the header"),
            pytest.param(PACKED + b"x", id="something behind"),
            pytest.param(PACKED + bytes(512), id="zeros behind"),
            pytest.param(PACKED + PACKED[:9], id="half a member behind"),
            pytest.param(PACKED[:-8] + bytes(8), id="another checksum"),
            pytest.param(PACKED[:-4] + bytes(4), id="another length"),
            pytest.param(PACKED[:40] + b"\xff" + PACKED[41:], id="a byte changed"),
        ],
    )
    def test_is_refused_unless_whole_and_alone(self, broken: bytes):
        with pytest.raises(UnreadableGzipError):
            read_body(gzipped(broken), limit=LIMIT)

    def test_is_held_to_the_limit_once_inflated(self):
        assert len(read_body(gzipped(gzip.compress(bytes(LIMIT))), limit=LIMIT)) == LIMIT

        with pytest.raises(BodyTooLargeError):
            read_body(gzipped(gzip.compress(bytes(LIMIT + 1))), limit=LIMIT)

    def test_of_any_content_in_any_pieces_is_what_went_in(self):
        rng = random.Random(20260502)  # noqa: S311  # repeatable, no secret
        for _ in range(200):
            length = rng.randrange(300_000)
            content = rng.choice([rng.randbytes(length), bytes(length)])
            packed = gzip.compress(content, rng.randrange(10))
            cuts = sorted(rng.randrange(len(packed)) for _ in range(rng.randrange(6)))
            pieces = [packed[a:b] for a, b in itertools.pairwise([0, *cuts, len(packed)])]

            assert b"".join(inflated(iter(pieces))) == content


class TestBomb:
    @pytest.mark.parametrize(
        "body",
        [
            pytest.param(gzip.compress(bytes(100 * LIMIT)), id="100 MiB in 100 KiB"),
            pytest.param(gzip.compress(gzip.compress(bytes(100 * LIMIT)) * 900), id="twice packed"),
        ],
    )
    def test_takes_no_more_memory_than_the_limit(self, body: bytes):
        request = gzipped(body)
        tracemalloc.start()
        try:
            with pytest.raises(BodyTooLargeError):
                read_body(request, limit=2 * LIMIT)
            _, peak = tracemalloc.get_traced_memory()
        finally:
            tracemalloc.stop()

        assert peak < 5 * LIMIT
