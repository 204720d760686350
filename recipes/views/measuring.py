"""Measuring where a kettle's stream breaks: read by everybody, entered by head baristas."""

from __future__ import annotations

from typing import Any

from django.contrib import messages
from django.http import HttpResponse
from django.shortcuts import get_object_or_404, redirect
from django.urls import reverse
from django.utils import timezone
from django.utils.translation import gettext as _
from rest_framework.decorators import api_view
from rest_framework.response import Response

from brewbar.crew.access import crew, head_baristas
from brewbar.web.forms import render_form
from recipes import figures, measuring
from recipes.brewing import kettle_words, safety
from recipes.brewing.rules import COMMON_PRACTICE, RULES
from recipes.catalogue import NotDone
from recipes.forms.measuring import PointForm
from recipes.models import BreakupPoint, Kettle


@crew("GET")
def kettle(request: Any, pk: int) -> HttpResponse:
    return _page(request, _kettle(request, pk), PointForm())


@head_baristas("GET", "POST")
def point_new(request: Any, pk: int) -> HttpResponse:
    kettle = _kettle(request, pk)
    if request.method == "GET":
        return redirect("recipes:kettle_measure", pk)
    form = PointForm(request.POST)
    if form.is_valid():
        try:
            point = measuring.add(kettle, **form.measured(), by=request.user, now=timezone.now())
        except NotDone as reason:
            form.add_error(None, str(reason))
        else:
            messages.success(request, _kept(_kettle(request, pk), point))
            for doubt in measuring.doubts(point):
                messages.warning(request, doubt)
            return redirect("recipes:kettle_measure", pk)
    return _page(request, kettle, form)


@head_baristas("POST")
def point_take_back(request: Any, pk: int) -> HttpResponse:
    rows = BreakupPoint.objects.for_member(request.member)
    point = get_object_or_404(rows, pk=pk)
    try:
        measuring.take_back(point, request.user, timezone.now())
    except NotDone as reason:
        messages.warning(request, str(reason))
    else:
        messages.success(request, _("It is taken back. It stays to be seen, and counts nowhere."))
    return redirect(f"{reverse('recipes:kettle_measure', args=[point.kettle_id])}#points")


@crew("GET")
@api_view(["GET"])
def figure(request: Any, pk: int) -> Response:
    return Response(figures.breakup(measuring.known(_kettle(request, pk))))


def _kettle(request: Any, pk: int) -> Kettle:
    kettle: Kettle = get_object_or_404(
        measuring.with_points(Kettle.objects.for_member(request.member)), pk=pk
    )
    return kettle


def _kept(kettle: Kettle, point: BreakupPoint) -> str:
    """The point, and what is known now."""
    known = kettle_words.say(measuring.known(kettle))[0]
    return _("Kept: %(point)s. %(known)s") % {"point": measuring.in_words(point), "known": known}


def _page(request: Any, kettle: Kettle, form: PointForm) -> HttpResponse:
    known = measuring.known(kettle)
    points = [(point, measuring.doubts(point)) for point in kettle.breakup_points.all()]
    context = {
        "kettle": kettle,
        "form": form,
        "steps": [_(step) for step in safety.MEASURING_A_KETTLE],
        "cautions": [_(caution) for caution in safety.POURING],
        "standing": [one for one in points if not one[0].taken_back_at],
        "taken_back": [one for one in points if one[0].taken_back_at],
        "brewing": kettle_words.table(known.brewing),
        "measured": [kettle_words.table(curve) for curve in known.measured],
        "fit": known.kettle.growth,
        "said": kettle_words.say(known),
        "title": kettle_words.title(known),
        "asked": measuring.asked_too_much(request.member, kettle),
        "trade": _(RULES["R6"]),
        "common_practice": _(COMMON_PRACTICE),
        "theory": kettle_words.theory(known),
    }
    return render_form(request, "recipes/kettle_measure.html", context)
