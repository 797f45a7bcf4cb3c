"""The wall between clubs, tried with plain SQL as the application role."""

from collections.abc import Iterator
from datetime import UTC, datetime
from typing import Any

import psycopg
import pytest
from django.apps import apps
from django.core.exceptions import ImproperlyConfigured
from django.db import IntegrityError, ProgrammingError, connection, models, transaction

from approaches.models import Approach, Attempt, Plan
from athletes.models import Athlete
from clubs.models import Club, ClubRow
from common import prepared, wall
from common.club_scope import ScopeError, club_scope
from config.settings.environment import database_from_url, required
from tests.factories import (
    make_approach,
    make_athlete,
    make_club,
    make_plan,
    make_session,
    make_source,
)

pytestmark = pytest.mark.django_db(transaction=True)

TENANT_MODELS = [model for model in apps.get_models() if issubclass(model, ClubRow)]
TABLES = [Club._meta.db_table, *(model._meta.db_table for model in TENANT_MODELS)]


@pytest.fixture
def two_clubs() -> tuple[Athlete, Athlete]:
    ours, theirs = make_athlete(make_club()), make_athlete(make_club())
    for athlete in (ours, theirs):
        make_plan(make_approach(athlete))
    return ours, theirs


@pytest.fixture
def fresh() -> Iterator[psycopg.Connection[Any]]:
    """Return a connection of the application role that has never had a club."""
    settings = connection.settings_dict
    with psycopg.connect(
        host=settings["HOST"],
        port=settings["PORT"],
        user=settings["USER"],
        password=settings["PASSWORD"],
        dbname=settings["NAME"],
    ) as raw:
        yield raw


class TestWithoutAClub:
    def test_a_fresh_connection_sees_no_row(self, two_clubs: Any, fresh: psycopg.Connection[Any]):
        seen = {
            table: fresh.execute(f"SELECT count(*) FROM {table}").fetchone() for table in TABLES
        }

        assert seen == dict.fromkeys(TABLES, (0,))

    def test_a_reused_connection_sees_no_row(self, two_clubs: tuple[Athlete, Athlete]):
        seen = {}
        for table in TABLES:
            with club_scope(two_clubs[0].club_id), connection.cursor() as cursor:
                cursor.execute("SELECT current_setting('penult.club')")
                backend = connection.connection.info.backend_pid
            with connection.cursor() as cursor:
                assert connection.connection.info.backend_pid == backend
                cursor.execute(f"SELECT count(*) FROM {table}")
                seen[table] = cursor.fetchone()

        assert seen == dict.fromkeys(TABLES, (0,))

    def test_an_update_of_everything_touches_nothing(
        self, two_clubs: Any, fresh: psycopg.Connection[Any]
    ):
        assert fresh.execute("UPDATE athletes_athlete SET given_name = 'x'").rowcount == 0
        assert fresh.execute("DELETE FROM approaches_plan").rowcount == 0


class TestWithinAClub:
    def test_shows_the_rows_of_that_club_only(self, two_clubs: tuple[Athlete, Athlete]):
        for athlete in two_clubs:
            with club_scope(athlete.club_id):
                assert [each.id for each in Athlete.objects.all()] == [athlete.id]
                assert Club.objects.get().id == athlete.club_id

    def test_refuses_to_write_into_another_club(self, two_clubs: tuple[Athlete, Athlete]):
        ours, theirs = two_clubs

        with (
            club_scope(ours.club_id),
            pytest.raises(Exception, match="row-level security"),
            transaction.atomic(),
        ):
            Athlete.objects.create(
                club_id=theirs.club_id,
                code="B-1",
                given_name="Benno",
                family_name="Berg",
                birth_date="2010-01-01",
            )

    def test_refuses_a_reference_to_another_clubs_row(self, two_clubs: tuple[Athlete, Athlete]):
        ours, theirs = two_clubs

        with club_scope(ours.club_id), pytest.raises(IntegrityError), transaction.atomic():
            Approach.objects.create(
                club_id=ours.club_id,
                athlete_id=theirs.id,
                code="LJ-12",
                event="long_jump",
                steps=12,
                start_style="standing",
            )

    def test_refuses_a_second_club_in_one_use_case(self, two_clubs: tuple[Athlete, Athlete]):
        ours, theirs = two_clubs

        with (
            club_scope(ours.club_id),
            pytest.raises(ScopeError),
            club_scope(theirs.club_id),
        ):
            pass

    def test_shows_a_reader_one_state_and_lets_it_write_nothing(
        self, two_clubs: tuple[Athlete, Athlete], fresh: psycopg.Connection[Any]
    ):
        ours, _ = two_clubs

        with club_scope(ours.club_id, read_only=True):
            before = Athlete.objects.get().given_name
            with fresh.transaction():
                fresh.execute("SELECT set_config('penult.club', %s, true)", [str(ours.club_id)])
                fresh.execute("UPDATE athletes_athlete SET given_name = 'Anders'")
            assert Athlete.objects.get().given_name == before
            with pytest.raises(Exception, match="read-only"), transaction.atomic():
                Athlete.objects.update(given_name="Clara")

        with club_scope(ours.club_id):
            assert Athlete.objects.get().given_name == "Anders"
            Athlete.objects.update(given_name="Clara")


