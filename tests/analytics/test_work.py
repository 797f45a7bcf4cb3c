"""Questions that a worker answers: each once, whatever happens to the worker."""

import time
from dataclasses import replace
from datetime import timedelta
from typing import Any

import pytest
from billiard.exceptions import SoftTimeLimitExceeded
from django.utils import timezone

from analytics.errors import TooMuchWorkError
from analytics.models import AskedWork, WorkFailure, WorkKind, WorkState
from analytics.services import heavy, rounds, working
from analytics.services.heavy import Asked, Heavy, Step
from analytics.services.method import METHOD
from athletes.models import Athlete
from clubs.selectors import Caller
from common import waker
from common.club_scope import club_scope
from tests import factories

pytestmark = pytest.mark.django_db


class Counted:
    """A kind of question whose rows and course a test decides."""

    def __init__(self) -> None:
        self.rows: int = 1
        self.asked: list[Asked] = []
        self.during: Any = lambda _step: None

    def read(self, _asked: Asked) -> int:
        return self.rows

    def work_out(self, rows: int, asked: Asked, step: Step) -> dict[str, Any]:
        self.asked.append(asked)
        self.during(step)
        return {"rows": rows, **asked}


@pytest.fixture
def kind(monkeypatch: pytest.MonkeyPatch) -> Counted:
    counted = Counted()
    how = replace(
        heavy.KINDS[WorkKind.WHAT_IF],
        read=counted.read,
        key_of=lambda rows: rows,
        work_out=counted.work_out,
    )
    monkeypatch.setattr(heavy, "KINDS", {WorkKind.WHAT_IF.value: how})
    monkeypatch.setattr(rounds, "REPORT_EVERY_S", 0.0)
    return counted


@pytest.fixture
def athlete() -> Athlete:
    return factories.make_athlete(factories.make_club())


def ask(athlete: Athlete, caller: Caller | None = None, **asked: Any) -> AskedWork:
    return working.ask(
        club=athlete.club,
        kind=WorkKind.WHAT_IF,
        asked=asked,
        athlete_ids=[athlete.id],
        caller=caller or factories.make_caller(athlete.club),
    )


def call_off(work: AskedWork) -> None:
    club = look(work).club
    working.call_off(club=club, work_id=work.id, caller=factories.make_caller(club))


def look(work: AskedWork) -> AskedWork:
    with club_scope(work.club_id):
        return AskedWork.objects.select_related("club").get(id=work.id)


def change(work: AskedWork, **fields: Any) -> None:
    with club_scope(work.club_id):
        AskedWork.objects.filter(id=work.id).update(**fields)


def long_ago(seconds: float = 3600) -> Any:
    return timezone.now() - timedelta(seconds=seconds)


class TestAsking:
    def test_the_same_question_is_worked_out_once(self, kind: Counted, athlete: Athlete):
        first, again = ask(athlete, m=1), ask(athlete, m=1)
        rounds.do_due_work()
        done = ask(athlete, m=1)

        assert first.id == again.id == done.id
        assert (done.state, done.answer) == (WorkState.DONE, {"rows": 1, "m": 1})
        assert kind.asked == [{"m": 1}]

    def test_another_question_or_another_attempt_is_another_work(
        self, kind: Counted, athlete: Athlete
    ):
        works = [ask(athlete, m=1), ask(athlete, m=2)]
        kind.rows = 2
        works.append(ask(athlete, m=1))

        assert len({work.id for work in works}) == 3

    def test_another_clubs_question_is_its_own(self, kind: Counted, athlete: Athlete):
        theirs = factories.make_athlete(factories.make_club())

        assert ask(athlete, m=1).id != ask(theirs, m=1).id

    def test_another_method_answers_anew(
        self, kind: Counted, athlete: Athlete, monkeypatch: pytest.MonkeyPatch
    ):
        before = ask(athlete, m=1)
        monkeypatch.setattr(working, "METHOD", METHOD + 1)

        assert ask(athlete, m=1).id != before.id

    def test_a_failed_question_is_tried_again(self, kind: Counted, athlete: Athlete):
        kind.during = lambda _step: 1 / 0
        work = ask(athlete, m=1)
        rounds.do_due_work()
        failed = look(work)
        kind.during = lambda _step: None

        again = ask(athlete, m=1)
        rounds.do_due_work()

        assert failed.state == WorkState.FAILED
        assert (again.id, again.state, again.failure) == (work.id, WorkState.WAITING, "")
        assert look(work).state == WorkState.DONE

    def test_a_failed_question_finds_room_as_a_new_one_does(
        self, kind: Counted, athlete: Athlete, monkeypatch: pytest.MonkeyPatch
    ):
        failed = ask(athlete, m=1)
        change(failed, state=WorkState.FAILED, failure=WorkFailure.BROKEN, finished_at=long_ago(1))
        monkeypatch.setattr(working, "MOST_WAITING", 1)
        ask(athlete, m=2)

        with pytest.raises(TooMuchWorkError):
            ask(athlete, m=1)

        assert look(failed).state == WorkState.FAILED

    def test_a_club_may_have_so_many_wait(
        self, kind: Counted, athlete: Athlete, monkeypatch: pytest.MonkeyPatch
    ):
        monkeypatch.setattr(working, "MOST_WAITING", 2)
        ask(athlete, m=1)
        ask(athlete, m=2)

        with pytest.raises(TooMuchWorkError):
            ask(athlete, m=3)
        # What waits already is no further one; another club has its own room.
        ask(athlete, m=1)
        ask(factories.make_athlete(factories.make_club()), m=3)
        rounds.do_due_work()
        assert ask(athlete, m=3).state == WorkState.WAITING

    def test_one_member_leaves_room_for_the_others(
        self, kind: Counted, athlete: Athlete, monkeypatch: pytest.MonkeyPatch
    ):
        monkeypatch.setattr(working, "MOST_WAITING_OF_ONE", 2)
        eager = factories.make_caller(athlete.club)
        ask(athlete, eager, m=1)
        ask(athlete, eager, m=2)

        with pytest.raises(TooMuchWorkError):
            ask(athlete, eager, m=3)
        assert ask(athlete, m=3).state == WorkState.WAITING

    def test_wakes_a_worker_after_the_commit(
        self,
        kind: Counted,
        athlete: Athlete,
        monkeypatch: pytest.MonkeyPatch,
        django_capture_on_commit_callbacks: Any,
    ):
        woken: list[str] = []
        monkeypatch.setattr(waker, "wake", lambda task, **_ids: woken.append(task))

        with django_capture_on_commit_callbacks(execute=True):
            ask(athlete, m=1)
            assert woken == []

        assert woken == ["analytics.do_due_work"]


