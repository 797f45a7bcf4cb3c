"""A running Penult for the examples, with the file that script/demo leaves for them."""

import json
from collections.abc import Iterator
from dataclasses import dataclass
from pathlib import Path

import pytest

from tests.faults.client import Client
from tests.faults.history import History
from tests.faults.scene import Scene
from tests.faults.stack import Stack, wait_until


@dataclass(frozen=True)
class Demo:
    """Where a reader of the docs stands, and where the service answers."""

    folder: Path
    base_url: str


@pytest.fixture(scope="package")
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
        raise_an_alert(stack, scene, folder / "history.jsonl")
        yield Demo(folder, stack.base_url)


def raise_an_alert(stack: Stack, scene: Scene, history: Path) -> None:
    """Push a day with many no jumps, and wait until a coach would be told."""
    client = Client(stack.base_url, scene, History(history))
    athlete, approach = next(iter(scene.series.items()))
    answer = client.push(
        [
            {
                "external_id": f"day-{number:02}",
                "athlete": f"ext:{athlete}",
                "approach": approach,
                "session": scene.sessions[0],
                "started_at": f"2026-05-02T10:{2 * number:02}:00+02:00",
                "finish": "jump",
                "outcome": "no_jump" if number % 5 < 3 else "not_judged",
                "footfalls": {"toe_m": [-0.04 if number % 5 < 3 else 0.08, 2.2, 4.5]},
            }
            for number in range(20)
        ]
    )
    assert answer.body["created"] == 20, answer.body
    wait_until(lambda: client.read("alerts/?open=true")["results"], "a coach is told")
