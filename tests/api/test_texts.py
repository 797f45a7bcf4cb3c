"""Names, codes and notes at each door: no sign that nobody sees, and one spelling."""

from typing import Any

import pytest

from approaches.models import Session
from athletes.models import Athlete
from clubs.models import Role
from common.club_scope import club_scope
from tests.admin.scenes import errors_of, log_in, save
from tests.api.conftest import World
from tests.factories import csv_of, make_member, make_reading

HIDDEN = "Ida\u202emloH"
DECOMPOSED, COMPOSED = "Zoe\u0308", "Zo\u00eb"


def new_athlete(**fields: Any) -> dict[str, Any]:
    return {
        "code": "A-300",
        "given_name": "Ida",
        "family_name": "Holm",
        "birth_date": "2011-05-23",
        **fields,
    }


@pytest.mark.parametrize("field", ["code", "given_name", "family_name"])
def test_the_api_refuses_and_names_it(world: World, field: str):
    answer = world.as_("admin").post("athletes/", new_athlete(**{field: HIDDEN}))

    assert answer.status_code == 400
    (fault,) = answer.json()["errors"]
    assert (fault["pointer"], fault["code"]) == (f"/{field}", "control_character")
    assert "U+202E RIGHT-TO-LEFT OVERRIDE" in fault["detail"]


def test_a_note_may_have_lines_but_nothing_unseen(world: World):
    admin, plans = world.as_("admin"), f"approaches/{world.approach.id}/plans/"
    plan = {"start_mark_m": 34.3, "aim_m": 0.06}
    about = {"If_Match": "*"}

    refused = admin.post(plans, {**plan, "reason": "Wet\u200b."}, **about)
    taken = admin.post(plans, {**plan, "reason": "Wet.\nAnd cold."}, **about)

    assert (refused.status_code, refused.json()["errors"][0]["code"]) == (400, "control_character")
    assert (taken.status_code, taken.json()["reason"]) == (201, "Wet.\nAnd cold.")


def test_a_table_refuses_and_names_the_line(world: World):
    table = f"code,given_name,family_name,birth_date\r\nA-301,{HIDDEN},Holm,2011-05-23\r\n"

    answer = world.as_("admin").post("athletes/import/", table, content_type="text/csv")

    assert answer.status_code == 422
    (fault,) = answer.json()["errors"]
    assert (fault["pointer"], fault["code"]) == ("/0/given_name", "control_character")
    assert fault["detail"].startswith("Line 2: ")


def test_one_spelling_is_kept(world: World):
    admin = world.as_("admin")

    one = admin.post("athletes/", new_athlete(given_name=DECOMPOSED, code=DECOMPOSED))
    twin = admin.post("athletes/", new_athlete(code=COMPOSED))

    assert (one.json()["given_name"], one.json()["code"]) == (COMPOSED, COMPOSED)
    assert (twin.status_code, twin.json()["code"]) == (409, "already_exists")


def test_the_admin_refuses_and_names_it(world: World):
    browser = log_in(make_member(world.club, Role.ADMIN))
    fields = new_athlete(given_name=HIDDEN, family_name=DECOMPOSED)

    refused = save(browser, world.club, "athletes_athlete", fields)
    taken = save(browser, world.club, "athletes_athlete", {**fields, "given_name": "Ida"})

    assert errors_of(refused) == {
        "given_name": ["It holds a sign that nobody sees: U+202E RIGHT-TO-LEFT OVERRIDE."]
    }
    assert taken.status_code == 302
    with club_scope(world.club):
        assert Athlete.objects.get(code="A-300").family_name == COMPOSED


class TestAPush:
    def test_finds_codes_however_they_are_spelled(self, world: World):
        with club_scope(world.club):
            Athlete.objects.filter(id=world.athlete.id).update(code=COMPOSED)
        row = make_reading(world.athlete, world.session, athlete=f"ext:{DECOMPOSED}")

        assert world.as_("device").post("attempts/", row).status_code == 201

    def test_makes_one_session_of_two_spellings(self, world: World):
        rows = [
            make_reading(world.athlete, world.session, session=code, external_id=code)
            for code in (DECOMPOSED, COMPOSED)
        ]

        answer = world.as_("device").post("attempts/batch/?make_sessions=true", rows)

        assert answer.json()["created"] == 2
        with club_scope(world.club):
            assert Session.objects.filter(code=COMPOSED).count() == 1

    # The last lies beyond what patterns say, the first is one that a search for them would miss.
    @pytest.mark.parametrize("code", ["day\n", "day\u200b", "day\u0085", "day\U000e0041"])
    def test_makes_no_session_whose_code_nobody_can_read(self, world: World, code: str):
        row = make_reading(world.athlete, world.session, session=code)

        answers = [
            world.as_("device").post("attempts/?make_sessions=true", row),
            world.as_("device").post(
                "attempts/batch/?make_sessions=true", csv_of(row), content_type="text/csv"
            ),
        ]

        assert answers[0].status_code == 422
        assert answers[0].json()["errors"][0]["code"] == "control_character"
        assert answers[1].json()["rows"][0]["code"] == "control_character"
        with club_scope(world.club):
            assert not Session.objects.filter(code__startswith="day").exists()
