"""People and tokens of a club, as its admin gives them out."""

import pytest
from django.test import Client
from django.urls import reverse

from clubs import selectors
from clubs.errors import NotAuthenticatedError
from clubs.models import AccessToken, AuditEntry, Club, Membership, Role, Source
from common.club_scope import club_scope
from tests.admin.scenes import PASSWORD, errors_of, save
from tests.factories import make_club, make_member, make_source

pytestmark = pytest.mark.django_db(transaction=True)


class TestMembers:
    def test_a_new_member_gets_a_log_in_and_a_source(self, browser: Client, club: Club):
        answer = save(
            browser,
            club,
            "clubs_membership",
            {"email": "Coach@example.org", "role": "coach", "password": ""},
        )

        assert answer.status_code == 302
        with club_scope(club):
            membership = Membership.objects.select_related("user").get(role=Role.COACH)
            assert membership.user.email == "coach@example.org"
            assert not membership.user.has_usable_password()
            assert Source.objects.filter(membership=membership).exists()
            entry = AuditEntry.objects.get(action="membership_added", subject_ids=[membership.id])
            assert entry.actor_kind == "membership"

    def test_a_person_of_another_club_keeps_the_password(self, browser: Client, club: Club):
        other = make_member(make_club(), Role.ADMIN, email="b@example.org", password=PASSWORD)

        save(
            browser,
            club,
            "clubs_membership",
            {"email": "b@example.org", "role": "coach", "password": "quite-another-secret"},
        )

        other.user.refresh_from_db()
        assert other.user.check_password(PASSWORD)

    def test_a_member_is_not_added_twice(self, browser: Client, club: Club):
        make_member(club, email="b@example.org")

        answer = save(
            browser, club, "clubs_membership", {"email": "b@example.org", "role": "coach"}
        )

        assert errors_of(answer) == {
            "email": ["b@example.org is a member already, or was one before."]
        }

    def test_a_weak_password_is_refused(self, browser: Client, club: Club):
        answer = save(
            browser,
            club,
            "clubs_membership",
            {"email": "b@example.org", "role": "admin", "password": "password"},
        )

        assert list(errors_of(answer)) == ["password"]

    def test_nobody_ends_the_own_membership(
        self, browser: Client, club: Club, admin_membership: Membership
    ):
        save(
            browser,
            club,
            "clubs_membership",
            {"role": "coach", "ended_at_0": "2026-01-01", "ended_at_1": "10:00"},
            row=admin_membership,
        )

        with club_scope(club):
            admin_membership.refresh_from_db()
        assert (admin_membership.role, admin_membership.ended_at) == (Role.ADMIN, None)


class TestTokens:
    def test_the_secret_is_shown_once_and_works(self, browser: Client, club: Club):
        source = make_source(club)

        answer = save(
            browser,
            club,
            "clubs_accesstoken",
            {"name": "Gate", "source": str(source.id), "scopes": ["attempts:write"]},
        )

        secret = answer.context["secret"]
        assert answer.status_code == 200
        assert secret in answer.content.decode()
        assert "no-store" in answer.headers["Cache-Control"]
        assert secret not in str(browser.cookies)
        caller = selectors.find_caller(secret)
        assert (caller.source_id, caller.scopes) == (
            source.id,
            frozenset({"attempts:write"}),
        )
        with club_scope(club):
            token = AccessToken.objects.get()
        for page in (
            reverse("admin:clubs_accesstoken_changelist"),
            reverse("admin:clubs_accesstoken_change", args=[token.pk]),
        ):
            assert secret[-40:] not in browser.get(page).content.decode()

    def test_a_source_is_not_given_what_only_people_may(self, browser: Client, club: Club):
        source = make_source(club)

        answer = save(
            browser,
            club,
            "clubs_accesstoken",
            {"name": "Gate", "source": str(source.id), "scopes": ["athletes:read"]},
        )

        assert list(errors_of(answer)) == ["scopes"]

    def test_a_token_without_a_source_is_the_admins_own(
        self, browser: Client, club: Club, admin_membership: Membership
    ):
        answer = save(
            browser, club, "clubs_accesstoken", {"name": "Mine", "scopes": ["athletes:read"]}
        )

        caller = selectors.find_caller(answer.context["secret"])
        assert (caller.role, caller.membership_id) == (Role.ADMIN, admin_membership.id)

    def test_revoking_works_at_once(self, browser: Client, club: Club):
        source = make_source(club)
        made = save(
            browser,
            club,
            "clubs_accesstoken",
            {"name": "Gate", "source": str(source.id), "scopes": ["attempts:write"]},
        )
        with club_scope(club):
            token = AccessToken.objects.get()

        browser.post(
            reverse("admin:clubs_accesstoken_changelist"),
            {"action": "revoke", "_selected_action": [str(token.pk)]},
        )

        with pytest.raises(NotAuthenticatedError):
            selectors.find_caller(made.context["secret"])
        with club_scope(club):
            assert AuditEntry.objects.filter(action="token_changed").count() == 1
