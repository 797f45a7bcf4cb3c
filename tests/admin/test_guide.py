"""The page for a club's admin names what is there, under the names that it has there."""

import re
from pathlib import Path

import pytest
from django.apps import apps
from django.contrib import admin
from django.test import Client
from django.urls import reverse

pytestmark = pytest.mark.django_db(transaction=True)

GUIDE = (Path(__file__).resolve().parents[2] / "docs" / "admin.md").read_text(encoding="utf-8")
PAGE = re.compile(r"\*\*([^*]+)\*\*\s+\(`(/admin/[^`]+)`\)")


def test_every_page_is_told_of_by_its_name_and_address(browser: Client):
    first_page = browser.get(reverse("admin:index")).content.decode()
    pages = re.findall(r'<a class="page" href="([^"]+)">([^<]+)</a>', first_page)
    told = {(address, name) for name, address in PAGE.findall(GUIDE)}

    assert len(pages) >= 19
    assert set(pages) - told == set()
    assert told - set(pages) == set()


def test_every_page_says_what_it_is_for(browser: Client):
    for address in {address for _, address in PAGE.findall(GUIDE)}:
        assert '<p class="purpose">' in browser.get(address).content.decode(), address


@pytest.mark.parametrize(
    ("page", "words"),
    [
        ("approaches_quarantinedrow", "Replay selected rows as they are"),
        ("approaches_pendingrefresh", "Try selected series now"),
        ("analytics_askedwork", "Try selected questions again"),
        ("analytics_alert", "Acknowledge selected alerts"),
        ("clubs_accesstoken", "Revoke selected tokens now"),
    ],
)
def test_actions_have_the_names_that_the_guide_gives(page: str, words: str):
    app_label, model_name = page.split("_")
    shown = admin.site._registry[apps.get_model(app_label, model_name)]
    names = {getattr(shown, str(name)).short_description for name in shown.actions or ()}

    assert words in names
    assert words in " ".join(GUIDE.split())
