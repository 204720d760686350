"""The stations of a café: named, renamed and taken out of use by its head baristas."""

from __future__ import annotations

from typing import Any

from django.contrib import messages
from django.http import HttpResponse
from django.shortcuts import get_object_or_404, redirect
from django.utils.translation import gettext as _

from brewbar.crew.access import head_baristas
from brewbar.crew.models import Station
from brewbar.web.forms import render_form
from recipes import turns
from recipes.forms.board import StationForm
from recipes.stations import add_station, bring_back_station, rename_station, retire_station


@head_baristas("GET", "POST")
def stations(request: Any) -> HttpResponse:
    """All of them, and a new one."""
    there = Station.objects.for_member(request.member)
    form = StationForm(request.POST or None, instance=Station(cafe=request.member.cafe))
    if request.method == "POST" and form.is_valid():
        add_station(form.instance, request.user)
        messages.success(request, _("%(name)s is there.") % {"name": form.instance})
        return redirect("recipes:board_stations")
    context = {"form": form, "in_use": there.in_use(), "retired": there.exclude(retired_at=None)}
    return render_form(request, "recipes/board_stations.html", context)


@head_baristas("GET", "POST")
def station(request: Any, pk: int) -> HttpResponse:
    """Another name for a station."""
    station = get_object_or_404(Station.objects.for_member(request.member), pk=pk)
    was = station.name
    form = StationForm(request.POST or None, instance=station)
    if request.method == "POST" and form.is_valid():
        rename_station(station, form.cleaned_data["name"], request.user)
        messages.success(
            request,
            _("It is called %(name)s now. Cards printed before still lead right.") % {"name": station},
        )
        return redirect("recipes:board_stations")
    return render_form(request, "recipes/board_station.html", {"form": form, "was": was})


@head_baristas("POST")
def station_retire(request: Any, pk: int) -> HttpResponse:
    station = get_object_or_404(Station.objects.for_member(request.member), pk=pk)
    try:
        retire_station(station, request.user)
    except turns.Refused as refused:
        messages.warning(request, str(refused))
    return redirect("recipes:board_stations")


@head_baristas("POST")
def station_return(request: Any, pk: int) -> HttpResponse:
    station = get_object_or_404(Station.objects.for_member(request.member), pk=pk)
    bring_back_station(station, request.user)
    return redirect("recipes:board_stations")
