"""The addresses themselves: what is read here is what the pages show, by the same rules."""

from __future__ import annotations

from typing import Any

from django.db.models import Prefetch
from django.http import Http404
from django.shortcuts import get_object_or_404
from django.utils import timezone
from drf_spectacular.utils import OpenApiParameter, extend_schema
from rest_framework.response import Response

from brewbar.crew.access import Member
from brewbar.crew.api.fields import MOST_ID, CafeQuery, at
from brewbar.crew.api.pages import PageQuery, page, page_of
from brewbar.crew.api.view import ApiView
from brewbar.crew.models import Scope
from recipes import codes, publishing
from recipes.api import shapes
from recipes.models import Coffee, Recipe, RecipeVersion, RoastBatch, Slot

READ = {"GET": Scope.RECIPES}


def path_id(what: str) -> OpenApiParameter:
    return OpenApiParameter(
        "pk", {"type": "integer", "minimum": 1, "maximum": MOST_ID}, OpenApiParameter.PATH, description=what
    )


def named(row: Any) -> dict[str, Any] | None:
    return None if row is None else {"id": row.pk, "name": row.name}


def told_slot(slot: Slot, member: Member) -> dict[str, Any]:
    setting = slot.setting
    assert setting is not None
    assert slot.published_at is not None
    batch = setting.roast_batch
    return {
        "id": slot.pk,
        "code": slot.card.code,
        "station": named(slot.card.station),
        "recipe": named(slot.card.recipe),
        "version": {"id": slot.version_id, "number": slot.version.number},
        "coffee": named(slot.card.recipe.coffee),
        "kettle": named(slot.kettle),
        "roast_batch": {"id": batch.pk, "label": batch.label, "roasted_on": batch.roasted_on.isoformat()},
        "grinder": named(setting.grinder),
        "grind_setting": setting.grind_setting,
        # A setting that was planned the evening before holds from when it was published.
        "set_at": at(max(setting.set_at, slot.published_at), member),
        "published_at": at(slot.published_at, member),
    }


def told_version(version: RecipeVersion, member: Member) -> dict[str, Any]:
    told = dict(shapes.VersionShape(version).data)
    assert version.published_at is not None
    return told | {"published_at": at(version.published_at, member)}


class Board(ApiView):
    scopes, query = READ, CafeQuery

    @extend_schema(
        operation_id="board",
        summary="What is on the board now",
        parameters=[CafeQuery],
        responses=shapes.BoardShape,
    )
    def get(self, request: Any) -> Response:
        member, now = self.member, timezone.now()
        board = publishing.board_as_it_stands(member.cafe, now)
        slots = Slot.objects.for_member(member).live().for_card().filter(board=board)
        return Response(
            {
                "cafe": named(member.cafe),
                "revision": board.revision,
                "business_day": member.cafe.business_day(now).isoformat(),
                "slots": [told_slot(slot, member) for slot in slots],
            }
        )


class Card(ApiView):
    scopes = READ

    @extend_schema(operation_id="card", summary="What a card's code leads to now", responses=shapes.CardShape)
    def get(self, request: Any, code: str) -> Response:
        member = self.member
        found = codes.resolve(member, code, timezone.now())
        if found is None:
            raise Http404
        live, instead = found.slot, found.instead
        return Response(
            {
                "code": found.card.code,
                "station": named(found.card.station),
                "recipe": named(found.card.recipe),
                "slot": told_slot(live, member) if live else None,
                "plan": told_version(live.version, member) if live else None,
                "instead": told_slot(instead, member) if instead else None,
            }
        )


class Recipes(ApiView):
    scopes, query = READ, PageQuery

    @extend_schema(
        operation_id="recipes",
        summary="All recipes of the company",
        parameters=[PageQuery],
        responses=page_of(shapes.RecipeLine),
    )
    def get(self, request: Any) -> Response:
        rows, following = page(
            request, Recipe.objects.for_member(self.member).select_related("coffee"), self.asked
        )
        return Response({"items": [_line(row) for row in rows], "next": following})


def _line(recipe: Recipe) -> dict[str, Any]:
    return {
        "id": recipe.pk,
        "name": recipe.name,
        "coffee": named(recipe.coffee),
        "is_retired": recipe.retired_at is not None,
    }


class OneRecipe(ApiView):
    scopes = READ

    @extend_schema(
        operation_id="recipe",
        summary="A recipe and its published versions",
        parameters=[path_id("The recipe.")],
        responses=shapes.RecipeShape,
    )
    def get(self, request: Any, pk: int) -> Response:
        recipe = get_object_or_404(Recipe.objects.for_member(self.member).select_related("coffee"), pk=pk)
        versions = [
            {
                "id": version.pk,
                "number": version.number,
                "published_at": at(version.published_at, self.member),
                "what_changed": version.what_changed,
                "why": version.why,
            }
            for version in recipe.versions.published().order_by("-number")
            if version.published_at
        ]
        return Response(_line(recipe) | {"versions": versions})


class OneVersion(ApiView):
    scopes = READ

    @extend_schema(
        operation_id="version",
        summary="A published version, pour by pour",
        parameters=[path_id("The version.")],
        responses=shapes.VersionShape,
    )
    def get(self, request: Any, pk: int) -> Response:
        rows = RecipeVersion.objects.for_member(self.member).published()
        rows = rows.select_related("recipe__coffee", "brewer", "paper").prefetch_related("pours")
        return Response(told_version(get_object_or_404(rows, pk=pk), self.member))


class Coffees(ApiView):
    scopes, query = READ, PageQuery

    @extend_schema(
        operation_id="coffees",
        summary="All coffees of the company, with the batches in use",
        parameters=[PageQuery],
        responses=page_of(shapes.CoffeeShape),
    )
    def get(self, request: Any) -> Response:
        coffees = Coffee.objects.for_member(self.member).prefetch_related(
            Prefetch("batches", RoastBatch.objects.in_use())
        )
        rows, following = page(request, coffees, self.asked)
        for row in rows:
            row.is_retired = row.retired_at is not None
        return Response({"items": shapes.CoffeeShape(rows, many=True).data, "next": following})
