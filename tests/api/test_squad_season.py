"""A squad's season over HTTP: asked for, worked out by a worker, read by who may see all of it."""

from datetime import date, timedelta
from typing import Any

import jsonschema  # type: ignore[import-untyped]  # no stubs among the pins
import numpy as np
import pytest

from analytics.models import AskedWork
from analytics.services import rounds, squad_seasons
from analytics.services.method import METHOD
from athletes.models import Athlete
from athletes.services import coaching, joining
from clubs.models import Role, Squad
from common.club_scope import club_scope
from tests import factories
from tests.api.by_hand import ByHand
from tests.api.conftest import Api, World
from tests.cards import sheets
from tests.contract.openapi import find_operation, read_schema

SEASON = {"from_date": "2026-03-01", "to_date": "2026-06-30"}
DAY = date(2026, 4, 6)


@pytest.fixture
def squad(world: World) -> Squad:
    return factories.make_squad(world.club)


def join(world: World, squad: Squad, athlete: Athlete, **fields: Any) -> None:
    joining.add_squad_member(
        club=world.club,
        squad=squad,
        athlete=athlete,
        **{"from_date": date(2026, 1, 1), **fields},
    )


def make_jumper(world: World, squad: Squad, *, sd_m: float, weeks: int, seed: int) -> ByHand:
    """Return an athlete of the squad who lands about 6 cm behind the line."""
    jumper = ByHand(world)
    join(world, squad, jumper.athlete)
    rng = np.random.default_rng(seed)
    for week in range(weeks):
        toes = np.maximum(rng.normal(0.30, sd_m, 3), 0.0).round(3)
        jumper.jump(DAY + timedelta(weeks=week), [(6.0, float(toe)) for toe in toes])
    return jumper


def ask(api: Api, squad: Squad, body: Any = SEASON) -> Any:
    return api.post(f"reports/season/squads/{squad.id}", body)


def answer_of(world: World, squad: Squad, body: Any = SEASON, **headers: str) -> dict[str, Any]:
    asked = ask(world.as_("admin"), squad, body)
    assert asked.status_code in {200, 202}, asked.content
    rounds.do_due_work()
    done = world.as_("admin").get(f"work/{asked.json()['id']}/", **headers).json()
    assert done["state"] == "done", done
    answer: dict[str, Any] = done["answer"]
    return answer


class TestSquad:
    def test_is_told_athlete_by_athlete(self, world: World, squad: Squad):
        jumpers = [make_jumper(world, squad, sd_m=0.06, weeks=4, seed=n) for n in range(5)]
        newcomer = make_jumper(world, squad, sd_m=0.06, weeks=1, seed=9)

        answer = answer_of(world, squad)

        codes = [each["athlete_code"] for each in answer["results"]]
        assert codes == sorted(each.athlete.code for each in [*jumpers, newcomer])
        assert (answer["n"], answer["usual_spread_m"]["n_athletes"]) == (5 * 12 + 3, 5)
        by_id = {each["athlete"]: each for each in answer["results"]}
        assert by_id[str(newcomer.athlete.id)]["own"] is None
        assert by_id[str(newcomer.athlete.id)]["n"] == 3
        known = by_id[str(jumpers[0].athlete.id)]
        assert known["spread_m"]["low"] < 0.06 < known["spread_m"]["high"]
        assert (known["approach_code"], known["best_m"], known["most_in_session"]) == (
            "LJ-16",
            6.0,
            3,
        )

    def test_is_what_the_schema_says(self, world: World, squad: Squad):
        make_jumper(world, squad, sd_m=0.06, weeks=4, seed=1)
        described = find_operation("GET", "work/{work_id}/")
        assert described is not None
        schema = described.described["responses"]["200"]["content"]["application/json"]["schema"]

        asked = ask(world.as_("admin"), squad).json()
        rounds.do_due_work()
        done = world.as_("admin").get(f"work/{asked['id']}/").json()

        jsonschema.validate(done, {**read_schema(), **schema})
        assert done["kind"] == "squad_season"

    def test_says_what_it_says_in_the_readers_language(self, world: World, squad: Squad):
        make_jumper(world, squad, sd_m=0.06, weeks=4, seed=1)

        assert "1. März 2026" in answer_of(world, squad, Accept_Language="de")["text"]

    def test_agrees_with_the_athletes_own_report(self, world: World, squad: Squad):
        jumper = make_jumper(world, squad, sd_m=0.06, weeks=6, seed=1)

        (line,) = answer_of(world, squad)["results"]

        report = jumper.read()
        (run_up,) = report["run_ups"]
        assert line["no_jumps"] == run_up["board"]["no_jumps"]
        assert line["spread_shown"] == run_up["consistency"]["change"]["spread_shown"]
        assert line["most_in_week"] == report["load"]["most_in_week"]

    def test_is_of_those_who_were_in_it_in_the_season(self, world: World, squad: Squad):
        inside, before, after = (factories.make_athlete(world.club) for _ in range(3))
        join(world, squad, inside, from_date=date(2026, 6, 30))
        join(world, squad, before, until_date=date(2026, 2, 28))
        join(world, squad, after, from_date=date(2026, 7, 1))

        answer = answer_of(world, squad)

        assert [each["athlete"] for each in answer["results"]] == [str(inside.id)]

    def test_is_worked_out_once_and_anew_after_an_attempt(self, world: World, squad: Squad):
        jumper = make_jumper(world, squad, sd_m=0.06, weeks=2, seed=1)
        admin = world.as_("admin")
        first = ask(admin, squad).json()["id"]
        rounds.do_due_work()
        again = ask(admin, squad)

        jumper.jump(DAY + timedelta(weeks=8), [(6.2, 0.1)])
        later = ask(admin, squad)

        assert (again.status_code, again.json()["id"]) == (200, first)
        assert (later.status_code, later.json()["id"] == first) == (202, False)

    def test_leaves_out_who_was_erased_meanwhile(self, world: World, squad: Squad):
        gone = factories.make_athlete(world.club)
        join(world, squad, gone)
        asked = {
            "squad": str(squad.id),
            "athletes": [str(gone.id), str(squad.id)],
            "from_date": "2026-03-01",
            "to_date": "2026-06-30",
        }
        steps: list[tuple[int, int]] = []
        with club_scope(world.club):
            rows = squad_seasons.read(asked)

        found = squad_seasons.work_out(rows, asked, lambda *each: steps.append(each))

        assert [each["athlete"] for each in found["results"]] == [gone.id]
        assert steps == [(0, 2), (1, 2), (2, 2)]


