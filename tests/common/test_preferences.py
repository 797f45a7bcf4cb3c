"""`Prefer: wait` is read as RFC 7240 writes it; what cannot be read is no preference."""

import pytest
from django.test import RequestFactory

from common.api.preferences import LONGEST_WAIT_S, preferred_wait


def wait_of(field: str | None) -> int | None:
    headers = {} if field is None else {"Prefer": field}
    return preferred_wait(RequestFactory().get("/", headers=headers))


class TestPreferredWait:
    @pytest.mark.parametrize(
        ("field", "wait"),
        [
            # The examples of RFC 7240, sections 2 and 4.3, with fewer seconds.
            ("respond-async, wait=10", 10),
            ("Wait=10", 10),
            ("priority=5, wait=3", 3),
            ("handling=lenient, wait=4, respond-async", 4),
            # Section 2: spaces around the equals sign, quoted words, parameters.
            ("wait = 2", 2),
            ('wait="2"', 2),
            ('foo="a, wait=9"; x=y ; z, wait=2;why="late"', 2),
            # "If any preference is specified more than once, only the first instance is to be
            # considered" (section 2).
            ("wait=1, wait=9", 1),
            ("wait=0", 0),
        ],
    )
    def test_reads_what_the_standard_writes(self, field: str, wait: int):
        assert wait_of(field) == wait

    @pytest.mark.parametrize("seconds", [str(LONGEST_WAIT_S + 1), "86400", "9" * 5000])
    def test_waits_no_longer_than_the_service_does(self, seconds: str):
        assert wait_of(f"wait={seconds}") == LONGEST_WAIT_S

    @pytest.mark.parametrize(
        "field",
        [None, "", "respond-async", "wait", "wait=", "wait=soon", "wait=-1", "wait=1.5", 'wait="'],
    )
    def test_is_none_without_a_number_of_seconds(self, field: str | None):
        assert wait_of(field) is None

    @pytest.mark.parametrize("field", ["=, wait=2", "@@@, wait=2", ",,wait=2", '"x", wait=2'])
    def test_passes_over_what_it_cannot_read(self, field: str):
        assert wait_of(field) == 2

    def test_a_long_header_takes_no_long_time(self):
        assert wait_of('foo="' + "\\" * 4000) is None
        assert wait_of("a;" * 4000 + "@") is None
