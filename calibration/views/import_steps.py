"""The steps of bringing in one spreadsheet: its sheet, its columns, what became of each row, and in."""

from __future__ import annotations

from typing import Any

from django.contrib import messages
from django.core.paginator import Paginator
from django.http import HttpResponse, StreamingHttpResponse
from django.shortcuts import redirect, render
from django.urls import reverse
from django.utils import timezone
from django.utils.translation import gettext as _

from brewbar.crew.access import head_baristas_by_password
from brewbar.crew.models import Cafe
from brewbar.web.answers import NotHere
from brewbar.web.forms import render_form
from calibration.bringing_in import shown_rows, steps, uploads, verdict_file, working
from calibration.bringing_in.known import Known
from calibration.bringing_in.noted import NotBroughtIn
from calibration.bringing_in.shown_rows import Rows, mark_of
from calibration.bringing_in.uploads import Upload
from calibration.bringing_in.verdict_file import Summary
from calibration.forms.bringing_in import BringInForm, NamesForm, SheetForm
from calibration.forms.bringing_in_columns import ColumnsForm, GivenForm, fields_of
from calibration.importing import reading
from calibration.importing.columns import guess
from calibration.importing.fields import Kind
from calibration.importing.mapping import Mapping
from calibration.importing.raw import Cell, Trouble, Unreadable
from calibration.importing.reading import Sheet

EXAMPLES = 8


@head_baristas_by_password("GET", "POST")
def import_sheet(request: Any, draft: str) -> HttpResponse:
    if _is_under_way(request, draft):
        return redirect("calibration:import_work", draft)
    upload = found(request, draft)
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
            if form.has_changed():
                upload.beside("summary").unlink(missing_ok=True)
            return redirect("calibration:import_columns", upload.token)
    with uploads.sheet_of(upload) as opened:
        rows = [(row.number, [_seen(cell) for cell in row.cells]) for row in opened.first(EXAMPLES)]
        context = {"upload": upload, "form": form, "rows": rows, "notes": [opened.says, *opened.notes]}
    return render_form(request, "calibration/import_sheet.html", context)


def _seen(cell: Cell) -> str:
    """As the spreadsheet shows it, where nothing stands under merged cells."""
    return "" if isinstance(cell, Trouble) and cell.covers else verdict_file.text_of(cell)


@head_baristas_by_password("GET", "POST")
def import_columns(request: Any, draft: str) -> HttpResponse:
    if _is_under_way(request, draft):
        return redirect("calibration:import_work", draft)
    upload, cafe = found(request, draft), request.member.cafe
    known = Known(cafe, upload.names)
    with uploads.sheet_of(upload) as sheet:
        form = _columns_form(request.POST or None, sheet, upload, cafe)
        is_right = form.is_valid()
        columns = form.columns() if is_right else upload.columns
        given = _given(request.POST or None, upload, known, columns)
        if is_right and (given is None or given.is_valid()):
            upload.mapping = columns.to_json()
            upload.given = given.given() if given else {}
            upload.save()
            upload.beside("summary").unlink(missing_ok=True)
            if not (faults := columns.faults(upload.given)):
                form = _columns_form(None, sheet, upload, cafe)
                given = _given(None, upload, known, columns)
            for fault in faults:
                form.add_error(None, fault)
            is_right = not faults and not form.questions
        else:
            is_right = False
    if is_right:
        return _look(request, upload)
    context = {"upload": upload, "form": form, "given": given}
    return render_form(request, "calibration/import_columns.html", context)


def _columns_form(data: Any, sheet: Sheet, upload: Upload, cafe: Cafe) -> ColumnsForm:
    mapping = upload.columns
    return ColumnsForm(
        data,
        sheet=sheet,
        columns=mapping,
        guesses=guess(sheet, mapping.kind, mapping.head_row).guesses,
        examples=verdict_file.examples(sheet, mapping.head_row),
        settled=shown_rows.settled(sheet, upload, cafe.business_day(timezone.now())),
    )


def _given(data: Any, upload: Upload, known: Known, columns: Mapping) -> GivenForm | None:
    if upload.kind == Kind.LOTS:
        return None
    rows = {name: known.rows(name) for name in known.tables}
    versions = [version for of_recipe in known.versions.values() for version in of_recipe]
    held = fields_of(columns.columns)
    return GivenForm(data, rows=rows, versions=versions, said=upload.given, held=held)


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
    progress = working.progress(_key(request, draft))
    if progress is not None and progress.is_running:
        template = "calibration/_import_progress.html" if request.htmx else "calibration/import_work.html"
        return render(request, template, {"progress": progress, "draft": draft})
    if progress is not None and progress.state == "done":
        onwards = progress.result
    else:
        upload = found(request, draft)
        if progress is None:
            messages.warning(
                request, _("The work was broken off, and nothing was brought in. Begin it again.")
            )
        else:
            messages.error(request, progress.says)
        looked = verdict_file.summary_of(upload) is not None
        onwards = reverse(f"calibration:import_{'preview' if looked else 'columns'}", args=[draft])
    if request.htmx:
        return HttpResponse(headers={"HX-Redirect": onwards})
    return redirect(onwards)


