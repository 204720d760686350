"""The refractometers of a café: read by everybody, written by its head baristas."""

from __future__ import annotations

from datetime import datetime
from typing import Any

from django.contrib import messages
from django.http import HttpResponse
from django.shortcuts import get_object_or_404, redirect, render
from django.urls import reverse
from django.utils import timezone
from django.utils.translation import gettext as _

from brewbar.crew.access import Member, crew, head_baristas
from brewbar.crew.models import Cafe
from brewbar.web.forms import render_form
from calibration import instruments as job
from calibration.forms.instruments import CheckForm, InstrumentForm
from calibration.models import InstrumentCheck, Refractometer
from recipes import happenings
from recipes.catalogue import NameTaken

CHECKS_SHOWN = 20


@crew("GET")
def instruments(request: Any) -> HttpResponse:
    rows: list[Any] = list(Refractometer.objects.for_member(request.member).select_related("cafe"))
    checks, now = job.last_checks(rows), timezone.now()
    for row in rows:
        row.reach, row.last_check = job.reach_of(row), checks.get(row.pk)
        row.days_since = _days_since(row, row.last_check, now)
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


@head_baristas("GET", "POST")
def check_new(request: Any, pk: int) -> HttpResponse:
    row = _instrument(request.member, pk)
    form = CheckForm(request.POST or None)
    if request.method == "POST" and form.is_valid():
        made = job.check(row, by=request.user, now=timezone.now(), **form.cleaned_data)
        if made.passed:
            messages.success(request, _("%(name)s reads right.") % {"name": row})
        else:
            messages.warning(request, _("%(name)s does not read right. See what to do.") % {"name": row})
        return redirect(f"{reverse('calibration:instrument', args=[pk])}#checks")
    context = {"form": form, "row": row, "allowed": job.allowed_tds(row)}
    return render_form(request, "calibration/check_new.html", context)


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
        checks = list(row.checks.select_related("checked_by")[:CHECKS_SHOWN])
        last = checks[0] if checks else None
        context |= {
            "checks": checks,
            "last": last,
            "days": _days_since(row, last, timezone.now()),
            "allowed": job.allowed_tds(row),
            "history": happenings.changes_of(request.member, row),
        }
    return render_form(request, "calibration/instrument.html", context)


def _days_since(row: Refractometer, check: InstrumentCheck | None, now: datetime) -> int | None:
    """Days by the café's own clock since its last check."""
    if check is None:
        return None
    zone = row.cafe.zone
    return (timezone.localdate(now, zone) - timezone.localdate(check.checked_at, zone)).days


def _instrument(member: Member, pk: int) -> Refractometer:
    found: Refractometer = get_object_or_404(
        Refractometer.objects.for_member(member).select_related("cafe"), pk=pk
    )
    return found
