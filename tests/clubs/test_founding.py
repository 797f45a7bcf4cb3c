"""Founding a club."""

import pytest

from clubs import selectors
from common.errors import AlreadyExistsError, InvalidInputError
from tests.factories import make_club

pytestmark = pytest.mark.django_db


class TestFoundClub:
    def test_can_be_found_by_its_short_name(self):
        club = make_club(slug="hill-jumpers", time_zone="Europe/Vienna")

        assert selectors.find_club_id("hill-jumpers") == club.id

    def test_refuses_a_second_one_of_the_same_short_name(self):
        make_club(slug="hill-jumpers")

        with pytest.raises(AlreadyExistsError):
            make_club(slug="hill-jumpers")

    def test_refuses_a_time_zone_that_does_not_exist(self):
        with pytest.raises(InvalidInputError) as refused:
            make_club(time_zone="Europe/Nowhere")

        assert refused.value.faults[0].code == "unknown_time_zone"
