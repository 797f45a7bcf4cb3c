"""Members who are changed by several people at the same moment."""

import threading
from collections.abc import Callable

import pytest
from django.db import connection

from clubs.errors import LastAdminError
from clubs.models import Membership, Role, User
from clubs.services import people
from common.club_scope import club_scope
from common.versions import ANY_VERSION
from tests import factories

pytestmark = pytest.mark.django_db(transaction=True)


def at_once(*work: Callable[[], object]) -> list[Exception]:
    """Do everything at the same moment; return what was raised."""
    together = threading.Barrier(len(work))
    raised: list[Exception] = []

    def run(each: Callable[[], object]) -> None:
        together.wait()
        try:
            each()
        except Exception as error:  # noqa: BLE001  # the test looks at what it was
            raised.append(error)
        finally:
            connection.close()

    threads = [threading.Thread(target=run, args=(each,)) for each in work]
    for thread in threads:
        thread.start()
    for thread in threads:
        thread.join()
    return raised


def test_two_admins_who_end_each_other_at_once_leave_one():
    club = factories.make_club()
    admins = [factories.make_member(club, Role.ADMIN) for _ in range(2)]

    def end(member: Membership) -> None:
        people.change_member(
            club=club, member_id=member.id, expected=ANY_VERSION, changes={"ended": True}
        )

    raised = at_once(lambda: end(admins[0]), lambda: end(admins[1]))

    with club_scope(club):
        assert Membership.objects.filter(ended_at=None).count() == 1
    assert [type(error) for error in raised] == [LastAdminError]


def test_two_clubs_that_add_a_person_at_once_share_the_log_in():
    clubs = [factories.make_club() for _ in range(2)]

    raised = at_once(
        lambda: people.add_member(club=clubs[0], email="new@example.org", role=Role.COACH),
        lambda: people.add_member(club=clubs[1], email="New@example.org", role=Role.COACH),
    )

    assert raised == []
    assert User.objects.filter(email="new@example.org").count() == 1
