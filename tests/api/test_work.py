"""Questions that take longer than a request: asked, looked at, read and called off over HTTP."""

from dataclasses import replace
from typing import Any

import jsonschema  # type: ignore[import-untyped]  # no stubs among the pins
import pytest

from analytics.answers import what_if
from analytics.core.simulator import Athlete
from analytics.models import AskedWork, WorkFailure, WorkState
from analytics.services import rounds, working
from analytics.services.method import METHOD
from athletes.models import CoachAssignment
from clubs.models import Role
from common import waiting
from common.club_scope import club_scope
from tests import factories
from tests.api.conftest import World
from tests.api.seasons import Season, make_season
from tests.api.test_answers import ids_of
from tests.conftest import Keep
from tests.contract.openapi import find_operation, read_schema

ATHLETE = Athlete(unmeasured_no_jump_share=0.0, start_sd_m=0.15)
STEADIER = {"steadier": {"first_step": 5, "last_step": 1, "factor": 0.5}}


@pytest.fixture(scope="module")
def kept_season(keep: Keep[Season], kept_world: World) -> Season:
    def make() -> Season:
        season = make_season(kept_world, ATHLETE)
        season.add([6] * 4, seed=4)
        return season

    return keep(make)


@pytest.fixture
def season(kept_season: Season, world: World) -> Season:
    return replace(
        kept_season, sessions=list(kept_season.sessions), readings=list(kept_season.readings)
    )


@pytest.fixture(autouse=True)
def _quick(monkeypatch: pytest.MonkeyPatch) -> None:
    """Simulate as little as may be: what the figures are worth is tested with the core."""
    monkeypatch.setattr(what_if, "SESSIONS", 100)
    monkeypatch.setattr(what_if, "SESSIONS_OF_RESAMPLE", 100)
    monkeypatch.setattr(what_if, "RESAMPLES", 40)


def ask(world: World, season: Season, body: Any = STEADIER, *, who: str = "admin", **headers: str):
    return world.as_(who).post(f"{season.path}/what-if", body, **headers)


def below_club(world: World, location: str) -> str:
    return location.removeprefix(world.as_("admin").base)


