"""What if, as a worker answers it."""

from collections.abc import Callable, Hashable, Mapping
from typing import Any
from uuid import UUID

import msgspec

from analytics import selectors
from analytics.answers import what_if
from analytics.answers.told import Told
from analytics.answers.what_if import Choices
from analytics.selectors import RunUps, Series
from analytics.services.figures import as_json
from analytics.services.heads import head_of
from approaches.models import Approach, FinishClass
from common.errors import Fault, InvalidInputError


def check(choices: Mapping[str, Any], approach: Approach) -> None:
    """Refuse what cannot be asked of a run-up with so many steps.

    Raises
    ------
    InvalidInputError
        The run-up has too few steps for the model, or lacks a step that is asked about.
    """
    if approach.steps < what_if.FEWEST_STEPS:
        text = f"The run-up needs {what_if.FEWEST_STEPS} steps or more to be modelled."
        raise InvalidInputError(faults=[Fault("", "run_up_too_short", text)])
    part = choices.get("steadier")
    if part is None:
        return
    if part["first_step"] > approach.steps:
        fault = Fault(
            "/steadier/first_step", "no_such_step", f"The run-up has {approach.steps} steps."
        )
        raise InvalidInputError(faults=[fault])


def read(asked: Mapping[str, Any]) -> RunUps:
    """Return the latest attempts of the series that is asked about."""
    series = Series(UUID(asked["approach"]), FinishClass(asked["finish"]))
    return selectors.read_run_ups(series, last=asked["last"])


def key_of(run_ups: RunUps) -> Hashable:
    """Return what tells these attempts from any others."""
    return run_ups.key


def work_out(
    run_ups: RunUps, asked: Mapping[str, Any], step: Callable[[int, int], None]
) -> dict[str, Any]:
    """Return the figures with what they rest on."""
    choices = msgspec.convert(asked["choices"], Choices)
    found = what_if.work_out(run_ups, choices, step=step)
    return {**head_of(run_ups), **as_json(found)}


def tell(stored: Mapping[str, Any]) -> Told:
    """Say stored figures in words."""
    return what_if.tell(what_if.as_found(stored))
