"""What stands on the competition page, and for whom."""

from typing import Any

import pytest

from clubs.models import Role
from tests.admin.scenes import log_in
from tests.factories import make_attempt, make_club, make_member, make_session, make_source
from tests.pages.conftest import Team


def text_of(answer: Any) -> str:
    assert answer.status_code == 200
    return " ".join(answer.content.decode().split())


class TestRights:
    def test_shows_a_coach_own_athletes_alone(self, team: Team):
        source = make_source(team.club)
        make_attempt(source, team.athlete, team.session)
        make_attempt(source, team.stranger, team.session)

        page = text_of(team.browser().get(team.board))

        assert "Mira Ostwiek" in page
        assert "Torbach" not in page

    def test_shows_an_admin_all(self, team: Team):
        admin = make_member(team.club, Role.ADMIN)

        assert "Torbach" in text_of(log_in(admin).get(team.board))

    def test_a_strangers_run_up_does_not_exist(self, team: Team):
        answers = [
            team.browser().get(f"{team.board}?approach={each}")
            for each in (team.strange_approach.id, team.session.id, "none")
        ]

        assert [answer.status_code for answer in answers] == [404, 404, 404]
        assert len({answer.content for answer in answers}) == 1

    def test_another_clubs_session_does_not_exist(self, team: Team):
        theirs = make_session(make_club())

        answer = team.browser().get(team.board.replace(str(team.session.id), str(theirs.id)))

        assert answer.status_code == 404

    def test_is_not_for_an_athlete(self, team: Team):
        answer = log_in(make_member(team.club, Role.ATHLETE)).get(team.board)

        assert answer.status_code == 403
        assert "Mira" not in answer.content.decode()


class TestBoard:
    def test_offers_who_is_not_on_it_and_shows_who_was_chosen(self, team: Team):
        before = text_of(team.browser().get(team.board))
        after = text_of(team.browser().get(f"{team.board}?approach={team.approach.id}"))

        assert f'<option value="{team.approach.id}"' in before
        assert f'data-approach="{team.approach.id}"' not in before
        assert f'data-approach="{team.approach.id}"' in after
        assert "Taken 0, left 3 before the cut." in after
        assert "34.20 m" in after  # the plan's mark

    def test_counts_attempts_and_knows_the_best(self, team: Team):
        source = make_source(team.club)
        done: list[dict[str, Any]] = [
            {"official_m": "6.21"},
            {"official_m": None, "outcome": "no_jump"},
            {"official_m": "6.30"},
            {"official_m": None, "outcome": "baulk"},
        ]
        for minute, fields in enumerate(done):
            started_at = f"2026-05-02T09:{minute:02}:00+02:00"
            make_attempt(source, team.athlete, team.session, started_at=started_at, **fields)

        page = text_of(team.browser().get(team.board))

        assert "Taken 3, left 3. Best 6.30 m." in page
        assert [page.count(f"<b>{number}</b>") for number in (1, 2, 3, 4)] == [1, 1, 1, 0]
        assert "7 cm behind the line" in page
        assert "+0.8 m/s" in page

    def test_the_expected_cut_counts_on_all_attempts(self, team: Team):
        address = f"{team.board}?approach={team.approach.id}&attempts=6"

        assert "left 6" in text_of(team.browser().get(f"{address}&cut_m=6,10"))
        assert "left 3 before the cut" in text_of(team.browser().get(f"{address}&cut_m=far"))

    @pytest.mark.parametrize("attempts", ["0", "7", "-1", "many", "²"])
    def test_a_number_of_attempts_that_cannot_be_is_not_taken(self, team: Team, attempts: str):
        page = text_of(
            team.browser().get(
                team.board,
                {"approach": str(team.approach.id), "attempts": attempts, "cut_m": "6"},
            )
        )

        assert "left 6" in page

    def test_a_training_counts_no_attempts(self, team: Team):
        training = make_session(team.club)
        make_attempt(make_source(team.club), team.athlete, training)

        page = text_of(
            team.browser().get(team.board.replace(str(team.session.id), str(training.id)))
        )

        assert "Taken" not in page
        assert "Mira Ostwiek" in page

    def test_carries_the_caution(self, team: Team):
        assert "The coach on the spot decides." in text_of(team.browser().get(team.board))


class TestAskingAgain:
    def test_costs_nothing_while_nothing_changed(self, team: Team):
        browser = team.browser()
        first = browser.get(team.board)

        again = browser.get(team.board, headers={"If-None-Match": first["ETag"]})
        make_attempt(make_source(team.club), team.athlete, team.session)
        changed = browser.get(team.board, headers={"If-None-Match": first["ETag"]})

        assert (again.status_code, again.content) == (304, b"")
        assert changed.status_code == 200

    def test_is_kept_by_nobody_and_framed_by_nobody(self, team: Team):
        answer = team.browser().get(team.board)

        assert "no-store" in answer["Cache-Control"]
        assert "script-src 'self'" in answer["Content-Security-Policy"]
        assert answer["X-Frame-Options"] == "DENY"
        assert "csrftoken" in answer.cookies


class TestAgreement:
    def test_the_mark_is_the_one_that_next_attempt_answers(self, team: Team):
        source = make_source(team.club)
        for minute, official in enumerate(("6.21", "6.30", "6.10")):
            started_at = f"2026-05-02T09:{minute:02}:00+02:00"
            footfalls = {"toe_m": [0.20 + 0.01 * minute, 2.21, 4.58]}
            make_attempt(
                source,
                team.athlete,
                team.session,
                started_at=started_at,
                official_m=official,
                footfalls=footfalls,
                gates=None,
            )
        browser = team.browser()

        page = text_of(browser.get(team.board))
        answer = browser.get(
            f"/api/v1/clubs/{team.club.slug}/sessions/{team.session.id}/next-attempt"
        ).json()

        (result,) = answer["results"]
        assert f'data-mark="{result["start_mark_m"]:.2f}"' in page
        assert result["text"] in page