class TestWhoMayAsk:
    def test_is_whoever_sees_somebody_in_it(self, world: World, squad: Squad):
        jumper = make_jumper(world, squad, sd_m=0.06, weeks=1, seed=1)
        other = make_jumper(world, squad, sd_m=0.06, weeks=1, seed=2)
        coach = factories.make_member(world.club, Role.COACH)
        api = Api(world.club.slug, factories.make_person_token(coach))
        assert ask(api, squad).status_code == 404

        coaching.assign_coach(
            club=world.club, coach=coach, athlete=jumper.athlete, from_date=date(2026, 1, 1)
        )
        asked = ask(api, squad)

        assert asked.status_code == 202
        with club_scope(world.club):
            work = AskedWork.objects.get(id=asked.json()["id"])
        assert work.athlete_ids == [jumper.athlete.id]
        assert other.athlete.id not in work.athlete_ids
        # What is asked about everybody, this coach may not read.
        whole = ask(world.as_("admin"), squad).json()["id"]
        assert whole != asked.json()["id"]
        assert api.get(f"work/{whole}/").status_code == 404

    def test_is_nobody_of_another_club(self, world: World, second_world: World):
        theirs = factories.make_squad(second_world.club)

        assert ask(world.as_("admin"), theirs).status_code == 404


class TestPeriod:
    @pytest.mark.parametrize(
        "body",
        [
            {"from_date": "2026-06-02", "to_date": "2026-06-01"},
            {"from_date": "2024-06-02", "to_date": "2026-06-01"},
        ],
    )
    def test_is_refused_when_it_makes_no_season(self, world: World, squad: Squad, body: Any):
        answer = ask(world.as_("admin"), squad, body)

        assert answer.status_code == 400
        (fault,) = answer.json()["errors"]
        assert (fault["pointer"], fault["code"]) == ("/from_date", "no_season")

    def test_is_a_year_unless_said(self, world: World, squad: Squad):
        join(world, squad, factories.make_athlete(world.club))

        asked = ask(world.as_("admin"), squad, {"to_date": "2026-06-30"}).json()["asked"]

        assert (asked["from_date"], asked["to_date"]) == ("2025-07-01", "2026-06-30")


class TestPaper:
    @pytest.mark.parametrize(
        ("form", "begin"), [("html", b"<!"), ("pdf", b"%PDF-"), ("png", b"\x89")]
    )
    def test_has_the_form_that_a_link_names(
        self, world: World, squad: Squad, form: str, begin: bytes
    ):
        make_jumper(world, squad, sd_m=0.06, weeks=4, seed=1)
        work = ask(world.as_("admin"), squad).json()["id"]
        rounds.do_due_work()

        made = world.as_("admin").get(f"work/{work}/paper?as={form}&paper=letter")

        assert (made.status_code, made.content[: len(begin)].lower()) == (200, begin.lower())

    def test_says_what_the_work_answers(self, world: World, squad: Squad):
        jumper = make_jumper(world, squad, sd_m=0.06, weeks=4, seed=1)
        answer = answer_of(world, squad)
        work = ask(world.as_("admin"), squad).json()["id"]

        made = world.as_("admin").get(f"work/{work}/paper", Accept="application/pdf")

        text = sheets.squeezed(sheets.text_of_pdf(made.content))
        for sentence in (answer["text"], answer["caution"], *answer["would_change"]):
            assert sheets.squeezed(sentence) in text
        athlete = jumper.athlete
        name = f"{athlete.code}·{athlete.given_name}{athlete.family_name}"
        assert sheets.squeezed(name) in text
        assert sheets.squeezed(squad.name) in text

    def test_waits_for_the_answer(self, world: World, squad: Squad):
        make_jumper(world, squad, sd_m=0.06, weeks=1, seed=1)
        work = ask(world.as_("admin"), squad).json()["id"]

        early = world.as_("admin").get(f"work/{work}/paper")

        assert (early.status_code, early.json()["code"]) == (409, "work_not_done")

    def test_is_of_no_other_kind_of_question(self, world: World):
        work = factories.make_work(world.athlete, method=METHOD)

        made = world.as_("admin").get(f"work/{work.id}/paper")

        assert (made.status_code, made.json()["code"]) == (409, "no_paper")

    def test_is_a_strangers_to_who_may_not_see_all_of_them(self, world: World, squad: Squad):
        make_jumper(world, squad, sd_m=0.06, weeks=1, seed=1)
        work = ask(world.as_("admin"), squad).json()["id"]
        rounds.do_due_work()

        assert world.as_("coach").get(f"work/{work}/paper").status_code == 404
