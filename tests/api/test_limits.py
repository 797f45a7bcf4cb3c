"""How often one caller may ask (IETF draft: RateLimit header fields for HTTP)."""

import time
from typing import Any

import pytest

from clubs.selectors import TOKEN_PREFIX, checksum
from common.api import limits
from tests.api.conftest import Api, World


@pytest.fixture(autouse=True)
def fresh_counters(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(limits, "requests", limits.WindowCounter())
    monkeypatch.setattr(limits, "wrong_tokens", limits.WindowCounter())


def made_up_token() -> str:
    body = f"{TOKEN_PREFIX}_device_{'0' * 16}_{'1' * 48}"
    return body + checksum(body)


class TestACaller:
    def test_is_told_how_it_stands(self, world: World, settings: Any):
        settings.REQUESTS_PER_MINUTE = 3

        answer = world.as_("admin").get("squads/")

        assert answer["RateLimit-Policy"] == '"requests";q=3;w=60'
        assert answer["RateLimit"] == '"requests";r=2;t=60'

    def test_waits_when_it_asked_too_often(self, world: World, settings: Any):
        settings.REQUESTS_PER_MINUTE = 2
        admin = world.as_("admin")

        answers = [admin.get("squads/") for _ in range(3)]

        assert [answer.status_code for answer in answers] == [200, 200, 429]
        assert answers[2].json()["code"] == "too_many_requests"
        assert 1 <= int(answers[2]["Retry-After"]) <= 61
        assert answers[2]["RateLimit"].startswith('"requests";r=0;')

    def test_does_not_use_up_what_is_anothers(self, world: World, settings: Any):
        settings.REQUESTS_PER_MINUTE = 1
        world.as_("admin").get("squads/")

        assert world.as_("coach").get("squads/").status_code == 200

    def test_may_ask_again_in_the_next_minute(
        self, world: World, settings: Any, monkeypatch: pytest.MonkeyPatch
    ):
        settings.REQUESTS_PER_MINUTE = 1
        now = 1000.0
        monkeypatch.setattr(time, "monotonic", lambda: now)
        admin = world.as_("admin")
        statuses = [admin.get("squads/").status_code for _ in range(2)]

        now += 60.0

        assert [*statuses, admin.get("squads/").status_code] == [200, 429, 200]


class TestAGuess:
    def test_is_stopped_after_a_few(self, world: World, settings: Any):
        settings.WRONG_TOKENS_PER_MINUTE = 2
        stranger = Api(world.club.slug, made_up_token())

        statuses = [stranger.get("squads/").status_code for _ in range(3)]

        assert statuses == [401, 401, 429]

    def test_is_not_what_a_mistyped_token_is(self, world: World, settings: Any):
        settings.WRONG_TOKENS_PER_MINUTE = 1
        mistyped = Api(world.club.slug, world.tokens["admin"][:-1] + "x")

        statuses = [mistyped.get("squads/").status_code for _ in range(3)]

        assert statuses == [401, 401, 401]
