"""Form fields for what people type into a club's records."""

from collections.abc import Callable, Mapping
from itertools import pairwise
from typing import TYPE_CHECKING, Any

from django import forms
from django.core.exceptions import ValidationError

from clubs.models import Membership, User

if TYPE_CHECKING:
    _ModelChoiceField = forms.ModelChoiceField[Any]
else:
    _ModelChoiceField = forms.ModelChoiceField

Row = dict[str, float]


class MembershipField(_ModelChoiceField):
    """Choose a person of the club by e-mail address."""

    def label_from_instance(self, obj: Membership) -> str:
        return f"{obj.user.email} ({obj.get_role_display()})"


class UserField(_ModelChoiceField):
    """Choose a log-in of the club by e-mail address."""

    def label_from_instance(self, obj: User) -> str:
        return obj.email


class TableField(forms.CharField):
    """A small table of numbers, typed a row a line.

    Parameters
    ----------
    columns
        The name of each column, and what makes its number: `float`, or `int` for counts.
    growing
        Whether every column must grow from row to row.
    """

    widget = forms.Textarea(attrs={"rows": 6, "cols": 30})

    def __init__(
        self,
        *,
        columns: Mapping[str, Callable[[str], float]],
        growing: bool = False,
        **options: Any,
    ) -> None:
        self.columns = dict(columns)
        self.growing = growing
        options.setdefault("help_text", f"A row a line: {' '.join(columns)}.")
        super().__init__(**options)

    def prepare_value(self, value: Any) -> Any:
        if not isinstance(value, list):
            return value  # what was typed, shown again
        return "\n".join(" ".join(f"{row[name]:g}" for name in self.columns) for row in value)

    def to_python(self, value: Any) -> Any:
        text = super().to_python(value) or ""
        rows = [self._row(line) for line in text.splitlines() if line.strip()]
        if self.growing:
            for before, after in pairwise(rows):
                if any(after[name] <= before[name] for name in self.columns):
                    raise ValidationError("From row to row, every number grows.", code="growing")
        return rows

    def has_changed(self, initial: Any, data: Any) -> bool:
        try:
            return bool(self.to_python(data) != (initial or []))
        except ValidationError:
            return True

    def _row(self, line: str) -> Row:
        values = line.split()
        try:
            row = {
                name: number(value)
                for (name, number), value in zip(self.columns.items(), values, strict=True)
            }
        except ValueError as error:
            raise ValidationError(
                f"“{line}” is not {len(self.columns)} numbers: {' '.join(self.columns)}.",
                code="row",
            ) from error
        # The comparison is false for NaN and for infinite values too.
        if not all(0 <= value < 1000 for value in row.values()):
            raise ValidationError(f"“{line}”: from 0 to under 1000.", code="range")
        return row