@head_baristas_by_password("GET", "POST")
def import_preview(request: Any, draft: str) -> HttpResponse:
    if _is_under_way(request, draft):
        return redirect("calibration:import_work", draft)
    upload = found(request, draft)
    summary = verdict_file.summary_of(upload)
    if summary is None:
        return redirect("calibration:import_columns", draft)
    names = _names(request, request.POST or None, upload, summary)
    if request.method == "POST" and names.is_valid():
        upload.names = names.meant()
        upload.save()
        return _look(request, upload)
    return _preview(request, upload, summary, names)


def _names(request: Any, data: Any, upload: Upload, summary: Summary) -> NamesForm:
    return NamesForm(data, unknown=summary.unknown, known=Known(request.member.cafe), said=upload.names)


def _preview(
    request: Any, upload: Upload, summary: Summary, names: NamesForm, form: BringInForm | None = None
) -> HttpResponse:
    cafe = request.member.cafe
    filters = verdict_file.filter_words(summary)
    counts = {key: count for key, _word, count in filters}
    which = request.GET.get("rows", "")
    if not counts.get(which):
        which = next((key for key in ("problems", "doubts", "good", "out") if counts[key]), "good")
    rows = Rows(upload, cafe, cafe.business_day(timezone.now()), which, counts[which])
    context = {
        "upload": upload,
        "cafe": cafe,
        "summary": summary,
        "names": names,
        "form": form or _bring_form(None, upload, summary),
        "which": which,
        "filters": filters,
        "page_obj": Paginator(rows, shown_rows.TOGETHER).get_page(request.GET.get("page")),  # type: ignore[arg-type]
    }
    return render_form(request, "calibration/import_preview.html", context)


def _bring_form(data: Any, upload: Upload, summary: Summary) -> BringInForm:
    return BringInForm(data, seen=mark_of(upload), bad=summary.bad, doubtful=summary.doubtful)


@head_baristas_by_password("GET")
def import_verdicts(request: Any, draft: str) -> Any:
    upload = found(request, draft)
    if verdict_file.summary_of(upload) is None:
        return redirect("calibration:import_columns", draft)
    answer = StreamingHttpResponse(verdict_file.verdicts_csv(upload), content_type="text/csv; charset=utf-8")
    answer["Content-Disposition"] = 'attachment; filename="verdicts.csv"'
    return answer


@head_baristas_by_password("GET", "POST")
def import_bring(request: Any, draft: str) -> HttpResponse:
    upload, member, by = found(request, draft), request.member, request.user
    summary = verdict_file.summary_of(upload)
    if summary is None or request.method == "GET":
        # Links on the page of a refusal are of the rows.
        rows = reverse("calibration:import_preview", args=[draft])
        return redirect(f"{rows}?{request.GET.urlencode()}")
    form = _bring_form(request.POST, upload, summary)
    if not form.is_valid():
        return _preview(request, upload, summary, _names(request, None, upload, summary), form)
    said = {name: bool(form.cleaned_data.get(name)) for name in ("only_good", "sure")}

    def work(tell: Any) -> str:
        made = steps.bring_in(upload, member.cafe, by, timezone.now(), tell=tell, **said)
        return reverse("calibration:brought", args=[made.pk])

    working.start(_key(request, draft), "bring", work, (NotBroughtIn, Unreadable))
    return redirect("calibration:import_work", draft)


@head_baristas_by_password("POST")
def import_drop(request: Any, draft: str) -> HttpResponse:
    if _is_under_way(request, draft):
        return redirect("calibration:import_work", draft)
    uploads.forget(found(request, draft))
    messages.success(request, _("The file is deleted. Nothing of it was brought in."))
    return redirect("calibration:imports")


def found(request: Any, draft: str) -> Upload:
    upload = uploads.find(request.member.cafe, draft)
    if upload is None:
        raise NotHere(
            _(
                "This spreadsheet does not wait here any more: it was brought in or deleted, or a week has passed."
            ),
            reverse("calibration:imports"),
        )
    return upload


def _is_under_way(request: Any, draft: str) -> bool:
    progress = working.progress(_key(request, draft))
    return progress is not None and progress.is_running


def _key(request: Any, draft: str) -> str:
    return f"{request.member.cafe.pk}:{draft}"
