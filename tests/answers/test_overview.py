"""Who needs the coach today: each reason with its number, what can hurt somebody first."""

from datetime import date
from typing import Any

import pytest

from analytics.answers import overview, overview_words
from analytics.answers.overview import Need, Urgency
from analytics.answers.overview_words import Row
from analytics.core import cautions
from analytics.core.alert_settings import Kind
from analytics.core.diagnosis import Trouble
from analytics.selectors import AthleteFacts
from tests.answers.pages import depth_0_of
from tests.answers.run_ups import uuid_of
from tests.answers.squads import (
    EVIDENCE,
    PLAN,
    THROUGH,
    TODAY,
    days_ago,
    make_advice,
    make_alert,
    make_athlete,
    make_focus,
    make_mark,
    make_run_up,
    make_squad,
    ordinal,
)


def tell(*athletes: AthleteFacts) -> overview_words.Overview:
    return overview_words.tell_all(overview.look_over(make_squad(*athletes), today=TODAY))


def row_of(**fields: Any) -> Row:
    (row,) = tell(make_athlete(**fields)).results
    return row


def needs_of(**fields: Any) -> list[str]:
    return [each.code for each in row_of(**fields).reasons]


def with_run_up(**fields: Any) -> dict[str, Any]:
    return {"run_ups": (make_run_up(**fields),)}


# One athlete with each need; what it is, and a number of the sentence.
CASES: dict[Need, tuple[dict[str, Any], str]] = {
    Need.LOAD: (with_run_up(session_ids=(uuid_of(4, 1),), session_jumps=(9,)), "9 full jumps"),
    Need.GROWTH: (
        {"heights": ((ordinal(130), 1.67), (ordinal(30), 1.70))},
        "3.0 cm since the marks",
    ),
    Need.NO_JUMPS: ({"alerts": (make_alert("no_jump_share"),)}, "11 of the last 20"),
    Need.LEVEL: ({"alerts": (make_alert("level"),)}, "14 cm short"),
    Need.SPREAD: (
        {"alerts": (make_alert("spread"),)},
        "16 cm at the board within a session; usual were 8 cm",
    ),
    Need.MARK: (
        with_run_up(advice=make_advice(mark=make_mark())),
        "12 cm toward the pit, to 34.08",
    ),
    Need.CONSENT: ({"has_consent": False}, "club's admin"),
    Need.FOCUS: (with_run_up(advice=make_advice(focus=make_focus())), "about 14 cm"),
    Need.NO_PLAN: (with_run_up(plan_id=None, plan_date=None), "20 attempts"),
    Need.HEIGHT: ({"heights": ((ordinal(121), 1.70),)}, "121 days ago"),
    Need.QUIET: (with_run_up(last_started_at=days_ago(14)), "14 days"),
    Need.PROGRESS: (
        {"alerts": (make_alert("progress"),)},
        "8 cm at the board over the last 20 attempts, by 14 cm over the 20",
    ),
}


class TestARunUpThatWasLeft:
    @pytest.mark.parametrize(("days", "reasons"), [(60, ["mark_move", "practice_focus"]), (61, [])])
    def test_needs_nobody_for_its_mark_and_practice(self, days: int, reasons: list[str]):
        """It is the athlete's other run-up that goes on; alone it would be a rest."""
        advice = make_advice(mark=make_mark(), focus=make_focus())
        left = make_run_up(advice=advice, last_started_at=days_ago(2 + days))
        goes_on = make_run_up(id=uuid_of(2, 2), last_started_at=days_ago(2))

        assert needs_of(run_ups=(left, goes_on)) == reasons

    def test_is_not_one_that_nobody_followed_with_another(self):
        alone = make_run_up(advice=make_advice(mark=make_mark()), last_started_at=days_ago(300))

        assert needs_of(run_ups=(alone,)) == ["mark_move"]


