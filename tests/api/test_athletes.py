"""Athletes and what is kept of them over HTTP."""

from datetime import date
from typing import Any

import pytest

from athletes.models import Athlete
from clubs.models import AuditEntry
from common.club_scope import club_scope
from tests import factories
from tests.api.conftest import Api, World

SPLITS = [{"at_m": 10.0, "time_s": 2.01}, {"at_m": 20.0, "time_s": 3.27}]
SPRINT = {"tested_date": "2026-04-11", "start": "standing", "splits": SPLITS}


@pytest.fixture
def admin(world: World) -> Api:
    return world.as_("admin")


def place_of(answer: Any) -> str:
    """Return where what was made is read, as these tests name addresses."""
    return str(answer["Location"]).partition("/clubs/")[2].partition("/")[2]


def faults_of(answer: Any) -> list[tuple[str, str]]:
    return [(each["code"], each["pointer"]) for each in answer.json()["errors"]]


class TestAnAthlete:
    def test_is_put_right_and_the_audit_names_fields_only(self, world: World, admin: Api):
        path = f"athletes/{world.athlete.id}/"
        before = admin.get(path)

        changed = admin.patch(
            path, {"family_name": "Sander", "shoe_length_m": 0.28}, if_match=before["ETag"]
        )

        assert changed.status_code == 200
        assert (changed.json()["family_name"], changed.json()["shoe_length_m"]) == ("Sander", 0.28)
        assert admin.get(path)["ETag"] == changed["ETag"] != before["ETag"]
        with club_scope(world.club):
            entry = AuditEntry.objects.get(action="athlete_changed")
        assert entry.field_names == ["family_name", "shoe_length_m"]

    def test_is_archived_and_taken_back(self, world: World, admin: Api):
        path = f"athletes/{world.athlete.id}/"

        archived = admin.patch(path, {"archived": True}).json()["archived_at"]

        assert archived is not None
        assert admin.get("athletes/?archived=false").json()["results"] == []
        assert admin.patch(path, {"archived": False}).json()["archived_at"] is None

    def test_takes_no_code_of_another(self, world: World, admin: Api):
        other = factories.make_athlete(world.club)

        answer = admin.patch(f"athletes/{world.athlete.id}/", {"code": other.code})

        assert (answer.status_code, faults_of(answer)) == (409, [("already_exists", "/code")])

    def test_is_born_by_today(self, world: World, admin: Api):
        answer = admin.patch(f"athletes/{world.athlete.id}/", {"birth_date": "2099-01-01"})

        assert faults_of(answer) == [("in_the_future", "/birth_date")]

    def test_that_was_made_says_where_it_is_read(self, admin: Api):
        answer = admin.post(
            "athletes/",
            {
                "code": "Z-90",
                "given_name": "Mira",
                "family_name": "Feld",
                "birth_date": "2010-04-09",
            },
        )

        assert admin.get(place_of(answer)).json() == answer.json()


class TestMeasurements:
    def test_are_noted_and_put_right(self, world: World, admin: Api):
        path = f"athletes/{world.athlete.id}/measurements/"
        made = admin.post(path, {"measured_date": "2026-04-11", "height_m": 1.684})

        assert made.status_code == 201
        changed = admin.patch(place_of(made), {"height_m": 1.648}, if_match=made["ETag"])
        assert changed.json()["height_m"] == 1.648
        assert admin.get(f"{path}?since=2026-04-11").json()["results"] == [changed.json()]
        assert admin.get(f"{path}?until=2026-04-10").json()["results"] == []

    @pytest.mark.parametrize(
        ("changes", "status", "fault"),
        [
            ({"measured_date": "2099-01-01"}, 400, ("in_the_future", "/measured_date")),
            ({"measured_date": "1999-01-01"}, 400, ("before_birth", "/measured_date")),
            ({"leg_length_m": 1.7}, 400, ("leg_too_long", "/leg_length_m")),
            ({"height_m": 168.4}, 400, ("max_value", "/height_m")),
            ({"measured_date": "2026-03-01"}, 409, ("already_exists", "/measured_date")),
        ],
    )
    def test_that_cannot_be_change_nothing(
        self, world: World, admin: Api, changes: dict[str, Any], status: int, fault: Any
    ):
        factories.make_measurement(world.athlete)
        path = f"athletes/{world.athlete.id}/measurements/"
        good = {"measured_date": "2026-04-11", "height_m": 1.684}

        added = admin.post(path, {**good, **changes})
        made = admin.post(path, good)
        changed = admin.patch(place_of(made), changes)

        for answer in (added, changed):
            assert (answer.status_code, faults_of(answer)) == (status, [fault])
        assert admin.get(place_of(made))["ETag"] == made["ETag"]

    def test_of_another_athlete_are_not_this_ones(self, world: World, admin: Api):
        other = factories.make_measurement(factories.make_athlete(world.club))

        answer = admin.get(f"athletes/{world.athlete.id}/measurements/{other.id}/")

        assert answer.status_code == 404


