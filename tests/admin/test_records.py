"""What a club's admin saves: refused in words, kept by services, noted without names."""

from datetime import UTC, datetime, timedelta
from typing import Any
from unittest.mock import patch

import pytest
from django.contrib import admin
from django.contrib.admin.models import LogEntry
from django.db import IntegrityError, models
from django.test import Client
from django.urls import reverse

from approaches.models import Approach, Plan, Session
from athletes.models import Athlete, BodyMeasurement, CoachAssignment, SprintTest, SquadMember
from clubs.models import AuditEntry, Board, Club, Membership, Runway
from common.club_scope import club_scope
from tests.admin.scenes import errors_of, save
from tests.factories import make_approach, make_athlete, make_club, make_member, make_source

pytestmark = pytest.mark.django_db(transaction=True)

ATHLETE = {
    "code": "A-17",
    "given_name": "Benno",
    "family_name": "Bergmann",
    "birth_date": "2009-04-01",
}


class TestAudit:
    def test_notes_a_new_athlete_and_her_measurement_without_names(
        self, browser: Client, club: Club, admin_membership: Membership
    ):
        measured = {
            "measurements-TOTAL_FORMS": "1",
            "measurements-0-measured_date": "2026-05-02",
            "measurements-0-height_m": "1.71",
        }

        answer = save(browser, club, "athletes_athlete", {**ATHLETE, **measured})

        assert answer.status_code == 302
        with club_scope(club):
            athlete = Athlete.objects.get()
            measurement = BodyMeasurement.objects.get()
            noted = {
                entry.action: entry
                for entry in AuditEntry.objects.filter(actor_id=admin_membership.id)
            }
        assert athlete.club_id == club.id
        assert noted["athlete_added"].subject_ids == [athlete.id]
        assert noted["body_measurement_added"].subject_ids == [measurement.id]
        assert all("Bergmann" not in str(vars(entry)) for entry in noted.values())
        assert set(noted) == {"athlete_added", "body_measurement_added"}

    def test_notes_which_fields_were_changed(
        self, browser: Client, club: Club, admin_membership: Membership
    ):
        athlete = make_athlete(club, **ATHLETE)

        save(
            browser,
            club,
            "athletes_athlete",
            {**ATHLETE, "family_name": "Neumann"},
            row=athlete,
        )
        save(browser, club, "athletes_athlete", {**ATHLETE, "family_name": "Neumann"}, row=athlete)

        with club_scope(club):
            athlete.refresh_from_db()
            (entry,) = AuditEntry.objects.filter(action="athlete_changed")
        assert athlete.family_name == "Neumann"
        assert entry.field_names == ["family_name"]
        assert entry.actor_id == admin_membership.id
        assert "Neumann" not in str(vars(entry))
        history = browser.get(reverse("admin:athletes_athlete_history", args=[athlete.pk]))
        assert "athlete changed" in history.content.decode()
        assert admin_membership.user.email in history.content.decode()

    def test_leaves_djangos_own_log_empty(self, browser: Client, club: Club):
        coach = make_member(club)
        save(browser, club, "athletes_athlete", ATHLETE)
        with club_scope(club):
            athlete = Athlete.objects.get()
        save(browser, club, "athletes_athlete", {**ATHLETE, "given_name": "Bo"}, row=athlete)
        save(
            browser,
            club,
            "athletes_coachassignment",
            {"coach": coach.id, "athlete": athlete.id, "from_date": "2026-05-02"},
        )
        with club_scope(club):
            assignment = CoachAssignment.objects.get()
        browser.post(
            reverse("admin:athletes_coachassignment_delete", args=[assignment.pk]), {"post": "yes"}
        )

        with club_scope(club):
            assert not CoachAssignment.objects.exists()
            assert AuditEntry.objects.filter(action="coach_assignment_deleted").count() == 1
        assert not LogEntry.objects.exists()