class TestEveryNeed:
    def test_has_a_case(self):
        assert set(CASES) == set(Need)

    @pytest.mark.parametrize("need", Need)
    def test_is_found_alone_and_said_with_its_number(self, need: Need):
        fields, said = CASES[need]

        row = row_of(**fields)

        assert [each.code for each in row.reasons] == [need.value]
        assert said in row.text
        assert row.reasons[0].numbers
        assert row.urgency is overview.urgency_of(need)

    @pytest.mark.parametrize("need", Need)
    def test_carries_the_caution_where_it_can_hurt(self, need: Need):
        row = row_of(**CASES[need][0])

        harmless = {Need.CONSENT, Need.NO_PLAN, Need.QUIET}
        assert row.caution == (None if need in harmless else cautions.COACH_DECIDES)

    @pytest.mark.parametrize("need", Need)
    def test_can_be_translated_whole(self, need: Need, monkeypatch: pytest.MonkeyPatch):
        active = "django.utils.translation._trans"
        monkeypatch.setattr(f"{active}.gettext", lambda message: f"[{message}]")
        monkeypatch.setattr(
            f"{active}.ngettext", lambda one, many, n: f"[{one if n == 1 else many}]"
        )

        said = tell(make_athlete(**CASES[need][0]))

        texts = [said.text, *(each.text for row in said.results for each in row.reasons)]
        assert [text for text in texts if depth_0_of(text).strip()] == []


class TestNobody:
    def test_is_needed_where_nothing_is_wrong(self):
        said = tell(make_athlete(1), make_athlete(2))

        assert said.text == "Nobody needs you today."
        assert (said.n_today, said.n_soon) == (0, 0)
        assert [row.text for row in said.results] == ["Nothing to see to."] * 2
        assert [row.urgency for row in said.results] == [None, None]

    def test_is_there_to_look_over(self):
        assert tell().text == "There is nobody to look over."

    def test_has_jumped_yet(self):
        assert row_of(run_ups=()).text == "Nothing to see to: no attempts yet."


class TestOrder:
    def test_is_by_urgency_then_by_code(self):
        calm = make_athlete(1)
        loud = make_athlete(2, **CASES[Need.LEVEL][0])
        late = make_athlete(3, **CASES[Need.LOAD][0])
        quiet = make_athlete(4, **CASES[Need.QUIET][0])

        said = tell(calm, loud, late, quiet)

        assert [row.athlete_code for row in said.results] == ["A-03", "A-02", "A-04", "A-01"]
        assert said.text == (
            "2 of 4 athletes need you today. There is something to see to soon for 1 athlete."
        )

    def test_puts_what_can_hurt_before_what_spoils_a_jump(self):
        codes = needs_of(
            has_consent=False,
            heights=((ordinal(130), 1.67), (ordinal(30), 1.70)),
            alerts=(make_alert("progress"), make_alert("level")),
            run_ups=(
                make_run_up(
                    advice=make_advice(mark=make_mark(), focus=make_focus()),
                    session_ids=(uuid_of(4, 1),),
                    session_jumps=(12,),
                ),
            ),
        )

        assert codes == [
            "load",
            "growth",
            "alert_level",
            "mark_move",
            "consent_missing",
            "practice_focus",
            "alert_progress",
        ]

    def test_good_news_alone_is_nothing_for_today(self):
        said = tell(make_athlete(**CASES[Need.PROGRESS][0]))

        assert said.text == "Nobody needs you today."
        assert said.results[0].urgency is Urgency.GOOD_NEWS


class TestLoad:
    def test_of_exactly_the_limit_is_none(self):
        assert needs_of(**with_run_up(session_ids=(uuid_of(4, 1),), session_jumps=(8,))) == []

    def test_counts_a_session_over_run_ups_that_are_nearly_as_long(self):
        jumps = {"session_ids": (uuid_of(4, 1),), "session_jumps": (5,)}
        longer = make_run_up(id=uuid_of(2, 2), code="LJ-18", steps=18, **jumps)

        near = row_of(run_ups=(make_run_up(**jumps), longer))
        far = row_of(run_ups=(make_run_up(steps=8, **jumps), longer))

        assert [each.code for each in near.reasons] == ["load"]
        assert near.reasons[0].numbers["session_jumps"] == 10
        assert far.reasons == ()

    def test_does_not_add_sessions_up_to_one(self):
        fields = with_run_up(session_ids=(uuid_of(4, 1), uuid_of(4, 2)), session_jumps=(6, 6))

        assert needs_of(**fields) == []


