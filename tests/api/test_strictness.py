"""What is sent is taken as what it says, or refused; never turned into something else."""

from typing import Any

import pytest
from hypothesis import given
from hypothesis import strategies as st
from rest_framework.exceptions import ValidationError
from rest_framework.fields import Field

from common.api import fields
from tests.api.conftest import World

ATHLETE = {"code": "A-90", "given_name": "Mira", "family_name": "Feld", "birth_date": "2010-04-09"}
SESSION = {"code": "2026-05-02-am", "held_date": "2026-05-02", "kind": "training"}
NOW = "2026-07-01T09:00:00+02:00"


@pytest.mark.parametrize(
    ("path", "good", "wrong", "code"),
    [
        ("athletes/", ATHLETE, {"code": 17}, "wrong_type"),
        ("athletes/", ATHLETE, {"code": True}, "wrong_type"),
        ("athletes/", ATHLETE, {"code": "a\u0000b"}, "control_character"),
        ("athletes/", ATHLETE, {"given_name": "Mi\nra"}, "control_character"),
        ("athletes/", ATHLETE, {"family_name": "x" * 81}, "max_length"),
        ("athletes/", ATHLETE, {"birth_date": "20100409"}, "not_a_day"),
        ("athletes/", ATHLETE, {"birth_date": "2010-02-30"}, "not_a_day"),
        ("athletes/", ATHLETE, {"birth_date": "0201-04-09"}, "day_out_of_range"),
        ("athletes/", ATHLETE, {"birth_date": "2099-04-09"}, "in_the_future"),
        ("athletes/", ATHLETE, {"take_off_foot": "both"}, "unknown_value"),
        ("athletes/", ATHLETE, {"take_off_foot": ["left"]}, "unknown_value"),
        ("athletes/", ATHLETE, {"shoe_length_m": "0.27"}, "wrong_type"),
        ("athletes/", ATHLETE, {"shoe_length_m": "NaN"}, "wrong_type"),
        ("athletes/", ATHLETE, {"shoe_length_m": True}, "wrong_type"),
        ("athletes/", ATHLETE, {"shoe_length_m": 10**400}, "number_out_of_range"),
        ("athletes/", ATHLETE, {"shoe_length_m": 27}, "max_value"),
        ("sessions/", SESSION, {"field_size": "5"}, "wrong_type"),
        ("sessions/", SESSION, {"field_size": 5.5}, "wrong_type"),
        ("sessions/", SESSION, {"runway": 17}, "not_an_id"),
        ("approaches/{approach}/plans/", {"start_mark_m": 34.3}, {"valid_from": NOW[:-6]},
         "time_without_zone"),
        ("approaches/{approach}/plans/", {"start_mark_m": 34.3}, {"valid_from": "2026-07-01"},
         "not_a_time"),
    ],
)  # fmt: skip
def test_a_wrong_value_is_refused_where_it_stands(
    world: World, path: str, good: dict[str, Any], wrong: dict[str, Any], code: str
):
    admin = world.as_("admin")
    path = path.format(approach=world.approach.id)

    answer = admin.post(path, good | wrong, if_match="*")

    (field,) = wrong
    assert answer.status_code == 400
    (fault,) = answer.json()["errors"]
    assert (fault["pointer"], fault["code"]) == (f"/{field}", code)
    assert admin.post(path, good, if_match="*").status_code == 201  # nothing else was wrong


def test_half_a_surrogate_pair_is_no_text(world: World):
    body = b'{"name": "\\ud83d", "kind": "device"}'

    answer = world.as_("admin").post("sources/", body)

    assert (answer.status_code, answer.json()["code"]) == (400, "invalid_json")


def test_a_whole_pair_is_text(world: World):
    body = b'{"name": "Gate \\ud83d\\ude00", "kind": "device"}'

    answer = world.as_("admin").post("sources/", body)

    assert answer.json()["name"] == "Gate \U0001f600"


@pytest.mark.parametrize(
    "query",
    [
        "athletes/?squad=",
        "athletes/?code=A-1&code=A-2",
        "attempts/?athlete=",
        "attempts/?started_from=2026-05-02T10:00:00",
        "attempts/?started_from=yesterday",
        "attempts/?started_from=0001-01-01T00:00:00%2B05:00",
        "athletes/?page_size=" + "9" * 5000,
        "athletes/?page_size=-1",
        "sessions/?kind=party",
        "athletes/?code=%00",
    ],
)
def test_a_parameter_never_widens_what_is_asked_for(world: World, query: str):
    answer = world.as_("admin").get(query)

    assert (answer.status_code, answer.json()["code"]) == (400, "invalid_parameter")


@pytest.mark.parametrize("path", ["attempts/?started_from=", "gate-runs/?started_before="])
def test_a_moment_may_have_any_offset(world: World, path: str):
    """RFC 3339 knows offsets up to 23:59, the database only those below 16 hours."""
    answer = world.as_("admin").get(f"{path}2026-05-02T09:14:07-23:59")

    assert answer.status_code == 200


JSON = st.recursive(
    st.none() | st.booleans() | st.integers() | st.floats() | st.text() | st.datetimes().map(str),
    lambda inner: st.lists(inner, max_size=3) | st.dictionaries(st.text(), inner, max_size=3),
    max_leaves=5,
)


def test_a_value_that_is_not_listed_is_told_those_that_are():
    with pytest.raises(ValidationError, match=r"One of left, right is expected\."):
        fields.OneOfField(["left", "right"]).run_validation("both")


@pytest.mark.parametrize(
    "field",
    [
        fields.TextField(),
        fields.TextField(lines=True),
        fields.NumberField(),
        fields.WholeNumberField(),
        fields.MomentField(),
        fields.DayField(),
        fields.IdField(),
        fields.OneOfField(["left", "right"]),
    ],
    ids=lambda field: type(field).__name__,
)
@given(value=JSON)
def test_a_field_takes_its_own_type_or_refuses(field: Field[Any, Any, Any, Any], value: Any):
    try:
        taken = field.run_validation(value)
    except ValidationError:
        return
    assert value is not None
    assert not isinstance(value, bool | list | dict)
    assert isinstance(value, str) is not isinstance(
        field, fields.NumberField | fields.WholeNumberField
    )
    if isinstance(field, fields.NumberField):
        assert taken == value
