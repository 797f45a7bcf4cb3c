"""What came after an advice, and how often advice was right, over HTTP."""

from datetime import timedelta

import pytest
from django.utils import timezone

from approaches.models import Attempt
from common.club_scope import club_scope
from tests.api.conftest import World
from tests.api.jumpers import DECLINED, SHORT, STEADY, Jumper


@pytest.fixture
def jumper(world: World) -> Jumper:
    jumper = Jumper(world)
    jumper.jump(SHORT)
    return jumper


class TestLookingBack:
    def test_waits_for_enough_attempts(self, jumper: Jumper):
        jumper.decide(publish=True, if_match='"1"')
        jumper.jump_later(STEADY[:3], start_mark_m=None)

        found = jumper.latest()["afterwards"]

        assert (found["verdict"], found["mark"]) == ("not_enough", "as_advised")
        assert found["after"] == {
            "not_enough_attempts": "not enough attempts (3 of 6)",
            "n": 3,
            "needed": 6,
        }
        assert found["text"] == "Not enough attempts since then: 3 of 6 measured at the board."

    def test_says_that_a_move_was_right(self, jumper: Jumper):
        made = jumper.decide(publish=True, if_match='"1"').json()
        jumper.jump_later(STEADY, start_mark_m=None)

        found = jumper.latest()["afterwards"]

        assert (found["verdict"], found["mark"]) == ("right", "as_advised")
        assert found["moved_m"] == pytest.approx(made["figures"]["start_mark_m"] - 34.20)
        assert (found["before"]["n"], found["after"]["n"]) == (10, 10)
        # By hand: the means of SHORT and of STEADY.
        assert found["before"]["bias_m"] == pytest.approx(0.12)
        assert found["bias_change_m"] == pytest.approx(-0.11)
        assert found["text"] == (
            "The start mark was moved. Before, from 10 attempts, the foot landed 12 cm short at the"
            " board on the mean; since then, from 10 attempts, 1 cm short."
            " It went the advised way: the advice was right."
        )

    def test_says_that_a_declined_move_was_right_all_the_same(self, jumper: Jumper):
        jumper.decide(**DECLINED)
        jumper.jump_later(SHORT, start_mark_m=34.20)

        found = jumper.latest()["afterwards"]

        assert (found["verdict"], found["mark"], found["moved_m"]) == ("right", "left", 0.0)

    def test_says_that_a_coach_did_well_to_decline(self, jumper: Jumper):
        jumper.decide(**DECLINED)
        jumper.jump_later(STEADY, start_mark_m=34.20)

        found = jumper.latest()["afterwards"]

        assert (found["verdict"], found["mark"]) == ("wrong", "left")

    def test_blames_no_advice_that_was_not_tried(self, jumper: Jumper):
        jumper.decide()
        jumper.jump_later(SHORT, start_mark_m=34.50)

        found = jumper.latest()["afterwards"]

        assert (found["verdict"], found["mark"]) == ("not_tried", "otherwise")

    def test_counts_from_one_mark_to_the_next(self, jumper: Jumper):
        jumper.decide(publish=True, if_match='"1"')
        mark = jumper.read("plans/current/")["start_mark_m"]
        jumper.jump_later(STEADY[:6], start_mark_m=mark)
        jumper.jump(SHORT, start_mark_m=mark + 0.3, begin=timezone.now() + timedelta(hours=3))

        assert jumper.latest()["afterwards"]["after"]["n"] == 6

    def test_follows_an_attempt_that_is_voided(self, world: World, jumper: Jumper):
        jumper.decide(publish=True, if_match='"1"')
        jumper.jump_later(STEADY, start_mark_m=None)
        with club_scope(world.club):
            latest = Attempt.objects.filter(approach=world.approach).latest("started_at")
        voided = jumper.admin.post(
            f"attempts/{latest.id}/void/", {"reason": "Somebody else's."}, If_Match="*"
        )
        assert voided.status_code == 200, voided.content

        assert jumper.latest()["afterwards"]["after"]["n"] == 9

    def test_has_nothing_to_check_of_an_answer_that_claims_nothing(self, world: World):
        jumper = Jumper(world)
        jumper.jump(SHORT[:2])
        made = jumper.decide().json()

        assert (made["answer"], made["afterwards"]) == ("undecided", None)

    def test_is_in_the_readers_language(self, jumper: Jumper):
        made = jumper.decide(**DECLINED)

        read = jumper.admin.client.get(made["Location"])

        assert "Accept-Language" in read["Vary"]


class TestTheSummary:
    def test_says_how_often_advice_was_right(self, jumper: Jumper):
        jumper.decide(publish=True, if_match='"1"')
        jumper.jump_later(STEADY, start_mark_m=None)

        found = jumper.read("advice/summary")

        assert found["n"] == 1
        (tally,) = found["results"]
        assert (tally["kind"], tally["decision"], tally["n"], tally["right"]) == (
            "mark",
            "followed",
            1,
            1,
        )
        assert found["text"] == (
            "1 decision about advice."
            " Of 1 that the attempts since then have shown, 1 was right and 0 wrong."
        )

    def test_counts_one_answer_under_one_plan_once(self, jumper: Jumper):
        jumper.decide(**DECLINED)
        jumper.decide()

        found = jumper.read("advice/summary")

        assert found["n"] == 2
        assert [(each["decision"], each["n"]) for each in found["results"]] == [("followed", 1)]
        assert found["text"].endswith("do not show yet whether it was right.")

    def test_is_there_before_the_first(self, jumper: Jumper):
        found = jumper.read("advice/summary")

        assert (found["n"], found["results"]) == (0, [])
        assert found["text"] == "No advice was decided on yet."