class TestAPipelinedScope:
    """Statements wait for the next rows that are read, and still are one transaction."""

    def test_keeps_what_was_only_written(self, two_clubs: tuple[Athlete, Athlete]):
        ours, theirs = two_clubs

        with club_scope(ours.club_id, pipelined=True):
            prepared.write("UPDATE athletes_athlete SET given_name = %s", ["Anders"])

        assert self._names_of(ours) == ["Anders"]
        assert self._names_of(theirs) == ["Benno"]

    def test_shows_to_a_question_what_was_written_before_it(
        self, two_clubs: tuple[Athlete, Athlete]
    ):
        ours, theirs = two_clubs

        with club_scope(ours.club_id, pipelined=True):
            before = prepared.Question(
                "SELECT given_name FROM athletes_athlete WHERE id = ANY(%s)",
                [[ours.id, theirs.id]],
                make=str,
            )
            prepared.write("UPDATE athletes_athlete SET given_name = %s", ["Anders"])
            after = prepared.Question("SELECT given_name FROM athletes_athlete", [], make=str)

            assert (before.rows(), after.rows()) == (["Benno"], ["Anders"])

    def test_keeps_nothing_when_a_later_statement_fails(self, two_clubs: tuple[Athlete, Athlete]):
        ours, theirs = two_clubs

        def rename_and_give_away() -> None:
            with club_scope(ours.club_id, pipelined=True):
                prepared.write("UPDATE athletes_athlete SET given_name = %s", ["Anders"])
                prepared.write("UPDATE athletes_athlete SET club_id = %s", [theirs.club_id])

        with pytest.raises(ProgrammingError, match="row-level security"):
            rename_and_give_away()
        assert self._names_of(ours) == ["Benno"]

    def test_takes_everything_back_when_its_block_fails(self, two_clubs: tuple[Athlete, Athlete]):
        ours, _ = two_clubs

        def rename_and_fail() -> None:
            with club_scope(ours.club_id, pipelined=True):
                prepared.write("UPDATE athletes_athlete SET given_name = %s", ["Anders"])
                raise ZeroDivisionError

        with pytest.raises(ZeroDivisionError):
            rename_and_fail()
        assert self._names_of(ours) == ["Benno"]

    def _names_of(self, athlete: Athlete) -> list[str]:
        with club_scope(athlete.club_id):
            return [each.given_name for each in Athlete.objects.all()]


@pytest.mark.django_db  # they read the catalogue, so there is nothing to put away
class TestKeys:
    @pytest.mark.parametrize("model", TENANT_MODELS, ids=lambda model: model.__name__)
    def test_every_reference_within_a_club_carries_the_club(self, model: type[models.Model]):
        """Walk over all models, so that a reference added tomorrow is covered."""
        with connection.cursor() as cursor:
            cursor.execute(
                """
                SELECT array_agg(a.attname::text ORDER BY a.attname)
                  FROM pg_constraint AS k
                  JOIN pg_attribute AS a ON a.attrelid = k.conrelid AND a.attnum = ANY (k.conkey)
                 WHERE k.contype = 'f' AND k.conrelid = %s::regclass
                 GROUP BY k.oid
                """,
                [model._meta.db_table],
            )
            keys = [set(columns) for (columns,) in cursor.fetchall()]
        references = [
            field.column
            for field in model._meta.fields
            if isinstance(field, models.ForeignKey) and issubclass(field.related_model, ClubRow)
        ]
        for column in references:
            assert any({"club_id", column} <= key for key in keys), column

    @pytest.mark.parametrize("table", [model._meta.db_table for model in TENANT_MODELS])
    def test_every_tenant_table_has_its_wall_and_its_key(self, table: str):
        with connection.cursor() as cursor:
            cursor.execute(
                "SELECT c.relrowsecurity, c.relforcerowsecurity, pg_get_indexdef(i.indexrelid)"
                " FROM pg_class AS c JOIN pg_index AS i ON i.indrelid = c.oid AND i.indisprimary"
                " WHERE c.oid = %s::regclass",
                [table],
            )
            walled, forced, key = cursor.fetchone()
        assert (walled, forced) == (True, False)
        assert key.endswith("(club_id, id)")

    def test_an_attempt_belongs_to_its_approachs_athlete(self, two_clubs: tuple[Athlete, Athlete]):
        ours, _ = two_clubs
        with club_scope(ours.club_id):
            club = Club.objects.get()
            mate = make_athlete(club)
            approach = Approach.objects.get()
            plan = Plan.objects.get()
            session = make_session(club)
            fields = {
                "club": club,
                "source": make_source(club),
                "external_id": "x",
                "approach": approach,
                "plan": plan,
                "session": session,
                "started_at": datetime(2026, 5, 2, tzinfo=UTC),
                "finish": "jump",
                "phases": [],
                "outcome": "valid",
                "toe_m": [],
                "touchdown_s": [],
                "toe_off_s": [],
                "contact": [],
                "gate_at_m": [],
                "gate_time_s": [],
                "fingerprint": b"",
            }

            with pytest.raises(IntegrityError, match="same_athlete"), transaction.atomic():
                Attempt.objects.create(athlete=mate, **fields)


class TestStartUp:
    def test_serves_as_the_application_role(self):
        wall.refuse_bypassing_role()

    def test_refuses_a_role_that_owns_the_tables(self, monkeypatch: pytest.MonkeyPatch):
        owner = database_from_url(required("OWNER_DATABASE_URL"))
        connection.close()
        monkeypatch.setitem(connection.settings_dict, "USER", owner["USER"])
        monkeypatch.setitem(connection.settings_dict, "PASSWORD", owner["PASSWORD"])

        with pytest.raises(ImproperlyConfigured, match="it owns tables"):
            wall.refuse_bypassing_role()
