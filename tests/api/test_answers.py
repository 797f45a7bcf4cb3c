"""Answers over HTTP: of the attempts that are stored at this moment, in figures and in words."""

from dataclasses import replace
from typing import Any
from uuid import uuid4

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
ADDRESSES = {
    "steering": ("spread", 6),
    "error-shares": ("error_shares", 8),
    "rhythm": ("last_steps", 5),
    "outlook": ("outlook", 5),
    "aim": ("aim", 5),
    "mark-advice": ("advice", 2),
    "practice-focus": ("diagnosis", 6),
}


@pytest.fixture(scope="module")
def kept_season(keep: Keep[Season], kept_world: World) -> Season:
    def make() -> Season:
        season = make_season(kept_world, ATHLETE)
        season.add([6] * 4, seed=4)
        return season

    return keep(make)


@pytest.fixture
def season(kept_season: Season, world: World) -> Season:
    # What a test adds ends with it.
    return replace(
        kept_season, sessions=list(kept_season.sessions), readings=list(kept_season.readings)
    )


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

    def test_is_there_before_the_first_attempt(self, world: World, fresh: Season, what: str):
        answer = world.as_("admin").get(f"{fresh.path}/{what}").json()

        assert (answer["n"], answer["as_of"], answer["through_attempt"]) == (0, None, None)
        assert (answer["window"], answer["more_attempts_needed"]) == (None, ADDRESSES[what][1])

    def test_is_there_without_a_plan(self, world: World, what: str):
        athlete = factories.make_athlete(world.club)
        approach = factories.make_approach(athlete, code="LJ-8", steps=8)
        path = f"approaches/{approach.id}/{what}"

        empty = world.as_("admin").get(path)
        for place in range(8):
            factories.make_attempt(
                world.source,
                athlete,
                world.session,
                approach="LJ-8",
                started_at=f"2026-05-02T09:{10 + place}:00+02:00",
                start_mark_m=None,
            )
        some = world.as_("admin").get(path)

        assert (empty.status_code, some.status_code) == (200, 200)
        assert (empty.json()["n"], some.json()["n"]) == (0, 8)
        assert some.json()["window"]["plan_revision"] is None
        assert some.json()["text"]

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


# For mark-advice one attempt is enough, with a measured check mark.
@pytest.mark.parametrize("what", [each for each in ADDRESSES if each != "mark-advice"])
def test_each_says_how_many_attempts_are_missing(world: World, fresh: Season, what: str):
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


def wrong(season: Season, place: int) -> dict[str, Any]:
    """Return the footfalls of an attempt, each read 10 cm farther back than the one after it."""
    footfalls = season.readings[place]["footfalls"]
    toe_m = [
        None if each is None else each + 0.1 * (k + 1) for k, each in enumerate(footfalls["toe_m"])
    ]
    return {"toe_m": toe_m}


class TestLanguage:
    def test_of_the_reader_is_that_of_the_sentences(self, world: World, season: Season):
        admin, path = world.as_("admin"), f"{season.path}/steering"

        english, german, french = (
            admin.get(path, **{"Accept-Language": each}).json()
            for each in ("en-GB", "de-AT,de", "fr")
        )

        metres = f"{english['spread']['onset']['distance_m']:.1f}"
        assert f"{metres} m from the line" in english["text"]
        assert german["text"].startswith("Das Anpassen der Schritte beginnt ")
        assert f"{metres.replace('.', ',')} m vor der Linie" in german["text"]
        assert english["spread"] == german["spread"]
        # Who reads a language that nobody translated into gets English, whole.
        assert french == english


class TestRemembering:
    def test_computes_nothing_twice(
        self, world: World, season: Season, monkeypatch: pytest.MonkeyPatch
    ):
        admin = world.as_("admin")
        season.add([1], seed=77)  # attempts that nobody has asked about
        first = {what: admin.get(f"{season.path}/{what}").json() for what in ADDRESSES}

        def fail(*_: Any, **__: Any) -> None:
            raise AssertionError("computed again")

        for computed in (
            "spread.footfall_spread",
            "error_shares.error_shares",
            "last_steps.last_steps",
            "next_attempts.expect_toe",
            "mark_advice.advise_mark",
            "diagnosis.diagnose",
        ):
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


