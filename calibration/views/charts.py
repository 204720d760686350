"""The charts that days and people are compared by: a page, its figure as JSON and its table as CSV, of each."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass
from typing import Any

from django.http import HttpResponse
from django.shortcuts import get_object_or_404, render
from django.urls import reverse
from django.utils.text import slugify
from rest_framework.decorators import api_view
from rest_framework.response import Response

from brewbar.crew.access import brewers, crew
from brewbar.crew.models import User
from calibration import charts, days, drift, heat, people_share, scatter, staff
from calibration.charts.table import Table
from calibration.forms.filters import CHARTS, ChartFilter
from calibration.tables import csv_response


@dataclass(frozen=True)
class Chart:
    """look: from a member and a question to what is seen; drawn: the module that makes a figure and a table of that."""

    look: Callable[..., Any]
    drawn: Any


CHART = {
    "days": Chart(days.look, charts.days),
    "staff": Chart(staff.look, charts.staff),
    "people_share": Chart(people_share.look, charts.people_share),
    "heat_map": Chart(heat.look, charts.heat),
    "scatter": Chart(scatter.look, charts.scatter),
}
LINES = 60
"""So many lines has a table on a page; its CSV has all."""


@crew("GET")
def chart(request: Any, name: str) -> HttpResponse:
    form = ChartFilter.of(request)
    context: dict[str, Any] = {"form": form, "name": name, "question": dict(CHARTS)[name]}
    if form.has_recipes and form.is_valid():
        seen = CHART[name].look(request.member, form.asked())
        table = CHART[name].drawn.table(seen)
        draws = bool(table.rows) and bool(getattr(seen, "drawn", True))
        context |= chart_of(form, f"calibration:{name}", draws=draws)
        context |= {"seen": seen, "table": table, "lines": table.rows[:LINES], "tabs": form.tabs(name)}
    refused = form.has_recipes and not form.is_valid()
    return render(request, f"calibration/{name}.html", context, status=422 if refused else 200)


def chart_of(form: ChartFilter, address: str, *args: Any, draws: bool) -> dict[str, Any]:
    """What every chart page says of its figure, its table and the measures it can be asked for."""
    query = form.address()
    page = reverse(address, args=args)
    return {
        "draws": draws,
        "address": query,
        "figure_url": f"{reverse(f'{address}_figure', args=args)}?{query}",
        "csv_url": f"{reverse(f'{address}_csv', args=args)}?{query}",
        "measures": [
            (label, f"{page}?{form.address(measure=key)}", key == form.cleaned_data["measure"])
            for key, label in form.fields["measure"].choices  # type: ignore[attr-defined]
        ],
        "ageing_url": f"{page}?{form.address(ageing='in' if form.cleaned_data['ageing'] == 'out' else 'out')}",
    }


@crew("GET")
@api_view(["GET"])
def chart_figure(request: Any, name: str) -> Response:
    form = ChartFilter.of(request)
    if not form.is_valid():
        return Response({"problems": form.errors.get_json_data()}, status=400)
    return Response(CHART[name].drawn.figure(CHART[name].look(request.member, form.asked())))


@crew("GET")
def chart_csv(request: Any, name: str) -> HttpResponse:
    form = ChartFilter.of(request)
    if not form.is_valid():
        context = {"form": form, "name": name, "question": dict(CHARTS)[name]}
        return render(request, f"calibration/{name}.html", context, status=422)
    asked = form.asked()
    if name == "scatter" and not request.member.is_owner:
        brews = list(scatter.readings(request.member, asked))
        table = charts.brews.table(asked, brews, drift.spans_of(asked))
    else:
        table = CHART[name].drawn.table(CHART[name].look(request.member, asked))
    return _csv(form, name, table)


def _csv(form: ChartFilter, name: str, table: Table) -> HttpResponse:
    asked = form.asked()
    called = slugify(f"{asked.name} {asked.measure.key} {name} {asked.first} {asked.last}")
    return csv_response(called, table.csv_head, table.csv_rows)


# --- one person


def _person(request: Any, pk: int) -> User:
    """Somebody who brewed at the reader's café; a barista finds only themselves."""
    people = User.objects.filter(readings__cafe=request.member.cafe).distinct()
    if request.member.is_barista:
        people = User.objects.filter(pk=request.member.user.pk)
    person: User = get_object_or_404(people, pk=pk)
    return person


@brewers("GET")
def person_chart(request: Any, pk: int) -> HttpResponse:
    person = _person(request, pk)
    form = ChartFilter.of(request)
    context: dict[str, Any] = {"form": form, "name": "person_chart", "person": person}
    if form.has_recipes and form.is_valid():
        seen = staff.page_of(request.member, form.asked(), person)
        table = charts.person.table(seen)
        context |= chart_of(form, "calibration:person_chart", pk, draws=seen.followed is not None)
        context |= {"seen": seen, "table": table, "lines": table.rows[:LINES], "tabs": form.tabs("")}
    refused = form.has_recipes and not form.is_valid()
    return render(request, "calibration/person_chart.html", context, status=422 if refused else 200)


@brewers("GET")
@api_view(["GET"])
def person_chart_figure(request: Any, pk: int) -> Response:
    person = _person(request, pk)
    form = ChartFilter.of(request)
    if not form.is_valid():
        return Response({"problems": form.errors.get_json_data()}, status=400)
    return Response(charts.person.figure(staff.page_of(request.member, form.asked(), person)))


@brewers("GET")
def person_chart_csv(request: Any, pk: int) -> HttpResponse:
    person = _person(request, pk)
    form = ChartFilter.of(request)
    if not form.is_valid():
        context = {"form": form, "name": "person_chart", "person": person}
        return render(request, "calibration/person_chart.html", context, status=422)
    return _csv(form, "person", charts.person.table(staff.page_of(request.member, form.asked(), person)))
