"""Speed and wind over HTTP: of the attempts that are stored at this moment."""

from datetime import datetime, timedelta

import numpy as np
import pytest

from tests.api.conftest import World
from tests.api.gated import GATES_M, GatedSeason


class TestSpeed:
    def test_is_that_of_the_gates_that_were_sent(self, world: World, gated_season: GatedSeason):
        answer = world.as_("admin").get(f"{gated_season.path}/speed").json()

        time = np.array([each["gates"]["time_s"] for each in gated_season.readings])
        first, second = (5 / np.diff(time, axis=1)).T
        assert answer["speed_11_6"]["mean_mps"] == pytest.approx(first.mean())
        assert answer["speed_6_1"]["mean_mps"] == pytest.approx(second.mean())
        assert answer["gain"]["gain_mps"] == pytest.approx((second - first).mean())
        assert (answer["gain"]["n_measured"], answer["n_timed"]) == (24, 24)
        assert len(GATES_M) == time.shape[1]

    def test_of_three_attempts_says_that_two_more_are_needed(
        self, world: World, fresh_gated: GatedSeason
    ):
        fresh_gated.add([3], seed=1)

        answer = world.as_("admin").get(f"{fresh_gated.path}/speed").json()

        assert (answer["gain"]["n"], answer["gain"]["needed"]) == (3, 5)
        assert answer["more_attempts_needed"] == 2
        assert answer["text"].startswith("Not enough attempts yet: 3 of 5")

    def test_leaves_out_attempts_without_gates(self, world: World, gated_season: GatedSeason):
        last = gated_season.readings[-1]
        later = datetime.fromisoformat(last["started_at"]) + timedelta(minutes=6)
        sent = {**last, "external_id": "no-gates", "started_at": later.isoformat(), "gates": None}
        gated_season.push([sent])

        answer = world.as_("admin").get(f"{gated_season.path}/speed").json()

        assert (answer["n"], answer["gain"]["n"]) == (25, 24)


class TestWindTable:
    def test_has_a_row_with_an_interval_for_each_wind(
        self, world: World, gated_season: GatedSeason
    ):
        table = world.as_("admin").get(f"{gated_season.path}/wind-table").json()["table"]

        assert table["wind_mps"] == [-3, -2, -1, 0, 1, 2, 3, 4]
        assert table["n"] == 24
        for low, move, high in zip(
            table["move_low_m"], table["move_m"], table["move_high_m"], strict=True
        ):
            assert low <= move <= high

    def test_is_the_usual_one_before_any_attempt(self, world: World, fresh_gated: GatedSeason):
        answer = world.as_("admin").get(f"{fresh_gated.path}/wind-table").json()

        assert (answer["table"]["n"], answer["table"]["own_share"]) == (0, 0)
        assert answer["more_attempts_needed"] == 0

    def test_widens_attempts_in_gusts(self, world: World, gated_season: GatedSeason):
        admin, path = world.as_("admin"), f"{gated_season.path}/wind-table"

        calm, gusty = (admin.get(f"{path}{query}").json() for query in ("", "?gust_sd_mps=1.5"))

        assert gusty["gust_sd_mps"] == 1.5
        assert gusty["table"]["move_m"] == calm["table"]["move_m"]
        assert (
            gusty["table"]["attempt_sd_with_gusts_m"][5]
            > calm["table"]["attempt_sd_with_gusts_m"][5]
        )

    @pytest.mark.parametrize("given", ["-1", "5.1", "nan", "breeze"])
    def test_refuses_gusts_that_it_cannot_read(
        self, world: World, gated_season: GatedSeason, given: str
    ):
        answer = world.as_("admin").get(f"{gated_season.path}/wind-table?gust_sd_mps={given}")

        assert (answer.status_code, answer.json()["code"]) == (400, "invalid_parameter")
