"""Advice on practice and on the number of steps over HTTP: decided on and looked back on."""

from dataclasses import replace
from typing import Any

import pytest

from analytics.core.simulator import Athlete
from tests import factories
from tests.api.conftest import World
from tests.api.seasons import Season, make_season


@pytest.fixture
def season(world: World) -> Season:
    athlete = factories.make_athlete(world.club)
    made = make_season(replace(world, athlete=athlete), Athlete(unmeasured_no_jump_share=0.0))
    made.add([5, 5, 5, 5], seed=4)
    return made


def read(world: World, season: Season, question: str) -> Any:
    answer = world.as_("admin").get(f"{season.path}/{question}")
    assert answer.status_code == 200, answer.content
    return answer.json()


def decide(world: World, season: Season, kind: str, **fields: Any) -> Any:
    question = {"practice": "practice-focus", "length": "length-advice"}[kind]
    asked = read(world, season, question)
    answer = asked["first"] if kind == "practice" else asked["advice"]["answer"]
    body = {
        "kind": kind,
        "through_attempt": asked["through_attempt"],
        "answer": answer,
        "decision": "followed",
        **fields,
    }
    return world.as_("admin").post(f"{season.path}/advice/", body)


class TestADecision:
    @pytest.mark.parametrize(
        ("kind", "question"), [("practice", "practice-focus"), ("length", "length-advice")]
    )
    def test_is_recorded_as_it_was_told(
        self, world: World, season: Season, kind: str, question: str
    ):
        asked = read(world, season, question)

        made = decide(world, season, kind)

        recorded = made.json()
        assert made.status_code == 201, recorded
        assert (recorded["kind"], recorded["decision"]) == (kind, "followed")
        assert (recorded["text"], recorded["reasons"]) == (asked["text"], asked["reasons"])
        assert recorded["n"] == asked["n"] == 20
        assert recorded["published_plan"] is None
        listed = world.as_("admin").get(f"{season.path}/advice/?kind={kind}").json()["results"]
        assert listed == [recorded]

    @pytest.mark.parametrize("kind", ["practice", "length"])
    @pytest.mark.parametrize(
        ("fields", "pointer", "code"),
        [
            ({"decision": "declined"}, "/reason", "required"),
            ({"start_mark_m": 26.5}, "/start_mark_m", "not_of_this_kind"),
        ],
    )
    def test_is_refused_with_the_field(
        self,
        world: World,
        season: Season,
        kind: str,
        fields: dict[str, Any],
        pointer: str,
        code: str,
    ):
        refused = decide(world, season, kind, **fields)

        assert refused.status_code == 400
        assert [(each["pointer"], each["code"]) for each in refused.json()["errors"]] == [
            (pointer, code)
        ]

    def test_of_the_steps_is_about_jumps(self, world: World, season: Season):
        refused = decide(world, season, "length", finish="run_through")

        assert refused.json()["errors"][0]["code"] == "not_of_this_kind"

    @pytest.mark.parametrize("kind", ["practice", "length"])
    def test_is_about_the_advice_of_now(self, world: World, season: Season, kind: str):
        refused = decide(world, season, kind, answer="shorten")

        assert (refused.status_code, refused.json()["code"]) == (409, "advice_changed")

    def test_needs_an_advice(self, world: World):
        athlete = factories.make_athlete(world.club)
        fresh = make_season(replace(world, athlete=athlete), Athlete(unmeasured_no_jump_share=0.0))
        fresh.add([2], seed=1)

        refused = decide(world, fresh, "practice", answer="nothing")

        assert (refused.status_code, refused.json()["code"]) == (409, "no_advice")

    def test_publishes_nothing(self, world: World, season: Season):
        asked = read(world, season, "practice-focus")

        refused = world.as_("admin").post(
            f"{season.path}/advice/",
            {
                "kind": "practice",
                "through_attempt": asked["through_attempt"],
                "answer": asked["first"],
                "decision": "followed",
                "publish": True,
            },
            If_Match='"1"',
        )

        assert refused.json()["errors"][0]["code"] == "nothing_to_publish"


class TestTheSummary:
    def test_counts_each_kind_by_itself(self, world: World, season: Season):
        for kind in ("practice", "length"):
            assert decide(world, season, kind).status_code == 201

        found = read(world, season, "advice/summary")

        assert {each["kind"] for each in found["results"]} == {"practice", "length"}
        assert found["n"] == 2
