"""The steps of bringing in one spreadsheet: its sheet, its columns, what became of each row, and in."""

from __future__ import annotations

from typing import Any

from django.contrib import messages
from django.http import Http404, HttpResponse, StreamingHttpResponse
from django.shortcuts import redirect, render
from django.urls import reverse
from django.utils import timezone
from django.utils.translation import gettext as _

from brewbar.crew.access import head_baristas_by_password
from brewbar.web.forms import render_form
from calibration.bringing_in import steps, uploads, verdict_file, working
from calibration.bringing_in.known import Known
from calibration.bringing_in.saving import NotBroughtIn
from calibration.bringing_in.uploads import Upload
from calibration.forms.bringing_in import BringInForm, ColumnsForm, GivenForm, NamesForm, SheetForm
from calibration.importing import columns, reading, settling
from calibration.importing.fields import Kind
from calibration.importing.raw import Unreadable

EXAMPLES = 8


@head_baristas_by_password("GET", "POST")
def import_sheet(request: Any, draft: str) -> HttpResponse:
    upload = _found(request, draft)
    with upload.path.open("rb") as file:
        names = [one.name for one in reading.sheets_in(file)]
    said = {"sheet": upload.sheet, "head_row": upload.columns.head_row}
    form = SheetForm(request.POST or None, sheets=names, initial=said)
    if request.method == "POST" and form.is_valid():
        sheet, head = form.cleaned_data.get("sheet", ""), form.cleaned_data["head_row"]
        try:
            if sheet != upload.sheet:
                uploads.start_over(upload, sheet, None if head == upload.columns.head_row else head)
            elif head != upload.columns.head_row:
                uploads.start_over(upload, sheet, head)
        except Unreadable as error:
            form.add_error("sheet" if names else None, str(error))
        else:
            return redirect("calibration:import_columns", upload.token)
    with uploads.sheet_of(upload) as opened:
        rows = [
            (row.number, [verdict_file.text_of(cell) for cell in row.cells]) for row in opened.first(EXAMPLES)
        ]
        context = {"upload": upload, "form": form, "rows": rows, "notes": [opened.says, *opened.notes]}
    return render_form(request, "calibration/import_sheet.html", context)


@head_baristas_by_password("GET", "POST")
def import_columns(request: Any, draft: str) -> HttpResponse:
    upload = _found(request, draft)
    known = Known(request.member.cafe, upload.names)
    mapping, is_settled = upload.columns, False
    with uploads.sheet_of(upload) as sheet:
        guessed = columns.guess(sheet, mapping.kind, mapping.head_row)
        examples = verdict_file.examples(sheet, mapping.head_row)
        latest = request.member.cafe.business_day(timezone.now())
        questions = settling.settle(sheet, mapping, latest).questions
        form = ColumnsForm(
            request.POST or None,
            columns=mapping,
            guesses=guessed.guesses,
            examples=examples,
            questions=questions,
        )
        given = _given(request, upload, known)
        if request.method == "POST" and form.is_valid() and (given is None or given.is_valid()):
            upload.mapping = form.columns().to_json()
            upload.given = given.given() if given else {}
            mapping = upload.columns
            upload.save()
            questions = settling.settle(sheet, mapping, latest).questions
            faults = mapping.faults(upload.given)
            is_settled = not faults and not questions and "again" not in request.POST
            form = ColumnsForm(
                columns=mapping, guesses=guessed.guesses, examples=examples, questions=questions
            )
            for fault in faults:
                messages.error(request, fault)
    if is_settled:
        return _look(request, upload)
    asked = sum(len(row["asked"]) for row in form.rows())
    context = {"upload": upload, "form": form, "given": given, "asked": asked}
    return render_form(request, "calibration/import_columns.html", context)


def _given(request: Any, upload: Upload, known: Known) -> GivenForm | None:
    if upload.kind == Kind.LOTS:
        return None
    rows = {name: known.rows(name) for name in known.tables}
    versions = [version for of_recipe in known.versions.values() for version in of_recipe]
    return GivenForm(request.POST or None, rows=rows, versions=versions, said=upload.given)


def _look(request: Any, upload: Upload) -> HttpResponse:
    cafe = request.member.cafe

    def work(tell: Any) -> str:
        steps.look_at(upload, cafe, timezone.now(), tell)
        return reverse("calibration:import_preview", args=[upload.token])

    upload.beside("summary").unlink(missing_ok=True)
    working.start(_key(request, upload.token), "look", work, Unreadable)
    return redirect("calibration:import_work", upload.token)