class TestTurns:
    def test_clubs_take_turns(self, kind: Counted, athlete: Athlete):
        theirs = factories.make_athlete(factories.make_club())
        for number in range(3):
            change(ask(athlete, m=number), asked_at=long_ago(100 - number))
        change(ask(theirs, m=9), asked_at=long_ago(10))

        rounds.do_due_work()

        assert kind.asked == [{"m": 0}, {"m": 9}, {"m": 1}, {"m": 2}]

    def test_no_more_than_so_many_at_once(self, kind: Counted, athlete: Athlete, settings: Any):
        running, waiting = ask(athlete, m=1), ask(athlete, m=2)
        change(running, state=WorkState.RUNNING, taken_up=1, heard_at=timezone.now())

        assert rounds.do_due_work() == 0
        settings.WORK_AT_ONCE = 2
        assert rounds.do_due_work() == 1
        assert look(waiting).state == WorkState.DONE
        assert look(running).state == WorkState.RUNNING

    def test_a_round_ends_between_two_questions(
        self, kind: Counted, athlete: Athlete, monkeypatch: pytest.MonkeyPatch
    ):
        monkeypatch.setattr(rounds, "LONGEST_ROUND_S", 0.02)
        kind.during = lambda _step: time.sleep(0.03)
        ask(athlete, m=1)
        ask(athlete, m=2)

        assert [rounds.do_due_work(), rounds.do_due_work(), rounds.do_due_work()] == [1, 1, 0]

    def test_a_kind_of_a_newer_release_is_left_to_it(self, kind: Counted, athlete: Athlete):
        work = factories.make_work(athlete, kind="of_next_year")

        assert rounds.do_due_work() == 0
        assert look(work).state == WorkState.WAITING


class TestProgress:
    def test_is_told_while_it_goes_on(self, kind: Counted, athlete: Athlete):
        work, seen = ask(athlete, m=1), []

        def during(step: Step) -> None:
            for done in (1, 2):
                step(done, 4)
                now = look(work)
                seen.append((now.state, now.n_done, now.n_parts))

        kind.during = during
        rounds.do_due_work()

        assert seen == [("running", 1, 4), ("running", 2, 4)]
        done = look(work)
        assert (done.n_done, done.n_parts, done.taken_up) == (4, 4, 1)
        assert done.started_at is not None
        assert done.finished_at is not None

    def test_is_written_a_few_times_a_second_at_most(
        self,
        kind: Counted,
        athlete: Athlete,
        monkeypatch: pytest.MonkeyPatch,
        django_assert_max_num_queries: Any,
    ):
        monkeypatch.setattr(rounds, "REPORT_EVERY_S", 60.0)

        def during(step: Step) -> None:
            with django_assert_max_num_queries(0):
                for done in range(100):
                    step(done, 100)

        kind.during = during
        work = ask(athlete, m=1)
        rounds.do_due_work()

        assert look(work).state == WorkState.DONE


