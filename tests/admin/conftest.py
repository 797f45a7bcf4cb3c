"""The browser of a club's admin."""

import pytest
from django.test import Client

from clubs.models import Club, Membership, Role
from tests.admin.scenes import PASSWORD, log_in
from tests.factories import make_club, make_member


@pytest.fixture
def club(db: None) -> Club:
    return make_club(name="Club of ours")


@pytest.fixture
def admin_membership(club: Club) -> Membership:
    return make_member(club, Role.ADMIN, email="admin@example.org", password=PASSWORD)


@pytest.fixture
def browser(admin_membership: Membership) -> Client:
    return log_in(admin_membership)