class TestAttemptsToCome:
    @pytest.mark.parametrize("what", ["outlook", "aim"])
    def test_belong_to_a_session_when_asked(self, world: World, season: Season, what: str):
        admin, path = world.as_("admin"), f"{season.path}/{what}"
        figure, _ = ADDRESSES[what]

        new = admin.get(path).json()
        here = admin.get(f"{path}?session={season.sessions[-1].id}").json()
        nowhere = admin.get(f"{path}?session={uuid4()}").json()

        assert here[figure] != new[figure]
        assert nowhere[figure] == new[figure]

    def test_are_as_many_as_asked(self, world: World, season: Season):
        admin, path = world.as_("admin"), f"{season.path}/aim"

        last = admin.get(f"{path}?attempts_left=1&best_m=5.61").json()["aim"]
        cut = admin.get(f"{path}?attempts_left=5&cut_m=5.70").json()["aim"]

        assert (last["attempts_left"], last["best_m"], last["cut_m"]) == (1, 5.61, None)
        assert len(last["while_no_better_m"]) == 1
        assert (cut["attempts_left"], cut["cut_m"]) == (5, 5.7)

    @pytest.mark.parametrize(
        "query",
        [
            "attempts_left=0",
            "attempts_left=7",
            "best_m=5.615",
            "best_m=0",
            "best_m=26",
            "best_m=-5",
            "attempts_left=3&cut_m=5.70",
            "session=today",
        ],
    )
    def test_cannot_be_others(self, world: World, season: Season, query: str):
        answer = world.as_("admin").get(f"{season.path}/aim?{query}")

        assert (answer.status_code, answer.json()["code"]) == (400, "invalid_parameter")


class TestNextAttempt:
    def ask(self, world: World, season: Season, query: str = "", *, who: str = "admin") -> Any:
        answer = world.as_(who).get(f"sessions/{season.sessions[-1].id}/next-attempt{query}")
        assert answer.status_code == 200, answer.content
        return answer.json()

    def test_of_a_training_is_run_from_the_advised_mark(self, world: World, season: Season):
        said = self.ask(world, season)

        (one,) = said["results"]
        advice = world.as_("admin").get(f"{season.path}/mark-advice").json()
        assert (said["kind"], one["contest"], one["aim"]) == ("training", None, None)
        assert one["athlete"] == str(world.athlete.id)
        # The plan's mark is for still air, the next attempt's for the wind of its session.
        assert one["wind_mps"] is not None
        assert one["start_mark_m"] == pytest.approx(
            advice["advice"]["start_mark_m"] + one["wind_moves_m"]
        )
        assert one["mark"]["advice"] == advice["advice"]
        assert (one["aim_m"], one["aim_moves_m"]) == (0.06, 0.0)
        assert one["caution"]

    def test_of_a_competition_follows_what_was_reached(self, world: World, season: Season):
        sent = season.add([2], seed=5, kind="competition", field_size=8)
        best = max((float(each["official_m"]) for each in sent if "official_m" in each), default=0)

        (one,) = self.ask(world, season)["results"]
        (short,) = self.ask(world, season, "?attempts=3")["results"]

        assert one["contest"] == {
            "attempts_taken": 2,
            "attempts_left": 4,
            "cut_waits": False,
            "best_m": best or None,
            "cut_m": None,
        }
        assert (one["aim"]["aim"]["attempts_left"], one["aim"]["aim"]["best_m"]) == (
            4,
            best or None,
        )
        assert short["contest"]["attempts_left"] == 1

    def test_counts_on_the_attempts_after_the_cut_only_when_told_what_it_takes(
        self, world: World, season: Season
    ):
        season.add([1], seed=5, kind="competition", field_size=14)

        (careful,) = self.ask(world, season)["results"]
        (told,) = self.ask(world, season, "?cut_m=5.40")["results"]

        assert (careful["contest"]["attempts_left"], careful["contest"]["cut_waits"]) == (2, True)
        assert (told["contest"]["attempts_left"], told["contest"]["cut_m"]) == (5, 5.4)

    def test_of_an_athlete_who_had_all_is_none(self, world: World, season: Season):
        season.add([6], seed=5, kind="competition", field_size=8)

        (one,) = self.ask(world, season)["results"]

        assert one["text"] == "All attempts of this competition are taken."
        assert (one["contest"]["attempts_left"], one["aim"]) == (0, None)

    def test_is_of_those_whom_the_caller_may_see(self, world: World, season: Season, fresh: Season):
        fresh.add([1], seed=1)
        session = season.sessions[-1]
        fresh.push([fresh.readings[0] | {"external_id": "elsewhere", "session": session.code}])

        assert len(self.ask(world, season)["results"]) == 2
        assert self.ask(world, season, who="coach")["results"] == []

    def test_is_what_the_schema_says(self, world: World, season: Season):
        season.add([2], seed=5, kind="competition", field_size=14)
        described = find_operation("GET", "sessions/{session_id}/next-attempt")
        assert described is not None
        schema = described.described["responses"]["200"]["content"]["application/json"]["schema"]

        jsonschema.validate(self.ask(world, season), {**read_schema(), **schema})

    def test_is_the_same_until_somebody_jumps(self, world: World, season: Season):
        season.add([2], seed=5, kind="competition")
        admin, path = world.as_("admin"), f"sessions/{season.sessions[-1].id}/next-attempt"
        first = admin.get(path)

        same = admin.get(path, **{"If-None-Match": first["ETag"]})
        jumped = season.readings[-1] | {"external_id": "one-more"}
        season.push([jumped | {"started_at": "2026-03-20T16:00:00+01:00"}])
        changed = admin.get(path, **{"If-None-Match": first["ETag"]})

        assert (same.status_code, changed.status_code) == (304, 200)
        assert changed.json()["results"][0]["contest"]["attempts_taken"] == 3
