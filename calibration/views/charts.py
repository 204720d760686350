"""Charts of a recipe over a span, their figures as JSON, their tables as CSV."""

from __future__ import annotations

from typing import Any

from django.http import HttpResponse
from django.shortcuts import render
from django.utils import timezone
from django.utils.text import slugify
from django.utils.translation import gettext as _
from rest_framework.decorators import api_view
from rest_framework.response import Response

from brewbar.crew.access import crew
from calibration import drift, figures, instrument_spans, judging
from calibration.forms.filters import ChartFilter
from calibration.instrument_spans import Span, State
from calibration.tables import csv_response

FIGURES = {"days": figures.by_day, "people": figures.by_person}


@crew("GET")
def charts(request: Any) -> HttpResponse:
    form = ChartFilter.of(request)
    context: dict[str, Any] = {"form": form}
    if form.has_recipes and form.is_valid():
        seen = drift.look(request.member, form.asked())
        tabs = form.tabs(seen.asked.measure.key)
        context |= {"seen": seen, "title": drift.sentence(seen), "address": form.address(), "tabs": tabs}
        context["draws"] = seen.overall is not None
    refused = form.has_recipes and not form.is_valid()
    return render(request, "calibration/charts.html", context, status=422 if refused else 200)


@crew("GET")
@api_view(["GET"])
def figure(request: Any) -> Response:
    form = ChartFilter.of(request)
    draw = FIGURES.get(request.GET.get("figure", ""))
    if draw is None or not form.is_valid():
        problems = form.errors.get_json_data() | ({} if draw else {"figure": [", ".join(FIGURES)]})
        return Response({"problems": problems}, status=400)
    return Response(draw(drift.look(request.member, form.asked())))


@crew("GET")
def chart_csv(request: Any) -> HttpResponse:
    form = ChartFilter.of(request)
    if not form.is_valid():
        return render(request, "calibration/charts.html", {"form": form}, status=422)
    seen = drift.look(request.member, form.asked())
    table = request.GET.get("table", "days")
    name = slugify(
        f"{seen.asked.recipe} {seen.asked.measure.key} {table} {seen.asked.first} {seen.asked.last}"
    )
    if table == "brews":
        return csv_response(
            name, *_brews(seen, instrument_spans.spans_of_cafes([seen.asked.cafe], timezone.now()))
        )
    return csv_response(name, *_rows(seen, table))


def _rows(seen: drift.Seen, table: str) -> tuple[list[Any], list[list[Any]]]:
    measure = seen.asked.measure
    unit = f"{measure.label} {measure.unit}"
    head = [
        _("person") if table == "people" else _("day"),
        _("brews"),
        _("mean, %(what)s") % {"what": unit},
        _("standard deviation, %(what)s") % {"what": unit},
        _("lowest"),
        _("highest"),
        _("inside"),
        _("outside"),
        _("too close to call"),
    ]
    rows = seen.people if table == "people" else seen.days
    digits = measure.decimals + 2
    return head, [
        [
            str(row.group.key),
            row.group.n,
            round(row.group.mean, digits),
            None if row.group.sd is None else round(row.group.sd, digits),
            row.group.lowest,
            row.group.highest,
            row.inside,
            row.outside,
            row.close,
        ]
        for row in rows
    ]


def _brews(seen: drift.Seen, known: list[Span]) -> tuple[list[Any], list[list[Any]]]:
    head = [
        _("day"),
        _("brewed at"),
        _("barista"),
        _("recipe"),
        _("version"),
        _("grind setting"),
        _("TDS %"),
        _("U of TDS % (relative, k = 2)"),
        _("extraction yield %"),
        _("U of yield % (absolute, k = 2)"),
        _("brew time s"),
        _("dose g"),
        _("brew water g"),
        _("beverage g"),
        _("beverage"),
        _("taste"),
        _("verdict"),
        _("refractometer"),
        _("instrument"),
        _("marks"),
    ]
    states = instrument_spans.states_of([brew.reading for brew in seen.brews], known)
    return head, [_brew(seen, brew, state) for brew, state in zip(seen.brews, states, strict=True)]


def _brew(seen: drift.Seen, brew: drift.Brew, instrument: State) -> list[Any]:
    reading = brew.reading
    return [
        brew.day.isoformat(),
        reading.brewed_at.astimezone(seen.asked.cafe.zone).isoformat(timespec="minutes"),
        reading.barista.name,
        seen.asked.recipe.name,
        reading.version.number,
        reading.grind_setting,
        reading.tds.normalize(),
        round(2 * reading.u_tds_relative, 4),
        round(reading.ey, 2),
        round(2 * reading.u_ey_absolute, 2),
        reading.brew_time_s,
        reading.dose_g,
        reading.water_g,
        reading.beverage_g,
        reading.get_beverage_source_display(),
        reading.taste,
        brew.state,
        reading.refractometer.name,
        instrument,
        "; ".join(str(mark.word) for mark in judging.marks(reading, instrument=instrument)),
    ]
