"""A run-up designed over HTTP: from what is known, for the runway there is, and published."""

from datetime import timedelta
from typing import Any

import jsonschema  # type: ignore[import-untyped]  # no stubs among the pins
import numpy as np
import pytest

from analytics.core.simulator import Athlete as Habits
from analytics.core.sprint_curve import time_to
from approaches.models import Approach
from athletes.models import Athlete
from clubs.models import Role
from clubs.selectors import today_at
from clubs.services.access import PERSON_SCOPES
from common.club_scope import club_scope
from tests import factories
from tests.api.conftest import Api, World, version_of
from tests.api.seasons import make_season
from tests.contract.openapi import find_operation, read_schema

PATH = "approaches/design/"
SPLITS_M = (5.0, 10.0, 20.0, 30.0)


def splits_of(top_speed_mps: float, rise_time_s: float) -> list[dict[str, float]]:
    time_s = time_to(np.array(SPLITS_M), top_speed_mps=top_speed_mps, rise_time_s=rise_time_s)
    return [
        {"at_m": at, "time_s": round(float(time), 3)}
        for at, time in zip(SPLITS_M, time_s, strict=True)
    ]


SPRINT = {"start": "standing", "splits": splits_of(9.2, 1.15)}


@pytest.fixture
def admin(world: World) -> Api:
    return world.as_("admin")


@pytest.fixture
def athlete(world: World) -> Athlete:
    return factories.make_athlete(
        world.club, take_off_foot="left", shoe_length_m=0.28, birth_date="2008-03-01"
    )


@pytest.fixture
def approach(athlete: Athlete) -> Approach:
    return factories.make_approach(athlete, code="LJ-12 new", steps=12)


def design(caller: Api, **body: Any) -> Any:
    answer = caller.post(PATH, body)
    assert answer.status_code == 200, answer.content
    return answer.json()


def faults_of(answer: Any) -> list[tuple[str, str]]:
    assert answer.status_code == 400, answer.content
    return [(each["pointer"], each["code"]) for each in answer.json()["errors"]]


class TestADesign:
    def test_gives_marks_footfalls_phases_and_speeds(self, admin: Api, athlete: Athlete):
        """The worked example of docs/metrics/run_up_model.md: 26.4 m from 4.3 steps a second."""
        found = design(
            admin, athlete=str(athlete.id), sprint=SPRINT, steps=16, step_frequency_hz=4.3
        )

        run_up = found["design"]
        assert run_up["start_mark"]["at_m"] == pytest.approx(26.42, abs=0.02)
        assert [each["footfall"] for each in run_up["check_marks"]] == [11, 6]
        assert [each["steps"] for each in run_up["phases"]] == [6, 4, 6]
        assert [each["footfall"] for each in run_up["footfalls"]] == [*range(16, -1, -1)]
        places = [each["at_m"] for each in run_up["footfalls"]]
        assert places == sorted(places, reverse=True)
        assert run_up["speed_11_6_mps"] < run_up["speed_6_1_mps"] < run_up["board_speed_mps"] < 8.74
        assert [each["steps"] for each in found["lengths"]] == [8, 12, 16]
        assert (found["proposed"], found["lacking"]) == (False, [])

    def test_says_it_in_feet_in_shoe_lengths_and_which_foot(self, admin: Api, athlete: Athlete):
        run_up = design(admin, athlete=str(athlete.id), sprint=SPRINT, steps=15)["design"]

        mark = run_up["start_mark"]
        in_feet = 0.3048 * mark["feet"] + 0.0254 * mark["inches"]
        assert in_feet == pytest.approx(mark["at_m"], abs=0.0254 / 8 + 1e-9)
        assert mark["shoe_lengths"] == round(2 * mark["at_m"] / 0.28) / 2
        # An odd number of steps: the other foot starts, and the left one takes off.
        assert run_up["start_foot"] == "right"
        assert run_up["footfalls"][-1]["foot"] == "left"
        assert run_up["footfalls"][-2]["foot"] == "right"

    def test_is_what_the_schema_says(self, admin: Api, athlete: Athlete, approach: Approach):
        described = find_operation("POST", PATH)
        assert described is not None
        schema = described.described["responses"]["200"]["content"]["application/json"]["schema"]

        for body in (
            {},
            {"athlete": str(athlete.id), "sprint": SPRINT},
            {"approach": str(approach.id), "height_m": 1.7, "runway_m": 12},
            {"sprint": SPRINT, "steps": 4, "start_style": "run_in"},
        ):
            jsonschema.validate(design(admin, **body), {**read_schema(), **schema})

    def test_stores_nothing(self, admin: Api, approach: Approach):
        found = design(admin, approach=str(approach.id), sprint=SPRINT)

        assert found["published_plan"] is None
        assert admin.get(f"approaches/{approach.id}/plans/").json()["results"] == []

    def test_says_it_in_words_with_the_caution(self, admin: Api, athlete: Athlete):
        found = design(admin, athlete=str(athlete.id), sprint=SPRINT, steps=16, runway_m=40)

        assert "With 16 steps from a standstill" in found["text"]
        assert "the left foot on it" in found["text"]
        assert "first guess" in found["text"]
        assert "The runway of 40.0 m is long enough." in found["text"]
        assert found["caution"].startswith("The coach on the spot decides.")

    def test_writes_numbers_as_the_reader_does(self, admin: Api):
        body = {"sprint": SPRINT, "steps": 16}

        german = admin.post(PATH, body, accept_language="de")

        mark = f"{german.json()['design']['start_mark']['at_m']:.2f}".replace(".", ",")
        assert f"{mark} m" in german.json()["text"]
        assert "Accept-Language" in german["Vary"]

    def test_lays_the_wanted_rhythm_over_the_last_three(self, admin: Api):
        rhythm = {"third": 1.0, "penultimate": 1.2, "last": 0.9}

        run_up = design(admin, sprint=SPRINT, steps=16, rhythm=rhythm)["design"]

        third, penultimate, last = (each["step_m"] for each in run_up["footfalls"][-3:])
        assert penultimate / third == pytest.approx(1.2)
        assert last / third == pytest.approx(0.9)


