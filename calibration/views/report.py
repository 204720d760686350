"""The owner's report: a page, its figures as JSON, the same on paper, and its tables as files."""

from __future__ import annotations

from collections.abc import Sequence
from hashlib import sha256
from typing import Any, TypeVar

from django.core.cache import cache
from django.http import Http404, HttpResponse
from django.shortcuts import render
from django.urls import reverse
from django.utils import timezone
from django.utils.translation import get_language
from rest_framework.decorators import api_view
from rest_framework.response import Response

from brewbar.crew.access import head_or_owner
from brewbar.units import style
from calibration import report_axes, report_figures, report_files, report_print, report_words
from calibration.forms.report import ReportFilter
from calibration.reporting.build import build
from calibration.reporting.result import Bars, Days, Report, Section, Table
from calibration.tables import csv_response

T = TypeVar("T", Bars | Days, Table)

REMEMBERED_S = 600
"""So long the figures and files of a page that was opened show the same as the page."""

LINES = 10
"""So many lines of a table stand open where nothing else says what they do."""
WORDY = 24
"""Letters of a cell that is words: on a phone, such a row becomes a block."""


@head_or_owner("GET")
def report(request: Any) -> HttpResponse:
    form = ReportFilter.of(request)
    context: dict[str, Any] = {"form": form}
    if form.is_valid():
        shown = _report(form, is_new=True)
        query = form.address()
        context |= {
            "report": shown,
            "address": query,
            "where": report_words.where(shown.asked),
            "against": report_words.against(shown.asked),
            "sentences": [(s, report_words.surety(s.sure)) for s in shown.sentences],
            "sections": [_section(section, query) for section in shown.sections],
            "about": report_words.about(shown),
        }
    return render(request, "calibration/report.html", context, status=200 if form.is_valid() else 422)


def _section(section: Section, query: str) -> dict[str, Any]:
    figure, table = section.figure, section.table
    numbers = report_words.are_numbers(table) if table else []
    return {
        "section": section,
        "figure_url": f"{reverse('calibration:report_figure')}?{query}&figure={figure.key}" if figure else "",
        "marks": report_axes.marks_of(figure) if isinstance(figure, Days) else (),
        "head": list(zip(table.head, numbers, strict=True)) if table else [],
        "rows": [list(zip(row, numbers, table.head, strict=True)) for row in table.cells] if table else [],
        "is_folded": table is not None and bool(figure or section.says or len(table.cells) > LINES),
        "is_wordy": table is not None and any(len(cell) > WORDY for row in table.cells for cell in row[1:]),
    }


def _report(form: ReportFilter, *, is_new: bool = False) -> Report:
    asked = form.asked()
    about = [asked.company.pk, [cafe.pk for cafe in asked.cafes], asked.first, asked.last, asked.for_owner]
    about += [asked.company.people_shown_to_owners, style(), get_language()]
    key = f"report-{sha256(repr(about).encode()).hexdigest()}"
    found: Report | None = None if is_new else cache.get(key)
    if found is None:
        found = build(asked, timezone.now())
        cache.set(key, found, REMEMBERED_S)
    return found


@head_or_owner("GET")
@api_view(["GET"])
def report_figure(request: Any) -> Response:
    form = ReportFilter.of(request)
    if not form.is_valid():
        return Response({"problems": form.errors.get_json_data()}, status=400)
    figures = [section.figure for section in _report(form).sections if section.figure is not None]
    key = request.GET.get("figure", "")
    if not (figures or key):
        return Response({"data": [], "layout": {}})
    return Response(report_figures.drawn(_chosen(figures, key)))


@head_or_owner("GET")
def report_pdf(request: Any) -> HttpResponse:
    return _download(request, "pdf")


@head_or_owner("GET")
def report_zip(request: Any) -> HttpResponse:
    return _download(request, "zip")


def _download(request: Any, ending: str) -> HttpResponse:
    form = ReportFilter.of(request)
    if not form.is_valid():
        return render(request, "calibration/report.html", {"form": form}, status=422)
    found = _report(form)
    content = report_print.report_pdf(found) if ending == "pdf" else report_files.as_zip(found)
    answer = HttpResponse(content, content_type=f"application/{ending}")
    how = "inline" if ending == "pdf" else "attachment"
    answer["Content-Disposition"] = f'{how}; filename="{report_files.called(found)}.{ending}"'
    return answer


@head_or_owner("GET")
def report_csv(request: Any) -> HttpResponse:
    form = ReportFilter.of(request)
    if not form.is_valid():
        return render(request, "calibration/report.html", {"form": form}, status=422)
    found = _report(form)
    table = _chosen(found.tables, request.GET.get("table", ""))
    return csv_response(f"{report_files.called(found)}-{table.key}", table.csv_head, table.numbers)


def _chosen(found: Sequence[T], key: str) -> T:
    """The one of that key; without a key, the first."""
    for one in found:
        if key in ("", one.key):
            return one
    raise Http404
