"""The refractometers of a café: read by everybody, written by its head baristas."""

from __future__ import annotations

from typing import Any

from django.contrib import messages
from django.http import HttpResponse
from django.shortcuts import get_object_or_404, redirect, render
from django.utils import timezone
from django.utils.translation import gettext as _

from brewbar.crew.access import Member, crew, head_baristas
from brewbar.crew.models import Cafe
from brewbar.web.forms import render_form
from calibration import instrument_standing
from calibration import instruments as job
from calibration.forms.instruments import InstrumentForm
from calibration.models import Refractometer
from recipes import happenings
from recipes.catalogue import NameTaken


@crew("GET")
def instruments(request: Any) -> HttpResponse:
    rows: list[Any] = list(Refractometer.objects.for_member(request.member).select_related("cafe"))
    standings = instrument_standing.standings(rows, timezone.now())
    for row in rows:
        row.reach, row.standing = job.reach_of(row), standings[row.pk]
    places = [
        {
            "cafe": cafe,
            "in_use": [row for row in rows if row.cafe_id == cafe.pk and not row.retired_at],
            "retired": [row for row in rows if row.cafe_id == cafe.pk and row.retired_at],
        }
        for cafe in Cafe.objects.for_member(request.member)
    ]
    return render(request, "calibration/instruments.html", {"places": places})


@head_baristas("GET", "POST")
def instrument_new(request: Any) -> HttpResponse:
    return _write(request, Refractometer(cafe=request.member.cafe))


@head_baristas("GET", "POST")
def instrument(request: Any, pk: int) -> HttpResponse:
    return _write(request, _instrument(request.member, pk))


@head_baristas("POST")
def instrument_retire(request: Any, pk: int) -> HttpResponse:
    row = _instrument(request.member, pk)
    if "bring_back" in request.POST:
        job.bring_back(row, request.user)
        messages.success(request, _("%(name)s is in use again.") % {"name": row})
    else:
        job.retire(row, request.user)
        messages.success(request, _("%(name)s is retired. The readings made on it stay.") % {"name": row})
    return redirect("calibration:instruments")


def _write(request: Any, row: Refractometer) -> HttpResponse:
    name = str(row) if row.pk else ""
    form = InstrumentForm(request.POST or None, instance=row)
    if request.method == "POST" and form.is_valid():
        try:
            job.save(row, request.user)
        except NameTaken as taken:
            form.add_error("name", str(taken))
        else:
            messages.success(request, _("%(name)s is saved.") % {"name": row})
            return redirect("calibration:instruments")
    context: dict[str, Any] = {"form": form, "row": row, "name": name}
    if row.pk:
        context["history"] = happenings.changes_of(request.member, row)
    return render_form(request, "calibration/instrument.html", context)


def _instrument(member: Member, pk: int) -> Refractometer:
    row: Refractometer = get_object_or_404(
        Refractometer.objects.for_member(member).select_related("cafe"), pk=pk
    )
    return row
