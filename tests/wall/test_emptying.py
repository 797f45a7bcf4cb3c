"""What a test commits is gone before the next one, however much it was."""

from datetime import UTC, datetime

import pytest
from django.apps import apps
from django.contrib.auth.models import Permission
from django.contrib.contenttypes.models import ContentType
from django.contrib.sessions.models import Session

from clubs.models import Role
from common.club_scope import club_scope
from tests.admin.scenes import furnish_club
from tests.conftest import empty_tables
from tests.factories import make_athlete, make_club, make_member

LATER = datetime(2030, 1, 1, tzinfo=UTC)
# Migrations fill them.
KEPT = {ContentType, Permission}


@pytest.mark.django_db(transaction=True)
@pytest.mark.parametrize("n_kilobytes", [1, 3000], ids=["little", "much"])
def test_no_row_is_left(n_kilobytes: int):
    club = make_club()
    furnish_club(club)
    make_athlete(club, user=make_member(club, Role.ATHLETE).user)
    Session.objects.bulk_create(
        Session(session_key=str(number), session_data="x" * 1000, expire_date=LATER)
        for number in range(n_kilobytes)
    )
    with club_scope(club):
        filled = {model for model in apps.get_models() if model._default_manager.exists()}

    empty_tables()

    assert len(filled) > 25
    with club_scope(club):
        left = {model for model in apps.get_models() if model._default_manager.exists()}
    assert left == KEPT
