"""Any two versions of the company side by side."""

from __future__ import annotations

from typing import Any

from django.http import HttpResponse
from django.shortcuts import render

from brewbar.crew.access import crew
from recipes.authoring import findings_at, kettle_here
from recipes.expecting import expecting
from recipes.foreseen import look_ahead
from recipes.forms.finding import CompareForm
from recipes.models import RecipeVersion
from recipes.side_by_side import only_differing, versions_beside
from recipes.starting import unlike_where_it_began


@crew("GET")
def compare(request: Any) -> HttpResponse:
    both = {"a", "b"} <= set(request.GET)
    form = CompareForm(request.GET if both else None, member=request.member, initial=request.GET.dict())
    if not form.is_valid():
        return render(request, "recipes/compare.html", {"form": form}, status=422 if both else 200)
    a, b = (_whole(request, form.cleaned_data[name].pk) for name in ("a", "b"))
    beside = versions_beside(a, b, request.member)
    sides = [_side(request, version, other) for version, other in ((a, b), (b, a))]
    left, right = (side["ahead"].seen for side in sides)
    context = {
        "form": form,
        "beside": only_differing(beside) if form.cleaned_data["only"] else beside,
        "sides": sides,
        "same": a == b,
        "expecting": expecting(left, right),
    }
    return render(request, "recipes/compare.html", context)


def _whole(request: Any, pk: int) -> RecipeVersion:
    rows = RecipeVersion.objects.for_member(request.member).prefetch_related("pours")
    found: RecipeVersion = rows.select_related(
        "recipe__coffee", "recipe__started_from", "brewer", "paper", "kettle"
    ).get(pk=pk)
    return found


def _side(request: Any, version: RecipeVersion, other: RecipeVersion) -> dict[str, Any]:
    plan, cafe = version.plan(), request.member.cafe
    kettle = kettle_here(version.kettle, request.member)
    ahead = look_ahead(version, plan, cafe, kettle, version.brewer, beside=other.plan())
    return {
        "version": version,
        "ahead": ahead,
        "said": [
            *findings_at(plan, kettle, cafe, version.brewer),
            *ahead.seen.findings,
            *unlike_where_it_began(version, plan),
        ],
    }
