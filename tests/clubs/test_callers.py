"""Who holds a token, and the scope in which that is found."""

import pytest

from clubs import selectors
from clubs.errors import UnknownTokenError
from clubs.models import Club, Role, Squad
from common.club_scope import ScopeError, club_scope, current_club_id
from tests import factories


@pytest.fixture
def club(db: None) -> Club:
    return factories.make_club(time_zone="Europe/Vienna")


class TestCallerScope:
    def test_brings_the_whole_club(self, club: Club):
        """A column that the database function forgets would be a query later, out of scope."""
        token = factories.make_device_token(club)

        caller = selectors.find_caller(token)

        assert caller.club.get_deferred_fields() == set()
        with club_scope(club):
            known = Club.objects.values().get()
        assert {name: getattr(caller.club, name) for name in known} == known

    def test_knows_people_and_devices(self, club: Club):
        member = factories.make_member(club, Role.COACH)
        source = factories.make_source(club)

        person = selectors.find_caller(factories.make_person_token(member))
        device = selectors.find_caller(factories.make_device_token(club, source=source))

        assert (person.role, person.membership_id, person.source_id) == ("coach", member.id, None)
        assert person.user_id == member.user_id
        assert (device.role, device.membership_id, device.source_id) == ("device", None, source.id)

    def test_shows_the_rows_of_the_club_and_no_others(self, club: Club):
        factories.make_squad(club, name="Jumps")
        factories.make_squad(factories.make_club(), name="Strangers")

        with selectors.caller_scope(factories.make_device_token(club)):
            seen = [squad.name for squad in Squad.objects.all()]

        assert seen == ["Jumps"]
        assert Squad.objects.count() == 0

    def test_opens_nothing_for_a_token_that_nobody_has(self, club: Club):
        token = factories.make_device_token(club)
        public_id = token.split("_")[2]
        unknown = token.replace(public_id, "0" * len(public_id))[:-8]

        with (
            pytest.raises(UnknownTokenError),
            selectors.caller_scope(unknown + selectors.checksum(unknown)),
        ):
            pytest.fail("The scope opened.")

        assert current_club_id() is None

    def test_is_no_door_into_a_second_club(self, club: Club):
        token = factories.make_device_token(club)

        with (
            club_scope(factories.make_club()),
            pytest.raises(ScopeError),
            selectors.caller_scope(token),
        ):
            pytest.fail("The scope opened.")
