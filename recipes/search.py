"""Finding recipes: by words, coffee, brewer and state."""

from __future__ import annotations

import unicodedata
from collections.abc import Iterator
from dataclasses import dataclass

from django.db import models
from django.db.models import Prefetch
from django.utils.translation import gettext_lazy as _

from brewbar.crew.access import Member
from recipes.models import Brewer, Coffee, Recipe, RecipeVersion, Slot


class State(models.TextChoices):
    """What has become of a recipe; nothing chosen means all that is in use."""

    LIVE = "live", _("on a board now")
    PUBLISHED = "published", _("published")
    DRAFT = "draft", _("with a draft")
    RETIRED = "retired", _("retired")
    ALL = "all", _("all, retired too")


@dataclass(frozen=True)
class Asked:
    """What is looked for; whatever is empty leaves all through."""

    text: str = ""
    coffee: Coffee | None = None
    brewer: Brewer | None = None
    state: str = ""

    def __bool__(self) -> bool:
        return bool(self.text or self.coffee or self.brewer or self.state)


@dataclass(frozen=True)
class Found:
    """A recipe of the list: its newest published version, its draft, and where the member sees it live."""

    recipe: Recipe
    newest: RecipeVersion | None
    draft: RecipeVersion | None
    live: tuple[Slot, ...]

    @property
    def states(self) -> set[str]:
        if self.recipe.retired_at:
            return {State.RETIRED, State.ALL}
        return {
            "",
            State.ALL,
            *([State.LIVE] if self.live else []),
            *([State.PUBLISHED] if self.newest else []),
            *([State.DRAFT] if self.draft else []),
        }

    @property
    def brewers(self) -> set[int]:
        return {v.brewer_id for v in (self.newest, self.draft) if v is not None and v.brewer_id}


def find(member: Member, asked: Asked) -> list[Found]:
    """The recipes that fit, those on a board first, then by name.

    Words are compared here and not by the database, since SQLite folds only the letters of English.
    """
    rows = Recipe.objects.for_member(member).select_related("coffee")
    if asked.coffee:
        rows = rows.filter(coffee=asked.coffee)
    if asked.state != State.ALL:
        rows = rows.filter(retired_at__isnull=asked.state != State.RETIRED)
    words = folded(asked.text).split()
    fitting = [recipe for recipe in rows if all(word in _words_of(recipe) for word in words)]
    found = (
        one
        for one in _with_versions(member, fitting)
        if asked.state in one.states and (asked.brewer is None or asked.brewer.pk in one.brewers)
    )
    return sorted(found, key=lambda one: (not one.live, folded(one.recipe.name)))


def _with_versions(member: Member, recipes: list[Recipe]) -> Iterator[Found]:
    outlines = RecipeVersion.objects.order_by("-number")
    outlines = outlines.only("recipe_id", "number", "published_at", "brewer_id")
    models.prefetch_related_objects(recipes, Prefetch("versions", outlines))
    live: dict[int, list[Slot]] = {}
    for slot in live_slots(member):
        live.setdefault(slot.card.recipe_id, []).append(slot)
    for recipe in recipes:
        versions = list(recipe.versions.all())
        yield Found(
            recipe,
            newest=next((v for v in versions if not v.is_draft), None),
            draft=next((v for v in versions if v.is_draft), None),
            live=tuple(live.get(recipe.pk, ())),
        )


def live_slots(member: Member) -> list[Slot]:
    """What stands on the boards that the member sees."""
    return list(Slot.objects.for_member(member).live().select_related("card__station__cafe"))


def _words_of(recipe: Recipe) -> str:
    coffee = recipe.coffee
    return folded(" ".join((recipe.name, coffee.name, coffee.origin, coffee.process)))


def folded(text: str) -> str:
    """The text without accents and capitals: what somebody types in a hurry for "Ñandú" is "nandu"."""
    letters = unicodedata.normalize("NFKD", text.casefold())
    return "".join(letter for letter in letters if not unicodedata.combining(letter))
