"""A club's admin sees the rows of that club only: a walk over every page of the site."""

from typing import Any
from uuid import uuid4

import pytest
from django.contrib import admin
from django.db.models import Model
from django.test import Client
from django.urls import reverse

from athletes.models import Athlete
from clubs.admin import OverviewAdmin
from clubs.models import Club, Membership, Role, Squad
from common.club_scope import club_scope
from tests.admin.scenes import Rows, furnish_club, log_in
from tests.factories import make_club, make_member

# Real transactions: reads must work where the database refuses to write.
pytestmark = pytest.mark.django_db(transaction=True)

PAGES = sorted(admin.site._registry, key=lambda model: model._meta.label)
WITH_OVERVIEW = [model for model in PAGES if isinstance(admin.site._registry[model], OverviewAdmin)]


@pytest.fixture
def ours(club: Club) -> Rows:
    return furnish_club(club)


@pytest.fixture
def theirs(db: None) -> Rows:
    return furnish_club(make_club(name="Club of strangers"))


def address(model: type[Model], page: str, *args: Any) -> str:
    return reverse(f"admin:{model._meta.app_label}_{model._meta.model_name}_{page}", args=args)


def test_walks_over_every_page(ours: Rows):
    assert set(PAGES) <= set(ours)
    assert len(PAGES) >= 18


def test_lists_and_shows_our_rows_only(browser: Client, club: Club, ours: Rows, theirs: Rows):
    for model in PAGES:
        strangers = str(theirs[model].pk)

        listed = browser.get(address(model, "changelist"))
        shown = browser.get(address(model, "change", ours[model].pk))
        history = browser.get(address(model, "history", ours[model].pk))
        overviews = [
            browser.get(address(model, "overview", ours[model].pk))
            for _ in range(model in WITH_OVERVIEW)
        ]

        label = model._meta.label
        with club_scope(club):
            expected = set(model._default_manager.values_list("pk", flat=True))
            assert {row.pk for row in listed.context["cl"].result_list} == expected, label
        assert ours[model].pk in expected, label
        for page in (listed, shown, history, *overviews):
            assert page.status_code == 200, label
            assert strangers not in page.content.decode(), label
            assert "Club of strangers" not in page.content.decode(), label


@pytest.mark.parametrize("page", ["change", "history", "delete", "overview"])
def test_answers_for_a_strangers_row_as_for_a_missing_one(
    browser: Client, ours: Rows, theirs: Rows, page: str
):
    for model in WITH_OVERVIEW if page == "overview" else PAGES:
        missing = browser.get(address(model, page, uuid4()))
        strange = browser.get(address(model, page, theirs[model].pk))

        assert strange.status_code == missing.status_code, model._meta.label
        assert strange.headers.get("Location") == missing.headers.get("Location")
        assert strange.status_code in {302, 403}, model._meta.label


def test_changes_no_row_of_a_stranger(browser: Client, club: Club, ours: Rows, theirs: Rows):
    squad = theirs[Squad]

    answer = browser.post(
        address(Squad, "change", squad.pk),
        {"_club": str(club.id), "name": "Taken", **no_inlines("members")},
    )

    assert answer.status_code == 302
    with club_scope(squad.club_id):
        squad.refresh_from_db()
    assert squad.name == "Juniors"


def test_offers_no_people_and_no_athletes_of_strangers(
    browser: Client, ours: Rows, theirs: Rows, admin_membership: Membership
):
    form = browser.get(reverse("admin:athletes_coachassignment_add"))
    athlete_form = browser.get(reverse("admin:athletes_athlete_add"))
    athletes = browser.get(
        reverse("admin:autocomplete"),
        {
            "app_label": "athletes",
            "model_name": "coachassignment",
            "field_name": "athlete",
            "term": "",
        },
    )

    for page in (form, athlete_form):
        text = page.content.decode()
        assert admin_membership.user.email in text
        assert theirs[Membership].user.email not in text
    offered = {row["id"] for row in athletes.json()["results"]}
    assert offered == {str(ours[Athlete].pk)}


