"""Where recipes begin: empty, from another coffee's, or for another number of cups."""

from __future__ import annotations

from typing import Any

from django.contrib import messages
from django.http import HttpResponse, QueryDict
from django.shortcuts import get_object_or_404, redirect
from django.utils.translation import gettext as _

from brewbar.crew.access import head_baristas
from brewbar.units import trimmed
from brewbar.web.forms import render_form
from recipes import starting
from recipes.authoring import NameTaken, findings_at, kettle_here
from recipes.brewing.plan import Finding
from recipes.forms.recipes import NameForm, RecipeForm
from recipes.forms.starting import DoseForm
from recipes.likeness import most_alike
from recipes.models import Coffee, RecipeVersion
from recipes.side_by_side import plans_beside

SHOWN = (
    *("dose_g", "water_g", "bypass_g", "ice_g", "brew_time_s", "brew_ratio", "pouring_s", "ends_at_s"),
    *("starts_at_s", "to_g"),
)
"""Of the plan before and after scaling: what moves, and what people may take to move."""


@head_baristas("GET", "POST")
def recipe_new(request: Any) -> HttpResponse:
    coffee = _coffee_named(request)
    form = RecipeForm(request.POST or None, member=request.member, initial={"coffee": coffee})
    if request.method == "POST" and form.is_valid():
        try:
            draft = starting.create_recipe(request.member, **form.cleaned_data)
        except NameTaken as taken:
            form.add_error("name", str(taken))
        else:
            return redirect("recipes:version_edit", draft.pk)
    context = {
        "form": form,
        "coffee": coffee,
        "alike": most_alike(request.member, coffee) if coffee else [],
        "no_coffee": not Coffee.objects.for_member(request.member).in_use().exists(),
    }
    return render_form(request, "recipes/recipe_new.html", context, fragment="recipes/_alike.html")


@head_baristas("GET", "POST")
def version_copy(request: Any, pk: int) -> HttpResponse:
    version, coffee = _version(request, pk), _coffee_named(request)
    name = starting.name_for_coffee(version.recipe, coffee) if coffee else ""
    form = RecipeForm(request.POST or None, member=request.member, initial={"coffee": coffee, "name": name})
    if request.method == "POST" and form.is_valid():
        try:
            draft = starting.start_from(request.member, version, **form.cleaned_data)
        except NameTaken as taken:
            form.add_error("name", str(taken))
        else:
            messages.success(request, _("This draft began as a copy of %(version)s.") % {"version": version})
            return redirect("recipes:version_edit", draft.pk)
    return render_form(request, "recipes/version_copy.html", {"form": form, "version": version})


@head_baristas("GET", "POST")
def version_scale(request: Any, pk: int) -> HttpResponse:
    version = _version(request, pk)
    plan, usual_g = version.plan(), starting.usual_dose_g(version.plan())
    if not usual_g:
        messages.info(request, _("Only a plan with a dose and a brew water can be scaled."))
        return redirect("recipes:version", pk)
    sent: QueryDict = request.POST if request.method == "POST" else request.GET
    dose = DoseForm({"dose": sent.get("dose", trimmed(usual_g, 1))}, plan=plan)
    suggested = (
        starting.name_for_dose(version.recipe, plan, float(dose.cleaned_data["dose"]))
        if dose.is_valid()
        else sent.get("suggested", "")
    )
    # A name of one's own stays when the dose changes.
    own = sent.get("name", "") not in ("", sent.get("suggested", ""))
    name = NameForm(
        request.POST or None,
        member=request.member,
        initial={"name": sent.get("name") if own else suggested},
    )
    if request.method == "POST" and dose.is_valid() and name.is_valid():
        try:
            typed = name.cleaned_data["name"]
            draft = starting.start_from(request.member, version, typed, version.recipe.coffee, dose.factor)
        except NameTaken as taken:
            name.add_error("name", str(taken))
        else:
            messages.success(request, _("This draft began as %(version)s.") % {"version": version})
            return redirect("recipes:version_edit", draft.pk)
    context = {
        "version": version,
        "dose": dose,
        "form": name,
        "suggested": suggested,
        "cups": starting.for_cups(plan),
        "beside": plans_beside(plan, dose.scaled.plan, SHOWN) if dose.scaled else None,
        "said": _brought(request, version, dose),
    }
    return render_form(request, "recipes/version_scale.html", context, fragment="recipes/_scale.html")


def _brought(request: Any, version: RecipeVersion, dose: DoseForm) -> list[Finding]:
    """What is to be said about the scaled plan that was not to be said before."""
    if dose.scaled is None:
        return []
    bar = (kettle_here(version.kettle, request.member), request.member.cafe, version.brewer)
    known = {finding.code for finding in findings_at(version.plan(), *bar)}
    new = [finding for finding in findings_at(dose.scaled.plan, *bar) if finding.code not in known]
    return [*new, *dose.scaled.findings]


def _coffee_named(request: Any) -> Coffee | None:
    """The coffee that the address names, if it is one to write a recipe for."""
    asked = request.GET.get("coffee", "")
    if not (asked.isascii() and asked.isdigit() and len(asked) < 10):
        return None
    found: Coffee | None = Coffee.objects.for_member(request.member).in_use().filter(pk=asked).first()
    return found


def _version(request: Any, pk: int) -> RecipeVersion:
    rows = RecipeVersion.objects.for_member(request.member)
    found: RecipeVersion = get_object_or_404(
        rows.select_related("recipe__coffee", "brewer", "paper", "kettle"), pk=pk
    )
    return found
