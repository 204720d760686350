"""The schema of the interface, OpenAPI 3.1: what all addresses share is said here once."""

from __future__ import annotations

from functools import cache
from typing import Any

from drf_spectacular.extensions import OpenApiAuthenticationExtension
from drf_spectacular.generators import SchemaGenerator
from drf_spectacular.openapi import AutoSchema
from drf_spectacular.renderers import OpenApiJsonRenderer, OpenApiYamlRenderer
from rest_framework.renderers import BaseRenderer, JSONRenderer
from rest_framework.response import Response

from brewbar.crew.api.answered import HEADER, PATTERN, REPLAYED
from brewbar.crew.api.view import ApiView
from brewbar.web.problems import KINDS, MEDIA_TYPE

BEGINS = "/api/v1/"
ABOUT = """What a café's own programs may ask of brewbar, and send to it.

Every request shows a key as `Authorization: Bearer …`; people make keys under their account. A key acts as whoever
made it, in their role and at their café, and only within its scopes: `recipes`, `readings`, `results`.

Masses are in g, temperatures in °C, TDS and extraction yield in %, times in s; all are JSON numbers. Moments have an
offset (RFC 3339), days are the café's business days. Every answer has a strong `ETag`: send it as `If-None-Match`, and
what has not changed is answered with 304. Long lists come in pages; follow `next`.

A `POST` may carry an `Idempotency-Key`: the same again gives the same answer, and changes nothing twice, for a week.

Whatever does not go is answered as problem details (RFC 9457). 400 says that the request has the wrong shape, 422 that
its shape is right but it cannot be. The types of problems are:
"""
PROBLEM: dict[str, Any] = {
    "type": "object",
    "description": "Problem details, RFC 9457.",
    "required": ["type", "title", "status", "detail", "instance"],
    "properties": {
        "type": {"type": "string", "description": "about:blank, or the address of a kind listed above."},
        "title": {"type": "string"},
        "status": {"type": "integer"},
        "detail": {"type": "string"},
        "instance": {"type": "string", "description": "Names this one answer; the server's log has it too."},
        "errors": {
            "type": "array",
            "items": {
                "type": "object",
                "required": ["detail"],
                "properties": {
                    "detail": {"type": "string"},
                    "pointer": {"type": "string", "description": "JSON pointer into the body, RFC 6901."},
                    "parameter": {"type": "string"},
                    "header": {"type": "string"},
                },
            },
        },
        "doubts": {
            "type": "array",
            "description": "Of a question: what is improbable. Send each `key` in `sure` to say that it is so.",
            "items": {
                "type": "object",
                "required": ["key", "detail"],
                "properties": {"key": {"type": "string"}, "detail": {"type": "string"}},
            },
        },
    },
}
ALWAYS = {
    "400": "The request has the wrong shape.",
    "401": "No key, or one that opens nothing.",
    "403": "Not for this key: its scopes or its role.",
    "406": "Answers are JSON.",
    "422": "The shape is right, but it cannot be.",
    "429": "Too often. Retry-After says when to come back.",
}
WITH_A_BODY = {"409": "It stands for something else already.", "415": "Bodies are JSON."}
OF_A_ROW = {"404": "There is nothing at this address for this key."}


class KeyScheme(OpenApiAuthenticationExtension):
    target_class = "brewbar.crew.api.authentication.ByKey"
    name = "key"

    def get_security_definition(self, auto_schema: Any) -> dict[str, str]:
        return {"type": "http", "scheme": "bearer"}


class ApiSchema(AutoSchema):
    def get_description(self) -> str:  # type: ignore[override]  # as drf-spectacular calls it
        view: Any = self.view
        scope = view.scopes[self.method]
        return f"Needs the scope `{scope.value}`." if scope else "Any key does."


def only_the_api(endpoints: list[Any]) -> list[Any]:
    return [one for one in endpoints if one[0].startswith(BEGINS)]


def with_what_all_share(result: dict[str, Any], generator: Any, request: Any, public: bool) -> dict[str, Any]:
    """Problems, headers and the key, added to every operation."""
    kinds = "".join(f"\n- `#{kind}`: {title}." for kind, title in KINDS.items())
    result["info"]["description"] = ABOUT + kinds
    components = result.setdefault("components", {})
    components.setdefault("schemas", {})["Problem"] = PROBLEM
    for path, operations in result["paths"].items():
        for method, operation in operations.items():
            _share(path, method, operation)
    for name, schema in components["schemas"].items():
        if name.endswith("Request"):
            schema["additionalProperties"] = False
    _without_marks(result)
    return result


def _without_marks(part: Any) -> None:
    """The generator's own notes on enums say nothing to anybody else."""
    if isinstance(part, dict):
        part.pop("x-spec-enum-id", None)
    for inner in part.values() if isinstance(part, dict) else part if isinstance(part, list) else ():
        _without_marks(inner)


def _share(path: str, method: str, operation: dict[str, Any]) -> None:
    responses, parameters = operation["responses"], operation.setdefault("parameters", [])
    problems = dict(ALWAYS)
    if "{" in path:
        problems |= OF_A_ROW
    if method == "post":
        problems |= WITH_A_BODY
        parameters.append(
            {
                "in": "header",
                "name": HEADER,
                "schema": {"type": "string", "pattern": PATTERN},
                "description": "The same again under the same key gives the same answer.",
            }
        )
        for status in ("200", "201"):
            if status in responses:
                responses[status].setdefault("headers", {})[REPLAYED] = {
                    "schema": {"type": "string", "enum": ["true"]},
                    "description": "There when this is what was answered before.",
                }
    else:
        parameters.append(
            {
                "in": "header",
                "name": "If-None-Match",
                "schema": {"type": "string"},
                "description": "An ETag: 304 if nothing has changed since.",
            }
        )
        responses["200"].setdefault("headers", {})["ETag"] = {"schema": {"type": "string"}, "required": True}
        responses["304"] = {"description": "Not changed."}
    for status, says in sorted(problems.items()):
        responses[status] = {
            "description": says,
            "content": {MEDIA_TYPE: {"schema": {"$ref": "#/components/schemas/Problem"}}},
        }
    responses["401"]["headers"] = {"WWW-Authenticate": {"schema": {"type": "string"}, "required": True}}
    responses["429"]["headers"] = {"Retry-After": {"schema": {"type": "integer"}, "required": True}}


@cache
def schema() -> dict[str, Any]:
    """Of this version; it is the same for everybody."""
    made: dict[str, Any] = SchemaGenerator().get_schema(request=None, public=True)
    return made


class PlainJson(OpenApiJsonRenderer):
    media_type = "application/json"


class Schema(ApiView):
    """No secret, so it needs no key: the schema has no data of anybody."""

    scopes = {"GET": None}
    schema = None
    authentication_classes = []
    throttle_classes = []
    renderer_classes: list[type[BaseRenderer]] = [
        PlainJson,
        OpenApiJsonRenderer,
        OpenApiYamlRenderer,
        JSONRenderer,
    ]

    def let_in(self, request: Any) -> None:
        """Everybody."""

    def get(self, request: Any) -> Response:
        return Response(schema())
