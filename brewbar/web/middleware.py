"""What every answer carries, beyond what Django and the content security policy set."""

from __future__ import annotations

from collections.abc import Callable

from django.http import HttpRequest, HttpResponse
from django.utils.cache import patch_vary_headers

UNUSED = ("accelerometer", "camera", "geolocation", "gyroscope", "microphone", "payment", "usb")
PERMISSIONS = ", ".join([*(f"{feature}=()" for feature in UNUSED), "screen-wake-lock=(self)"])


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
