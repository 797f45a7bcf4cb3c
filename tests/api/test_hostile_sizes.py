"""Sizes that no client means: refused for what they are, and before they cost anything."""

from typing import Any

import pytest
from rest_framework.exceptions import ValidationError

from common.api import fields
from common.api.problems import MOST_FAULTS
from tests.api.conftest import World

SPLIT_LISTS = {
    "design": (
        "approaches/design/",
        lambda items: {"sprint": {"start": "standing", "splits": items}},
    ),
    "sprint test": (
        "athletes/{athlete}/sprint-tests/",
        lambda items: {"tested_date": "2026-04-11", "start": "standing", "splits": items},
    ),
    "runway": ("runways/", lambda items: {"name": "N", "surface": "polyurethane", "boards": items}),
    "plan": (
        "approaches/{approach}/plans/",
        lambda items: {"start_mark_m": 34.3, "check_marks": items},
    ),
    "planned footfalls": (
        "approaches/{approach}/plans/",
        lambda items: {"start_mark_m": 34.3, "toe_m": items},
    ),
}


@pytest.mark.parametrize(("path", "body_of"), SPLIT_LISTS.values(), ids=SPLIT_LISTS)
def test_a_list_that_is_too_long_is_refused_for_its_length_alone(
    world: World, path: str, body_of: Any
):
    """Looked at one by one, the items of one body kept a process busy for over a minute."""
    address = path.format(athlete=world.athlete.id, approach=world.approach.id)

    answer = world.as_("admin").post(address, body_of([{}] * 3000), If_Match="*")

    assert answer.status_code == 400
    faults = answer.json()["errors"]
    assert [each["code"] for each in faults if "max" in each["code"]] == ["max_length"]
    # Nothing is said of an item, so that none was looked at.
    assert not [each for each in faults if "/0" in each["pointer"]]


def test_no_item_of_a_list_that_is_too_long_is_looked_at(monkeypatch: pytest.MonkeyPatch):
    looked: list[Any] = []
    child = fields.NumberField()
    monkeypatch.setattr(child, "run_validation", looked.append)

    with pytest.raises(ValidationError, match="no more than 2 elements"):
        fields.ListField(child=child, max_length=2).run_validation([1.0, 2.0, 3.0])

    assert looked == []


def test_no_more_faults_are_named_than_somebody_mends(world: World):
    body = {f"field_{number}": 0 for number in range(3000)}

    answer = world.as_("admin").post("athletes/", body)

    assert answer.status_code == 400
    assert len(answer.json()["errors"]) == MOST_FAULTS


@pytest.mark.parametrize("number", ["000000001" + "9" * 9, "9" * 9, "1" + "0" * 5000, "-1", "1e9"])
@pytest.mark.parametrize("answer", ["consistency", "trend", "outlook"])
def test_a_count_is_read_whole_before_it_is_compared(world: World, answer: str, number: str):
    """The first nine digits were compared, and all of them were taken."""
    got = world.as_("admin").get(f"approaches/{world.approach.id}/{answer}?last={number}")

    assert got.status_code == 400
    assert got.json()["code"] in {"invalid_parameter", "unknown_parameter"}