class TestAsking:
    def test_is_accepted_with_where_to_look(self, world: World, season: Season):
        asked = ask(world, season)

        body = asked.json()
        assert (asked.status_code, asked["Retry-After"]) == (202, "1")
        assert (body["state"], body["text"]) == ("waiting", "It waits for its turn.")
        assert (body["answer"], body["failure"]) == (None, None)
        looked = world.as_("admin").get(below_club(world, asked["Location"]))
        assert looked.json() == body
        assert looked["Retry-After"] == "1"

    def test_is_answered_by_a_worker(self, world: World, season: Season):
        asked = ask(world, season)
        rounds.do_due_work()
        done = world.as_("admin").get(below_club(world, asked["Location"]))

        body = done.json()
        answer = body["answer"]
        assert (body["state"], body["text"]) == ("done", "It is worked out.")
        assert body["progress"]["done"] == body["progress"]["of"]
        assert "Retry-After" not in done
        assert (answer["n"], answer["method"]) == (24, METHOD)
        assert answer["through_attempt"] == ids_of(season)[-1]
        assert answer["what_if"]["no_jump_share"]["change"] < 0
        assert answer["text"].startswith("What if: 50% of the unsteadiness in steps 5 to 1")
        assert answer["caution"].startswith("The coach on the spot decides.")

    def test_is_what_the_schema_says(self, world: World, season: Season):
        described = find_operation("GET", "work/{work_id}/")
        assert described is not None
        schema = described.described["responses"]["200"]["content"]["application/json"]["schema"]
        fresh = make_season(replace(world, athlete=factories.make_athlete(world.club)), ATHLETE)

        for asked_of in (season, fresh):
            asked = ask(world, asked_of)
            jsonschema.validate(asked.json(), {**read_schema(), **schema})
            rounds.do_due_work()
            done = world.as_("admin").get(below_club(world, asked["Location"])).json()
            assert done["state"] == "done"
            jsonschema.validate(done, {**read_schema(), **schema})

    def test_the_same_question_finds_the_answer_at_once(self, world: World, season: Season):
        first = ask(world, season)
        rounds.do_due_work()
        again = ask(world, season)
        season.add([1], seed=9)
        newer = ask(world, season)

        assert (again.status_code, newer.status_code) == (200, 202)
        assert again["Location"] == first["Location"]
        assert again.json()["answer"]["n"] == 24
        assert newer["Location"] != first["Location"]

    def test_with_too_few_attempts_it_says_how_many_are_missing(self, world: World):
        fresh = make_season(replace(world, athlete=factories.make_athlete(world.club)), ATHLETE)
        fresh.add([6], seed=1)
        asked = ask(world, fresh)
        rounds.do_due_work()

        answer = world.as_("admin").get(below_club(world, asked["Location"])).json()["answer"]

        assert answer["what_if"] == {
            "not_enough_attempts": "not enough attempts (6 of 15)",
            "n": 6,
            "needed": 15,
        }
        assert answer["more_attempts_needed"] == 9

    @pytest.mark.parametrize(
        ("body", "pointer", "code"),
        [
            ({}, "", "empty"),
            ({"last": 40}, "", "empty"),
            ({"move_mark_m": 5}, "/move_mark_m", "max_value"),
            ({"wind_mps": None}, "/wind_mps", "null"),
            ({"steadier": {"first_step": 17, "last_step": 1, "factor": 0.5}}, None, "no_such_step"),
            ({"steadier": {"first_step": 1, "last_step": 2, "factor": 0.5}}, None, "max_value"),
            ({"steadier": {"first_step": 2, "last_step": 1, "factor": -1}}, None, "min_value"),
            ({"finish": "pop_up", "aim_m": 0.1}, "/finish", "unknown_value"),
        ],
    )
    def test_what_cannot_be_asked_is_refused(
        self, world: World, season: Season, body: Any, pointer: str | None, code: str
    ):
        answer = ask(world, season, body)

        (fault,) = answer.json()["errors"]
        assert (answer.status_code, fault["code"]) == (400, code)
        assert pointer is None or fault["pointer"] == pointer

    def test_a_run_up_of_two_steps_cannot_be_modelled(self, world: World):
        approach = factories.make_approach(world.athlete, code="LJ-2", steps=2)

        answer = world.as_("admin").post(f"approaches/{approach.id}/what-if", {"aim_m": 0.1})

        assert answer.json()["errors"][0]["code"] == "run_up_too_short"

    def test_a_club_may_have_so_many_wait(
        self, world: World, season: Season, monkeypatch: pytest.MonkeyPatch
    ):
        monkeypatch.setattr(working, "MOST_WAITING", 1)
        ask(world, season)
        refused = ask(world, season, {"aim_m": 0.1})

        assert (refused.status_code, refused.json()["code"]) == (429, "too_much_work")
        assert refused["Retry-After"] == "10"


class TestWaiting:
    def test_who_prefers_to_wait_gets_the_answer(
        self, world: World, season: Season, monkeypatch: pytest.MonkeyPatch
    ):
        # A worker does it during the first pause.
        monkeypatch.setattr(waiting, "pauses", lambda _s: (rounds.do_due_work() for _ in range(1)))

        answer = ask(world, season, Prefer="wait=5")

        assert (answer.status_code, answer["Preference-Applied"]) == (200, "wait=5")
        assert answer.json()["state"] == "done"

    def test_and_is_told_when_it_takes_longer(
        self, world: World, season: Season, monkeypatch: pytest.MonkeyPatch
    ):
        monkeypatch.setattr(waiting, "pauses", lambda _s: iter([None]))

        asked = ask(world, season, Prefer="wait=5")
        looked = world.as_("admin").get(below_club(world, asked["Location"]), Prefer="wait=5")

        assert (asked.status_code, asked["Preference-Applied"]) == (202, "wait=5")
        assert (looked.status_code, looked.json()["state"]) == (200, "waiting")


