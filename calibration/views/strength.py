"""The strength–yield chart of a recipe, its figure as JSON, its table as CSV."""

from __future__ import annotations

from collections.abc import Sequence
from typing import Any

from django.http import HttpResponse
from django.shortcuts import render
from django.utils import timezone
from django.utils.text import slugify
from django.utils.translation import gettext as _
from rest_framework.decorators import api_view
from rest_framework.response import Response

from brewbar.crew.access import crew
from calibration import conventions, instrument_spans, judging
from calibration import strength as job
from calibration.forms.filters import CHARTS, ChartFilter
from calibration.statistics.together import coverage
from calibration.statistics.uncertainty import COVERAGE_K
from calibration.strength_figure import by_yield
from calibration.tables import csv_response
from recipes.brewing.extraction import RETAINED_WATER_G_PER_G

QUESTION = dict(CHARTS)


@crew("GET")
def strength(request: Any) -> HttpResponse:
    form = ChartFilter.of(request)
    context: dict[str, Any] = {"form": form, "question": QUESTION["strength"]}
    if form.has_recipes and form.is_valid():
        seen = job.look(request.member, form.asked())
        context |= {
            "seen": seen,
            "title": job.sentence(seen),
            "band": conventions.named(seen.published) if seen.published else "",
            "band_figures": conventions.figures_of(seen.published) if seen.published else "",
            "covered": 100 * coverage(COVERAGE_K),
            "retained": RETAINED_WATER_G_PER_G,
            "address": form.address(),
            "tabs": form.tabs("strength"),
            "draws": bool(seen.points),
            "lines": list(zip(seen.newest, _marks(seen, seen.newest), strict=True)),
        }
    refused = form.has_recipes and not form.is_valid()
    return render(request, "calibration/strength.html", context, status=422 if refused else 200)


@crew("GET")
@api_view(["GET"])
def strength_figure(request: Any) -> Response:
    form = ChartFilter.of(request)
    if not form.is_valid():
        return Response({"problems": form.errors.get_json_data()}, status=400)
    return Response(by_yield(job.look(request.member, form.asked())))


@crew("GET")
def strength_csv(request: Any) -> HttpResponse:
    form = ChartFilter.of(request)
    if not form.is_valid():
        context = {"form": form, "question": QUESTION["strength"]}
        return render(request, "calibration/strength.html", context, status=422)
    seen = job.look(request.member, form.asked())
    name = slugify(f"{seen.asked.recipe} strength yield {seen.asked.first} {seen.asked.last}")
    marks = [[mark.word for mark in own] for own in _marks(seen, seen.points)]
    return csv_response(
        name,
        [*_head(seen), _("marks")],
        [[*_row(seen, point), "; ".join(words)] for point, words in zip(seen.points, marks, strict=True)],
    )


def _marks(seen: job.Seen, points: Sequence[job.Point]) -> list[list[judging.Mark]]:
    """Of the instrument each single brew was read on; a mean of a day has none."""
    known = instrument_spans.spans_of_cafes([seen.asked.cafe], timezone.now())
    readings = [point.reading for point in points if point.reading]
    states = iter(instrument_spans.states_of(readings, known))
    return [judging.instrument_marks(next(states)) if point.reading else [] for point in points]


def _head(seen: job.Seen) -> list[Any]:
    kind = _("absolute") if seen.is_absolute else _("relative")
    head = [
        _("day"),
        _("brewed at"),
        _("barista"),
        _("version"),
        _("brews"),
        _("beverage"),
        _("TDS %"),
        _("U of TDS %% (%(kind)s, k = 2)") % {"kind": kind},
        _("extraction yield %"),
        _("U of yield %% (%(kind)s, k = 2)") % {"kind": kind},
        _("covariance of TDS and yield, %²"),
        _("against the target (relative)"),
    ]
    if seen.published:
        head.append(
            _("against the band of the %(band)s (absolute)") % {"band": conventions.named(seen.published)}
        )
    return head


def _row(seen: job.Seen, point: job.Point) -> list[Any]:
    known, reading = point.known, point.reading
    at = reading.brewed_at.astimezone(seen.asked.cafe.zone).isoformat(timespec="minutes") if reading else None
    row = [
        point.day.isoformat(),
        at,
        reading.barista.name if reading else None,
        point.version.number,
        point.n,
        point.weighed_word,
        round(known.tds_pct, 4),
        round(point.U_tds, 4),
        round(known.ey_pct, 2),
        round(point.U_ey, 2),
        round(known.covariance, 6),
        point.target.says,
    ]
    return [*row, point.band.says] if point.band else row
