"""The OpenAPI schema, made from the code that answers."""

from typing import Any

import msgspec
from drf_spectacular.extensions import OpenApiSerializerExtension
from drf_spectacular.openapi import AutoSchema
from drf_spectacular.plumbing import ResolvedComponent
from drf_spectacular.utils import Direction, OpenApiParameter, OpenApiResponse
from rest_framework import serializers

from common.api.fields import NumberField, TextField
from common.api.problems import MEDIA_TYPE
from common.api.serializers import ChangesSerializer, ProblemSerializer, StrictSerializer

IF_MATCH = OpenApiParameter(
    "If-Match",
    str,
    OpenApiParameter.HEADER,
    required=True,
    description="The ETag of the version that the change starts from.",
)
IDEMPOTENCY_KEY = OpenApiParameter(
    "Idempotency-Key",
    str,
    OpenApiParameter.HEADER,
    description="Names this write: sent again within a day, it is answered again, not done again.",
)
_IF_NONE_MATCH = OpenApiParameter(
    "If-None-Match",
    str,
    OpenApiParameter.HEADER,
    description="The ETag of the answer that the client has: 304 when it is still the same.",
)


def _header_of_answers(name: str, description: str) -> OpenApiParameter:
    return OpenApiParameter(
        name, str, OpenApiParameter.HEADER, description=description, response=["200"]
    )


_ETAG = _header_of_answers("ETag", "Names just this answer; If-None-Match takes it.")
_LINK = _header_of_answers(
    "Link", "The next and the previous page, where there are some (RFC 8288)."
)
_UNCHANGED = {"304": {"description": "The client has just this answer: If-None-Match names it."}}

_PROBLEMS = {
    "400": "The request breaks a rule; `errors` names each field.",
    "401": "No valid access token.",
    "403": "The role or the token's scopes do not allow this.",
    "404": "There is no such thing here, or it is not the caller's.",
    "429": "Too many requests, or too many unknown tokens; wait as Retry-After says.",
    "503": "The database does not answer; send again after Retry-After seconds.",
}


class ClubSchema(AutoSchema):
    """Close what is sent, leave open what is answered, and tell of every problem."""

    def get_operation_id(self) -> str:
        named: str | None = getattr(self.view, "operation_names", {}).get(self.method)
        return named or super().get_operation_id()

    def get_override_parameters(self) -> list[Any]:
        if self.method != "GET":
            return []
        pages = [_LINK] if self._is_list_view() else []
        return [_IF_NONE_MATCH, _ETAG, *pages]

    def get_tags(self) -> list[str]:
        """Return what of the club it is about: pages and clients have a part for each."""
        about: list[str] = self._tokenize_path()[1:]
        return [about[0].replace("-", " ") if about else "club"]

    def _get_request_body(self, direction: Direction = "request") -> Any:
        body = super()._get_request_body(direction)  # type: ignore[no-untyped-call]  # untyped library
        # An empty body never stands for anything, not for a change of nothing either.
        return body and {**body, "required": True}

    def _get_response_bodies(self, direction: Direction = "response") -> dict[str, Any]:
        bodies: dict[str, Any] = super()._get_response_bodies(direction)
        for status, description in {**_PROBLEMS, **self._own_problems()}.items():
            if status not in bodies:
                bodies[status] = self._get_response_for_code(  # type: ignore[no-untyped-call]  # untyped library
                    OpenApiResponse(ProblemSerializer, description), status, [MEDIA_TYPE]
                )
        return dict(sorted((bodies | (_UNCHANGED if self.method == "GET" else {})).items()))

    def _own_problems(self) -> dict[str, str]:
        declared: dict[str, dict[str, str]] = getattr(self.view, "problems", {})
        return declared.get(self.method, {})

    def _map_basic_serializer(self, serializer: Any, direction: Direction) -> Any:
        schema = super()._map_basic_serializer(serializer, direction)  # type: ignore[no-untyped-call]  # untyped library
        if direction == "request" and isinstance(serializer, StrictSerializer):
            schema["additionalProperties"] = False
        if not type(serializer).__doc__ and not isinstance(serializer, ChangesSerializer):
            schema.pop("description", None)  # it tells of the class that this one builds on
        return schema

    def _map_serializer_field(
        self, field: Any, direction: Direction, bypass_extensions: bool = False
    ) -> Any:
        schema = super()._map_serializer_field(field, direction, bypass_extensions)  # type: ignore[no-untyped-call]  # untyped library
        if isinstance(field, TextField):
            return {**schema, "pattern": field.pattern}
        if isinstance(field, NumberField):
            bounds = {"exclusiveMinimum": field.above, "exclusiveMaximum": field.below}
            return schema | {name: bound for name, bound in bounds.items() if bound is not None}
        if direction == "response" and isinstance(field, serializers.ChoiceField):
            # A later release may answer a value that no client knows yet.
            values = ", ".join(str(choice) for choice in field.choices)
            return {
                "type": ["string", "null"] if field.allow_null else "string",
                "description": f"One of {values}; more may come.",
            }
        if None in schema.get("enum", ()):
            # A client makes a type of the values; null is none of them.
            named = [value for value in schema.pop("enum") if value is not None]
            schema["anyOf"] = [{"type": "string", "enum": named}, {"type": "null"}]
            schema.pop("type")
        return schema


def without_marks(result: dict[str, Any], **_: Any) -> dict[str, Any]:
    """Return the schema without the marks that the library leaves for its own use."""
    waiting: list[Any] = [result]
    while waiting:
        part = waiting.pop()
        if isinstance(part, dict):
            part.pop("x-spec-enum-id", None)
            waiting += part.values()
        elif isinstance(part, list):
            waiting += part
    return result


class StructExtension(OpenApiSerializerExtension):
    """Describe msgspec types: the batch endpoints are in the schema from the types that parse."""

    target_class = "msgspec.Struct"
    match_subclasses = True

    def get_name(self, auto_schema: AutoSchema, direction: Direction) -> str:
        return str(self.target.__name__)

    def map_serializer(self, auto_schema: AutoSchema, direction: Direction) -> dict[str, Any]:
        _, components = msgspec.json.schema_components(
            [self.target], ref_template="#/components/schemas/{name}Request"
        )
        for name, component in components.items():
            # The type's name: an answer may have the same one, and a client one class for each.
            component.pop("title", None)
            if name != self.target.__name__:
                auto_schema.registry.register_on_missing(
                    ResolvedComponent(
                        name=f"{name}Request",
                        type=ResolvedComponent.SCHEMA,
                        object=f"{name}Request",
                        schema=component,
                    )
                )
        return dict(components[self.target.__name__])
