"""What is not the caller's does not exist: a walk over every route that a club has.

The routes come from the URL patterns, so that one added tomorrow is covered.
"""

import re
from collections.abc import Iterator
from dataclasses import dataclass
from datetime import date
from typing import Any
from uuid import uuid4

import pytest
from django.urls import URLPattern, URLResolver, get_resolver
from django.urls.converters import StringConverter, UUIDConverter

from athletes.services import coaching, joining
from clubs.models import AccessToken, Role
from clubs.services.access import PERSON_SCOPES
from common.club_scope import club_scope
from tests import factories
from tests.api.conftest import Api, World
from tests.conftest import Keep

CALLERS = ("admin", "coach", "athlete", "device")
METHODS = ("GET", "HEAD", "OPTIONS", "POST", "PUT", "PATCH", "DELETE")
# Ids of rows about one athlete.
OF_ATHLETES = {
    "athlete_id",
    "approach_id",
    "attempt_id",
    "gate_run_id",
    "alert_id",
    "squad_member_id",
    "assignment_id",
    "advice_id",
    "work_id",
}
# What an address may hold besides ids: a word that is the same in every club.
WORDS = {"kind"}
PREFIX = "api/v1/clubs/<slug:club>/"


@dataclass(frozen=True)
class Route:
    path: str  # below the club, its UUIDs as format fields
    ids: tuple[str, ...]
    view: Any

    def at(self, **ids: object) -> str:
        return self.path.format(**{name: ids.get(name, uuid4()) for name in self.ids})


def club_routes() -> list[Route]:
    return list(_walk(get_resolver().url_patterns, ""))


def _walk(patterns: list[Any], before: str) -> Iterator[Route]:
    for pattern in patterns:
        path = before + str(pattern.pattern)
        if isinstance(pattern, URLResolver):
            yield from _walk(pattern.url_patterns, path)
        elif isinstance(pattern, URLPattern) and path.startswith(PREFIX):
            converters = pattern.pattern.converters
            ids = tuple(name for name in converters if name != "club")
            for name in ids:
                known = StringConverter if name in WORDS else UUIDConverter
                assert isinstance(converters[name], known), "teach the walk this converter"
                path = re.sub(rf"<(?:\w+:)?{name}>", f"{{{name}}}", path)
            yield Route(path.removeprefix(PREFIX), ids, pattern.callback)


ROUTES = club_routes()


def without_request_id(answer: Any) -> dict[str, Any]:
    body: dict[str, Any] = answer.json()
    return {name: value for name, value in body.items() if name != "request_id"}


def own_ids(world: World) -> dict[str, object]:
    """Return an existing id for each name that a route or an example of the schema may ask for.

    What belongs to an athlete belongs to the world's one.
    """
    attempt = factories.make_attempt(world.source, world.athlete, world.session, gates=None)
    # Enough of them, and far enough off, to be advised to move the mark.
    short = {"toe_m": [0.31, 2.45, 4.82]}
    latest = [
        factories.make_attempt(
            world.source,
            world.athlete,
            world.session,
            started_at=f"2026-05-02T09:{20 + 6 * number}:07+02:00",
            footfalls=short,
            gates=None,
        )
        for number in range(4)
    ][-1]
    # Somebody warms up.
    factories.make_attempt(
        world.source,
        world.athlete,
        world.session,
        started_at="2026-05-02T09:02:07+02:00",
        finish="run_through",
        outcome="not_judged",
        official_m=None,
        gates=None,
    )
    gate_run = factories.make_gate_run(
        world.source, world.athlete, attempt_external_id=attempt.external_id
    )
    public_id = world.tokens["admin"].split("_")[2]
    squad = factories.make_squad(world.club)
    # Over before the days that the examples of the schema name.
    squad_time = joining.add_squad_member(
        club=world.club,
        squad=squad,
        athlete=world.athlete,
        from_date=date(2025, 1, 1),
        until_date=date(2025, 12, 31),
    )
    coach = factories.make_member(world.club, Role.COACH)
    assignment = coaching.assign_coach(
        club=world.club, coach=coach, athlete=world.athlete, from_date=date(2026, 1, 1)
    )
    factories.make_person_token(coach)
    with club_scope(world.club):
        return {
            "athlete_id": world.athlete.id,
            "approach_id": world.approach.id,
            "plan_id": world.plan.id,
            "session_id": world.session.id,
            "attempt_id": attempt.id,
            "gate_run_id": gate_run.id,
            "row_id": factories.make_quarantined_row(world.source, world.athlete).id,
            "alert_id": factories.make_alert(attempt).id,
            "through_attempt_id": latest.id,
            "advice_id": factories.make_advice(attempt).id,
            "work_id": factories.make_squad_season(squad, world.athlete).id,
            "measurement_id": factories.make_measurement(world.athlete).id,
            "sprint_test_id": factories.make_sprint_test(world.athlete).id,
            "consent_id": factories.make_consent(world.athlete).id,
            "kind": "no_jump_share",
            "squad_id": squad.id,
            "squad_member_id": squad_time.id,
            "member_id": coach.id,
            "member_token_id": AccessToken.objects.get(membership=coach).id,
            "coach_id": coach.id,
            "assignment_id": assignment.id,
            "runway_id": factories.make_runway(world.club).id,
            "source_id": world.source.id,
            "token_id": AccessToken.objects.filter(source=world.source)[0].id,
            # Nobody may touch another person's token: this one is the admin's.
            "own_token_id": AccessToken.objects.get(public_id=public_id).id,
        }


