"""Answers over HTTP: of the attempts that are stored at this moment, in figures and in words."""

from dataclasses import replace
from typing import Any

import jsonschema  # type: ignore[import-untyped]  # no stubs among the pins
import pytest

from analytics.core.simulator import Athlete
from analytics.services.method import METHOD
from approaches.models import Attempt
from common.club_scope import club_scope
from tests import factories
from tests.api.conftest import World
from tests.api.seasons import Season, make_season
from tests.conftest import Keep
from tests.contract.openapi import find_operation, read_schema

ATHLETE = Athlete(unmeasured_no_jump_share=0.0, start_sd_m=0.15)
# Each address, the field that holds its main figure, and what it needs before it says anything.
ADDRESSES = {"steering": ("spread", 6), "error-shares": ("error_shares", 8)}


@pytest.fixture(scope="module")
def kept_season(keep: Keep[Season], kept_world: World) -> Season:
    def make() -> Season:
        season = make_season(kept_world, ATHLETE)
        season.add([6] * 4, seed=4)
        return season

    return keep(make)


@pytest.fixture
def season(kept_season: Season, world: World) -> Season:
    return kept_season


@pytest.fixture
def fresh(world: World) -> Season:
    """Return a run-up without attempts."""
    return make_season(replace(world, athlete=factories.make_athlete(world.club)), ATHLETE)


def ids_of(season: Season) -> list[str]:
    """Return the ids of the stored attempts, in order."""
    with club_scope(season.scene.club):
        stored = Attempt.objects.filter(approach=season.approach).order_by("started_at")
        return [str(each) for each in stored.values_list("id", flat=True)]


@pytest.mark.parametrize("what", ADDRESSES)
class TestEveryAnswer:
    def test_says_what_it_rests_on(self, world: World, season: Season, what: str):
        answer = world.as_("admin").get(f"{season.path}/{what}").json()

        ids = ids_of(season)
        assert (answer["n"], answer["stale"], answer["method"]) == (24, False, METHOD)
        assert answer["through_attempt"] == ids[-1]
        assert (answer["approach"], answer["finish"]) == (str(season.approach.id), "jump")
        assert answer["window"]["first_attempt"] == ids[0]
        assert (answer["window"]["n"], answer["window"]["n_sessions"]) == (24, 4)
        assert answer["more_attempts_needed"] == 0

    def test_is_what_the_schema_says(self, world: World, season: Season, fresh: Season, what: str):
        described = find_operation("GET", "approaches/{approach_id}/" + what)
        assert described is not None
        schema = described.described["responses"]["200"]["content"]["application/json"]["schema"]

        for asked in (season, fresh):
            answer = world.as_("admin").get(f"{asked.path}/{what}").json()
            jsonschema.validate(answer, {**read_schema(), **schema})

    def test_says_how_many_attempts_are_missing(self, world: World, fresh: Season, what: str):
        fresh.add([3], seed=1)

        answer = world.as_("admin").get(f"{fresh.path}/{what}")

        figure, needed = ADDRESSES[what]
        assert answer.status_code == 200
        assert answer.json()["more_attempts_needed"] == needed - 3
        assert answer.json()[figure] == {
            "not_enough_attempts": f"not enough attempts (3 of {needed})",
            "n": 3,
            "needed": needed,
        }
        assert answer.json()["text"].startswith("Not enough attempts yet: 3 of")

    def test_is_there_before_the_first_attempt(self, world: World, fresh: Season, what: str):
        answer = world.as_("admin").get(f"{fresh.path}/{what}").json()

        assert (answer["n"], answer["as_of"], answer["through_attempt"]) == (0, None, None)
        assert (answer["window"], answer["more_attempts_needed"]) == (None, ADDRESSES[what][1])

    def test_is_the_same_until_an_attempt_comes(self, world: World, season: Season, what: str):
        admin, path = world.as_("admin"), f"{season.path}/{what}"
        first = admin.get(path)
        same = admin.get(path, **{"If-None-Match": first["ETag"]})
        season.add([1], seed=9)
        changed = admin.get(path, **{"If-None-Match": first["ETag"]})

        assert (same.status_code, changed.status_code) == (304, 200)
        assert changed.json()["n"] == 25
        assert changed.json()["as_of"] > first.json()["as_of"]
        assert first["Cache-Control"] == "private, no-cache"
        assert {"Accept", "Accept-Language", "Authorization"} <= set(first["Vary"].split(", "))

    def test_follows_a_correction_at_once(self, world: World, season: Season, what: str):
        admin, path = world.as_("admin"), f"{season.path}/{what}"
        before = admin.get(path).json()
        corrected = admin.post(
            f"attempts/{ids_of(season)[5]}/corrections/",
            {"changes": {"footfalls": wrong(season, 5)}, "reason": "Read off the wrong tape."},
            If_Match="*",
        )
        assert corrected.status_code in {200, 201}, corrected.content

        after = admin.get(path).json()

        figure, _ = ADDRESSES[what]
        assert after[figure] != before[figure]
        assert after["as_of"] > before["as_of"]

    def test_leaves_out_a_voided_attempt(self, world: World, season: Season, what: str):
        admin, path = world.as_("admin"), f"{season.path}/{what}"
        voided = admin.post(
            f"attempts/{ids_of(season)[-1]}/void/", {"reason": "Somebody else's."}, If_Match="*"
        )
        assert voided.status_code == 200, voided.content

        assert admin.get(path).json()["n"] == 23

    def test_looks_at_the_last_ones_only_when_asked(self, world: World, season: Season, what: str):
        answer = world.as_("admin").get(f"{season.path}/{what}?last=12").json()

        assert (answer["n"], answer["window"]["first_attempt"]) == (12, ids_of(season)[12])

    def test_is_of_another_series_for_run_throughs(self, world: World, season: Season, what: str):
        answer = world.as_("admin").get(f"{season.path}/{what}?finish=run_through").json()

        assert (answer["n"], answer["finish"]) == (0, "run_through")

    @pytest.mark.parametrize("query", ["last=0", "last=101", "last=x", "finish=somersault"])
    def test_refuses_values_that_it_cannot_read(
        self, world: World, season: Season, what: str, query: str
    ):
        answer = world.as_("admin").get(f"{season.path}/{what}?{query}")

        assert (answer.status_code, answer.json()["code"]) == (400, "invalid_parameter")