class TestLooking:
    def test_tells_how_far_it_is(self, world: World, season: Season):
        asked = ask(world, season)
        with club_scope(world.club):
            AskedWork.objects.update(state=WorkState.RUNNING, n_done=3, n_parts=21)

        looked = world.as_("admin").get(below_club(world, asked["Location"])).json()

        assert looked["progress"] == {"done": 3, "of": 21}
        assert looked["text"] == "It is being worked out: 3 of 21 parts are done."

    @pytest.mark.parametrize("failure", WorkFailure.values)
    def test_tells_why_it_failed_and_what_to_do(self, world: World, season: Season, failure: str):
        asked = ask(world, season)
        with club_scope(world.club):
            AskedWork.objects.update(state=WorkState.FAILED, failure=failure, last_error="KeyError")

        looked = world.as_("admin").get(below_club(world, asked["Location"]))

        body = looked.json()
        assert (looked.status_code, body["state"]) == (200, "failed")
        assert body["failure"] == {"code": failure, "text": body["text"]}
        assert "KeyError" not in looked.content.decode()
        assert "Retry-After" not in looked

    def test_is_the_same_until_something_happens(self, world: World, season: Season):
        admin, asked = world.as_("admin"), ask(world, season)
        path = below_club(world, asked["Location"])
        tag = admin.get(path)["ETag"]
        same = admin.get(path, **{"If-None-Match": tag})
        rounds.do_due_work()

        assert same.status_code == 304
        assert admin.get(path, **{"If-None-Match": tag}).status_code == 200

    def test_is_read_in_the_language_of_the_reader(self, world: World, season: Season):
        asked = ask(world, season, {"wind_mps": -1.5})
        rounds.do_due_work()
        path = below_club(world, asked["Location"])

        german = world.as_("admin").get(path, **{"Accept-Language": "de"})

        assert "1,50 m/s" in german.json()["answer"]["text"]
        assert "Accept-Language" in german["Vary"]


class TestAnotherMethod:
    def test_an_answer_of_another_method_is_gone_and_asked_for_anew(
        self, world: World, season: Season
    ):
        """Its figures may be others, and so may their names: no words can be made of them."""
        admin, asked = world.as_("admin"), ask(world, season)
        path = below_club(world, asked["Location"])
        with club_scope(world.club):
            AskedWork.objects.update(method=METHOD - 1)
        waiting = admin.get(path)
        rounds.do_due_work()
        done = admin.get(path)
        with club_scope(world.club):
            AskedWork.objects.update(method=METHOD - 1)

        assert (waiting.status_code, done.status_code) == (200, 200)
        assert done.json()["answer"]["method"] == METHOD
        assert admin.get(path).status_code == 404


class TestCallingOff:
    def test_deletes_it_once(self, world: World, season: Season):
        admin, asked = world.as_("admin"), ask(world, season)
        path = below_club(world, asked["Location"])

        assert admin.delete(path).status_code == 204
        assert admin.get(path).status_code == 404
        assert admin.delete(path).status_code == 404
        assert rounds.do_due_work() == 0

    def test_is_for_who_alone_asked(self, world: World, season: Season):
        me = with_athlete(world)
        path = below_club(world, ask(me, season, who="athlete")["Location"])
        with club_scope(world.club):
            coach = factories.make_member(world.club)
            CoachAssignment.objects.create(
                club=world.club, coach=coach, athlete=world.athlete, from_date="2026-01-01"
            )
        both = replace(me, tokens={**me.tokens, "coach": factories.make_person_token(coach)})

        strange = both.as_("coach").delete(path)
        ask(both, season, who="coach")
        too = [both.as_(who).delete(path) for who in ("athlete", "coach")]
        read = both.as_("coach").get(path)
        by_admin = both.as_("admin").delete(path)

        for refused in (strange, *too):
            assert (refused.status_code, refused.json()["code"]) == (403, "asked_by_others")
        assert (read.status_code, by_admin.status_code) == (200, 204)

    def test_who_asked_may(self, world: World, season: Season):
        me = with_athlete(world)
        path = below_club(world, ask(me, season, who="athlete")["Location"])

        assert me.as_("athlete").delete(path).status_code == 204


def with_athlete(world: World) -> World:
    """Return a world whose athlete has a log-in and a token."""
    own = factories.make_member(world.club, Role.ATHLETE)
    with club_scope(world.club):
        world.athlete.user = own.user
        world.athlete.save(update_fields=["user"])
    token = factories.make_person_token(own)
    return replace(world, tokens={**world.tokens, "athlete": token})


class TestAthletes:
    def test_ask_about_themselves_and_about_nobody_else(self, world: World, season: Season):
        me = with_athlete(world)

        asked = ask(me, season, who="athlete")
        looked = me.as_("athlete").get(below_club(world, asked["Location"]))
        by_another = ask(world, season, who="athlete")
        other = world.as_("athlete").get(below_club(world, asked["Location"]))

        assert (asked.status_code, looked.status_code) == (202, 200)
        assert (by_another.status_code, other.status_code) == (404, 404)