class TestWhatItRestsOn:
    def test_a_stored_sprint_before_age_and_height(
        self, world: World, admin: Api, athlete: Athlete
    ):
        factories.make_measurement(athlete, height_m=1.70)
        by_age = design(admin, athlete=str(athlete.id), steps=14)
        today = today_at(world.club)
        for days, speed_mps in ((90, 8.0), (10, 9.0)):
            factories.make_sprint_test(
                athlete,
                tested_date=today - timedelta(days=days),
                splits=splits_of(speed_mps, 1.1),
            )
        # Two splits tell no curve: the one before it counts.
        factories.make_sprint_test(athlete, tested_date=today)

        by_sprint = design(admin, athlete=str(athlete.id), steps=14)

        assert by_age["rests_on"]["basis"] == "age_and_height"
        assert by_sprint["rests_on"]["basis"] == "stored_sprint"
        assert by_sprint["rests_on"]["top_speed_mps"] == pytest.approx(9.0, abs=0.05)
        assert by_sprint["rests_on"]["sprint_date"] == str(today - timedelta(days=10))
        widths = [
            each["design"]["start_mark_interval"]["high"]
            - each["design"]["start_mark_interval"]["low"]
            for each in (by_age, by_sprint)
        ]
        assert widths[0] > widths[1]

    def test_the_sprint_of_the_request_goes_first(self, admin: Api, athlete: Athlete):
        factories.make_sprint_test(athlete, splits=splits_of(8.0, 1.1))

        found = design(admin, athlete=str(athlete.id), steps=14, sprint=SPRINT)

        assert found["rests_on"]["basis"] == "given_sprint"
        assert found["rests_on"]["top_speed_mps"] == pytest.approx(9.2, abs=0.05)

    def test_splits_that_tell_no_curve_are_not_passed_over_in_silence(
        self, admin: Api, athlete: Athlete
    ):
        factories.make_sprint_test(athlete, splits=splits_of(8.0, 1.1))
        two = {"start": "standing", "splits": SPRINT["splits"][:2]}

        found = design(admin, athlete=str(athlete.id), steps=14, sprint=two)

        assert found["rests_on"]["basis"] == "stored_sprint"
        assert found["splits_unread"] is True
        assert any("tell no speed curve" in each for each in found["would_change"])

    def test_too_little_is_an_answer_that_says_what_is_missing(self, admin: Api):
        found = design(admin, age_years=15)

        assert (found["design"], found["plan"], found["lengths"]) == (None, None, [])
        assert found["lacking"] == ["sprint", "height"]
        assert found["text"].startswith("Not enough is known")

    def test_attempts_teach_where_the_feet_land(self, world: World, admin: Api):
        """The jumper's own run-up begins at the plan's mark; the sprint alone misses it by far."""
        habits = Habits(unmeasured_no_jump_share=0.0)
        season = make_season(world, habits)
        body = {
            "approach": str(season.approach.id),
            "sprint": {"start": "standing", "splits": splits_of(9.9, 1.1)},
        }
        before = design(admin, **body)
        season.add([6] * 4, seed=5)

        after = design(admin, **body)

        truth_m = season.plan.start_mark_m
        assert before["rests_on"]["n_attempts"] == 0
        assert (after["rests_on"]["n_attempts"], after["rests_on"]["n_sessions"]) == (24, 4)
        assert abs(before["design"]["start_mark"]["at_m"] - truth_m) > 1.0
        assert after["design"]["start_mark"]["at_m"] == pytest.approx(truth_m, abs=0.25)
        interval = after["design"]["start_mark_interval"]
        assert interval["low"] < truth_m < interval["high"]
        assert after["rests_on"]["own_share"] > 0.9
        assert "24 attempts" in after["text"]


