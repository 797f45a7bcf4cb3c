"""The schema says what the service does: closed for what is sent, open for what is answered."""

from collections.abc import Iterator
from typing import Any

import pytest
from drf_spectacular.generators import SchemaGenerator
from drf_spectacular.renderers import OpenApiYamlRenderer
from drf_spectacular.validation import validate_schema

from tests.contract.openapi import parse_yaml, read_schema

CHANGING = {"put", "patch"}


@pytest.fixture(scope="module")
def schema() -> dict[str, Any]:
    made = SchemaGenerator().get_schema(public=True)
    text = OpenApiYamlRenderer().render(made, renderer_context={})
    read: dict[str, Any] = parse_yaml(text)
    return read


def operations(schema: dict[str, Any]) -> Iterator[tuple[str, str, dict[str, Any]]]:
    for path, item in schema["paths"].items():
        for method, operation in item.items():
            if path.startswith("/api/v1/clubs/"):
                yield method, path, operation


def sent_schemas(schema: dict[str, Any]) -> Iterator[tuple[str, dict[str, Any]]]:
    """Return each component that a request body reaches."""
    waiting = [op["requestBody"] for _, _, op in operations(schema) if "requestBody" in op]
    seen: set[str] = set()
    while waiting:
        part = waiting.pop()
        if isinstance(part, list):
            waiting += part
        elif isinstance(part, dict):
            waiting += part.values()
            name = str(part.get("$ref", "")).removeprefix("#/components/schemas/")
            if name and name not in seen:
                seen.add(name)
                component = schema["components"]["schemas"][name]
                waiting.append(component)
                yield name, component


class TestSchema:
    def test_is_valid_openapi(self, schema: dict[str, Any]):
        assert schema["openapi"].startswith("3.1")
        validate_schema(schema)

    def test_the_one_in_the_docs_is_in_step(self, schema: dict[str, Any]):
        assert read_schema() == schema

    def test_what_is_sent_is_closed(self, schema: dict[str, Any]):
        sent = dict(sent_schemas(schema))

        assert len(sent) >= 8
        still_open = [
            name
            for name, component in sent.items()
            if component.get("type") == "object"
            and component.get("additionalProperties") is not False
        ]
        assert still_open == []

    def test_what_is_answered_is_open(self, schema: dict[str, Any]):
        sent = {name for name, _ in sent_schemas(schema)}
        for name, component in schema["components"]["schemas"].items():
            if name not in sent:
                assert "additionalProperties" not in component, name
                for field in component.get("properties", {}).values():
                    assert "enum" not in field, name

    def test_every_operation_has_a_plain_name_of_its_own(self, schema: dict[str, Any]):
        names = [operation["operationId"] for _, _, operation in operations(schema)]

        assert len(names) == len(set(names))
        assert [name for name in names if name.startswith("api_")] == []

    def test_every_operation_tells_of_its_problems_and_asks_for_a_token(
        self, schema: dict[str, Any]
    ):
        for method, path, operation in operations(schema):
            assert {"400", "401", "403", "404"} <= set(operation["responses"]), (method, path)
            for status, answer in operation["responses"].items():
                if status >= "400":
                    assert set(answer["content"]) == {"application/problem+json"}, (method, path)
            assert operation["security"] == [{"accessToken": []}], (method, path)

    def test_every_body_has_an_example_in_every_form(self, schema: dict[str, Any]):
        """tests/contract sends each of them."""
        for method, path, operation in operations(schema):
            content = operation.get("requestBody", {}).get("content", {})
            assert content or method not in CHANGING, (method, path)
            for media_type, body in content.items():
                assert body.get("examples"), (method, path, media_type)
