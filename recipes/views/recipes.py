"""Recipes, their versions, and what becomes of them: read by everybody, written by head baristas."""

from __future__ import annotations

from typing import Any

from django.contrib import messages
from django.core.paginator import Paginator
from django.http import HttpResponse
from django.shortcuts import get_object_or_404, redirect, render
from django.utils.translation import gettext as _

from brewbar.crew.access import Member, crew, head_baristas
from brewbar.web.forms import render_form
from recipes import at_cafe, authoring, catalogue, search
from recipes.aims import Aims
from recipes.brewing.plan import Severity
from recipes.everywhere import headed
from recipes.foreseen import look_ahead
from recipes.forms.finding import RecipeFilter
from recipes.forms.recipes import NameForm, ReasonsForm
from recipes.models import Recipe, RecipeVersion
from recipes.search import live_slots
from recipes.starting import unlike_where_it_began
from recipes.timeline import draw, plan_rows, totals

A_PAGE = 50


@crew("GET")
def recipes(request: Any) -> HttpResponse:
    form = RecipeFilter(request.GET, member=request.member)
    valid = form.is_valid()
    found = search.find(request.member, form.asked()) if valid else []
    context = {
        "form": form,
        "page": Paginator(found, A_PAGE).get_page(request.GET.get("page")),
        "is_filtered": not valid or bool(form.asked()),
        "any": bool(found) or Recipe.objects.for_member(request.member).exists(),
    }
    return render_form(request, "recipes/recipes.html", context, fragment="recipes/_found.html")


@crew("GET")
def recipe(request: Any, pk: int) -> HttpResponse:
    return _recipe_page(request, _recipe(request, pk), ReasonsForm())


def _recipe_page(request: Any, recipe: Recipe, form: ReasonsForm) -> HttpResponse:
    people = ("created_by", "edited_by", "published_by", "based_on")
    versions = list(recipe.versions.select_related(*people, "kettle").order_by("-number"))
    newest = next((v for v in versions if not v.is_draft), None)
    live = [slot for slot in live_slots(request.member) if slot.card.recipe_id == recipe.pk]
    context: dict[str, Any] = {
        "recipe": recipe,
        "versions": [
            {"version": version, "live": [slot for slot in live if slot.version_id == version.pk]}
            for version in versions
        ],
        "newest": newest,
        "draft": next((v for v in versions if v.is_draft), None),
        "form": form,
        **_here(request.member, recipe),
    }
    if newest:
        newest.recipe = recipe
        plan = newest.plan()
        context |= {"plan_rows": plan_rows(plan), "totals": totals(plan), "timeline": draw(plan)}
    return render_form(request, "recipes/recipe.html", context)


def _here(member: Member, recipe: Recipe) -> dict[str, Any]:
    """What stands at the member's café, and for owners at each of several."""
    grind, target = at_cafe.standing_of(member.cafe, recipe)
    cafes = list(member.company.cafes.all()) if member.is_owner else []
    return {
        "cafe": member.cafe,
        "grind_note": grind,
        "own_target": target,
        "at_each": at_cafe.at_each(cafes, recipe) if len(cafes) > 1 else [],
    }


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
            catalogue.bring_back(recipe, request.user)
            messages.success(request, _("%(recipe)s is in use again.") % {"recipe": recipe})
        else:
            catalogue.retire(recipe, request.user)
            messages.success(
                request, _("%(recipe)s is retired. Its versions and readings stay.") % {"recipe": recipe}
            )
    except catalogue.NotDone as reason:
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
    # What it would be here: findings and forecast hold it against what this café aims at.
    plan, own = version.plan(), _here(request.member, version.recipe)
    here = Aims.of(version, own["own_target"]).onto(plan)
    kettle = authoring.kettle_here(version.kettle, request.member)
    ahead = look_ahead(version, here, request.member.cafe, kettle, version.brewer)
    findings = (
        *authoring.findings_at(here, kettle, request.member.cafe, version.brewer),
        *ahead.seen.findings,
        *unlike_where_it_began(version, plan),
    )
    return render(
        request,
        "recipes/version.html",
        {
            "version": version,
            "kettle": authoring.kettle_told(version.kettle, request.member),
            **own,
            "plan_rows": plan_rows(plan),
            "totals": totals(plan),
            "timeline": ahead.timeline,
            "curves": ahead.curves,
            "ahead": ahead.words,
            "unmeasured": ahead.unmeasured,
            "warnings": [finding for finding in findings if finding.severity is Severity.WARNING],
            "blocks": authoring.what_blocks(version, findings),
            "live": [slot for slot in live_slots(request.member) if slot.version_id == version.pk],
            "beside": version.based_on_id or version.recipe.started_from_id,
            "in_several": len(headed(request.places, request.member.company)) > 1,
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
        Recipe.objects.for_member(request.member).select_related(
            "coffee", "created_by", "started_from__recipe"
        ),
        pk=pk,
    )
    return found


def _version(request: Any, pk: int) -> RecipeVersion:
    rows = RecipeVersion.objects.for_member(request.member).select_related(
        *("recipe__coffee", "recipe__started_from__recipe", "brewer", "paper", "kettle"),
        *("based_on", "created_by", "edited_by", "published_by"),
    )
    found: RecipeVersion = get_object_or_404(rows, pk=pk)
    return found