class TestSprintTests:
    def test_are_stored_once_under_one_key(self, world: World, admin: Api):
        path = f"athletes/{world.athlete.id}/sprint-tests/"

        first, again = (admin.post(path, SPRINT, idempotency_key="a") for _ in "12")
        second = admin.post(path, SPRINT, idempotency_key="b")

        assert first.json() == again.json() != second.json()
        assert len(admin.get(path).json()["results"]) == 2

    def test_are_put_right(self, world: World, admin: Api):
        made = admin.post(f"athletes/{world.athlete.id}/sprint-tests/", SPRINT)
        splits = [*SPLITS, {"at_m": 30.0, "time_s": 4.44}]

        changed = admin.patch(place_of(made), {"splits": splits}, if_match=made["ETag"])

        assert changed.json()["splits"] == splits

    @pytest.mark.parametrize(
        ("splits", "fault"),
        [
            ([SPLITS[1], SPLITS[0]], ("distances_must_grow", "/splits/1/at_m")),
            (
                [SPLITS[0], {"at_m": 20.0, "time_s": 2.01}],
                ("times_must_grow", "/splits/1/time_s"),
            ),
            (
                [SPLITS[0], {"at_m": 20.0, "time_s": 2.7}],
                ("speed_out_of_range", "/splits/1/time_s"),
            ),
            ([SPLITS[0]], ("min_length", "/splits")),
            ([{"at_m": 10.0}, SPLITS[1]], ("required", "/splits/0/time_s")),
        ],
    )
    def test_with_splits_that_cannot_be_are_refused(
        self, world: World, admin: Api, splits: Any, fault: Any
    ):
        path = f"athletes/{world.athlete.id}/sprint-tests/"

        answer = admin.post(path, {**SPRINT, "splits": splits})

        assert (answer.status_code, faults_of(answer)) == (400, [fault])
        assert admin.get(path).json()["results"] == []


class TestConsents:
    def give(self, world: World, admin: Api, **fields: Any) -> Any:
        return admin.post(
            "consents/",
            {
                "athlete": str(world.athlete.id),
                "purpose": "research",
                "given_by": "guardian",
                "text_version": "2026-01",
                "from_date": "2026-04-11",
                **fields,
            },
        )

    def test_are_given_and_withdrawn(self, world: World, admin: Api):
        given = self.give(world, admin)

        withdrawn = admin.patch(
            place_of(given), {"withdrawn_date": "2026-09-01"}, if_match=given["ETag"]
        )

        assert withdrawn.json() == {**given.json(), "withdrawn_date": "2026-09-01"}
        assert admin.get("consents/?withdrawn=true").json()["results"] == [withdrawn.json()]
        assert self.give(world, admin).status_code == 409
        assert self.give(world, admin, from_date="2026-10-01").status_code == 201

    @pytest.mark.parametrize(
        ("day", "code"), [("2026-04-10", "ends_before_start"), ("2099-01-01", "in_the_future")]
    )
    def test_end_between_their_first_day_and_today(
        self, world: World, admin: Api, day: str, code: str
    ):
        given = self.give(world, admin)

        answer = admin.patch(place_of(given), {"withdrawn_date": day})

        assert faults_of(answer) == [(code, "/withdrawn_date")]

    def test_of_a_child_are_a_guardians(self, world: World, admin: Api):
        # GDPR, Article 8 (1): no member state may set the age lower than 13.
        with club_scope(world.club):
            Athlete.objects.filter(id=world.athlete.id).update(birth_date=date(2013, 4, 12))

        the_day_before, birthday = (
            self.give(world, admin, given_by="athlete", from_date=day)
            for day in ("2026-04-11", "2026-04-12")
        )

        assert faults_of(the_day_before) == [("guardian_needed", "/given_by")]
        assert birthday.status_code == 201


