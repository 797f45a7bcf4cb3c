"""The next attempts of a session: one working out behind every door, read at once for all."""

import html
from collections.abc import Iterable
from dataclasses import fields, replace
from datetime import datetime, timedelta
from typing import Any

import jsonschema  # type: ignore[import-untyped]  # no stubs among the pins
import numpy as np
import pytest

from analytics import selectors
from analytics.core.simulator import Athlete
from analytics.selectors import RunUps, Series
from approaches.models import Attempt, FinishClass, Session
from clubs.models import Role
from common.club_scope import club_scope
from common.errors import NotFoundError
from tests import factories
from tests.admin.scenes import log_in
from tests.api.conftest import World
from tests.api.seasons import Season, make_season
from tests.contract.openapi import find_operation, read_schema
from tests.statements import statements


def make_jumper(world: World, *, seed: int) -> Season:
    """Return a run-up with two past sessions, a height, and a plan that was changed between."""
    athlete = factories.make_athlete(world.club)
    made = make_season(replace(world, athlete=athlete), Athlete(unmeasured_no_jump_share=0.0))
    made.add([4, 3], seed=seed)
    factories.make_measurement(athlete)
    return made


def take_part(jumper: Season, session: Session, *finishes: str) -> None:
    """Store attempts of a session that others take part in as well."""
    last = jumper.readings[-1]
    later = datetime.fromisoformat(last["started_at"]) + timedelta(days=30)
    jumper.push(
        [
            {
                **{name: value for name, value in last.items() if name != "official_m"},
                "external_id": f"{jumper.approach.id}-{place}",
                "session": session.code,
                "started_at": (later + timedelta(minutes=5 * place)).isoformat(),
                "finish": finish,
                "outcome": "not_judged" if finish == "run_through" else "no_jump",
            }
            for place, finish in enumerate(finishes)
        ]
    )


@pytest.fixture
def contest(world: World) -> Session:
    return factories.make_session(world.club, kind="competition", field_size=12)


def doors(world: World, session: Session) -> dict[str, str]:
    club, address = f"clubs/{world.club.slug}/", f"sessions/{session.id}/"
    return {
        "board": f"/pages/{club}{address}board/",
        "next-attempt": f"/api/v1/{club}{address}next-attempt",
        "warm-up": f"/api/v1/{club}{address}warm-up",
    }


def fields_that_differ(one: RunUps, other: RunUps) -> list[str]:
    return [
        each.name
        for each in fields(RunUps)
        if not _equal(getattr(one, each.name), getattr(other, each.name))
    ]


def _equal(one: Any, other: Any) -> bool:
    if isinstance(one, np.ndarray):
        return bool(np.array_equal(one, other, equal_nan=one.dtype.kind == "f"))
    if hasattr(one, "toe_m"):
        return str(one) == str(other)
    if isinstance(one, dict):
        return one.keys() == other.keys() and all(_equal(one[key], other[key]) for key in one)
    if isinstance(one, Iterable) and not isinstance(one, str):
        return list(one) == list(other)
    return bool(one == other)


class TestReadingTogether:
    def test_finds_what_reading_one_by_one_finds(self, world: World, contest: Session):
        jumpers = [make_jumper(world, seed=seed) for seed in (1, 2)]
        for jumper in jumpers:
            take_part(jumper, contest, "run_through", "jump")
        admin, today = factories.make_caller(world.club), contest.held_date
        last = {Series(jumpers[0].approach.id, FinishClass.JUMP): 5}
        last |= {Series(each.approach.id, FinishClass.RUN_THROUGH): 9 for each in jumpers}
        last[Series(jumpers[1].approach.id, FinishClass.JUMP)] = 100

        with club_scope(world.club, read_only=True):
            together = selectors.read_together_for(admin, last, today=today)
            for series, n in last.items():
                alone = selectors.read_run_ups_for(admin, series, last=n, today=today)

                assert fields_that_differ(together.run_ups[series], alone) == []
                assert together.run_ups[series].key == alone.key
            for jumper in jumpers:
                runner = together.runners[jumper.approach.id]
                assert runner.athlete_id == jumper.scene.athlete.id
                assert runner.body == selectors.read_body_for(
                    admin, jumper.approach.id, today=today, with_jumps=False
                )
                assert runner.body.heights

        assert [len(each) for each in together.run_ups.values()] == [5, 1, 1, 8]

    def test_of_a_stranger_finds_none(self, world: World, contest: Session):
        jumper = make_jumper(world, seed=1)
        coach = factories.make_caller(world.club, Role.COACH)
        last = {Series(jumper.approach.id, FinishClass.JUMP): 5}

        with club_scope(world.club, read_only=True), pytest.raises(NotFoundError):
            selectors.read_together_for(coach, last, today=contest.held_date)


