"""A running Penult for the examples, with the file that script/demo leaves for them."""

import json
from collections.abc import Iterator
from dataclasses import dataclass
from pathlib import Path

import pytest

from tests.faults.scene import Scene
from tests.faults.stack import Stack


@dataclass(frozen=True)
class Demo:
    """Where a reader of the docs stands, and where the service answers."""

    folder: Path
    base_url: str


@pytest.fixture(scope="session")
def demo(tmp_path_factory: pytest.TempPathFactory) -> Iterator[Demo]:
    folder = tmp_path_factory.mktemp("reader")
    with Stack(tmp_path_factory.mktemp("stack")) as stack:
        scene = Scene.from_json(json.loads(stack.run(["-m", "tests.faults.scene", "1"])))
        tokens = folder / ".local" / "demo" / "tokens.json"
        tokens.parent.mkdir(parents=True)
        tokens.write_text(
            json.dumps(
                {
                    "base_url": stack.base_url,
                    "club": scene.club,
                    "device_token": scene.device_token,
                    "coach_token": scene.reader_token,
                    "admin_token": scene.reader_token,
                }
            )
        )
        yield Demo(folder, stack.base_url)
