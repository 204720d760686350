"""The page where a draft is written. It works as plain pages; htmx only spares the reader the loading."""

from __future__ import annotations

from typing import Any

from django.contrib import messages
from django.db import transaction
from django.http import HttpResponse, QueryDict
from django.shortcuts import get_object_or_404, redirect, render
from django.utils.translation import gettext as _

from brewbar.crew.access import head_baristas
from brewbar.web.forms import what_is_wrong
from recipes import authoring
from recipes.beside import beside, counted
from recipes.foreseen import look_ahead
from recipes.forms.draft import Draft, rearranged
from recipes.models import RecipeVersion
from recipes.starting import unlike_where_it_began
from recipes.timeline import plan_rows, totals

PAGE = "recipes/version_edit.html"


@head_baristas("GET", "POST")
def edit(request: Any, pk: int) -> HttpResponse:
    version = _version(request, pk)
    if request.method == "POST":
        act = {"save": _save, "next": _save_as_next}.get(request.POST.get("do", "save"), _rearrange)
        return act(request, version)
    if not version.is_draft:
        messages.info(request, str(authoring.Frozen(version)))
        return redirect("recipes:version", pk)
    return render(request, PAGE, _shown(request, version, Draft.opened(version, request.member)))


@head_baristas("POST")
def preview(request: Any, pk: int) -> HttpResponse:
    """What follows from what is typed so far: only the computed parts of the page, each to its place."""
    rows = RecipeVersion.objects.for_member(request.member)
    version = get_object_or_404(rows.select_related("recipe__started_from"), pk=pk)
    context = _shown(request, version, _typed(request, version), out_of_band=True)
    context["counts_changed"] = request.POST.get("said") != context["counts"].mark
    return render(request, "recipes/_version_preview.html", context)


def _save(request: Any, version: RecipeVersion) -> HttpResponse:
    draft = _typed(request, version)
    if not draft.is_valid():
        return _refused(request, version, draft, 422, wrongs=list(what_is_wrong(*draft.forms)))
    try:
        authoring.save_draft(request.member, version, draft.planned(), draft.seen)
    except authoring.Conflict as conflict:
        draft.seen = conflict.revision
        return _refused(request, version, draft, 409, conflict=conflict)
    except authoring.Frozen as frozen:
        return _refused(request, version, draft, 409, frozen=frozen)
    messages.success(request, _("The draft is saved."))
    return redirect("recipes:version", version.pk)


def _save_as_next(request: Any, version: RecipeVersion) -> HttpResponse:
    """What was typed into a draft that somebody published meanwhile becomes a draft of its own."""
    draft = _typed(request, version)
    if not draft.is_valid():
        return _refused(request, version, draft, 422, wrongs=list(what_is_wrong(*draft.forms)))
    try:
        with transaction.atomic():
            following = authoring.revise(request.member, version.recipe)
            typed = _typed(request, following)
            authoring.save_draft(request.member, following, typed.planned(), following.revision)
    except authoring.NotDone as reason:
        messages.error(request, str(reason))
        return _refused(request, version, draft, 409)
    messages.success(
        request, _("What you typed is saved as version %(number)d.") % {"number": following.number}
    )
    return redirect("recipes:version", following.pk)


def _rearrange(request: Any, version: RecipeVersion) -> HttpResponse:
    do = request.POST["do"]
    if do == "fill" and not _typed(request, version).is_blank:
        do = ""
    data, key = rearranged(request.POST, do)
    draft = _typed(request, version, data)
    focus = f"pour-{key}"
    if do == "add":
        draft.pours[-1].fields["starts_at_s"].widget.attrs["autofocus"] = True
        focus = ""
    elif do in draft.moves():
        focus = do
    context = _shown(request, version, draft, focus=focus)
    return render(request, "recipes/_version_rearranged.html" if request.htmx else PAGE, context)


def _refused(request: Any, version: RecipeVersion, draft: Draft, status: int, **why: Any) -> HttpResponse:
    return render(request, PAGE, _shown(request, version, draft, **why), status=status)


def _version(request: Any, pk: int) -> RecipeVersion:
    rows = RecipeVersion.objects.for_member(request.member)
    version: RecipeVersion = get_object_or_404(
        rows.select_related(
            "recipe__coffee", "recipe__started_from", "brewer", "kettle", "based_on", "published_by"
        ),
        pk=pk,
    )
    return version


def _typed(request: Any, version: RecipeVersion, data: QueryDict | None = None) -> Draft:
    return Draft.typed(request.POST if data is None else data, version, request.member)


def _shown(request: Any, version: RecipeVersion, draft: Draft, **more: Any) -> dict[str, Any]:
    """What the editor and each of its fragments are drawn from."""
    plan = draft.plan()
    kettle = authoring.kettle_here(draft.kettle(), request.member)
    ahead = look_ahead(version, plan, request.member.cafe, kettle, draft.brewer())
    findings = (
        *authoring.findings_at(plan, kettle, request.member.cafe, draft.brewer()),
        *ahead.seen.findings,
        *unlike_where_it_began(version, plan),
    )
    rows: list[dict[str, Any]] = [
        {
            "form": form,
            "row": row,
            "stream": stream,
            "said": beside(findings, index, form.labels, f"{form.prefix}-", form.unread),
        }
        for index, (form, row, stream) in enumerate(
            zip(draft.pours, plan_rows(plan), ahead.words.pours, strict=True)
        )
    ]
    said = beside(findings, "plan", draft.version.labels, unread=draft.version.unread)
    return {
        "version": version,
        "draft": draft,
        "form": draft.version,
        "rows": rows,
        "said": said,
        "counts": counted([*said, *(one for row in rows for one in row["said"])]),
        "totals": totals(plan),
        "timeline": ahead.timeline,
        "curves": ahead.curves,
        "ahead": ahead.words,
        "unmeasured": ahead.unmeasured,
        "unsaved": request.method == "POST",
        **more,
    }
