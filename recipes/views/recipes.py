"""Recipes, their versions, and what becomes of them: read by everybody, written by head baristas."""

from __future__ import annotations

from typing import Any

from django.contrib import messages
from django.db.models import Prefetch, Q
from django.http import HttpResponse
from django.shortcuts import get_object_or_404, redirect, render
from django.utils.translation import gettext as _

from brewbar.crew.access import Member, crew, head_baristas
from brewbar.web.forms import render_form
from recipes import authoring, catalogue
from recipes.brewing.plan import Severity
from recipes.forms.recipes import NameForm, ReasonsForm, RecipeForm
from recipes.models import Coffee, Recipe, RecipeVersion, Slot
from recipes.timeline import draw, plan_rows, totals


@crew("GET")
def recipes(request: Any) -> HttpResponse:
    wanted, with_retired = request.GET.get("q", "").strip(), "retired" in request.GET
    rows = Recipe.objects.for_member(request.member).select_related("coffee")
    if wanted:
        rows = rows.filter(Q(name__icontains=wanted) | Q(coffee__name__icontains=wanted))
    if not with_retired:
        rows = rows.in_use()
    outlines = RecipeVersion.objects.order_by("-number").only("recipe_id", "number", "published_at")
    found = list(rows.prefetch_related(Prefetch("versions", outlines)))
    live = _live_slots(request.member)
    listed = [
        {
            "recipe": recipe,
            "draft": next((v for v in recipe.versions.all() if v.is_draft), None),
            "newest": next((v for v in recipe.versions.all() if not v.is_draft), None),
            "live": [slot for slot in live if slot.card.recipe_id == recipe.pk],
        }
        for recipe in found
    ]
    context = {"listed": listed, "wanted": wanted, "with_retired": with_retired}
    return render(request, "recipes/recipes.html", context)


@head_baristas("GET", "POST")
def recipe_new(request: Any) -> HttpResponse:
    form = RecipeForm(
        request.POST or None, member=request.member, initial={"coffee": request.GET.get("coffee")}
    )
    if request.method == "POST" and form.is_valid():
        try:
            draft = authoring.create_recipe(request.member, **form.cleaned_data)
        except authoring.NameTaken as taken:
            form.add_error("name", str(taken))
        else:
            return redirect("recipes:version_edit", draft.pk)
    no_coffee = not Coffee.objects.for_member(request.member).in_use().exists()
    return render_form(request, "recipes/recipe_new.html", {"form": form, "no_coffee": no_coffee})


@crew("GET")
def recipe(request: Any, pk: int) -> HttpResponse:
    return _recipe_page(request, _recipe(request, pk), ReasonsForm())


def _recipe_page(request: Any, recipe: Recipe, form: ReasonsForm) -> HttpResponse:
    people = ("created_by", "edited_by", "published_by", "based_on")
    versions = list(recipe.versions.select_related(*people, "kettle").order_by("-number"))
    newest = next((v for v in versions if not v.is_draft), None)
    live = [slot for slot in _live_slots(request.member) if slot.card.recipe_id == recipe.pk]
    context: dict[str, Any] = {
        "recipe": recipe,
        "versions": [
            {"version": version, "live": [slot for slot in live if slot.version_id == version.pk]}
            for version in versions
        ],
        "newest": newest,
        "draft": next((v for v in versions if v.is_draft), None),
        "form": form,
    }
    if newest:
        newest.recipe = recipe
        context |= _drawn(newest)
    return render_form(request, "recipes/recipe.html", context)


@head_baristas("POST")
def recipe_revise(request: Any, pk: int) -> HttpResponse:
    recipe = _recipe(request, pk)
    form = ReasonsForm(request.POST)
    if not form.is_valid():
        return _recipe_page(request, recipe, form)
    try:
        draft = authoring.revise(request.member, recipe, **form.cleaned_data)
    except authoring.DraftExists as exists:
        messages.info(request, str(exists))
        return redirect("recipes:version_edit", exists.draft.pk)
    except authoring.NotDone as reason:
        messages.error(request, str(reason))
        return redirect("recipes:recipe", pk)
    return redirect("recipes:version_edit", draft.pk)


@head_baristas("POST")
def recipe_retire(request: Any, pk: int) -> HttpResponse:
    recipe = _recipe(request, pk)
    try:
        if "bring_back" in request.POST:
            recipe.bring_back()
            messages.success(request, _("%(recipe)s is in use again.") % {"recipe": recipe})
        else:
            authoring.retire(request.member, recipe)
            messages.success(
                request, _("%(recipe)s is retired. Its versions and readings stay.") % {"recipe": recipe}
            )
    except authoring.OnABoard as reason:
        messages.error(request, str(reason))
    return redirect("recipes:recipe", pk)


@head_baristas("GET", "POST")
def recipe_rename(request: Any, pk: int) -> HttpResponse:
    recipe = _recipe(request, pk)
    before = recipe.name
    form = NameForm(request.POST or None, instance=recipe, member=request.member)
    if request.method == "POST" and form.is_valid():
        try:
            catalogue.save(form.save(commit=False), request.user)
        except catalogue.NameTaken as taken:
            form.add_error("name", str(taken))
        else:
            messages.success(
                request, _("%(before)s is called %(after)s now.") % {"before": before, "after": recipe}
            )
            return redirect("recipes:recipe", pk)
    return render_form(
        request, "recipes/recipe_rename.html", {"form": form, "recipe": recipe, "name": before}
    )


@crew("GET")
def version(request: Any, pk: int) -> HttpResponse:
    version = _version(request, pk)
    context = _drawn(version)
    findings = authoring.findings_at(context["plan"], version.kettle, request.member.cafe)
    return render(
        request,
        "recipes/version.html",
        context
        | {
            "warnings": [finding for finding in findings if finding.severity is Severity.WARNING],
            "blocks": authoring.what_blocks(version, findings),
            "live": [slot for slot in _live_slots(request.member) if slot.version_id == version.pk],
            "may_discard": request.member.is_head and authoring.may_discard(request.member, version),
        },
    )


@head_baristas("POST")
def version_discard(request: Any, pk: int) -> HttpResponse:
    version = _version(request, pk)
    recipe = version.recipe
    try:
        authoring.discard(request.member, version)
    except authoring.NotYours as reason:
        messages.error(request, str(reason))
        return redirect("recipes:version", pk)
    messages.success(request, _("The draft is discarded."))
    return redirect("recipes:recipe", recipe.pk) if recipe.pk else redirect("recipes:recipes")


def _recipe(request: Any, pk: int) -> Recipe:
    found: Recipe = get_object_or_404(
        Recipe.objects.for_member(request.member).select_related("coffee", "created_by"), pk=pk
    )
    return found


def _version(request: Any, pk: int) -> RecipeVersion:
    rows = RecipeVersion.objects.for_member(request.member).select_related(
        "recipe__coffee", "brewer", "paper", "kettle", "based_on", "created_by", "edited_by", "published_by"
    )
    found: RecipeVersion = get_object_or_404(rows, pk=pk)
    return found


def _live_slots(member: Member) -> list[Slot]:
    return list(Slot.objects.for_member(member).live().select_related("card__station__cafe"))


def _drawn(version: RecipeVersion) -> dict[str, Any]:
    plan = version.plan()
    return {
        "version": version,
        "plan": plan,
        "plan_rows": plan_rows(plan),
        "totals": totals(plan),
        "timeline": draw(plan),
    }