def wrong(season: Season, place: int) -> dict[str, Any]:
    """Return the footfalls of an attempt, each read 10 cm too far back for each one before."""
    footfalls = season.readings[place]["footfalls"]
    toe_m = [None if each is None else each + 0.1 * k for k, each in enumerate(footfalls["toe_m"])]
    return {"toe_m": toe_m}


class TestLanguage:
    def test_of_the_reader_says_how_numbers_are_written(self, world: World, season: Season):
        admin, path = world.as_("admin"), f"{season.path}/steering"

        english, german = (
            admin.get(path, **{"Accept-Language": each}).json() for each in ("en-GB", "de-AT,de")
        )

        metres = f"{english['spread']['onset']['distance_m']:.1f}"
        assert f"{metres} m from the line" in english["text"]
        assert f"{metres.replace('.', ',')} m from the line" in german["text"]
        assert english["spread"] == german["spread"]


class TestRemembering:
    def test_computes_nothing_twice(
        self, world: World, season: Season, monkeypatch: pytest.MonkeyPatch
    ):
        admin = world.as_("admin")
        season.add([1], seed=77)  # attempts that nobody has asked about
        first = {what: admin.get(f"{season.path}/{what}").json() for what in ADDRESSES}

        def fail(*_: Any, **__: Any) -> None:
            raise AssertionError("computed again")

        for computed in ("spread.footfall_spread", "error_shares.error_shares"):
            monkeypatch.setattr(f"analytics.core.{computed}", fail)

        assert {what: admin.get(f"{season.path}/{what}").json() for what in ADDRESSES} == first


class TestReadingErrors:
    def test_are_taken_out_of_the_gains(self, world: World, season: Season):
        admin = world.as_("admin")

        plain, corrected = (
            admin.get(f"{season.path}/steering{query}").json()
            for query in ("", "?reading_sd_m=0.02")
        )

        assert corrected["reading_sd_m"] == 0.02
        assert corrected["needed_and_made"]["gain"][2] < plain["needed_and_made"]["gain"][2]
        assert corrected["spread"] == plain["spread"]

    @pytest.mark.parametrize("given", ["-0.01", "0.2", "1e-2", "nan", "much"])
    def test_are_a_small_number(self, world: World, season: Season, given: str):
        answer = world.as_("admin").get(f"{season.path}/steering?reading_sd_m={given}")

        assert (answer.status_code, answer.json()["code"]) == (400, "invalid_parameter")
