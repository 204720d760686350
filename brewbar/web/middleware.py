"""One line in the log for every request, and what every answer carries beyond what Django and the policy set."""

from __future__ import annotations

import logging
import time
from collections.abc import Callable
from typing import Any

from django.conf import settings
from django.http import HttpRequest, HttpResponse
from django.utils.cache import patch_vary_headers

from brewbar import logs

logger = logging.getLogger("brewbar.request")
HEALTH, API = "/health/", "/api/"
UNUSED = ("accelerometer", "camera", "geolocation", "gyroscope", "microphone", "payment", "usb")
PERMISSIONS = ", ".join([*(f"{feature}=()" for feature in UNUSED), "screen-wake-lock=(self)"])


class RequestLog:
    """Outermost: gives the request the reference that error pages show, and writes down how it ended."""

    def __init__(self, get_response: Callable[[HttpRequest], HttpResponse]) -> None:
        self.get_response = get_response

    def __call__(self, request: Any) -> HttpResponse:
        began = time.perf_counter()
        request.reference = logs.new_reference()
        if request.path.startswith((HEALTH, API)):
            # Whoever asks for health is nobody, and a program is who its key says: no session, no tablet.
            request.META.pop("HTTP_COOKIE", None)
        with logs.of_request(request.reference, request.method, request.path) as asked:
            response = self.get_response(request)
            took_ms = round((time.perf_counter() - began) * 1000)
            figures = {
                "status": response.status_code,
                "duration_ms": took_ms,
                "user": _who(request, response),
                "member": getattr(getattr(request, "member", None), "key", None),
            }
            logger.log(
                _level(request, response),
                *("%s: %d in %d ms", asked, response.status_code, took_ms),
                extra={"figures": figures},
            )
        response.headers["X-Request-ID"] = request.reference
        return response


def _who(request: Any, response: HttpResponse) -> int | None:
    """The number of the person. After a failure nothing more is asked of the database, which may be what failed."""
    if response.status_code < 500:
        return getattr(getattr(request, "user", None), "pk", None)
    return getattr(getattr(getattr(request, "member", None), "user", None), "pk", None)


def _level(request: HttpRequest, response: HttpResponse) -> int:
    if response.status_code >= 500:
        return logging.ERROR
    by_itself = "X-Poll" in request.headers or request.path.startswith((HEALTH, settings.STATIC_URL))
    return logging.DEBUG if by_itself else logging.INFO


class AnswerHeaders:
    """Stands outside the session, so that a redirect keeps the cookies set on it."""

    def __init__(self, get_response: Callable[[HttpRequest], HttpResponse]) -> None:
        self.get_response = get_response

    def __call__(self, request: HttpRequest) -> HttpResponse:
        response = self.get_response(request)
        if request.headers.get("HX-Request") == "true" and response.status_code in (301, 302, 303):
            # The browser would follow it inside the fragment; the page as a whole has to move.
            response["HX-Redirect"] = response["Location"]
            del response["Location"]
            response.status_code = 204
        # A page and its fragment live at one address: without this, Back would show the bare fragment.
        patch_vary_headers(response, ["HX-Request"])
        # Not no-store: that empties a half-filled form on Back. no-cache asks the server first, so that
        # nobody sees what another person on the same phone was shown.
        response.headers.setdefault("Cache-Control", "private, no-cache")
        response.headers.setdefault("Permissions-Policy", PERMISSIONS)
        response.headers.setdefault("Cross-Origin-Resource-Policy", "same-origin")
        return response
