"""Ground markers over HTTP: by the plan, beside where the feet land at each length."""

from typing import Any

import jsonschema  # type: ignore[import-untyped]  # no stubs among the pins
import pytest

from tests import factories
from tests.api.conftest import World
from tests.api.gated import GatedSeason
from tests.contract.openapi import find_operation, read_schema

WHAT = "last-steps-layout"


def ask(world: World, season: GatedSeason) -> Any:
    answer = world.as_("admin").get(f"{season.path}/{WHAT}")
    assert answer.status_code == 200, answer.content
    return answer.json()


class TestLayout:
    def test_is_that_of_the_plan_at_three_lengths(self, world: World, gated_season: GatedSeason):
        found = ask(world, gated_season)

        assert (found["taken_from"], found["n"]) == ("plan", 24)
        assert [each["steps"] for each in found["lengths"]] == [8, 12, 16]
        planned = gated_season.plan.toe_m[::-1]
        full = found["lengths"][-1]
        assert [each["place"]["at_m"] for each in full["markers"]] == [
            planned[2], planned[1], planned[0],
        ]  # fmt: skip
        assert full["start_mark"]["at_m"] == gated_season.plan.start_mark_m
        assert {each["landed"]["n"] for each in full["markers"]} == {24}

    def test_takes_other_lengths_from_the_athletes_other_run_ups(
        self, world: World, gated_season: GatedSeason
    ):
        athlete = gated_season.scene.athlete
        factories.make_approach(athlete, code="LJ-8 short", steps=8)
        session = factories.make_session(world.club)
        for minute in range(6):
            factories.make_attempt(
                world.source, athlete, session, approach="LJ-8 short", start_mark_m=12.0,
                started_at=f"2026-05-02T09:{10 + minute}:00+02:00", gates=None,
                footfalls={"toe_m": [0.07, 1.71, 3.58]},
            )  # fmt: skip

        short, medium, _ = ask(world, gated_season)["lengths"]

        means = [each["landed"]["mean_m"] for each in short["markers"]]
        assert means == pytest.approx([3.58, 1.71, 0.07])
        assert medium["markers"][0]["landed"]["needed"] == 5

    def test_is_what_the_schema_says(
        self, world: World, gated_season: GatedSeason, fresh_gated: GatedSeason
    ):
        described = find_operation("GET", "approaches/{approach_id}/" + WHAT)
        assert described is not None
        schema = described.described["responses"]["200"]["content"]["application/json"]["schema"]
        unplanned = factories.make_approach(gated_season.scene.athlete, code="LJ-6", steps=6)

        for path in (gated_season.path, fresh_gated.path, f"approaches/{unplanned.id}"):
            answer = world.as_("admin").get(f"{path}/{WHAT}").json()
            jsonschema.validate(answer, {**read_schema(), **schema})

    def test_is_the_same_until_something_changes(self, world: World, gated_season: GatedSeason):
        admin, path = world.as_("admin"), f"{gated_season.path}/{WHAT}"
        first = admin.get(path)
        same = admin.get(path, **{"If-None-Match": first["ETag"]})
        gated_season.add([1], seed=9)

        changed = admin.get(path, **{"If-None-Match": first["ETag"]})

        assert (same.status_code, changed.status_code) == (304, 200)
        assert changed.json()["n"] == 25

    def test_of_an_athlete_who_ran_nothing_follows_a_sprint(self, world: World):
        athlete = factories.make_athlete(world.club, take_off_foot="right")
        bare = factories.make_approach(athlete, code="LJ-10 bare", steps=10)
        path = f"approaches/{bare.id}/{WHAT}"

        before = world.as_("admin").get(path).json()
        factories.make_measurement(athlete, height_m=1.66)
        after = world.as_("admin").get(path).json()

        assert (before["taken_from"], before["lengths"]) == (None, [])
        assert after["taken_from"] == "model"
        assert [each["foot"] for each in after["lengths"][-1]["markers"]] == [
            "right", "left", "right",
        ]  # fmt: skip

    def test_looks_at_the_last_ones_only_when_asked(self, world: World, gated_season: GatedSeason):
        answer = world.as_("admin").get(f"{gated_season.path}/{WHAT}?last=6").json()

        assert answer["n"] == 6
        assert answer["lengths"][-1]["markers"][1]["landed"]["n"] == 6
