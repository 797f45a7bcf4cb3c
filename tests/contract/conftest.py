"""The prepared club, as a fixture."""

import pytest

from tests.conftest import Keep
from tests.contract.stage import Stage, make_stage


@pytest.fixture(scope="module")
def kept_stage(keep: Keep[Stage]) -> Stage:
    return keep(make_stage)


@pytest.fixture
def stage(kept_stage: Stage, db: None) -> Stage:
    return kept_stage
