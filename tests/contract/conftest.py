"""The prepared club, as a fixture."""

import pytest

from common import waiting
from tests.conftest import Keep
from tests.contract.stage import Stage, make_stage


@pytest.fixture(scope="module")
def kept_stage(keep: Keep[Stage]) -> Stage:
    return keep(make_stage)


@pytest.fixture
def stage(kept_stage: Stage, db: None) -> Stage:
    return kept_stage


@pytest.fixture(autouse=True)
def _nobody_waits(monkeypatch: pytest.MonkeyPatch) -> None:
    """Have no seat for who would wait for fresher figures.

    Whoever waits lets go of the connection, and with it of the transaction around a test; waiting
    is tried in `tests/faults`, on a stack.
    """
    monkeypatch.setattr(waiting, "_room", waiting.WaitingRoom(0))