class TestRefusals:
    def test_says_at_the_field_that_a_code_is_taken(self, browser: Client, club: Club):
        make_athlete(club, code="A-17")

        answer = save(browser, club, "athletes_athlete", ATHLETE)

        assert errors_of(answer) == {"code": ["Another athlete of the club has this already."]}

    def test_lets_two_clubs_use_the_same_code(self, browser: Client, club: Club):
        make_athlete(make_club(), code="A-17")

        assert save(browser, club, "athletes_athlete", ATHLETE).status_code == 302

    def test_explains_a_check_of_the_database(self, browser: Client, club: Club):
        answer = save(
            browser,
            club,
            "clubs_runway",
            {"name": "North", "surface": "x", "altitude_m": "0", "direction_deg": "400"},
        )

        assert errors_of(answer) == {"direction_deg": ["A compass direction: 0 to under 360."]}

    def test_has_a_sentence_for_every_check_that_a_form_can_break(self):
        """Walk over the pages, so that a check added tomorrow needs its sentence."""
        pages: list[Any] = list(admin.site._registry.values())
        inlines = [inline for page in pages for inline in page.inlines]
        editable = [
            (each.model, each.form)
            for each in (*pages, *inlines)
            if each.may_add or each.may_change
        ]
        assert len(editable) >= 14
        for model, form in editable:
            for constraint in model._meta.constraints:
                # A choice field offers the known values only; a source's kind is not edited.
                if not isinstance(constraint, models.CheckConstraint) or constraint.name.endswith(
                    ("_known", "_has_membership", "_source_or_person")
                ):
                    continue
                assert constraint.name in form.sentences, constraint.name

    def test_shows_the_filled_in_form_when_another_was_faster(self, browser: Client, club: Club):
        make_athlete(club, code="A-17")
        with patch("clubs.admin.rows.ClubForm._refuse_duplicates"):
            answer = save(browser, club, "athletes_athlete", ATHLETE)

        assert errors_of(answer) == {"code": ["There is an athlete A-17 already."]}
        assert 'value="Bergmann"' in answer.content.decode()

    def test_answers_in_words_when_the_database_refuses(self, browser: Client, club: Club):
        with patch("clubs.models.Squad.save", side_effect=IntegrityError):
            answer = save(browser, club, "clubs_squad", {"name": "Juniors"})

        assert errors_of(answer) == {"__all__": ["Other rows of the club do not allow this."]}

    def test_an_ending_takes_effect_at_once(self, browser: Client, club: Club):
        source = make_source(club, name="Gate")
        tomorrow = datetime.now(UTC) + timedelta(days=1)

        answer = save(
            browser,
            club,
            "clubs_source",
            {
                "name": "Gate",
                "closed_at_0": f"{tomorrow:%Y-%m-%d}",
                "closed_at_1": "12:00",
            },
            row=source,
        )

        assert list(errors_of(answer)) == ["closed_at"]


