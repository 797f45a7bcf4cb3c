"""One stack for all fault tests; each gets a club of its own and a stack that is whole."""

import json
import os
import random
from collections.abc import Callable, Iterator
from pathlib import Path

import pytest

from tests.conftest import Tell
from tests.faults.case import Case
from tests.faults.client import Client
from tests.faults.history import History
from tests.faults.scene import Scene
from tests.faults.stack import Stack

_CLUBS_AT_ONCE = 12


@pytest.fixture(scope="package")
def running_stack(tmp_path_factory: pytest.TempPathFactory) -> Iterator[Stack]:
    with Stack(tmp_path_factory.mktemp("stack")) as stack:
        yield stack


@pytest.fixture(scope="package")
def next_scene(running_stack: Stack) -> Callable[[], Scene]:
    """Return what hands out fresh clubs; they are made several at once, which is quicker."""
    waiting: list[Scene] = []

    def take() -> Scene:
        if not waiting:
            printed = running_stack.run(["-m", "tests.faults.scene", str(_CLUBS_AT_ONCE)])
            waiting.extend(Scene.from_json(json.loads(line)) for line in printed.splitlines())
        return waiting.pop()

    return take


@pytest.fixture
def stack(running_stack: Stack) -> Stack:
    running_stack.mend()
    return running_stack


@pytest.fixture
def seed() -> int:
    """Return the seed of this run; PENULT_FAULTS_SEED tries another one."""
    return int(os.environ.get("PENULT_FAULTS_SEED", "20260502"))


@pytest.fixture
def case(
    stack: Stack,
    next_scene: Callable[[], Scene],
    seed: int,
    tmp_path: Path,
    tell: Tell,
) -> Iterator[Case]:
    scene = next_scene()
    history = History(tmp_path / "history.jsonl")
    rng = random.Random(seed)  # noqa: S311  # a repeatable course of events, no secret
    case = Case(stack, scene, Client(stack.base_url, scene, history), rng)
    yield case
    tell(f"seed {seed}; {'; '.join(case.told)}")
