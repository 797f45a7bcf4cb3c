"""Speed and wind over HTTP: of the attempts that are stored at this moment."""

from dataclasses import replace
from datetime import datetime, timedelta

import jsonschema  # type: ignore[import-untyped]  # no stubs among the pins
import numpy as np
import pytest

from analytics.core.simulator import Athlete
from tests import factories
from tests.api.conftest import World
from tests.api.gated import GATES_M, GatedSeason
from tests.api.seasons import make_season
from tests.conftest import Keep
from tests.contract.openapi import find_operation, read_schema

ATHLETE = Athlete(unmeasured_no_jump_share=0.0, start_sd_m=0.15)
ADDRESSES = ("speed", "wind-table")


@pytest.fixture(scope="module")
def kept_season(keep: Keep[GatedSeason], kept_world: World) -> GatedSeason:
    def make() -> GatedSeason:
        season = GatedSeason.of(make_season(kept_world, ATHLETE))
        season.add([6] * 4, seed=4)
        return season

    return keep(make)


@pytest.fixture
def season(kept_season: GatedSeason, world: World) -> GatedSeason:
    return replace(
        kept_season, sessions=list(kept_season.sessions), readings=list(kept_season.readings)
    )


@pytest.fixture
def fresh(world: World) -> GatedSeason:
    """Return a run-up without attempts."""
    athlete = factories.make_athlete(world.club)
    return GatedSeason.of(make_season(replace(world, athlete=athlete), ATHLETE))


@pytest.mark.parametrize("what", ADDRESSES)
class TestEveryAnswer:
    def test_is_what_the_schema_says(
        self, world: World, season: GatedSeason, fresh: GatedSeason, what: str
    ):
        described = find_operation("GET", "approaches/{approach_id}/" + what)
        assert described is not None
        schema = described.described["responses"]["200"]["content"]["application/json"]["schema"]

        for asked, n in ((season, 24), (fresh, 0)):
            answer = world.as_("admin").get(f"{asked.path}/{what}").json()
            jsonschema.validate(answer, {**read_schema(), **schema})
            assert answer["n"] == n

    def test_is_the_same_until_an_attempt_comes(self, world: World, season: GatedSeason, what: str):
        admin, path = world.as_("admin"), f"{season.path}/{what}"
        first = admin.get(path)
        same = admin.get(path, **{"If-None-Match": first["ETag"]})
        season.add([1], seed=9)
        changed = admin.get(path, **{"If-None-Match": first["ETag"]})

        assert (same.status_code, changed.status_code, changed.json()["n"]) == (304, 200, 25)


class TestSpeed:
    def test_is_that_of_the_gates_that_were_sent(self, world: World, season: GatedSeason):
        answer = world.as_("admin").get(f"{season.path}/speed").json()

        time = np.array([each["gates"]["time_s"] for each in season.readings])
        first, second = (5 / np.diff(time, axis=1)).T
        assert answer["speed_11_6"]["mean_mps"] == pytest.approx(first.mean())
        assert answer["speed_6_1"]["mean_mps"] == pytest.approx(second.mean())
        assert answer["gain"]["gain_mps"] == pytest.approx((second - first).mean())
        assert (answer["gain"]["n_measured"], answer["n_timed"]) == (24, 24)
        assert len(GATES_M) == time.shape[1]

    def test_of_three_attempts_says_that_two_more_are_needed(
        self, world: World, fresh: GatedSeason
    ):
        fresh.add([3], seed=1)

        answer = world.as_("admin").get(f"{fresh.path}/speed").json()

        assert (answer["gain"]["n"], answer["gain"]["needed"]) == (3, 5)
        assert answer["more_attempts_needed"] == 2
        assert answer["text"].startswith("Not enough attempts yet: 3 of 5")

    def test_leaves_out_attempts_without_gates(self, world: World, season: GatedSeason):
        last = season.readings[-1]
        later = datetime.fromisoformat(last["started_at"]) + timedelta(minutes=6)
        sent = {**last, "external_id": "no-gates", "started_at": later.isoformat(), "gates": None}
        season.push([sent])

        answer = world.as_("admin").get(f"{season.path}/speed").json()

        assert (answer["n"], answer["gain"]["n"]) == (25, 24)


class TestWindTable:
    def test_has_a_row_with_an_interval_for_each_wind(self, world: World, season: GatedSeason):
        table = world.as_("admin").get(f"{season.path}/wind-table").json()["table"]

        assert table["wind_mps"] == [-3, -2, -1, 0, 1, 2, 3, 4]
        assert table["n"] == 24
        for low, move, high in zip(
            table["move_low_m"], table["move_m"], table["move_high_m"], strict=True
        ):
            assert low <= move <= high

    def test_is_the_usual_one_before_any_attempt(self, world: World, fresh: GatedSeason):
        answer = world.as_("admin").get(f"{fresh.path}/wind-table").json()

        assert (answer["table"]["n"], answer["table"]["own_share"]) == (0, 0)
        assert answer["more_attempts_needed"] == 0

    def test_widens_attempts_in_gusts(self, world: World, season: GatedSeason):
        admin, path = world.as_("admin"), f"{season.path}/wind-table"

        calm, gusty = (admin.get(f"{path}{query}").json() for query in ("", "?gust_sd_mps=1.5"))

        assert gusty["gust_sd_mps"] == 1.5
        assert gusty["table"]["move_m"] == calm["table"]["move_m"]
        assert (
            gusty["table"]["attempt_sd_with_gusts_m"][5]
            > calm["table"]["attempt_sd_with_gusts_m"][5]
        )

    @pytest.mark.parametrize("given", ["-1", "5.1", "nan", "breeze"])
    def test_refuses_gusts_that_it_cannot_read(self, world: World, season: GatedSeason, given: str):
        answer = world.as_("admin").get(f"{season.path}/wind-table?gust_sd_mps={given}")

        assert (answer.status_code, answer.json()["code"]) == (400, "invalid_parameter")
