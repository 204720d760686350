"""Which coffee is most like a new one, so that its recipe is the place to start from.

What counts is what is written down about a coffee: process, roast level, origin and bean density. How much each
counts is a choice of the house, not a measurement: process and roast level change most what a recipe asks for, so
either makes two coffees alike by itself; origin and density only add to that, or have to come together. A fact that
one of the two coffees lacks counts for nothing, and where nothing is alike nothing is suggested.

Only versions that stood on a board are suggested, since only those were brewed. A recipe or coffee out of use may
well be last year's lot of the same coffee, so it is suggested too, after those in use.
"""

from __future__ import annotations

import unicodedata
from collections.abc import Iterable, Iterator
from dataclasses import dataclass

from django.utils.translation import gettext as _

from brewbar.crew.access import Member
from recipes.models import Coffee, RecipeVersion

SAME_COFFEE = 100
SAME_PROCESS, KIN_PROCESS = 3, 2
SAME_ROAST, NEXT_ROAST = 3, 1
SAME_ORIGIN, KIN_ORIGIN = 2, 1
CLOSE_DENSITY, NEAR_DENSITY = 2, 1
CLOSE_G_L, NEAR_G_L = 15, 40
"""Within the first a coffee is as dense as another for what a recipe asks, within the second nearly so."""
ALIKE_FROM = 3
MOST = 3
SHORTEST_WORD = 3
"""Shorter words, such as "of", do not make two origins alike."""


@dataclass(frozen=True)
class Alike:
    """A version to start from. ``reasons`` says in words why its coffee is like the one asked about."""

    version: RecipeVersion
    points: int
    reasons: tuple[str, ...]

    @property
    def coffee(self) -> Coffee:
        coffee: Coffee = self.version.recipe.coffee
        return coffee

    @property
    def is_in_use(self) -> bool:
        return not (self.version.recipe.retired_at or self.coffee.retired_at)


def most_alike(member: Member, coffee: Coffee) -> list[Alike]:
    """At most three versions, each of another coffee, the most alike first."""
    newest = (
        RecipeVersion.objects.for_member(member)
        .published()
        .filter(retired_at=None)
        .select_related("recipe__coffee")
        .order_by("recipe", "-number")
    )
    of_recipe: dict[int, RecipeVersion] = {}
    for version in newest:
        of_recipe.setdefault(version.recipe_id, version)
    ranked = sorted(_judged(coffee, of_recipe.values()), key=_rank)
    of_coffee: dict[int, Alike] = {}
    for alike in ranked:
        of_coffee.setdefault(alike.coffee.pk, alike)
    return list(of_coffee.values())[:MOST]


def _judged(coffee: Coffee, versions: Iterable[RecipeVersion]) -> Iterator[Alike]:
    for version in versions:
        said = list(why_alike(coffee, version.recipe.coffee))
        points = sum(points for points, _reason in said)
        if points >= ALIKE_FROM:
            yield Alike(version, points, tuple(reason for _points, reason in said))


def _rank(alike: Alike) -> tuple[int, bool, float]:
    published = alike.version.published_at
    return (-alike.points, not alike.is_in_use, -published.timestamp() if published else 0)


def why_alike(one: Coffee, other: Coffee) -> Iterator[tuple[int, str]]:
    """(points, reason) of everything in which two coffees are alike."""
    if one.pk == other.pk:
        yield SAME_COFFEE, _("the same coffee")
        return
    yield from _process(one.process, other.process)
    yield from _roast(one, other)
    yield from _origin(one.origin, other.origin)
    yield from _density(one.density_g_l, other.density_g_l)


def _process(one: str, other: str) -> Iterator[tuple[int, str]]:
    if _words(one) and _words(one) == _words(other):
        yield SAME_PROCESS, _("same process")
    elif shared := _shared(one, other):
        yield KIN_PROCESS, _("%(word)s in both processes") % {"word": shared}


def _roast(one: Coffee, other: Coffee) -> Iterator[tuple[int, str]]:
    levels = Coffee.Roast.values
    if not (one.roast_level in levels and other.roast_level in levels):
        return
    apart = levels.index(other.roast_level) - levels.index(one.roast_level)
    if apart == 0:
        yield SAME_ROAST, _("same roast level")
    elif apart == 1:
        yield NEXT_ROAST, _("roasted one level darker")
    elif apart == -1:
        yield NEXT_ROAST, _("roasted one level lighter")


def _origin(one: str, other: str) -> Iterator[tuple[int, str]]:
    if _words(one) and _words(one) == _words(other):
        yield SAME_ORIGIN, _("same origin")
    elif shared := _shared(one, other):
        yield KIN_ORIGIN, _("%(word)s in both origins") % {"word": shared}


def _density(one: int | None, other: int | None) -> Iterator[tuple[int, str]]:
    if one is None or other is None or abs(one - other) > NEAR_G_L:
        return
    points = CLOSE_DENSITY if abs(one - other) <= CLOSE_G_L else NEAR_DENSITY
    if one == other:
        yield points, _("same density")
    else:
        yield points, _("density %(apart)d g/L apart") % {"apart": abs(one - other)}


def _words(text: str) -> list[str]:
    letters = unicodedata.normalize("NFC", text.casefold())
    return "".join(letter if letter.isalnum() else " " for letter in letters).split()


def _shared(one: str, other: str) -> str:
    """The first word of ``one``, as it is written there, that ``other`` has too."""
    theirs = set(_words(other))
    for word in one.replace(",", " ").split():
        plain = "".join(_words(word))
        if len(plain) >= SHORTEST_WORD and plain in theirs:
            return word.strip("()/·;.")
    return ""
