"""Answers of one run-up over HTTP: what one knows, the others know."""

from dataclasses import replace
from datetime import timedelta
from typing import Any

import pytest

from analytics.core.simulator import Athlete
from clubs.selectors import today_at
from tests import factories
from tests.api.conftest import World
from tests.api.seasons import FIRST_DAY, Season, make_season
from tests.api.test_warm_up_answers import run_through


@pytest.fixture
def season(world: World) -> Season:
    athlete = factories.make_athlete(world.club)
    made = make_season(replace(world, athlete=athlete), Athlete(unmeasured_no_jump_share=0.0))
    made.add([4, 4, 4], seed=4)
    return made


def ask(world: World, path: str) -> Any:
    answer = world.as_("admin").get(path)
    assert answer.status_code == 200, answer.content
    return answer.json()


def grow(season: Season) -> None:
    for day, height_m in (
        (FIRST_DAY.date() - timedelta(days=120), 1.60),
        (today_at(season.scene.club), 1.64),
    ):
        factories.make_measurement(season.scene.athlete, measured_date=day, height_m=height_m)


class TestGrowth:
    def test_of_a_measured_body_is_told_by_every_answer_about_the_mark(
        self, world: World, season: Season
    ):
        grow(season)

        told = [
            ask(world, f"{season.path}/{question}")
            for question in ("mark-advice", "practice-focus")
        ]
        (ahead,) = ask(world, f"sessions/{season.sessions[-1].id}/next-attempt")["results"]

        growing = told[0]["growing"]
        assert growing["by_height"] is True
        assert growing["grown_since_plan_m"] == pytest.approx(0.04)
        assert growing["since_date"] == today_at(season.scene.club).isoformat()
        assert told[1]["growing"] == ahead["mark"]["growing"] == growing
        said = "the athlete has grown by 4.0 cm since they were set"
        assert all(said in each["text"] for each in (*told, ahead))

    def test_is_recorded_with_the_advice_that_was_decided_on(self, world: World, season: Season):
        grow(season)
        asked = ask(world, f"{season.path}/mark-advice")

        made = world.as_("admin").post(
            f"{season.path}/advice/",
            {
                "kind": "mark",
                "through_attempt": asked["through_attempt"],
                "answer": asked["advice"]["answer"],
                "start_mark_m": asked["advice"]["start_mark_m"],
                "decision": "followed",
            },
        )

        assert made.status_code == 201, made.content
        assert made.json()["text"] == asked["text"]
        assert made.json()["figures"]["growing"] == asked["growing"]


class TestTheWarmUp:
    def test_is_what_the_next_attempt_is_run_from(self, world: World, season: Season):
        """Run-throughs after the jumps of the session: today's mark knows of both."""
        session = season.sessions[-1].id
        (before,) = ask(world, f"sessions/{session}/next-attempt")["results"]
        run_through(season, 0.40, 0.40, 0.40)

        (after,) = ask(world, f"sessions/{session}/next-attempt")["results"]

        assert before["today"] is None
        assert (after["today"]["n_run_throughs"], after["today"]["n_jumps"]) == (3, 4)
        assert after["start_mark_m"] == after["today"]["start_mark_m"] < before["start_mark_m"]
        assert after["reasons"][0]["code"] == "today"
        # What lasts is asked of the jumps alone.
        assert after["mark"]["advice"] == before["mark"]["advice"]
