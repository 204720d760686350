"""The front door, the health check, and the pages for when something does not go."""

from __future__ import annotations

from collections.abc import Callable
from math import ceil
from typing import Any

from axes.helpers import get_cool_off
from django.core.exceptions import PermissionDenied
from django.http import Http404, HttpRequest, HttpResponse, HttpResponseServerError, JsonResponse
from django.shortcuts import redirect, render
from django.template.loader import get_template
from django.utils.text import get_text_list
from django.utils.translation import gettext as _
from django.views.decorators.cache import never_cache
from django.views.decorators.csrf import csrf_exempt
from django.views.decorators.http import require_safe
from django.views.defaults import bad_request

from brewbar import health
from brewbar.web import problems
from brewbar.web.answers import NotHere

View = Callable[..., HttpResponse]
API = "/api/"


def _open_to_all(view: View) -> View:
    """The gates of the crew are a room further in; a test that walks every address reads these two marks."""
    gated = require_safe(view)
    gated.roles = None  # type: ignore[attr-defined]
    gated.methods = ("GET",)  # type: ignore[attr-defined]
    return gated


@_open_to_all
def home(request: Any) -> HttpResponse:
    return redirect("recipes:board" if request.member else "crew:sign_in")


@_open_to_all
@never_cache
def live(request: HttpRequest) -> HttpResponse:
    """For whatever restarts a process that hangs: a broken database is no reason to."""
    return JsonResponse({"status": health.OK})


@_open_to_all
@never_cache
def ready(request: HttpRequest) -> HttpResponse:
    """For whoever watches the server. One word, since anybody may ask; the log has the details."""
    word = health.readiness()
    return JsonResponse({"status": word}, status=200 if word == health.OK else 503)


def cannot_be_read(request: HttpRequest, exception: Exception) -> HttpResponse:
    """400 for what no browser of ours sends; of a program's request the host itself may be what is wrong."""
    if request.path.startswith(API):
        return problems.answered(request, 400, _("The request cannot be read."))
    return bad_request(request, exception)


def forbidden(request: HttpRequest, exception: PermissionDenied) -> HttpResponse:
    """403, saying which roles may: a gate refuses without a sentence of its own."""
    reason = str(exception)
    view = request.resolver_match.func if request.resolver_match else None
    roles = sorted(str(role.label) for role in getattr(view, "roles", None) or () if hasattr(role, "label"))
    context = {
        "reason": reason,
        "roles": "" if reason else get_text_list(roles, _("or")),
        "reference": getattr(request, "reference", ""),
    }
    return render(request, "403.html", context, status=403)


def form_too_old(request: HttpRequest, reason: str = "") -> HttpResponse:
    """403 for a form whose token does not fit; the reason is for a log, not for the person."""
    return render(request, "403_form.html", {"reference": getattr(request, "reference", "")}, status=403)


@csrf_exempt
def no_such_address(request: HttpRequest) -> HttpResponse:
    """Of the interface for other programs, so that what is posted without the last slash is not led elsewhere."""
    return not_found(request, Http404())


no_such_address.roles, no_such_address.methods = None, ("GET",)  # type: ignore[attr-defined]


def not_found(request: HttpRequest, exception: Exception) -> HttpResponse:
    if request.path.startswith(API):
        return problems.answered(request, 404, _("There is no such address. Each one ends with a slash."))
    gone = exception if isinstance(exception, NotHere) else None
    return render(request, "404.html", {"gone": gone}, status=404)


def too_many_tries(
    request: HttpRequest, original_response: HttpResponse | None, credentials: dict[str, Any] | None
) -> HttpResponse:
    """429 when signing in is locked for a while."""
    wait = get_cool_off(request)
    seconds = ceil(wait.total_seconds()) if wait else 0
    response = render(request, "429.html", {"minutes": ceil(seconds / 60)}, status=429)
    response["Retry-After"] = str(seconds)
    return response


def server_error(request: HttpRequest) -> HttpResponse:
    """500, drawn without request or session: the database may be what is broken."""
    if request.path.startswith(API):
        return problems.answered(
            request, 500, _("Something went wrong here. The log has it under this reference.")
        )
    return HttpResponseServerError(
        get_template("500.html").render({"reference": getattr(request, "reference", "")})
    )