class TestImport:
    HEADER = "code,given_name,family_name,birth_date,shoe_length_m\r\n"
    LINES = "Z-91,Jonna,Ahrens,2011-09-30,0.265\r\nZ-92,Luka,Brandt,2010-02-11,\r\n"

    def send(self, admin: Api, table: str | bytes, query: str = "") -> Any:
        return admin.client.post(
            f"{admin.base}athletes/import/{query}", table, content_type="text/csv"
        )

    def codes(self, admin: Api) -> set[str]:
        return {each["code"] for each in admin.get("athletes/").json()["results"]}

    def test_enters_each_athlete_once(self, world: World, admin: Api):
        first, again = (self.send(admin, self.HEADER + self.LINES) for _ in "12")

        assert first.json() == {"received": 2, "created": 2, "known": 0, "changed": 0}
        assert again.json() == {"received": 2, "created": 0, "known": 2, "changed": 0}
        jonna = admin.get("athletes/?code=Z-91").json()["results"][0]
        assert (jonna["birth_date"], jonna["shoe_length_m"]) == ("2011-09-30", 0.265)
        with club_scope(world.club):
            entry = AuditEntry.objects.get(action="athletes_imported")
        assert (len(entry.subject_ids), entry.counts) == (2, {"created": 2, "changed": 0})

    def test_is_tried_first(self, admin: Api):
        answer = self.send(admin, self.HEADER + self.LINES, "?dry_run=true")

        assert answer.json()["created"] == 2
        assert "Z-91" not in self.codes(admin)

    def test_changes_who_differs_only_when_asked(self, admin: Api):
        self.send(admin, self.HEADER + self.LINES)
        other = self.HEADER + self.LINES.replace("0.265", "0.270").replace("Luka", "Lukas")

        refused = self.send(admin, other)
        changed = self.send(admin, other, "?update=true")

        assert (refused.status_code, refused.json()["code"]) == (422, "import_refused")
        assert faults_of(refused) == [("differs", "/0/shoe_length_m"), ("differs", "/1/given_name")]
        assert changed.json() == {"received": 2, "created": 0, "known": 0, "changed": 2}
        assert admin.get("athletes/?code=Z-92").json()["results"][0]["given_name"] == "Lukas"

    def test_reads_what_spreadsheets_write(self, admin: Api):
        table = (
            "﻿" + self.HEADER.replace("\r\n", "\n") + '\n"Z-93","Ann, Bo","O""Hara",2009-01-01,\n'
        )

        answer = self.send(admin, table.encode())

        assert answer.json()["created"] == 1
        found = admin.get("athletes/?code=Z-93").json()["results"][0]
        assert (found["given_name"], found["family_name"]) == ("Ann, Bo", 'O"Hara')

    @pytest.mark.parametrize(
        ("lines", "fault", "words"),
        [
            ("Z-91,Jonna,Ahrens,30.9.2011,\r\n", ("not_a_day", "/2/birth_date"), "Line 4"),
            ("Z-91,Jonna,Ahrens,2099-01-01,\r\n", ("in_the_future", "/2/birth_date"), "Line 4"),
            ("Z-93,Jonna,Ahrens,2011-09-30,26.5\r\n", ("max_value", "/2/shoe_length_m"), "Line 4"),
            ("Z-93,Jonna,Ahrens,2011-09-30,nan\r\n", ("wrong_type", "/2/shoe_length_m"), "Line 4"),
            (",Jonna,Ahrens,2011-09-30,\r\n", ("blank", "/2/code"), "Line 4"),
            ("Z-93,Jonna,Ahrens\r\n", ("wrong_cell_count", "/2"), "3 cells"),
            ("Z-92,Luka,Brandt,2010-02-11,\r\n", ("given_twice", "/2/code"), "line 3"),
        ],
    )
    def test_with_one_wrong_line_stores_nothing(
        self, admin: Api, lines: str, fault: Any, words: str
    ):
        answer = self.send(admin, self.HEADER + self.LINES.replace("Z-91", "Z-90") + lines)

        assert (answer.status_code, faults_of(answer)) == (422, [fault])
        assert words in answer.json()["errors"][0]["detail"]
        assert self.codes(admin).isdisjoint({"Z-90", "Z-91", "Z-92", "Z-93"})

    @pytest.mark.parametrize(
        ("table", "code"),
        [
            (b"", "unreadable_body"),
            (b"code,given_name\r\n\xff", "unreadable_body"),
            (b'code\r\n"A-9', "unreadable_body"),
            (b"code,given_name,family_name,birth_date,weight_kg\r\n", "invalid_columns"),
            (b"code,code,given_name,family_name,birth_date\r\n", "invalid_columns"),
            (b"code;given_name\r\n", "invalid_columns"),
            (b"x" * (1024 * 1024 + 1), "body_too_large"),
        ],
    )
    def test_of_what_is_no_table_is_refused(self, admin: Api, table: bytes, code: str):
        answer = self.send(admin, table)

        assert answer.json()["code"] == code

    def test_takes_an_array_likewise(self, admin: Api):
        jonna = {
            "code": "Z-91",
            "given_name": "Jonna",
            "family_name": "Ahrens",
            "birth_date": "2011-09-30",
        }

        made = admin.post("athletes/import/", [jonna])
        table = "code,birth_date,family_name,given_name\nZ-91,2011-09-30,Ahrens,Jonna\n"
        known = self.send(admin, table)
        refused = admin.post("athletes/import/", [jonna, {**jonna, "code": 92}, "Z-93"])

        assert (made.json()["created"], known.json()["known"]) == (1, 1)
        assert faults_of(refused) == [("wrong_type", "/1/code"), ("invalid", "/2")]
        assert refused.json()["errors"][0]["detail"].startswith("Item 2: ")

    def test_takes_nothing_else(self, admin: Api):
        xml = admin.post("athletes/import/", "<a/>", content_type="application/xml")
        one = admin.post("athletes/import/", {"code": "Z-91"})

        assert (xml.status_code, xml.json()["code"]) == (415, "unsupported_media_type")
        assert (one.status_code, one.json()["code"]) == (400, "unreadable_body")
