"""Words on the pages: units in labels, and states in place of empty columns."""

from collections.abc import Iterator
from typing import Any

from django.contrib import admin
from django.contrib.admin.views.main import ChangeList
from django.db.models import Model
from django.http import HttpRequest

# The last word of a field's name, and how people write the unit.
UNITS = {"m": "m", "s": "s", "mps": "m/s", "deg": "°"}
# Names that Python cannot spell.
SPELLED = {"take off foot": "take-off foot"}
# What a row without the moment is called, and one with it.
STATES = {
    "archived_at": ("current", "archived"),
    "closed_at": ("open", "closed"),
    "ended_at": ("current", "ended"),
    "revoked_at": ("in use", "revoked"),
    "until_date": ("no end", "with an end"),
}


# Where there is nothing to say; admin.js leaves such cells out of cards.
NOTHING = "–"


def spell_name(name: str) -> str:
    """Write the name of a field as people do: `shoe_length_m` is shoe length (m)."""
    words, _, unit = name.rpartition("_")
    name = f"{words} ({UNITS[unit]})" if words and unit in UNITS else name
    return name.replace("_", " ")


def spell_names(model: type[Model]) -> None:
    """Write the names of the model's fields as people do: `shoe length (m)`.

    Only what pages show changes; a field's own name, and its migrations, stay.
    """
    for field in model._meta.fields:
        name = str(field.verbose_name)
        for said, spelled in SPELLED.items():
            name = name.replace(said, spelled)
        words, _, unit = name.rpartition(" ")
        if words and unit in UNITS and field.name.endswith(f"_{unit}"):
            name = f"{words} ({UNITS[unit]})"
        field.verbose_name = name


class StateFilter(admin.EmptyFieldListFilter):
    """Choose rows that count still, or those that have ended, by a moment that is empty or not."""

    def __init__(self, field: Any, request: HttpRequest, *args: Any, **kwargs: Any) -> None:
        super().__init__(field, request, *args, **kwargs)
        self.title = "state"
        self._states = STATES[field.name]

    def choices(self, changelist: ChangeList) -> Iterator[Any]:
        words = ("all", *self._states)
        for choice, word in zip(super().choices(changelist), words, strict=True):
            yield {**choice, "display": word}
