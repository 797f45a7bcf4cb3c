"""A client that speaks with a token, and a club to speak with."""

from dataclasses import dataclass, replace
from typing import Any

import pytest
from django.test import Client

from analytics.core.simulator import Athlete
from clubs.models import Role
from tests import factories
from tests.api.gated import GatedSeason
from tests.api.seasons import make_season
from tests.approaches.conftest import Scene, make_scene
from tests.conftest import Keep

BASE = "/api/v1/clubs"
GATED_ATHLETE = Athlete(unmeasured_no_jump_share=0.0, start_sd_m=0.15)


class Api:
    """HTTP as one caller."""

    def __init__(self, slug: str, token: str | None) -> None:
        headers = {} if token is None else {"Authorization": f"Bearer {token}"}
        self.client = Client(headers=headers, raise_request_exception=False)
        self.base = f"{BASE}/{slug}/"

    def get(self, path: str, **headers: str) -> Any:
        return self.client.get(self.base + path, headers=_named(headers))

    def post(
        self, path: str, body: Any, content_type: str = "application/json", **headers: str
    ) -> Any:
        return self.client.post(
            self.base + path, body, content_type=content_type, headers=_named(headers)
        )

    def patch(self, path: str, body: Any, *, if_match: str | None = "*") -> Any:
        headers = {} if if_match is None else {"If-Match": if_match}
        return self.client.patch(
            self.base + path, body, content_type="application/json", headers=headers
        )

    def delete(self, path: str) -> Any:
        return self.client.delete(self.base + path)

    def send(self, method: str, path: str) -> Any:
        return self.client.generic(
            method, path, b"{}", content_type="application/json", headers={"If-Match": "*"}
        )


def version_of(answer: Any) -> int:
    """Return the version of the row that an answer's tag begins with."""
    return int(answer["ETag"].strip('"').partition("-")[0])


def _named(headers: dict[str, str]) -> dict[str, str]:
    return {name.replace("_", "-"): value for name, value in headers.items()}


@dataclass(frozen=True)
class World(Scene):
    """The scene with one caller of each kind; `Api`s are made on demand."""

    tokens: dict[str, str]

    def as_(self, who: str | None) -> Api:
        return Api(self.club.slug, None if who is None else self.tokens[who])


def make_world() -> World:
    scene = make_scene()
    tokens = {
        role.value: factories.make_person_token(factories.make_member(scene.club, role))
        for role in Role
    }
    tokens["device"] = factories.make_device_token(scene.club, source=scene.source)
    fields = {name: getattr(scene, name) for name in Scene.__dataclass_fields__}
    return World(**fields, tokens=tokens)


@pytest.fixture(scope="module")
def kept_world(keep: Keep[World]) -> World:
    return keep(make_world)


@pytest.fixture(scope="module")
def second_kept_world(keep: Keep[World]) -> World:
    return keep(make_world)


@pytest.fixture
def world(kept_world: World, db: None) -> World:
    return kept_world


@pytest.fixture
def second_world(second_kept_world: World, db: None) -> World:
    return second_kept_world


@pytest.fixture(scope="module")
def kept_gated_season(keep: Keep[GatedSeason], kept_world: World) -> GatedSeason:
    def make() -> GatedSeason:
        season = GatedSeason.of(make_season(kept_world, GATED_ATHLETE))
        season.add([6] * 4, seed=4)
        return season

    return keep(make)


@pytest.fixture
def gated_season(kept_gated_season: GatedSeason, world: World) -> GatedSeason:
    """Return 24 attempts with gates, in four sessions."""
    return replace(
        kept_gated_season,
        sessions=list(kept_gated_season.sessions),
        readings=list(kept_gated_season.readings),
    )


@pytest.fixture
def fresh_gated(world: World) -> GatedSeason:
    """Return a run-up without attempts, at gates."""
    athlete = factories.make_athlete(world.club)
    return GatedSeason.of(make_season(replace(world, athlete=athlete), GATED_ATHLETE))
