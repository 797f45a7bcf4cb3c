"""The page of advice: read with what came after, filtered, and decided for a coach."""

from datetime import UTC, datetime, timedelta
from typing import Any

import pytest
from django.test import Client
from django.urls import reverse

from analytics.models import Advice, SeriesState
from analytics.selectors import Series
from analytics.services import standing_advice
from approaches.models import Approach, FinishClass
from approaches.services import pushing
from clubs.models import AuditEntry, Club, Membership
from clubs.selectors import today_at
from common.club_scope import club_scope
from tests import factories
from tests.admin.scenes import errors_of, furnish_club, save

pytestmark = pytest.mark.django_db(transaction=True)

PAGE = "analytics_advice"
SHORT = [0.10, 0.14, 0.11, 0.13, 0.12, 0.12, 0.09, 0.15]


def land_short(club: Club) -> SeriesState:
    """Give the club an athlete who lands about 12 cm short, and what stands about it."""
    athlete = factories.make_athlete(club)
    approach = factories.make_approach(athlete)
    factories.make_plan(approach)
    session, source = factories.make_session(club), factories.make_source(club)
    begin = datetime(2026, 5, 2, 9, tzinfo=UTC)
    rows = [
        factories.make_reading(
            athlete,
            session,
            started_at=(begin + timedelta(minutes=6 * place)).isoformat(),
            wind_mps=None,
            official_m=None,
            gates=None,
            outcome="not_judged",
            footfalls={"toe_m": [round(0.06 + error_m, 3)]},
        )
        for place, error_m in enumerate(SHORT)
    ]
    outcome = pushing.record_attempts(club=club, source_id=source.id, rows=factories.rows_of(*rows))
    assert outcome.complete, outcome.rows
    with club_scope(club):
        series = Series(approach.id, FinishClass.JUMP)
        figures = standing_advice.work_out(series, today=today_at(club))
        assert figures["advice"]["mark"]["answer"] == "move"
        return SeriesState.objects.create(
            club=club,
            approach=Approach.objects.get(id=approach.id),
            finish_class=FinishClass.JUMP,
            method=1,
            n_attempts=len(SHORT),
            figures=figures,
        )


def decide(browser: Client, club: Club, state: SeriesState, **typed: Any) -> Any:
    return save(
        browser,
        club,
        PAGE,
        {"waiting": str(state.id), "decision": "followed", "reason": "", **typed},
    )


class TestThePage:
    def test_shows_what_was_advised_and_what_came_after(self, browser: Client, club: Club):
        advice = furnish_club(club)[Advice]

        shown = browser.get(reverse(f"admin:{PAGE}_change", args=[advice.pk])).content.decode()

        assert "Move the start mark by 12 cm toward the pit." in shown
        assert "The runway was wet." in shown
        assert "Not enough attempts since then: 0 of 5 measured at the board." in shown
        assert 'name="reason"' not in shown

    def test_lists_one_athletes_alone(self, browser: Client, club: Club):
        athletes = _two_athletes(club)
        mine, other = (
            factories.make_advice(
                factories.make_attempt(
                    factories.make_source(club), athlete, factories.make_session(club)
                )
            )
            for athlete in athletes
        )

        page = reverse(f"admin:{PAGE}_changelist")
        filtered = browser.get(
            f"{page}?approach__athlete__id__exact={athletes[0].id}"
        ).content.decode()

        assert reverse(f"admin:{PAGE}_change", args=[mine.pk]) in filtered
        assert reverse(f"admin:{PAGE}_change", args=[other.pk]) not in filtered


def _two_athletes(club: Club) -> list[Any]:
    made = [factories.make_athlete(club) for _ in range(2)]
    for athlete in made:
        factories.make_plan(factories.make_approach(athlete))
    return made


class TestDeciding:
    def test_is_done_by_the_service(
        self, browser: Client, club: Club, admin_membership: Membership
    ):
        state = land_short(club)

        form = browser.get(reverse(f"admin:{PAGE}_add")).content.decode()
        answer = decide(
            browser, club, state, decision="declined", reason="The coach waits for a dry day."
        )

        assert "move the start mark by" in form
        assert answer.status_code == 302
        with club_scope(club):
            (advice,) = Advice.objects.all()
            (entry,) = AuditEntry.objects.filter(action="advice_decided")
        assert (advice.kind, advice.answer, advice.decision) == ("mark", "move", "declined")
        assert advice.reason == "The coach waits for a dry day."
        assert advice.decided_by_id == admin_membership.id
        assert entry.subject_ids == [advice.id]

    def test_to_decline_needs_a_reason(self, browser: Client, club: Club):
        refused = decide(browser, club, land_short(club), decision="declined")

        assert errors_of(refused) == {"reason": ["Say why the advice is declined."]}

    def test_is_offered_once(self, browser: Client, club: Club):
        state = land_short(club)
        decide(browser, club, state)

        form = browser.get(reverse(f"admin:{PAGE}_add")).content.decode()

        assert str(state.id) not in form

    def test_is_refused_when_the_advice_has_changed(self, browser: Client, club: Club):
        state = land_short(club)
        with club_scope(club):
            state.figures["advice"]["mark"]["start_mark_m"] = 30.0
            state.save()

        refused = decide(browser, club, state)

        assert "Read it, and decide again." in refused.content.decode()
        with club_scope(club):
            assert not Advice.objects.exists()
