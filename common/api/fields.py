"""Fields that take the JSON type that they say, and no other that could be turned into it.

The framework's own read 17 as "17", "NaN" as a number, and a time without a zone as UTC.
"""

import math
import re
from datetime import date, datetime
from typing import Any
from uuid import UUID

from rest_framework import serializers
from rest_framework.fields import empty

from common import texts

COUNTRY = r"^[A-Z]{2}$"
# What lies outside is a slip of the keyboard: nobody in training was born before.
EARLIEST, LATEST = date(1900, 1, 1), date(2100, 12, 31)
_DAY = re.compile(r"[0-9]{4}-[0-9]{2}-[0-9]{2}")
_MOMENT = re.compile(
    r"[0-9]{4}-[0-9]{2}-[0-9]{2}[T ][0-9]{2}:[0-9]{2}:[0-9]{2}(\.[0-9]+)?"
    r"(Z|[+-][0-9]{2}:[0-9]{2})?",
    re.IGNORECASE,
)
_ID = re.compile(r"[0-9a-f]{8}(-[0-9a-f]{4}){3}-[0-9a-f]{12}", re.IGNORECASE)

_WRONG_TYPE = "A {expected} is expected."


class TextField(serializers.CharField):
    """Text of one line, or of several, without signs that nobody sees (`common.texts`).

    It is kept in Unicode's Normalization Form C: two names that look alike are then equal.
    """

    default_error_messages = {
        "wrong_type": _WRONG_TYPE.format(expected="text"),
        "control_character": "The text has one line.",
    }

    def __init__(self, *, lines: bool = False, **options: Any) -> None:
        self.pattern = texts.LINES if lines else texts.ONE_LINE  # stands in the schema, too
        super().__init__(**options)

    def run_validation(self, data: Any = empty) -> Any:
        if data is not empty and data is not None and not isinstance(data, str):
            self.fail("wrong_type")
        return super().run_validation(data)

    def to_internal_value(self, data: str) -> str:
        unseen = texts.find_unseen(data)
        if unseen is not None:
            detail = f"The text holds a sign that nobody sees: {texts.name_of(unseen)}."
            raise serializers.ValidationError(detail, "control_character")
        if not re.fullmatch(self.pattern, data):
            self.fail("control_character")
        return super().to_internal_value(texts.composed(data))


class EmailField(TextField, serializers.EmailField):
    """An e-mail address."""


class CountryField(TextField):
    """A country as two capital letters (ISO 3166-1)."""

    default_error_messages = {"not_a_country": "A country is two capital letters, such as AT."}

    def __init__(self, **options: Any) -> None:
        super().__init__(**options)
        self.pattern = COUNTRY

    def to_internal_value(self, data: str) -> str:
        if not re.fullmatch(COUNTRY, data):
            self.fail("not_a_country")
        return data


class NumberField(serializers.FloatField):
    """A finite JSON number; `above` and `below` are bounds that it may not reach itself."""

    default_error_messages = {
        "wrong_type": _WRONG_TYPE.format(expected="number"),
        "number_out_of_range": "The number is too large.",
    }

    def __init__(
        self, *, above: float | None = None, below: float | None = None, **options: Any
    ) -> None:
        self.above, self.below = above, below  # stand in the schema, too
        super().__init__(**options)

    def to_internal_value(self, data: Any) -> float:
        if isinstance(data, bool) or not isinstance(data, int | float):
            self.fail("wrong_type")
        try:
            value = float(data)
        except OverflowError:
            self.fail("number_out_of_range")
        if not math.isfinite(value):
            self.fail("number_out_of_range")
        if self.above is not None and value <= self.above:
            raise serializers.ValidationError(f"The number is above {self.above}.", "min_value")
        if self.below is not None and value >= self.below:
            raise serializers.ValidationError(f"The number is below {self.below}.", "max_value")
        return value


class WholeNumberField(serializers.IntegerField):
    """A JSON number without a fraction; 16.0 is one (JSON Schema)."""

    default_error_messages = {"wrong_type": _WRONG_TYPE.format(expected="whole number")}

    def to_internal_value(self, data: Any) -> int:
        if isinstance(data, float) and data.is_integer():
            return int(data)
        if isinstance(data, bool) or not isinstance(data, int):
            self.fail("wrong_type")
        return data


class FlagField(serializers.BooleanField):
    """JSON's true or false."""

    default_error_messages = {"wrong_type": "True or false is expected."}

    def to_internal_value(self, data: Any) -> bool:
        if not isinstance(data, bool):
            self.fail("wrong_type")
        return data


class ListField(serializers.ListField):
    """A list, whose length is looked at before anything in it.

    The framework looks at each item first: of the 250,000 that a body can hold, for minutes.
    """

    def to_internal_value(self, data: Any) -> list[Any]:
        most = self.max_length
        if most is not None and isinstance(data, list) and len(data) > most:
            self.fail("max_length", max_length=most)
        return super().to_internal_value(data)


class MomentField(serializers.DateTimeField):
    """A moment (RFC 3339), which is never without its zone."""

    default_error_messages = {
        "not_a_time": "A time such as 2026-05-02T09:14:07.250+02:00 is expected.",
        "time_without_zone": "The time lacks its zone.",
    }

    def to_internal_value(self, value: Any) -> datetime:
        if not isinstance(value, str) or not _MOMENT.fullmatch(value):
            self.fail("not_a_time")
        try:
            moment = datetime.fromisoformat(value.upper())
        except ValueError:
            self.fail("not_a_time")
        if moment.utcoffset() is None:
            self.fail("time_without_zone")
        # The framework turns it into UTC, and refuses what has no UTC within its years.
        return super().to_internal_value(moment)


class DayField(serializers.DateField):
    """A day, written as 2026-05-02."""

    default_error_messages = {
        "not_a_day": "A day such as 2026-05-02 is expected.",
        "day_out_of_range": f"The day lies between {EARLIEST} and {LATEST}.",
    }

    def to_internal_value(self, value: Any) -> date:
        if not isinstance(value, str) or not _DAY.fullmatch(value):
            self.fail("not_a_day")
        try:
            day = date.fromisoformat(value)
        except ValueError:
            self.fail("not_a_day")
        if not EARLIEST <= day <= LATEST:
            self.fail("day_out_of_range")
        return day


class IdField(serializers.UUIDField):
    """The id of a row, as we write it."""

    default_error_messages = {"not_an_id": "An id is a UUID with its hyphens."}

    def to_internal_value(self, data: Any) -> UUID:
        if not isinstance(data, str) or not _ID.fullmatch(data):
            self.fail("not_an_id")
        return UUID(data)


class OneOfField(serializers.ChoiceField):
    """One of the listed texts."""

    default_error_messages = {"unknown_value": "One of {values} is expected."}

    def to_internal_value(self, data: Any) -> Any:
        if not isinstance(data, str) or data not in self.choices:
            self.fail("unknown_value", values=", ".join(map(str, self.choices)))
        return data