class TestPages:
    def test_a_runway_is_saved_with_its_boards(self, browser: Client, club: Club):
        answer = save(
            browser,
            club,
            "clubs_runway",
            {
                "name": "North",
                "surface": "polyurethane",
                "altitude_m": "210",
                "boards-TOTAL_FORMS": "2",
                "boards-0-event": "long_jump",
                "boards-0-to_pit_m": "2",
                "boards-1-event": "triple_jump",
                "boards-1-to_pit_m": "11",
            },
        )

        assert answer.status_code == 302
        with club_scope(club):
            runway = Runway.objects.get()
            assert {board.to_pit_m for board in runway.boards.all()} == {2.0, 11.0}
            assert Board.objects.filter(club=club).count() == 2

    def test_a_runway_with_the_same_board_twice_is_refused(self, browser: Client, club: Club):
        board = {"event": "long_jump", "to_pit_m": "2"}

        answer = save(
            browser,
            club,
            "clubs_runway",
            {
                "name": "North",
                "surface": "polyurethane",
                "altitude_m": "0",
                "boards-TOTAL_FORMS": "2",
                **{f"boards-{n}-{name}": value for n in (0, 1) for name, value in board.items()},
            },
        )

        assert errors_of(answer) == {"__all__": ["Other rows of the club do not allow this."]}
        with club_scope(club):
            assert not Runway.objects.exists()

    def test_a_squad_takes_athletes(self, browser: Client, club: Club):
        athlete = make_athlete(club)

        answer = save(
            browser,
            club,
            "clubs_squad",
            {
                "name": "Juniors",
                "members-TOTAL_FORMS": "1",
                "members-0-athlete": str(athlete.id),
                "members-0-from_date": "2026-05-01",
            },
        )

        assert answer.status_code == 302
        with club_scope(club):
            assert SquadMember.objects.get().athlete_id == athlete.id

    def test_a_sprint_is_typed_as_a_table(self, browser: Client, club: Club):
        athlete = make_athlete(club)
        fields = {"athlete": str(athlete.id), "tested_date": "2026-05-02", "start": "standing"}

        bad = save(browser, club, "athletes_sprinttest", {**fields, "splits": "10 1.9\n20 1.8"})
        good = save(browser, club, "athletes_sprinttest", {**fields, "splits": "10 1.85\n20 3.0"})

        assert errors_of(bad) == {"splits": ["From row to row, every number grows."]}
        assert good.status_code == 302
        with club_scope(club):
            assert SprintTest.objects.get().splits == [
                {"at_m": 10.0, "time_s": 1.85},
                {"at_m": 20.0, "time_s": 3.0},
            ]

    def test_an_approach_a_plan_and_a_session_are_made_by_their_services(
        self, browser: Client, club: Club, admin_membership: Membership
    ):
        athlete = make_athlete(club)
        save(
            browser,
            club,
            "approaches_approach",
            {
                "athlete": str(athlete.id),
                "code": "LJ-16",
                "event": "long_jump",
                "steps": "16",
                "start_style": "standing",
            },
        )
        with club_scope(club):
            approach = Approach.objects.get()
        plan = {"approach": str(approach.id), "start_mark_m": "34.2", "aim_m": "0.06"}

        bad = save(browser, club, "approaches_plan", {**plan, "check_marks": "16 10"})
        good = save(browser, club, "approaches_plan", {**plan, "check_marks": "11 22.4\n6 12"})
        second = save(browser, club, "approaches_plan", {**plan, "start_mark_m": "34.6"})
        session = save(
            browser,
            club,
            "approaches_session",
            {"code": "2026-05-02-am", "held_date": "2026-05-02", "kind": "training"},
        )

        assert errors_of(bad) == {
            "check_marks": ["A check mark is met by a footfall between 1 and 15."]
        }
        assert [good.status_code, second.status_code, session.status_code] == [302, 302, 302]
        with club_scope(club):
            first, latest = Plan.objects.order_by("revision")
            assert first.check_marks == [
                {"footfall": 11, "at_m": 22.4},
                {"footfall": 6, "at_m": 12.0},
            ]
            assert (latest.revision, latest.start_mark_m) == (2, 34.6)
            assert latest.author_id == admin_membership.id
            assert Session.objects.get().code == "2026-05-02-am"
            actions = AuditEntry.objects.filter(actor_id=admin_membership.id)
            assert sorted(actions.values_list("action", flat=True)) == [
                "approach_added",
                "plan_added",
                "plan_added",
                "session_added",
            ]

    def test_an_approach_keeps_what_attempts_were_measured_over(self, browser: Client, club: Club):
        approach = make_approach(make_athlete(club))
        answer = save(
            browser,
            club,
            "approaches_approach",
            {"code": "LJ-16-old", "steps": "12"},
            row=approach,
        )

        assert answer.status_code == 302
        with club_scope(club):
            approach.refresh_from_db()
        assert (approach.code, approach.steps) == ("LJ-16-old", 16)