class TestGrowth:
    def test_is_fast_without_a_plan(self):
        row = row_of(
            heights=((ordinal(130), 1.67), (ordinal(30), 1.70)),
            **with_run_up(plan_id=None, plan_date=None, n=0, advice=None),
        )

        assert [each.code for each in row.reasons] == ["growth"]
        # 3 cm in 100 days.
        assert row.reasons[0].numbers["growth_m_per_year"] == pytest.approx(0.03 * 365.25 / 100)
        assert "11 cm a year" in row.text

    def test_is_not_asked_of_the_grown(self):
        assert needs_of(birth_date=date(2000, 1, 1), heights=()) == []
        assert needs_of(heights=()) == ["height_old"]

    def test_was_measured_just_in_time(self):
        assert needs_of(heights=((ordinal(120), 1.70),)) == []

    def test_counts_from_the_newest_marks(self):
        """What was grown before they were set is in them already."""
        grown = ((ordinal(200), 1.67), (ordinal(100), 1.69), (ordinal(5), 1.69))

        assert needs_of(heights=grown, **with_run_up(plan_date=date(2026, 3, 1))) == []


class TestMark:
    @pytest.mark.parametrize("answer", ["keep", "undecided", "last_steps"])
    def test_that_stays_needs_nobody(self, answer: str):
        fields = with_run_up(advice=make_advice(mark=make_mark(answer=answer)))

        assert needs_of(**fields) == []

    def test_that_was_decided_on_needs_nobody_until_the_next_session(self):
        advice = make_advice(mark=make_mark())
        decided = {"advice": advice, "decided_through": THROUGH, "decided_answer": "move"}

        assert needs_of(**with_run_up(**decided)) == []
        assert needs_of(**with_run_up(**decided | {"decided_through": uuid_of(3, 1)})) == [
            "mark_move"
        ]

    def test_of_an_earlier_plan_says_nothing_of_this_one(self):
        advice = make_advice(mark=make_mark())

        assert needs_of(**with_run_up(advice=advice, plan_id=uuid_of(1, 2))) == []
        assert needs_of(**with_run_up(advice=advice, plan_id=PLAN)) == ["mark_move"]

    def test_is_not_said_twice(self):
        focus = make_focus(trouble="wrong_mark", estimate=0.2, part=None)

        both = with_run_up(advice=make_advice(mark=make_mark(), focus=focus))
        alone = with_run_up(advice=make_advice(focus=focus))

        assert needs_of(**both) == ["mark_move"]
        assert needs_of(**alone) == ["practice_focus"]

    def test_moves_to_the_side_that_is_said(self):
        back = with_run_up(advice=make_advice(mark=make_mark(move_m=0.12, start_mark_m=34.32)))

        assert "move the start mark back by 12 cm, to 34.32 m" in row_of(**back).text


class TestFocus:
    @pytest.mark.parametrize("trouble", Trouble)
    @pytest.mark.parametrize("estimate", [0.14, -0.14])
    def test_of_each_kind_has_a_sentence(self, trouble: Trouble, estimate: float):
        focus = make_focus(trouble=trouble.value, estimate=estimate)

        text = row_of(**with_run_up(advice=make_advice(focus=focus))).text

        assert text.startswith("LJ-16: ")
        assert text.endswith("14 cm.")


class TestQuiet:
    @pytest.mark.parametrize(("days", "said"), [(13, False), (14, True), (60, True), (61, False)])
    def test_is_said_after_two_weeks_and_no_more_after_two_months(self, days: int, said: bool):
        assert needs_of(**with_run_up(last_started_at=days_ago(days))) == ["no_attempts"] * said

    def test_looks_at_every_run_up(self):
        run_ups = (
            make_run_up(last_started_at=days_ago(30)),
            make_run_up(id=uuid_of(2, 2), last_started_at=days_ago(1)),
        )

        assert needs_of(run_ups=run_ups) == []


class TestFreshness:
    def test_is_that_of_the_oldest_figures(self):
        run_ups = (
            make_run_up(as_of=days_ago(1), n=3),
            make_run_up(id=uuid_of(2, 2), as_of=days_ago(4), n=5, is_stale=True),
            make_run_up(id=uuid_of(2, 3), as_of=None, n=0),
        )

        row = row_of(run_ups=run_ups)

        assert (row.n, row.as_of, row.stale) == (8, days_ago(4), True)


def test_every_kind_of_alert_is_known():
    assert set(EVIDENCE) == {kind.value for kind in Kind}
    for kind in Kind:
        assert needs_of(alerts=(make_alert(kind.value),)) == [f"alert_{kind.value}"]
