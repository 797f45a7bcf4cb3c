"""Every address says which methods it takes, and HEAD tells what GET would (RFC 9110, 9.3)."""

from typing import Any

import pytest

from tests.api.test_isolation import ROUTES, Route
from tests.api.test_rights import METHODS, ROWS
from tests.conftest import Keep
from tests.contract.stage import Stage, make_stage

# What differs from answer to answer.
PASSING = {"X-Request-ID", "RateLimit", "RateLimit-Policy"}


@pytest.fixture(scope="module")
def kept_stage(keep: Keep[Stage]) -> Stage:
    return keep(make_stage)


@pytest.fixture
def stage(kept_stage: Stage, db: None) -> Stage:
    return kept_stage


def taken_by(route: Route) -> set[str]:
    return {row.method for row in ROWS if row.path == route.path}


def named_in(answer: Any) -> set[str]:
    return set(answer["Allow"].split(", "))


def headers_of(answer: Any) -> dict[str, str]:
    return {name: value for name, value in answer.items() if name not in PASSING}


@pytest.mark.parametrize("route", ROUTES, ids=lambda route: route.path or "./")
class TestEveryAddress:
    def test_refuses_other_methods_and_names_its_own(self, stage: Stage, route: Route):
        admin = stage.as_("admin")

        for method in {*METHODS, "TRACE"} - taken_by(route):
            answer = admin.send(method, admin.base + route.at(**stage.ids))
            assert (answer.status_code, answer.json()["code"]) == (405, "method_not_allowed")
            assert named_in(answer) - {"HEAD", "OPTIONS"} == taken_by(route)

    def test_names_its_methods_to_whoever_may_come_in(self, stage: Stage, route: Route):
        heads = {"HEAD"} if "GET" in taken_by(route) else set()
        for who in ("admin", "athlete", "device"):
            caller = stage.as_(who)

            answer = caller.send("OPTIONS", caller.base + route.at(**stage.ids))

            assert (answer.status_code, answer.content) == (204, b"")
            assert named_in(answer) == {*taken_by(route), *heads, "OPTIONS"}

    def test_tells_with_head_what_it_tells_with_get(self, stage: Stage, route: Route):
        if "GET" not in taken_by(route):
            return
        admin = stage.as_("admin")
        path = route.at(**stage.ids)

        whole, head = admin.get(path), admin.send("HEAD", admin.base + path)

        assert (whole.status_code, head.status_code, head.content) == (200, 200, b"")
        assert headers_of(head) == headers_of(whole)
