"""Answers that views of every room give."""

from django.http import HttpRequest, HttpResponse
from django.shortcuts import render


def conflict(request: HttpRequest, reason: str, way_on: str = "") -> HttpResponse:
    """409: what was sent was made from something that has changed since. ``way_on`` is where to go instead."""
    return render(request, "409.html", {"reason": reason, "way_on": way_on}, status=409)
