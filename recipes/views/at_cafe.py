"""A recipe at one café: grind note, own target and their history. Read by its crew, written by heads and owners."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass
from typing import Any

from django.contrib import messages
from django.http import HttpResponse
from django.shortcuts import get_object_or_404, redirect
from django.utils import timezone
from django.utils.translation import gettext as _

from brewbar.crew.access import crew, head_or_owner
from brewbar.crew.models import Cafe
from brewbar.web.forms import render_form
from recipes import at_cafe as job
from recipes import turns
from recipes.forms.at_cafe import GrindNoteForm, OwnForm, OwnTargetForm, SeenForm
from recipes.models import CafeTarget, GrindNote, Recipe


@dataclass(frozen=True)
class There:
    recipe: Recipe
    cafe: Cafe
    grind: GrindNote | None
    target: CafeTarget | None

    @classmethod
    def found(cls, request: Any, pk: int, cafe: int) -> There:
        place = get_object_or_404(Cafe.objects.for_member(request.member).select_related("company"), pk=cafe)
        rows = Recipe.objects.for_member(request.member).select_related("coffee")
        recipe = get_object_or_404(rows, pk=pk)
        return cls(recipe, place, *job.standing_of(place, recipe))


@crew("GET")
def at_cafe(request: Any, pk: int, cafe: int) -> HttpResponse:
    return _page(request, There.found(request, pk, cafe))


def _page(request: Any, there: There, **typed: Any) -> HttpResponse:
    version = next(iter(job.brewed_at(there.cafe, there.recipe)), None)
    context = {
        "recipe": there.recipe,
        "cafe": there.cafe,
        "grind": there.grind,
        "target": there.target,
        "version": version,
        "doubts": job.doubts_of(there.cafe, version) if version and there.target else [],
        "history": job.history_of(there.cafe, there.recipe),
        "may_write": request.member.is_head or request.member.is_owner,
        "grind_form": GrindNoteForm(standing=there.grind),
        "target_form": OwnTargetForm(standing=there.target),
    }
    return render_form(request, "recipes/at_cafe.html", context | typed)


@head_or_owner("POST")
def grind_note(request: Any, pk: int, cafe: int) -> HttpResponse:
    there, now = There.found(request, pk, cafe), timezone.now()
    if "take_back" in request.POST:
        return _end(request, there, job.take_back_grind, GrindNoteForm, _("The grind note is taken back."))
    form = GrindNoteForm(request.POST, standing=there.grind)
    if form.is_valid():
        says, seen = form.cleaned_data["says"], form.cleaned_data["seen"]
        try:
            job.set_grind(there.cafe, there.recipe, says, request.user, now, seen)
        except turns.Refused as refused:
            there = There.found(request, pk, cafe)
            form.refuse(str(refused), there.grind)
        else:
            messages.success(request, _("It stands on the board, and on cards that are printed from now on."))
            return redirect("recipes:at_cafe", pk, cafe)
    return _page(request, there, grind_form=form)


@head_or_owner("POST")
def own_target(request: Any, pk: int, cafe: int) -> HttpResponse:
    there, now = There.found(request, pk, cafe), timezone.now()
    if "end" in request.POST:
        return _end(
            request, there, job.end_target, OwnTargetForm, _("From now on the version’s target counts.")
        )
    form = OwnTargetForm(request.POST, standing=there.target)
    if form.is_valid():
        why, seen = form.cleaned_data["why"], form.cleaned_data["seen"]
        try:
            job.set_target(there.cafe, there.recipe, form.wanted, why, request.user, now, seen)
        except job.NotPossible as trouble:
            for name, said in trouble.fields.items():
                form.add_error(name, said)
        except turns.Refused as refused:
            there = There.found(request, pk, cafe)
            form.refuse(str(refused), there.target)
        else:
            messages.success(
                request, _("It counts from now on. Brews before now are judged by what held then.")
            )
            return redirect("recipes:at_cafe", pk, cafe)
    return _page(request, there, target_form=form)


def _end(
    request: Any, there: There, end: Callable[..., None], form: type[OwnForm], said: str
) -> HttpResponse:
    seen = SeenForm(request.POST, prefix=form.prefix)
    stands = seen.cleaned_data["seen"] if seen.is_valid() else None
    try:
        end(there.cafe, there.recipe, request.user, timezone.now(), stands)
    except turns.Refused as refused:
        messages.warning(request, str(refused))
    else:
        messages.success(request, said)
    return redirect("recipes:at_cafe", there.recipe.pk, there.cafe.pk)
