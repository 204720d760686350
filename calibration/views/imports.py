"""Spreadsheets that were brought in, and those that wait to be: listed, uploaded, taken back."""

from __future__ import annotations

from datetime import UTC, datetime
from typing import Any

from django.contrib import messages
from django.http import FileResponse, HttpResponse
from django.shortcuts import get_object_or_404, redirect, render
from django.urls import reverse
from django.utils import timezone
from django.utils.translation import gettext as _

from brewbar.crew.access import head_baristas_by_password
from brewbar.web.answers import conflict
from brewbar.web.forms import render_form
from calibration.bringing_in import steps, undoing, uploads, verdict_file, working
from calibration.bringing_in.uploads import Upload
from calibration.forms.bringing_in import UndoForm, UploadForm
from calibration.importing import reading
from calibration.importing.fields import Kind
from calibration.importing.raw import Unreadable
from calibration.models import Import
from recipes.models import Coffee, RoastBatch

SHOWN = 200


@head_baristas_by_password("GET")
def imports(request: Any) -> HttpResponse:
    rows = Import.objects.for_member(request.member).select_related("by", "undone_by", "cafe")
    cafe = request.member.cafe
    context = {
        "rows": rows[:SHOWN],
        "waiting": [(upload, way_on(upload), _since(upload)) for upload in uploads.waiting(cafe)],
        "cafe": cafe,
        "days": uploads.KEPT_DAYS,
    }
    return render(request, "calibration/imports.html", context)


@head_baristas_by_password("GET", "POST")
def import_new(request: Any) -> HttpResponse:
    kind = request.GET.get("kind", Kind.READINGS.value)
    initial = {"kind": kind if kind in list(Kind) else Kind.READINGS.value}
    form = UploadForm(
        request.POST or None, request.FILES or None, initial=initial, most_bytes=uploads.MOST_BYTES
    )
    if request.method == "POST" and form.is_valid():
        said, cafe = form.cleaned_data, request.member.cafe
        try:
            upload = uploads.keep(said["file"], cafe, request.user, Kind(said["kind"]))
        except Unreadable as error:
            form.add_error("file", str(error))
        else:
            if before := steps.same_before(upload, cafe):
                told = _(
                    "This very file was brought in before, on %(day)s by %(who)s. What is there already is told below."
                )
                day = before.at.astimezone(cafe.zone).date().isoformat()
                messages.warning(request, told % {"day": day, "who": before.by})
            return redirect(way_on(upload))
    return render_form(request, "calibration/import_new.html", {"form": form, "days": uploads.KEPT_DAYS})


def _since(upload: Upload) -> datetime:
    return datetime.fromtimestamp(upload.path.stat().st_mtime, UTC)


def way_on(upload: Upload) -> str:
    """The step that it waits at. Which sheet is meant is asked only where there are several, or no headings."""
    progress = working.progress(f"{upload.cafe}:{upload.token}")
    if progress is not None and progress.is_running:
        step = "work"
    elif verdict_file.summary_of(upload) is not None:
        step = "preview"
    else:
        with upload.path.open("rb") as file:
            several = sum(not one.hidden for one in reading.sheets_in(file)) > 1
        step = "sheet" if several or not upload.columns.head_row else "columns"
    return reverse(f"calibration:import_{step}", args=[upload.token])


@head_baristas_by_password("GET")
def brought(request: Any, pk: int) -> HttpResponse:
    row = _import(request, pk)
    made = row.made or {}
    context = {
        "row": row,
        "is_lots": row.kind == Import.Kind.LOTS,
        "standing": row.readings.filter(voided_at=None).count(),
        "coffees": Coffee.objects.for_member(request.member).filter(pk__in=made.get("coffees", [])),
        "batches": RoastBatch.objects.for_member(request.member)
        .filter(pk__in=made.get("batches", []))
        .select_related("coffee")[:SHOWN],
        "has_rest": verdict_file.rest_of(row).exists(),
        "days": uploads.KEPT_DAYS,
    }
    return render(request, "calibration/import_brought.html", context)


@head_baristas_by_password("GET")
def import_rest(request: Any, pk: int) -> Any:
    row = _import(request, pk)
    path = verdict_file.rest_of(row)
    if not path.exists():
        messages.warning(request, _("This file is not kept any more."))
        return redirect("calibration:brought", row.pk)
    return FileResponse(
        path.open("rb"),
        as_attachment=True,
        filename=f"left-out-{row.pk}.csv",
        content_type="text/csv; charset=utf-8",
    )


@head_baristas_by_password("GET", "POST")
def import_undo(request: Any, pk: int) -> HttpResponse:
    row = _import(request, pk)
    form = UndoForm(request.POST or None)
    if request.method == "POST" and form.is_valid():
        try:
            undone = undoing.undo(row, request.user, form.cleaned_data["why"], timezone.now())
        except undoing.NotUndone as refused:
            return conflict(request, str(refused))
        messages.success(request, _("The import is undone. %(says)s") % {"says": undone.says})
        return redirect("calibration:brought", row.pk)
    if row.undone_at is not None:
        return redirect("calibration:brought", row.pk)
    context = {
        "row": row,
        "form": form,
        "standing": row.readings.filter(voided_at=None).count(),
        "corrected": row.readings.filter(correction__isnull=False).count(),
    }
    return render_form(request, "calibration/import_undo.html", context)


def _import(request: Any, pk: int) -> Import:
    rows = Import.objects.for_member(request.member).select_related("by", "undone_by", "cafe__company")
    found: Import = get_object_or_404(rows, pk=pk)
    return found
