"""A body is read up to its own limit, which is not that of a form."""

from typing import Any

import pytest
from django.conf import settings

from common.api.parsers import MAX_BODY_BYTES
from tests.api.conftest import World


def send(world: World, length: int) -> Any:
    """Send an object of so many bytes, most of them blanks, for a new source."""
    api = world.as_("admin")
    return api.client.generic(
        "POST",
        f"{api.base}sources/",
        b"{}".rjust(length),
        content_type="application/json",
        headers={"Idempotency-Key": f"of {length} bytes"},
    )


class TestLargeBodies:
    @pytest.mark.parametrize(
        "length", [settings.DATA_UPLOAD_MAX_MEMORY_SIZE + 1, MAX_BODY_BYTES], ids=["form", "body"]
    )
    def test_are_read_up_to_the_limit(self, world: World, length: int):
        answer = send(world, length)

        assert (answer.status_code, answer.json()["code"]) == (400, "invalid_input")

    def test_are_refused_beyond_it(self, world: World):
        answer = send(world, MAX_BODY_BYTES + 1)

        assert (answer.status_code, answer.json()["code"]) == (413, "body_too_large")