@head_baristas_by_password("GET")
def import_work(request: Any, draft: str) -> HttpResponse:
    """How far it is; onwards once it is done."""
    found = working.progress(_key(request, draft))
    if found is not None and found.is_running:
        template = "calibration/_import_progress.html" if request.htmx else "calibration/import_work.html"
        return render(request, template, {"progress": found, "draft": draft})
    onwards = reverse("calibration:imports")
    if found is not None and found.state == "done":
        onwards = found.result
    elif upload := uploads.find(request.member.cafe, draft):
        if found is None:
            messages.warning(
                request, _("The work was broken off, and nothing was brought in. Begin it again.")
            )
        else:
            messages.error(request, found.says)
        looked = verdict_file.summary_of(upload) is not None
        onwards = reverse(f"calibration:import_{'preview' if looked else 'columns'}", args=[draft])
    elif found is None:
        raise Http404
    else:
        messages.error(request, found.says)
    if request.htmx:
        return HttpResponse(headers={"HX-Redirect": onwards})
    return redirect(onwards)


@head_baristas_by_password("GET", "POST")
def import_preview(request: Any, draft: str) -> HttpResponse:
    upload = _found(request, draft)
    summary = verdict_file.summary_of(upload)
    if summary is None:
        return redirect("calibration:import_columns", draft)
    known = Known(request.member.cafe, upload.names)
    rows = {name: known.rows(name) for name in known.tables}
    names = NamesForm(request.POST or None, unknown=summary.unknown, rows=rows)
    if request.method == "POST" and names.is_valid():
        upload.names = names.meant(upload.names)
        upload.save()
        return _look(request, upload)
    return _preview(request, upload, summary, names)


def _preview(
    request: Any,
    upload: Upload,
    summary: verdict_file.Summary,
    names: NamesForm,
    form: BringInForm | None = None,
) -> HttpResponse:
    usual = "problems" if summary.bad else "doubts" if summary.doubtful else "good"
    which = request.GET.get("rows", usual)
    which = which if which in verdict_file.FILTERS else usual
    context = {
        "upload": upload,
        "summary": summary,
        "names": names,
        "form": form or BringInForm(bad=summary.bad, doubtful=summary.doubtful),
        "which": which,
        "filters": verdict_file.filter_words(summary),
        "lines": verdict_file.shown(upload, which),
        "most": verdict_file.SHOWN,
    }
    return render_form(request, "calibration/import_preview.html", context)


@head_baristas_by_password("GET")
def import_verdicts(request: Any, draft: str) -> Any:
    upload = _found(request, draft)
    if verdict_file.summary_of(upload) is None:
        return redirect("calibration:import_columns", draft)
    answer = StreamingHttpResponse(verdict_file.verdicts_csv(upload), content_type="text/csv; charset=utf-8")
    answer["Content-Disposition"] = 'attachment; filename="verdicts.csv"'
    return answer


@head_baristas_by_password("POST")
def import_bring(request: Any, draft: str) -> HttpResponse:
    upload, member, by = _found(request, draft), request.member, request.user
    summary = verdict_file.summary_of(upload)
    if summary is None:
        return redirect("calibration:import_columns", draft)
    form = BringInForm(request.POST, bad=summary.bad, doubtful=summary.doubtful)
    if not form.is_valid():
        return _preview(request, upload, summary, NamesForm(unknown={}, rows={}), form)
    said = {"only_good": form.cleaned_data["which"] == "good", "sure": bool(form.cleaned_data.get("sure"))}

    def work(tell: Any) -> str:
        made = steps.bring_in(upload, member.cafe, by, timezone.now(), tell=tell, **said)
        return reverse("calibration:brought", args=[made.pk])

    working.start(_key(request, draft), "bring", work, (NotBroughtIn, Unreadable))
    return redirect("calibration:import_work", draft)


@head_baristas_by_password("POST")
def import_drop(request: Any, draft: str) -> HttpResponse:
    uploads.forget(_found(request, draft))
    messages.success(request, _("The file is deleted. Nothing of it was brought in."))
    return redirect("calibration:imports")


def _found(request: Any, draft: str) -> Upload:
    upload = uploads.find(request.member.cafe, draft)
    if upload is None:
        raise Http404
    return upload


def _key(request: Any, draft: str) -> str:
    return f"{request.member.cafe.pk}:{draft}"