def test_searches_filters_and_sorts_every_list(browser: Client, ours: Rows):
    for model in PAGES:
        listed = browser.get(address(model, "changelist"))
        changelist = listed.context["cl"]
        searched = browser.get(address(model, "changelist"), {"q": "Benno 'x %"})
        assert searched.status_code == 200, model._meta.label
        assert changelist.search_fields, model._meta.label
        for column in range(1, len(changelist.list_display)):
            answer = browser.get(address(model, "changelist"), {"o": f"-{column}"})
            assert answer.status_code == 200, (model._meta.label, column)
        for spec in changelist.filter_specs:
            for choice in spec.choices(changelist):
                answer = browser.get(address(model, "changelist") + choice["query_string"])
                assert answer.status_code == 200, (model._meta.label, choice)


def test_adding_is_offered_where_it_is_allowed(browser: Client, ours: Rows):
    for model in PAGES:
        answer = browser.get(address(model, "add"))
        allowed = admin.site._registry[model].may_add  # type: ignore[attr-defined]  # ClubModelAdmin
        assert answer.status_code == (200 if allowed else 403), model._meta.label


def test_another_club_of_the_same_person_is_chosen_first(
    browser: Client, club: Club, ours: Rows, admin_membership: Membership
):
    second = make_club(name="A second club")
    make_member(second, Role.ADMIN, email=admin_membership.user.email)
    fresh = log_in(admin_membership)

    unchosen = fresh.get(reverse("admin:index"))
    offered = fresh.get(reverse("admin:choose_club")).content.decode()
    chosen = fresh.post(reverse("admin:choose_club"), {"club": str(second.id)}, follow=True)

    assert unchosen.headers["Location"] == reverse("admin:choose_club")
    assert "Club of ours" in offered
    assert "A second club" in offered
    assert "Penult: A second club" in chosen.content.decode()
    athletes = fresh.get(reverse("admin:athletes_athlete_changelist"))
    assert list(athletes.context["cl"].result_list) == []


def test_a_club_that_is_not_the_persons_cannot_be_chosen(browser: Client, theirs: Rows):
    stranger = str(theirs[Club].pk)

    assert browser.post(reverse("admin:choose_club"), {"club": stranger}).status_code == 404


def test_a_form_opened_in_one_club_is_not_saved_in_another(
    admin_membership: Membership, club: Club, ours: Rows
):
    second = make_club(name="A second club")
    make_member(second, Role.ADMIN, email=admin_membership.user.email)
    fresh = log_in(admin_membership)
    fresh.post(reverse("admin:choose_club"), {"club": str(second.id)})

    answer = fresh.post(
        reverse("admin:clubs_squad_add"),
        {"_club": str(club.id), "name": "Meant for ours", **no_inlines("members")},
        follow=True,
    )

    assert "nothing was saved" in answer.content.decode()
    for each in (club, second):
        with club_scope(each):
            assert not Squad.objects.filter(name="Meant for ours").exists()


def test_the_right_ends_with_the_membership(
    browser: Client, club: Club, admin_membership: Membership
):
    assert browser.get(reverse("admin:index")).status_code == 200
    with club_scope(club):
        Membership.objects.filter(id=admin_membership.id).update(role=Role.COACH)

    answer = browser.get(reverse("admin:index"))

    assert answer.status_code == 302
    assert answer.headers["Location"].startswith(reverse("admin:login"))


def test_a_filter_cannot_ask_for_passwords(browser: Client, ours: Rows):
    answer = browser.get(address(Membership, "changelist"), {"user__password__startswith": "m"})

    assert answer.status_code == 400


def no_inlines(*prefixes: str) -> dict[str, str]:
    """Return the empty forms that a page sends for its inlines."""
    return {
        f"{prefix}-{count}": "0"
        for prefix in prefixes
        for count in ("TOTAL_FORMS", "INITIAL_FORMS", "MIN_NUM_FORMS", "MAX_NUM_FORMS")
    }
