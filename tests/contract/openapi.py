"""The schema that is checked in, read as a client's developer would read it."""

from collections.abc import Iterator
from dataclasses import dataclass
from functools import cache
from pathlib import Path
from typing import Any

import yaml

CHECKED_IN = Path(__file__).parents[2] / "docs" / "api" / "openapi.yaml"
PREFIX = "/api/v1/clubs/{club}/"
JSON = "application/json"


@dataclass(frozen=True)
class Operation:
    """One method of one address of a club."""

    method: str
    path: str  # below the club, its ids as format fields
    described: dict[str, Any]

    @property
    def name(self) -> str:
        return str(self.described["operationId"])

    @property
    def successes(self) -> set[int]:
        return {int(status) for status in self.described["responses"] if status < "300"}

    @property
    def headers(self) -> set[str]:
        """Return the names of the headers that the operation takes."""
        return {
            each["name"] for each in self.described.get("parameters", []) if each["in"] == "header"
        }

    @property
    def bodies(self) -> dict[str, Any]:
        """Return what stands for each media type that the operation takes."""
        content: dict[str, Any] = self.described.get("requestBody", {}).get("content", {})
        return content

    def examples(self) -> list["Example"]:
        return [
            Example(self, media_type, name, described["value"])
            for media_type, body in self.bodies.items()
            for name, described in body.get("examples", {}).items()
        ]


@dataclass(frozen=True)
class Example:
    """A body as the schema prints it."""

    operation: Operation
    media_type: str
    title: str
    value: Any

    def __str__(self) -> str:
        return f"{self.operation.name}-{self.media_type.partition('/')[2]}-{self.title}"


# libyaml's reader is ten times as quick; it is in the wheels of all usual platforms.
_LOADER = getattr(yaml, "CSafeLoader", yaml.SafeLoader)


@cache
def read_schema() -> dict[str, Any]:
    """Return the schema that is checked in, read once for all tests: change only a copy."""
    read: dict[str, Any] = parse_yaml(CHECKED_IN.read_text(encoding="utf-8"))
    return read


def parse_yaml(text: str | bytes) -> Any:
    return yaml.load(text, Loader=_LOADER)  # noqa: S506  # each of the two is a safe one


def list_operations() -> list[Operation]:
    """Return every operation on a club."""
    return list(_operations())


def _operations() -> Iterator[Operation]:
    for path, item in read_schema()["paths"].items():
        for method, described in item.items():
            if path.startswith(PREFIX):
                yield Operation(method.upper(), path.removeprefix(PREFIX), described)


def find_operation(method: str, path: str) -> Operation | None:
    for operation in list_operations():
        if (operation.method, operation.path) == (method, path):
            return operation
    return None