@pytest.fixture(scope="module")
def ids(keep: Keep[dict[str, object]], kept_world: World) -> dict[str, object]:
    """Return ids of the first club: every test asks and is refused, or reads."""
    return keep(lambda: own_ids(kept_world))


@pytest.fixture(scope="module")
def second_ids(keep: Keep[dict[str, object]], second_kept_world: World) -> dict[str, object]:
    """Return ids of the second club."""
    return keep(lambda: own_ids(second_kept_world))


def test_the_walk_finds_the_routes():
    assert len(ROUTES) >= 19
    print(f"\n{len(ROUTES)} routes x {len(METHODS)} methods")


def test_a_club_that_is_not_there_is_missing_to_everyone(world: World):
    for who in CALLERS:
        nowhere = Api("no-such-club", world.tokens[who])
        for method in METHODS:
            answer = nowhere.send(method, f"{nowhere.base}athletes/")
            assert answer.status_code == 404, (who, method)


@pytest.mark.parametrize("route", ROUTES, ids=lambda route: route.path or "club")
class TestEveryRoute:
    def test_another_clubs_token_finds_nothing(
        self, world: World, second_world: World, ids: dict[str, object], route: Route
    ):
        nowhere = Api("no-such-club", second_world.tokens["admin"])
        strangers = {who: Api(world.club.slug, second_world.tokens[who]) for who in CALLERS}
        for method in METHODS:
            missing = nowhere.send(method, nowhere.base + route.at(**ids))
            assert missing.status_code == 404, method
            for who, stranger in strangers.items():
                answer = stranger.send(method, stranger.base + route.at(**ids))
                assert answer.status_code == 404, (who, method)
                if method != "HEAD":
                    assert without_request_id(answer) == without_request_id(missing)

    def test_nobody_is_asked_for_a_token(self, world: World, ids: dict[str, object], route: Route):
        for slug in (world.club.slug, "no-such-club"):
            anonymous = Api(slug, None)
            for method in METHODS:
                answer = anonymous.send(method, anonymous.base + route.at(**ids))
                assert answer.status_code == 401, method
                assert answer["WWW-Authenticate"].startswith("Bearer")

    def test_ids_of_another_club_are_unknown(
        self, world: World, second_ids: dict[str, object], route: Route
    ):
        if not set(route.ids) - WORDS:
            return
        admin = world.as_("admin")
        for method in route.view.view_class.rights:
            theirs = admin.send(method, admin.base + route.at(**second_ids))
            nobodys = admin.send(method, admin.base + route.at())
            if theirs.status_code == 400:  # the body was read before the id was looked up
                assert nobodys.status_code == 400
                continue
            assert theirs.status_code == 404, method
            assert without_request_id(theirs) == without_request_id(nobodys)

    def test_a_token_without_the_scope_is_refused(
        self, world: World, ids: dict[str, object], route: Route
    ):
        for method, right in route.view.view_class.rights.items():
            scopes = {scope for scope in PERSON_SCOPES if scope != right.scope}
            token = factories.make_person_token(
                factories.make_member(world.club, Role.ADMIN), scopes=scopes
            )
            answer = Api(world.club.slug, token).send(
                method, f"/api/v1/clubs/{world.club.slug}/{route.at(**ids)}"
            )
            assert (answer.status_code, answer.json()["code"]) == (403, "missing_scope")
            assert right.scope in answer.json()["detail"]

    def test_a_role_without_the_right_is_refused(
        self, world: World, ids: dict[str, object], route: Route
    ):
        for method, right in route.view.view_class.rights.items():
            for role in Role:
                if role in right.roles:
                    continue
                caller = world.as_(role.value)
                answer = caller.send(method, caller.base + route.at(**ids))
                assert (answer.status_code, answer.json()["code"]) == (403, "not_allowed")

    def test_an_unassigned_coach_finds_no_strangers_row(
        self, world: World, ids: dict[str, object], route: Route
    ):
        if not OF_ATHLETES & set(route.ids):
            return
        coach = world.as_("coach")
        for method, right in route.view.view_class.rights.items():
            if "coach" not in right.roles:
                continue
            answer = coach.send(method, coach.base + route.at(**ids))
            assert answer.status_code in {400, 404}, method
            if method == "GET":
                assert answer.status_code == 404

    def test_unknown_parameters_are_refused(
        self, world: World, ids: dict[str, object], route: Route
    ):
        admin = world.as_("admin")
        if "GET" in route.view.view_class.rights:
            answer = admin.get(route.at(**ids) + "?surprise=1")
            assert (answer.status_code, answer.json()["code"]) == (400, "unknown_parameter")
            assert "surprise" in answer.json()["detail"]
