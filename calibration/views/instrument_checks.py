"""Whether a refractometer reads right: checked by those who brew, seen by everybody."""

from __future__ import annotations

from typing import Any

from django.contrib import messages
from django.http import HttpResponse
from django.shortcuts import get_object_or_404, redirect, render
from django.urls import reverse
from django.utils import timezone
from django.utils.text import slugify
from django.utils.translation import gettext as _
from rest_framework.decorators import api_view
from rest_framework.response import Response

from brewbar import units
from brewbar.crew.access import Member, brewers, crew
from brewbar.web.forms import render_form
from calibration import check_errors, check_errors_figure, instrument_standing
from calibration import instruments as job
from calibration.check_errors import Errors
from calibration.forms.instruments import SCALES, CheckForm
from calibration.models import InstrumentCheck, Reading, Refractometer
from calibration.statistics.known_strength import Word
from calibration.tables import csv_response
from recipes.brewing import refractometry

MARKED_SHOWN = 30


@crew("GET")
def instrument_checks(request: Any, pk: int) -> HttpResponse:
    row, now = _instrument(request.member, pk), timezone.now()
    wrong = instrument_standing.was_wrong(row, getattr(row.cafe, "check_plan", None), now)
    context = {
        "row": row,
        "standing": instrument_standing.standings([row], now)[row.pk],
        "errors": check_errors.look(row, now),
        "was_wrong": wrong,
        "marked": _marked(request.member, row, wrong),
    }
    return render(request, "calibration/instrument_checks.html", context)


def _marked(member: Member, row: Refractometer, wrong: list[instrument_standing.Marked]) -> list[Reading]:
    """The newest readings of the failure that still holds, for a head barista, who may see whose they are."""
    if not (member.is_head and wrong and wrong[0].span.end is None):
        return []
    readings = instrument_standing.readings_in(wrong[0].span, Reading.objects.for_member(member))
    return list(readings.select_related("barista", "version__recipe")[:MARKED_SHOWN])


@crew("GET")
@api_view(["GET"])
def instrument_figure(request: Any, pk: int) -> Response:
    errors = check_errors.look(_instrument(request.member, pk), timezone.now())
    return Response(check_errors_figure.over_time(errors))


@crew("GET")
def instrument_csv(request: Any, pk: int) -> HttpResponse:
    row = _instrument(request.member, pk)
    errors = check_errors.look(row, timezone.now())
    return csv_response(slugify(f"{row} checks"), *_rows(errors))


def _rows(errors: Errors) -> tuple[list[Any], list[list[Any]]]:
    head = [
        _("checked at"),
        _("on"),
        _("sugar g"),
        _("sugar and water g"),
        _("should read %"),
        _("reads %"),
        _("U of the difference % (k = 2)"),
        _("verdict"),
        _("set to zero before"),
        _("by"),
        _("note"),
    ]
    return head, [
        [
            point.at.isoformat(timespec="minutes"),
            point.check.get_kind_display(),
            point.check.sucrose_g,
            point.check.solution_g,
            point.check.expected_tds,
            point.check.read_tds,
            None if point.U is None else round(point.U, 4),
            point.word,
            _("no") if point.check.as_found else _("yes"),
            point.check.checked_by.name,
            point.check.note,
        ]
        for point in errors.points
    ]


@brewers("GET", "POST")
def check_new(request: Any, pk: int) -> HttpResponse:
    row = _instrument(request.member, pk)
    form = CheckForm.of(request)
    question = None
    if request.method == "POST" and form.is_valid():
        expected, said = job.judged(row, **form.measured)
        if said.word is not Word.FAILED or form.is_sure:
            return _saved(request, row, form)
        shown = units.percent(expected, 3 if form.measured.get("mixed") else 2)
        question = {"expected": shown, "finding": said, "key": form.key}
    return render_form(request, "calibration/check_new.html", _context(row, form) | {"question": question})


def _saved(request: Any, row: Refractometer, form: CheckForm) -> HttpResponse:
    said = form.cleaned_data
    made = job.check(
        row,
        **form.measured,
        by=request.member.user,
        now=timezone.now(),
        note=said["note"],
        as_found=not said["was_zeroed"],
    )
    name = {"name": row}
    if made.passed:
        messages.success(request, _("%(name)s reads right.") % name)
    elif made.unclear:
        messages.warning(request, _("%(name)s is too close to call. Once more, please.") % name)
    else:
        messages.warning(request, _("%(name)s does not read right. See what to do.") % name)
    if made.passed and made.kind == InstrumentCheck.Kind.ZERO:
        standing = instrument_standing.standings([row], timezone.now())[row.pk]
        if standing.standard_due:
            return redirect(f"{reverse('calibration:check_new', args=[row.pk])}?on=standard")
    return redirect("calibration:instrument_checks", row.pk)


def _context(row: Refractometer, form: CheckForm) -> dict[str, Any]:
    context: dict[str, Any] = {
        "form": form,
        "row": row,
        "allowed": job.allowed_tds(row),
        "standing": instrument_standing.standings([row], timezone.now())[row.pk],
        "is_standard": form.is_on == InstrumentCheck.Kind.STANDARD,
    }
    if context["is_standard"]:
        mixes = [refractometry.check_standard(job.STANDARD_TDS, float(step)) for step in SCALES]
        factor = job.own_factor(row)
        context |= {
            "mixes": [
                (step, mix, mix.sucrose_g + mix.water_g) for step, mix in zip(SCALES, mixes, strict=True)
            ],
            "factor": factor,
            "should_read": factor.value * mixes[0].brix,
            "to_learn": max(0, job.FIRST_STANDARDS - factor.n),
        }
    return context


def _instrument(member: Member, pk: int) -> Refractometer:
    row: Refractometer = get_object_or_404(
        Refractometer.objects.for_member(member).select_related("cafe__check_plan"), pk=pk
    )
    return row
