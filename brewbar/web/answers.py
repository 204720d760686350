"""Answers that views of every room give."""

from django.http import Http404, HttpRequest, HttpResponse
from django.shortcuts import render
from django.utils.http import url_has_allowed_host_and_scheme


class NotHere(Http404):
    """A 404 that says what became of what was there, and where to go instead."""

    def __init__(self, says: str, way_on: str) -> None:
        super().__init__(says)
        self.says, self.way_on = says, way_on


def next_page(request: HttpRequest) -> str:
    """Where the person was going, if that is a page of ours; else nothing."""
    wanted = request.POST.get("next") or request.GET.get("next") or ""
    ours = url_has_allowed_host_and_scheme(wanted, allowed_hosts=None, require_https=request.is_secure())
    return wanted if ours else ""


def conflict(request: HttpRequest, reason: str, way_on: str = "") -> HttpResponse:
    """409: what was sent was made from something that has changed since. ``way_on`` is where to go instead."""
    return render(request, "409.html", {"reason": reason, "way_on": way_on}, status=409)
