"""What the interface for other programs says when something does not go: problem details.

Nottingham, Wilde, Dalal 2023, Problem Details for HTTP APIs, RFC 9457, doi:10.17487/RFC9457. A problem that its status
says all about has the type ``about:blank`` (section 4.2.1); the others lead to the schema, which explains them.
"""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from dataclasses import asdict, dataclass
from http import HTTPStatus
from math import ceil
from typing import Any

from django.conf import settings
from django.core.exceptions import PermissionDenied
from django.http import Http404, HttpRequest, HttpResponse, JsonResponse
from django.urls import reverse
from django.utils.translation import gettext as _
from django.utils.translation import gettext_lazy
from rest_framework import exceptions
from rest_framework.response import Response

MEDIA_TYPE = "application/problem+json"

KINDS = {
    "wrong-shape": gettext_lazy("The request does not have the shape that is asked for"),
    "not-possible": gettext_lazy("What was sent cannot be"),
    "question": gettext_lazy("A question comes first"),
    "taken": gettext_lazy("The UUID stands for something else already"),
    "key-reused": gettext_lazy("The Idempotency-Key was sent with something else before"),
    "not-yours": gettext_lazy("Not for this key"),
}
"""Problems that a program may want to tell apart, by the last part of their type."""


@dataclass(frozen=True)
class Wrong:
    """One error: ``pointer`` leads to its part of the body (RFC 6901), or ``parameter`` or ``header`` is its name."""

    detail: str
    pointer: str | None = None
    parameter: str | None = None
    header: str | None = None

    @property
    def said(self) -> dict[str, str]:
        """Half a surrogate pair may be in a name or a value that is told back, and is no text to send."""
        told = {name: str(value) for name, value in asdict(self).items() if value is not None}
        return {name: text.encode("utf-8", "backslashreplace").decode() for name, text in told.items()}


class Problem(exceptions.APIException):
    """Ends a request with a problem of one of the KINDS."""

    def __init__(
        self, status: int, kind: str, detail: str = "", errors: Iterable[Wrong] = (), **more: Any
    ) -> None:
        self.status_code, self.kind, self.errors, self.more = status, kind, tuple(errors), more
        super().__init__(detail or " ".join(wrong.detail for wrong in self.errors) or str(KINDS[kind]))


def type_of(kind: str) -> str:
    return f"{settings.BASE_URL}{reverse('crew:api_schema')}#{kind}"


def members(
    request: Any, status: int, detail: str, kind: str = "", errors: Iterable[Wrong] = (), **more: Any
) -> dict[str, Any]:
    """The members of a problem; ``instance`` is the request's own name, by which the log has it."""
    said: dict[str, Any] = {
        "type": type_of(kind) if kind else "about:blank",
        "title": str(KINDS[kind]) if kind else HTTPStatus(status).phrase,
        "status": status,
        "detail": detail,
        "instance": f"urn:brewbar:request:{getattr(request, 'reference', '')}",
    }
    if told := [wrong.said for wrong in errors]:
        said["errors"] = told
    return said | more


def handler(error: Exception, context: Mapping[str, Any]) -> Response | None:
    """What Django REST framework calls for whatever a view raises; None lets the server's own error page answer."""
    request = context["request"]
    if isinstance(error, Http404):
        error = exceptions.NotFound(_("There is nothing at this address for this key."))
    elif isinstance(error, PermissionDenied):
        error = exceptions.PermissionDenied(str(error) or None)
    if not isinstance(error, exceptions.APIException):
        return None
    headers = {}
    if challenge := getattr(error, "auth_header", None):
        headers["WWW-Authenticate"] = challenge
    if (wait := getattr(error, "wait", None)) is not None:
        headers["Retry-After"] = str(max(1, ceil(wait)))
    said = _said(request, error)
    return Response(said, status=error.status_code, headers=headers, content_type=MEDIA_TYPE)


def _said(request: Any, error: exceptions.APIException) -> dict[str, Any]:
    if isinstance(error, Problem):
        return members(request, error.status_code, str(error.detail), error.kind, error.errors, **error.more)
    if isinstance(error, exceptions.ValidationError):
        errors = list(pointed(error.detail))
        return members(
            request, error.status_code, _("Some of what was sent is not right."), "wrong-shape", errors
        )
    return members(request, error.status_code, str(error.detail))


def pointed(detail: Any, at: str = "") -> Iterable[Wrong]:
    """Each error of a serializer with the JSON pointer of its field (RFC 6901, section 3)."""
    if isinstance(detail, Mapping):
        for name, inner in detail.items():
            part = "" if name == "non_field_errors" else f"/{pointer_part(str(name))}"
            yield from pointed(inner, at + part)
    elif isinstance(detail, list) and any(isinstance(inner, Mapping | list) for inner in detail):
        for place, inner in enumerate(detail):
            yield from pointed(inner, f"{at}/{place}")
    elif isinstance(detail, list):
        yield from (Wrong(str(one), pointer=at) for one in detail)
    else:
        yield Wrong(str(detail), pointer=at)


def pointer_part(name: str) -> str:
    return name.replace("~", "~0").replace("/", "~1")


def answered(request: HttpRequest, status: int, detail: str) -> HttpResponse:
    """The same, where no view of the framework answers."""
    said = members(request, status, detail)
    return JsonResponse(said, status=status, content_type=MEDIA_TYPE)