class TestCalledOff:
    def test_who_works_on_it_stops(self, kind: Counted, athlete: Athlete):
        work, went_on = ask(athlete, m=1), []

        def during(step: Step) -> None:
            call_off(work)
            step(1, 2)
            went_on.append(True)

        kind.during = during
        rounds.do_due_work()

        assert went_on == []
        with club_scope(athlete.club):
            assert not AskedWork.objects.exists()

    def test_an_answer_that_comes_too_late_is_dropped(self, kind: Counted, athlete: Athlete):
        work = ask(athlete, m=1)
        kind.during = lambda _step: call_off(work)

        rounds.do_due_work()

        with club_scope(athlete.club):
            assert not AskedWork.objects.exists()


class TestLostWorkers:
    def test_a_question_whose_worker_is_not_heard_of_is_taken_up_again(
        self, kind: Counted, athlete: Athlete
    ):
        work = ask(athlete, m=1)
        change(work, state=WorkState.RUNNING, taken_up=1, heard_at=long_ago())

        assert rounds.do_due_work() == 1

        assert (look(work).state, look(work).taken_up) == (WorkState.DONE, 2)

    def test_the_first_worker_gives_way_when_it_comes_back(self, kind: Counted, athlete: Athlete):
        """It was stopped longer than the lease, and another one has answered meanwhile."""
        work = ask(athlete, m=1)
        nested: list[bool] = []

        def during(step: Step) -> None:
            if nested:
                return
            nested.append(True)
            change(work, heard_at=long_ago())
            rounds.do_due_work()
            change(work, answer={"by": "the other one"})
            step(1, 2)

        kind.during = during
        rounds.do_due_work()

        assert look(work).answer == {"by": "the other one"}
        assert look(work).taken_up == 2

    def test_what_ends_worker_after_worker_is_given_up(self, kind: Counted, athlete: Athlete):
        work = ask(athlete, m=1)
        change(work, state=WorkState.RUNNING, taken_up=rounds.MOST_TAKEN_UP, heard_at=long_ago())

        assert rounds.do_due_work() == 0

        assert (look(work).state, look(work).failure) == (WorkState.FAILED, WorkFailure.LOST)

    def test_a_lost_worker_takes_nobodys_room(self, kind: Counted, athlete: Athlete):
        lost, waiting = ask(athlete, m=1), ask(athlete, m=2)
        change(
            lost,
            state=WorkState.RUNNING,
            taken_up=rounds.MOST_TAKEN_UP,
            heard_at=long_ago(),
        )

        rounds.do_due_work()

        assert look(waiting).state == WorkState.DONE


class TestFailures:
    def test_one_that_raises_stops_no_other_and_tells_the_class_only(
        self, kind: Counted, athlete: Athlete
    ):
        bad, good = ask(athlete, m=1), ask(athlete, m=2)

        def during(_step: Step) -> None:
            if kind.asked[-1] == {"m": 1}:
                raise ValueError("Benno is 14")

        kind.during = during
        assert rounds.do_due_work() == 2

        failed = look(bad)
        assert (failed.state, failed.failure) == (WorkState.FAILED, WorkFailure.BROKEN)
        assert failed.last_error == "ValueError"
        assert look(good).state == WorkState.DONE

    def test_one_that_takes_too_long_is_stopped(
        self, kind: Counted, athlete: Athlete, monkeypatch: pytest.MonkeyPatch
    ):
        monkeypatch.setattr(rounds, "LONGEST_WORK_S", 0.0)
        kind.during = lambda step: step(1, 2)
        work = ask(athlete, m=1)

        rounds.do_due_work()

        assert look(work).failure == WorkFailure.TOOK_TOO_LONG

    def test_the_time_limit_of_the_task_is_one_of_the_question(
        self, kind: Counted, athlete: Athlete
    ):
        def during(_step: Step) -> None:
            raise SoftTimeLimitExceeded

        kind.during = during
        work = ask(athlete, m=1)

        rounds.do_due_work()

        assert look(work).failure == WorkFailure.TOOK_TOO_LONG

    def test_an_admin_has_it_tried_again(self, kind: Counted, athlete: Athlete):
        kind.during = lambda _step: 1 / 0
        bad, good = ask(athlete, m=1), ask(athlete, m=2)
        rounds.do_due_work()
        change(good, state=WorkState.DONE, answer={}, failure="")
        kind.during = lambda _step: None

        n = working.try_again(
            club=athlete.club,
            work_ids=[bad.id, good.id],
            caller=factories.make_caller(athlete.club),
        )
        rounds.do_due_work()

        assert n == 1
        assert look(bad).state == WorkState.DONE


class TestChangedAttempts:
    def test_an_answer_about_newer_attempts_is_nobodys_answer_later(
        self, kind: Counted, athlete: Athlete
    ):
        """An attempt comes before the worker does, and is voided after it: all is as before."""
        work = ask(athlete, m=1)
        kind.rows = 2
        rounds.do_due_work()
        kind.rows = 1

        again = ask(athlete, m=1)

        assert look(work).answer == {"rows": 2, "m": 1}
        assert again.id != work.id


def test_every_kind_has_its_answer() -> None:
    assert set(heavy.KINDS) == set(WorkKind.values)
    assert all(isinstance(each, Heavy) for each in heavy.KINDS.values())
