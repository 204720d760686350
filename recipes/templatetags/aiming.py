"""What is aimed at, in words."""

from collections.abc import Iterable
from typing import Any

from django.template import Library

from recipes.aims import Aims, in_words
from recipes.models import CafeTarget, RecipeVersion

register = Library()


@register.filter
def aimed(aims: Aims | CafeTarget | RecipeVersion) -> str:
    return in_words(aims)


@register.filter
def own_targets(rows: Iterable[Any]) -> list[CafeTarget]:
    """Each of the own targets that some of the rows were held to, once."""
    return list(dict.fromkeys(row.own_target for row in rows if row.own_target is not None))
