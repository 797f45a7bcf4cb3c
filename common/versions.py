"""Versions of rows: a change names the one that it was made from."""

from collections.abc import Mapping
from dataclasses import dataclass
from typing import Any, Protocol

from django.db import migrations
from django.utils import timezone

from common.errors import StaleVersionError


@dataclass(frozen=True, slots=True)
class Expected:
    """The versions of a row that a change may be made from; None stands for any."""

    versions: frozenset[int] | None

    def allow(self, version: int) -> bool:
        return self.versions is None or version in self.versions


ANY_VERSION = Expected(None)


class Kept(Protocol):
    """A row with a version."""

    version: int

    def save(self, *, update_fields: list[str]) -> None: ...


def change_row(row: Kept, *, expected: Expected, changes: Mapping[str, Any]) -> list[str]:
    """Change a row that the caller has locked, and return the names of the fields that changed.

    What is the same already changes nothing, and leaves the version as it is.

    Raises
    ------
    StaleVersionError
        Somebody else changed the row meanwhile.
    """
    check_version(row, expected=expected)
    changed = sorted(name for name, value in changes.items() if getattr(row, name) != value)
    if changed:
        for name in changed:
            setattr(row, name, changes[name])
        row.save(update_fields=changed)
        row.version += 1  # as the database did: see count_versions
    return changed


def check_version(row: Kept, *, expected: Expected) -> None:
    """Refuse to go on from a version that is none of the expected ones.

    Raises
    ------
    StaleVersionError
        Somebody else changed the row meanwhile.
    """
    if not expected.allow(row.version):
        raise StaleVersionError(f"The version now is {row.version}; read it, and decide again.")


def archiving(row: Any, changes: Mapping[str, Any]) -> dict[str, Any]:
    """Return the changes with `archived`, true or false, as the moment that the row keeps."""
    kept = dict(changes)
    if "archived" in kept:
        archived = kept.pop("archived")
        kept["archived_at"] = (row.archived_at or timezone.now()) if archived else None
    return kept


def define_counting() -> migrations.RunSQL:
    """Define the trigger function that gives a changed row its next version."""
    return migrations.RunSQL(
        sql=(
            "CREATE FUNCTION penult_next_version() RETURNS trigger LANGUAGE plpgsql AS $body$"
            " BEGIN NEW.version := OLD.version + 1; RETURN NEW; END $body$;"
        ),
        reverse_sql="DROP FUNCTION penult_next_version();",
    )


def count_versions(table: str) -> migrations.RunSQL:
    """Let the database count the versions of a table's rows: no way of changing one forgets it."""
    return migrations.RunSQL(
        sql=(
            f"CREATE TRIGGER next_version BEFORE UPDATE ON {table} FOR EACH ROW"
            " WHEN (OLD.* IS DISTINCT FROM NEW.*) EXECUTE FUNCTION penult_next_version();"
        ),
        reverse_sql=f"DROP TRIGGER next_version ON {table};",
    )