class TestSteps:
    @pytest.mark.parametrize(("age_years", "steps"), [(11, 10), (14, 14), (25, 18)])
    def test_are_proposed_by_age(self, admin: Api, age_years: float, steps: int):
        found = design(admin, sprint=SPRINT, age_years=age_years)

        assert (found["steps"], found["proposed"]) == (steps, True)
        assert "steps_proposed" in {each["code"] for each in found["reasons"]}

    def test_are_as_few_as_the_runway_wants(self, admin: Api):
        found = design(admin, sprint=SPRINT, age_years=25, runway_m=22)

        assert found["steps"] < 18
        assert found["runway"]["fit"] in {"fits", "tight"}
        longer = design(admin, sprint=SPRINT, steps=found["steps"] + 2, runway_m=22)
        assert longer["runway"]["fit"] == "too_long"
        assert longer["runway"]["most_steps"] == found["steps"]
        assert f"A run-up of {found['steps']} steps fits." in longer["text"]

    def test_cannot_be_proposed_without_an_age(self, admin: Api):
        assert design(admin, sprint=SPRINT)["lacking"] == ["steps"]

    def test_of_an_approach_may_be_too_few(self, world: World, admin: Api, athlete: Athlete):
        short = factories.make_approach(athlete, code="LJ-3", steps=3)

        found = design(admin, approach=str(short.id), sprint=SPRINT)

        assert (found["steps"], found["lacking"]) == (3, ["steps"])
        assert "3 steps is too short" in found["text"]


class TestRefusals:
    @pytest.mark.parametrize(
        ("body", "fault"),
        [
            ({"steps": 3}, ("/steps", "min_value")),
            ({"publish": True}, ("/approach", "required")),
            (
                {"sprint": {"start": "standing", "splits": SPRINT["splits"][::-1]}},
                ("/sprint/splits/1/at_m", "distances_must_grow"),
            ),
            (
                {"rhythm": {"third": 0.5, "penultimate": 1.2, "last": 1.0}},
                ("/rhythm", "rhythm_out_of_range"),
            ),
            (
                {"sprint": SPRINT, "steps": 8, "coach_footfall": 6},
                ("/coach_footfall", "footfall_out_of_range"),
            ),
            (
                {"sprint": SPRINT, "steps": 8, "early_run_m": 30},
                ("/early_run_m", "mark_off_run_up"),
            ),
            (
                {"sprint": SPRINT, "steps": 30, "step_frequency_hz": 3, "height_m": 2},
                ("/steps", "start_mark_out_of_range"),
            ),
            ({"surprise": 1}, ("/surprise", "unknown_field")),
        ],
    )
    def test_name_the_field(self, admin: Api, body: dict[str, Any], fault: tuple[str, str]):
        assert fault in faults_of(admin.post(PATH, body))

    def test_what_the_approach_says_is_left_out(self, admin: Api, approach: Approach):
        body = {"approach": str(approach.id), "steps": 14, "start_style": "walk_in"}

        assert faults_of(admin.post(PATH, body)) == [
            ("/steps", "said_already"),
            ("/start_style", "said_already"),
        ]

    def test_a_strangers_run_up_is_missing(self, world: World, approach: Approach):
        answer = world.as_("coach").post(PATH, {"approach": str(approach.id), "sprint": SPRINT})

        assert (answer.status_code, answer.json()["code"]) == (404, "not_found")


