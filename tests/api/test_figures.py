"""Figures over HTTP: fresh, dated, and with what they are based on."""

import pytest

from analytics.services import refreshing
from analytics.services.method import METHOD
from common.club_scope import club_scope
from tests.analytics.conftest import LATER, Season, draw
from tests.api.conftest import World


@pytest.fixture
def season(world: World) -> Season:
    season = Season(world)
    for toes in draw(1, 6):
        season.add_session(toes)
    return season


def path(world: World, what: str) -> str:
    return f"approaches/{world.approach.id}/{what}"


class TestFreshness:
    @pytest.mark.parametrize("what", ["consistency", "spread", "trend", "run-up-trend"])
    def test_says_how_old_and_on_what(self, world: World, season: Season, what: str):
        season.push()
        before = world.as_("admin").get(path(world, what)).json()
        season.refresh()
        after = world.as_("admin").get(path(world, what)).json()

        assert (before["stale"], before["n"], before["as_of"]) == (True, 0, None)
        assert (after["stale"], after["n"], after["method"]) == (False, 30, METHOD)
        assert after["through_attempt"] is not None

    @pytest.mark.parametrize("what", ["consistency", "spread", "trend", "run-up-trend"])
    def test_answers_304_until_something_changes(self, world: World, season: Season, what: str):
        season.push()
        season.refresh()
        admin = world.as_("admin")
        first = admin.get(path(world, what))
        same = admin.get(path(world, what), **{"If-None-Match": first["ETag"]})
        season.add_session([0.11, 0.12])
        season.push(season.readings[-2:])
        season.refresh()
        changed = admin.get(path(world, what), **{"If-None-Match": first["ETag"]})

        assert (same.status_code, changed.status_code) == (304, 200)
        assert first["Cache-Control"] == "private, no-cache"
        assert {"Accept", "Authorization"} <= set(first["Vary"].split(", "))


class TestConsistency:
    def test_is_of_the_last_window_with_intervals(self, world: World, season: Season):
        season.push()
        season.refresh()

        answer = world.as_("admin").get(path(world, "consistency")).json()

        assert (answer["window"]["n"], answer["window"]["plan_revision"]) == (20, 1)
        accuracy = answer["accuracy"]
        assert accuracy["bias_interval"]["low"] < accuracy["bias_m"]
        assert accuracy["bias_m"] < accuracy["bias_interval"]["high"]
        assert answer["change"]["not_enough_attempts"] == "not enough attempts (30 of 40)"

    def test_says_how_many_are_missing(self, world: World, season: Season):
        season.push(season.readings[:3])
        season.refresh()

        answer = world.as_("admin").get(path(world, "consistency")).json()

        assert answer["accuracy"]["not_enough_attempts"] == "not enough attempts (3 of 5)"
        assert "bias_m" not in answer["accuracy"]


class TestTrend:
    def test_gives_the_last_points_in_order_and_the_ones_before(self, world: World, season: Season):
        season.push()
        season.refresh()
        admin = world.as_("admin")

        last = admin.get(path(world, "trend?last=10")).json()
        earlier = admin.get(
            path(world, f"trend?last=30&before={last['points'][0]['attempt']}")
        ).json()

        assert (len(last["points"]), last["has_earlier"]) == (10, True)
        assert (len(earlier["points"]), earlier["has_earlier"]) == (20, False)
        moments = [point["started_at"] for point in earlier["points"] + last["points"]]
        assert moments == sorted(moments)

    @pytest.mark.parametrize(
        "query", ["last=0", "last=501", "last=x", "finish=somersault", "before=x"]
    )
    def test_refuses_values_that_it_cannot_read(self, world: World, query: str):
        answer = world.as_("admin").get(path(world, f"trend?{query}"))

        assert (answer.status_code, answer.json()["code"]) == (400, "invalid_parameter")


class TestRunUpTrend:
    def test_gives_speeds_and_rhythm_after_each_attempt(self, world: World, season: Season):
        season.push()
        season.refresh()
        admin = world.as_("admin")

        answer = admin.get(path(world, "run-up-trend?last=25")).json()

        assert (len(answer["points"]), answer["has_earlier"]) == (25, True)
        assert (answer["n"], answer["method"], answer["stale"]) == (30, METHOD, False)
        last = answer["points"][-1]
        assert last["attempt"] == answer["through_attempt"]
        assert (last["n"], last["n_speeds"], last["n_speeds_at_gates"]) == (20, 16, 12)
        assert last["speed_gain_mps"] == pytest.approx(
            last["speed_6_1_mps"] - last["speed_11_6_mps"]
        )
        assert last["length_ratio_2_low"] < last["length_ratio_2"] < last["length_ratio_2_high"]
        trend = admin.get(path(world, "trend?last=25")).json()
        assert [each["attempt"] for each in answer["points"]] == [
            each["attempt"] for each in trend["points"]
        ]

    def test_is_null_where_too_little_was_measured(self, world: World, season: Season):
        season.push(season.readings[:4])
        season.refresh()

        (*_, last) = world.as_("admin").get(path(world, "run-up-trend")).json()["points"]

        assert (last["n_step_lengths"], last["length_ratio_1"], last["speed_gain_mps"]) == (
            3 - sum(each["footfalls"]["toe_m"][0] is None for each in season.readings[:3]),
            None,
            None,
        )

    @pytest.mark.parametrize("query", ["last=0", "last=501", "before=x", "figures=all"])
    def test_refuses_what_the_trend_refuses(self, world: World, query: str):
        assert world.as_("admin").get(path(world, f"run-up-trend?{query}")).status_code == 400


class TestAlerts:
    def test_are_listed_with_their_evidence(self, world: World, season: Season):
        for toes in draw(2, 8, mean=0.35):
            season.add_session(toes)
        season.push()
        season.refresh()
        admin = world.as_("admin")

        (alert,) = [
            each for each in admin.get("alerts/").json()["results"] if each["kind"] == "level"
        ]

        assert alert["approach"] == str(world.approach.id)
        assert alert["evidence"]["side"] == "short"
        assert admin.get(f"alerts/{alert['id']}/").json() == alert
        assert world.as_("coach").get("alerts/").json()["results"] == []
        assert world.as_("coach").get(f"alerts/{alert['id']}/").status_code == 404


def test_a_series_of_run_throughs_is_another_one(world: World, season: Season):
    season.push([reading | {"finish": "run_through"} for reading in season.readings])
    with club_scope(world.club):
        refreshing.refresh_series(
            club_id=world.club.id,
            approach_id=world.approach.id,
            finish_class="run_through",
            now=LATER,
        )
    admin = world.as_("admin")

    assert admin.get(path(world, "consistency?finish=run_through")).json()["n"] == 30
    assert admin.get(path(world, "consistency")).json()["n"] == 0
