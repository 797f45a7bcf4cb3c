"""Keys between rows of one club."""

from collections.abc import Callable, Sequence
from typing import Any

from django.core.exceptions import FieldDoesNotExist
from django.db import models
from django.db.backends.base.schema import BaseDatabaseSchemaEditor
from django.db.backends.ddl_references import Statement, Table


class SameClub(models.BaseConstraint):
    """A foreign key (club_id, x_id): a row can only point at a row of its own club.

    A plain foreign key accepts another club's row, because the database checks keys without
    looking at policies. The field itself is a ForeignKey with db_constraint=False; a null
    reference is not checked (MATCH SIMPLE). `also` names further fields that both rows must share,
    such as an attempt's and its approach's athlete; the target needs a unique constraint over
    club, id and those fields.
    """

    def __init__(self, field: str, *, name: str, also: Sequence[str] = ()) -> None:
        super().__init__(name=name)
        self.field = field
        self.also = tuple(also)

    def _sql(self, model: type[models.Model], quote: Callable[[str], str]) -> str:
        target = model._meta.get_field(self.field).related_model
        if not (isinstance(target, type) and issubclass(target, models.Model)):
            raise FieldDoesNotExist(f"{self.field} is not a reference")
        own = ["club_id", *(_column(model, name) for name in (self.field, *self.also))]
        theirs = ["club_id", "id", *(_column(target, name) for name in self.also)]
        return (
            f"ALTER TABLE {quote(model._meta.db_table)} ADD CONSTRAINT {quote(self.name)} "
            f"FOREIGN KEY ({', '.join(map(quote, own))}) "
            f"REFERENCES {quote(target._meta.db_table)} ({', '.join(map(quote, theirs))})"
        )

    # The type stubs let the model and the editor be None, and a statement a text; Django's schema
    # editor passes both always and takes Statement objects.
    def constraint_sql(  # type: ignore[override]  # see above
        self, model: type[models.Model], schema_editor: BaseDatabaseSchemaEditor
    ) -> None:
        """Add the key at the end of the migration, when the target has its (club_id, id) key."""
        schema_editor.deferred_sql.append(self.create_sql(model, schema_editor))

    def create_sql(  # type: ignore[override]  # see above
        self, model: type[models.Model], schema_editor: BaseDatabaseSchemaEditor
    ) -> Statement:
        quote = schema_editor.quote_name
        sql = self._sql(model, quote).replace("%", "%%")
        return Statement(sql, table=Table(model._meta.db_table, quote))

    def remove_sql(  # type: ignore[override]  # see above
        self, model: type[models.Model], schema_editor: BaseDatabaseSchemaEditor
    ) -> Statement:
        quote = schema_editor.quote_name
        sql = f"ALTER TABLE {quote(model._meta.db_table)} DROP CONSTRAINT {quote(self.name)}"
        return Statement(sql, table=Table(model._meta.db_table, quote))

    def validate(
        self,
        model: type[models.Model],
        instance: models.Model,
        exclude: Any = None,
        using: str = "default",
    ) -> None:
        """Leave the check to the database: under the wall another club's row is not visible."""

    def deconstruct(self) -> tuple[str, tuple[Any, ...], dict[str, Any]]:
        path, _args, kwargs = super().deconstruct()
        if self.also:
            kwargs["also"] = self.also
        return path, (self.field,), kwargs

    def __eq__(self, other: object) -> bool:
        if isinstance(other, SameClub):
            return self.deconstruct() == other.deconstruct()
        return NotImplemented

    def __hash__(self) -> int:
        return hash((self.name, self.field, self.also))


def _column(model: type[models.Model], name: str) -> str:
    column = getattr(model._meta.get_field(name), "column", None)
    if not isinstance(column, str):
        raise FieldDoesNotExist(f"{model.__name__}.{name} has no column")
    return column
