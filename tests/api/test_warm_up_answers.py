"""The warm-up over HTTP: today's mark from the run-throughs that are stored at this moment."""

from dataclasses import replace
from datetime import datetime, timedelta
from typing import Any
from uuid import uuid4

import jsonschema  # type: ignore[import-untyped]  # no stubs among the pins
import pytest

from analytics.core.simulator import Athlete
from tests import factories
from tests.api.conftest import World
from tests.api.seasons import Season, make_season
from tests.contract.openapi import find_operation, read_schema


@pytest.fixture
def season(world: World) -> Season:
    athlete = factories.make_athlete(world.club)
    made = make_season(replace(world, athlete=athlete), Athlete(unmeasured_no_jump_share=0.0))
    made.add([4], seed=4)
    return made


def run_through(season: Season, *errors_m: float) -> None:
    """Store run-throughs of the last session whose footfall 6 lands this far off its mark."""
    last = season.readings[-1]
    later = datetime.fromisoformat(last["started_at"])
    planned = season.plan.check_marks[0]["at_m"]
    season.push(
        [
            {
                **last,
                "external_id": f"through-{uuid4()}",
                "started_at": (later + timedelta(minutes=5 * (place + 1))).isoformat(),
                "finish": "run_through",
                "outcome": "not_judged",
                "official_m": None,
                "wind_mps": None,
                "footfalls": {"toe_m": [None] * 6 + [round(planned + error_m, 3)]},
            }
            for place, error_m in enumerate(errors_m)
        ]
    )


def ask(world: World, season: Season, query: str = "") -> Any:
    answer = world.as_("admin").get(f"sessions/{season.sessions[-1].id}/warm-up{query}")
    assert answer.status_code == 200, answer.content
    return answer.json()


class TestWarmUp:
    def test_follows_each_run_through(self, world: World, season: Season):
        run_through(season, 0.30)
        (first,) = ask(world, season)["results"]
        run_through(season, 0.30, 0.30)
        (third,) = ask(world, season)["results"]

        assert first["calibration"]["n"] == [0, 1]
        assert third["calibration"]["n"] == [0, 1, 2, 3]
        assert first["calibration"]["bias_m"] == third["calibration"]["bias_m"][:2]
        start_m = season.plan.start_mark_m
        assert third["calibration"]["start_mark_m"][-1] < start_m - 0.05
        assert third["athlete"] == str(season.scene.athlete.id)
        assert third["caution"] is not None

    def test_is_what_the_schema_says(self, world: World, season: Season):
        run_through(season, 0.10)
        described = find_operation("GET", "sessions/{session_id}/warm-up")
        assert described is not None
        schema = described.described["responses"]["200"]["content"]["application/json"]["schema"]

        jsonschema.validate(ask(world, season), {**read_schema(), **schema})

    def test_is_empty_before_anybody_ran_through(self, world: World, season: Season):
        said = ask(world, season)

        assert (said["kind"], said["results"]) == ("training", [])

    def test_of_one_run_up_is_there_before_the_first(self, world: World, season: Season):
        (one,) = ask(world, season, f"?approach={season.approach.id}")["results"]

        assert one["calibration"]["n"] == [0]
        assert one["calibration"]["start_mark_m"] == [season.plan.start_mark_m]
        assert one["text"].startswith("No run-through with the check mark measured yet.")

    def test_knows_no_run_up_of_a_stranger(self, world: World, second_world: World, season: Season):
        said = ask(world, season, f"?approach={second_world.approach.id}")

        assert said["results"] == []

    def test_refuses_what_is_no_id(self, world: World, season: Season):
        answer = world.as_("admin").get(f"sessions/{season.sessions[-1].id}/warm-up?approach=LJ-16")

        assert (answer.status_code, answer.json()["code"]) == (400, "invalid_parameter")
