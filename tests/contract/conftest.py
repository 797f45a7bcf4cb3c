"""The prepared club, as a fixture."""

import pytest

from tests.contract.stage import Stage, make_stage


@pytest.fixture
def stage(db: None) -> Stage:
    return make_stage()