class TestPublishing:
    def publish(self, caller: Api, approach: Approach, **fields: Any) -> Any:
        body = {"approach": str(approach.id), "sprint": SPRINT, "publish": True, **fields}
        return caller.post(PATH, body, If_Match='"0"')

    def test_makes_the_plan_of_the_same_answer(self, admin: Api, approach: Approach):
        read = design(admin, approach=str(approach.id), sprint=SPRINT)

        made = self.publish(admin, approach, reason="First marks outside.")

        assert made.status_code == 201, made.content
        plan = admin.client.get(made["Location"]).json()
        assert (plan["id"], plan["revision"]) == (made.json()["published_plan"], 1)
        assert version_of(made) == 1
        for name in ("start_mark_m", "aim_m", "check_marks", "phase_starts", "toe_m"):
            assert plan[name] == read["plan"][name], name
        assert plan["reason"] == "Designed from the sprint that was given. First marks outside."

    def test_the_body_of_the_answer_is_a_plan(self, admin: Api, approach: Approach):
        found = design(admin, approach=str(approach.id), sprint=SPRINT)

        made = admin.post(f"approaches/{approach.id}/plans/", found["plan"], If_Match='"0"')

        assert made.status_code == 201, made.content
        assert made.json()["start_mark_m"] == found["design"]["start_mark"]["at_m"]
        assert len(made.json()["toe_m"]) == 13

    def test_is_made_from_the_latest_revision(self, admin: Api, approach: Approach):
        assert self.publish(admin, approach).status_code == 201

        late = self.publish(admin, approach)
        without = admin.post(
            PATH, {"approach": str(approach.id), "sprint": SPRINT, "publish": True}
        )

        assert (late.status_code, late.json()["code"]) == (412, "stale_version")
        assert (without.status_code, without.json()["code"]) == (428, "version_required")

    def test_is_done_once_however_often_it_is_sent(self, admin: Api, approach: Approach):
        body = {"approach": str(approach.id), "sprint": SPRINT, "publish": True}

        sent = [
            admin.post(PATH, body, If_Match='"0"', idempotency_key=f"design-{approach.id}")
            for _ in range(2)
        ]

        assert [each.status_code for each in sent] == [201, 201]
        assert sent[1]["Answer-Repeated"] == "true"
        assert len(admin.get(f"approaches/{approach.id}/plans/").json()["results"]) == 1

    def test_needs_enough_for_a_design(self, admin: Api, approach: Approach):
        body = {"approach": str(approach.id), "publish": True}

        answer = admin.post(PATH, body, If_Match="*")

        assert faults_of(answer) == [("/publish", "nothing_to_publish")]

    def test_of_a_run_up_that_does_not_fit_is_refused(self, admin: Api, approach: Approach):
        refused = self.publish(admin, approach, runway_m=15)
        elsewhere = self.publish(admin, approach)

        assert faults_of(refused) == [("/runway_m", "runway_too_short")]
        assert elsewhere.status_code == 201

    def test_needs_the_scope_for_plans(self, world: World, approach: Approach):
        token = factories.make_person_token(
            factories.make_member(world.club, Role.ADMIN),
            scopes=set(PERSON_SCOPES) - {"plans:write"},
        )

        answer = self.publish(Api(world.club.slug, token), approach)

        assert (answer.status_code, answer.json()["code"]) == (403, "missing_scope")
        with club_scope(world.club):
            assert approach.plans.count() == 0

    def test_keeps_the_aim_of_the_plan_before(self, admin: Api, approach: Approach):
        factories.make_plan(approach, aim_m=0.10)

        made = admin.post(
            PATH, {"approach": str(approach.id), "sprint": SPRINT, "publish": True}, If_Match="*"
        )

        assert made.json()["plan"]["aim_m"] == 0.10
        assert made.json()["published_revision"] == 2
