"""The rows of questions that a worker answers: who may read them, and when they go."""

from datetime import date, timedelta
from typing import Any

import pytest
from django.db import IntegrityError, transaction
from django.utils import timezone

from analytics import selectors
from analytics.models import AskedWork, WorkState
from analytics.services import backlog, working
from athletes.models import Athlete
from athletes.services import coaching
from clubs.models import Role
from clubs.selectors import find_caller
from common.club_scope import club_scope
from tests import factories

pytestmark = pytest.mark.django_db


@pytest.fixture
def athlete() -> Athlete:
    return factories.make_athlete(factories.make_club())


def change(work: AskedWork, **fields: Any) -> None:
    with club_scope(work.club_id):
        AskedWork.objects.filter(id=work.id).update(**fields)


def long_ago(seconds: float) -> Any:
    return timezone.now() - timedelta(seconds=seconds)


class TestForgetting:
    def test_old_work_goes_and_young_work_stays(self, athlete: Athlete):
        old, young = factories.make_work(athlete), factories.make_work(athlete)
        change(old, forget_at=long_ago(1))

        assert working.forget_old_work() == 1

        with club_scope(athlete.club):
            assert [each.id for each in AskedWork.objects.all()] == [young.id]

    def test_all_that_is_about_an_athlete_goes_with_the_athlete(self, athlete: Athlete):
        mate = factories.make_athlete(athlete.club)
        factories.make_work(athlete)
        factories.make_work(athlete, mate)
        of_mate = factories.make_work(mate)

        assert working.forget_about(club=athlete.club, athlete_id=athlete.id) == 2

        with club_scope(athlete.club):
            assert [each.id for each in AskedWork.objects.all()] == [of_mate.id]


class TestWhoMayRead:
    def test_who_may_see_all_whom_it_is_about(self, athlete: Athlete):
        club = athlete.club
        mate = factories.make_athlete(club)
        own, of_both = factories.make_work(athlete), factories.make_work(athlete, mate)
        coach = factories.make_member(club, Role.COACH)
        coaching.assign_coach(club=club, coach=coach, athlete=athlete, from_date=date(2026, 1, 1))
        callers = {
            "admin": (factories.make_caller(club), {own.id, of_both.id}),
            "coach": (find_caller(factories.make_person_token(coach)), {own.id}),
            "stranger": (factories.make_caller(club, Role.COACH), set()),
        }

        with club_scope(club):
            for who, (caller, expected) in callers.items():
                seen = selectors.list_work_for(caller, today=timezone.now().date(), method=1)
                assert {each.id for each in seen} == expected, who


class TestBacklog:
    def test_complains_of_work_that_nobody_takes_up(self, athlete: Athlete):
        now = timezone.now()
        work = factories.make_work(athlete)
        fresh = backlog.find_work_complaint(now=now)
        change(work, asked_at=long_ago(backlog.WORK_LATE_S + 5))

        late = backlog.find_work_complaint(now=now)
        change(work, state=WorkState.RUNNING, heard_at=now)

        assert fresh is None
        assert late is not None
        assert late.startswith("1 questions wait")
        assert backlog.find_work_complaint(now=now) is None
        assert backlog.read_work_backlog().running == 1


class TestTheTable:
    @pytest.mark.parametrize(
        "fields",
        [
            {"state": "lost"},
            {"state": "done"},
            {"state": "waiting", "answer": {}},
            {"state": "failed"},
            {"state": "waiting", "failure": "broken"},
        ],
    )
    def test_refuses_what_makes_no_sense(self, athlete: Athlete, fields: dict[str, Any]):
        with (
            club_scope(athlete.club_id),
            pytest.raises(IntegrityError),
            transaction.atomic(),
        ):
            factories.make_work(athlete, **fields)

    def test_holds_a_question_once(self, athlete: Athlete):
        with club_scope(athlete.club_id):
            factories.make_work(athlete, same_question=b"x")
            with pytest.raises(IntegrityError), transaction.atomic():
                factories.make_work(athlete, same_question=b"x")