class TestStatements:
    @pytest.mark.parametrize("kind", ["competition", "training"])
    def test_are_as_many_for_four_athletes_as_for_one(self, world: World, kind: str):
        session = factories.make_session(world.club, kind=kind)
        browser = log_in(factories.make_member(world.club, Role.ADMIN))
        sent: dict[str, list[int]] = {name: [] for name in doors(world, session)}
        for n in (1, 4):
            while _n_there(browser, world, session) < n:
                take_part(make_jumper(world, seed=n), session, "run_through", "jump")
            for name, address in doors(world, session).items():
                browser.get(address)  # the first look at a page asks for things that are kept
                with statements() as these:
                    assert browser.get(address).status_code == 200
                sent[name].append(len(these))

        assert all(alone == together for alone, together in sent.values()), sent
        # The log-in included, and what stands on the page besides.
        assert max(together for _, together in sent.values()) <= 25


def _n_there(browser: Any, world: World, session: Session) -> int:
    return len(browser.get(doors(world, session)["next-attempt"]).json()["results"])


class TestWhoIsThere:
    def test_is_whoever_ran_through_as_well_behind_every_door(self, world: World, contest: Session):
        jumps, warms_up = (make_jumper(world, seed=seed) for seed in (1, 2))
        take_part(jumps, contest, "jump", "pop_up")
        take_part(warms_up, contest, "run_through")
        browser = log_in(factories.make_member(world.club, Role.ADMIN))

        page = html.unescape(browser.get(doors(world, contest)["board"]).content.decode())
        results = browser.get(doors(world, contest)["next-attempt"]).json()["results"]

        taken = {each["approach"]: each["contest"]["attempts_taken"] for each in results}
        assert taken == {str(jumps.approach.id): 1, str(warms_up.approach.id): 0}
        assert [each["athlete_code"] for each in results] == sorted(
            each.scene.athlete.code for each in (jumps, warms_up)
        )
        for each in results:
            assert f'data-approach="{each["approach"]}"' in page
            assert each["text"] in page

    def test_is_nobody_before_the_first_attempt(self, world: World, contest: Session):
        browser = log_in(factories.make_member(world.club, Role.ADMIN))

        assert browser.get(doors(world, contest)["next-attempt"]).json()["results"] == []


class TestAnOlderJump:
    def test_that_only_the_warm_up_looks_at_is_not_forgotten_by_the_memory(
        self, world: World, contest: Session
    ):
        """Fifty jumps: the warm-up learns from a hundred, the mark from forty."""
        jumper = make_jumper(world, seed=1)
        oldest = jumper.readings[0]["external_id"]
        jumper.add([20, 20, 10], seed=3)
        take_part(jumper, contest, "run_through")
        browser = log_in(factories.make_member(world.club, Role.ADMIN))
        address = doors(world, contest)["next-attempt"]
        (before,) = browser.get(address).json()["results"]

        with club_scope(world.club):
            attempt = Attempt.objects.get(approach=jumper.approach, external_id=oldest)
        voided = world.as_("admin").post(
            f"attempts/{attempt.id}/void/", {"reason": "Somebody else."}, If_Match="*"
        )

        assert voided.status_code == 200, voided.content
        (after,) = browser.get(address).json()["results"]
        assert before["window"] == after["window"]
        assert before["today"]["n_run_throughs"] == 1
        assert before["today"] != after["today"]


class TestAnAimThatIsWrong:
    def test_is_told_in_training_with_the_number_of_practice_focus(self, world: World):
        """The plan aims at the line itself: half of the jumps are no jumps."""
        athlete = factories.make_athlete(world.club)
        at_the_line = Athlete(unmeasured_no_jump_share=0.0, aim_m=0.0)
        jumper = make_season(replace(world, athlete=athlete), at_the_line, aim_m=0.0)
        jumper.add([6] * 6, seed=3)
        admin, path = world.as_("admin"), f"sessions/{jumper.sessions[-1].id}/next-attempt"

        said = admin.get(path).json()
        focus = admin.get(f"{jumper.path}/practice-focus").json()

        (result,) = said["results"]
        assert (said["kind"], focus["first"]) == ("training", "aim")
        assert result["aim_m"] == 0.0
        assert result["aim_first"]["planned"] == "too_near"
        assert result["aim_first"]["aim_m"] == focus["aim"]["aim"]["fixed"]["aim_m"] > 0.05
        assert result["aim_first"]["gain_m"] == focus["aim"]["aim"]["gain_m"]
        assert "aim_first" in {each["code"] for each in result["reasons"]}
        assert "too near the line" in result["text"]
        described = find_operation("GET", "sessions/{session_id}/next-attempt")
        assert described is not None
        schema = described.described["responses"]["200"]["content"]["application/json"]["schema"]
        jsonschema.validate(said, {**read_schema(), **schema})
