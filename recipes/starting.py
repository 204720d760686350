"""How a recipe begins: with an empty draft, or with the plan of a version there is, for another coffee or dose."""

from __future__ import annotations

from collections.abc import Callable
from decimal import Decimal
from typing import Any

from django.db import IntegrityError, transaction
from django.utils.translation import gettext as _

from brewbar.crew.access import Member
from brewbar.crew.models import Change
from brewbar.crew.record import note, snapshot
from brewbar.units import trimmed
from recipes.authoring import COPIED, POUR_COPIED, NameTaken
from recipes.brewing.plan import Finding, PourPlan, scale
from recipes.brewing.scaling import what_does_not_scale
from recipes.models import Coffee, Pour, Recipe, RecipeVersion

SCALED = ("dose_g", "water_g", "bypass_g", "ice_g")
POUR_SCALED = ("starts_at_s", "to_g")


def create_recipe(member: Member, name: str, coffee: Coffee) -> RecipeVersion:
    """The recipe's first draft: no numbers yet, and an open row for the bloom.

    Raises NameTaken.
    """

    def begin(recipe: Recipe) -> RecipeVersion:
        draft = RecipeVersion.objects.create(recipe=recipe, number=1, created_by=member.user)
        Pour.objects.create(version=draft, order=1, starts_at_s=0)
        return draft

    return _begun(member, Recipe(name=name, coffee=coffee), begin, _("begun"))


def start_from(
    member: Member, version: RecipeVersion, name: str, coffee: Coffee, factor: float = 1
) -> RecipeVersion:
    """A new recipe whose first draft has the plan of ``version``, for ``factor`` times the dose.

    Raises NameTaken.
    """
    plan = scale(version.plan(), factor).plan

    def begin(recipe: Recipe) -> RecipeVersion:
        draft = RecipeVersion(recipe=recipe, number=1, created_by=member.user)
        _copy(version, draft, COPIED)
        pours = [Pour(version=draft) for _pour in plan.pours]
        for old, new in zip(version.pours.all(), pours, strict=True):
            _copy(old, new, POUR_COPIED)
        if factor != 1:
            _write(plan, draft, SCALED)
            for planned, new in zip(plan.pours, pours, strict=True):
                _write(planned, new, POUR_SCALED)
        draft.save(force_insert=True)
        Pour.objects.bulk_create(pours)
        return draft

    what = _("begun as a copy of %(version)s") if factor == 1 else _("begun as %(version)s for another dose")
    return _begun(
        member,
        Recipe(name=name, coffee=coffee, started_from=version),
        begin,
        what % {"version": version},
    )


def _begun(
    member: Member, recipe: Recipe, begin: Callable[[Recipe], RecipeVersion], what: str
) -> RecipeVersion:
    recipe.company, recipe.created_by = member.company, member.user
    try:
        with transaction.atomic():
            recipe.save(force_insert=True)
            draft = begin(recipe)
            note(
                company=member.company,
                about=Change.About.RECIPE,
                what=what,
                subject=recipe,
                by=member.user,
                after=snapshot(recipe, ["coffee"]) | snapshot(draft, SCALED[:2]),
            )
    except IntegrityError as error:
        raise NameTaken(_("There is already a recipe called %(name)s.") % {"name": recipe.name}) from error
    return draft


def _copy(old: Any, new: Any, fields: tuple[str, ...]) -> None:
    for name in fields:
        setattr(new, name, getattr(old, name))


def _write(planned: Any, row: Any, fields: tuple[str, ...]) -> None:
    """Numbers of a plan into a row: seconds are whole there, masses decimal."""
    for name in fields:
        value = getattr(planned, name)
        if value is not None:
            value = int(value) if name.endswith("_s") else Decimal(str(value))
        setattr(row, name, value)


def unlike_where_it_began(version: RecipeVersion, plan: PourPlan) -> tuple[Finding, ...]:
    """What a draft that began as a plan for another dose has to be told, as ``plan`` stands now."""
    origin = version.recipe.started_from
    if origin is None or not version.is_draft or version.number > 1:
        return ()
    return tuple(what_does_not_scale(origin.plan(), plan))


# --- names to begin with, which the author may change

ONE_CUP_UP_TO_G = 300.0
"""A plan with less brew water is taken for one cup, so twice as much is offered first. The house's choice."""


def usual_dose_g(plan: PourPlan) -> float | None:
    """The dose that is likely wanted: for two cups where the plan makes one, else for one."""
    if plan.dose_g is None or plan.water_g is None:
        return None
    return plan.dose_g * (2 if plan.water_g <= ONE_CUP_UP_TO_G else 0.5)


def for_cups(plan: PourPlan) -> list[tuple[str, str]]:
    """(what it is for, dose) of the doses that are usually wanted."""
    if plan.dose_g is None:
        return []
    return [
        (_("Two cups instead of one"), trimmed(2 * plan.dose_g, 1)),
        (_("One cup instead of two"), trimmed(plan.dose_g / 2, 1)),
    ]


def name_for_dose(recipe: Recipe, plan: PourPlan, dose_g: float) -> str:
    """Such as "House filter, two cups", or "House filter, 22 g"."""
    cups = {2.0: _("two cups"), 0.5: _("one cup")}
    base = recipe.name
    for said in cups.values():
        base = base.removesuffix(f", {said}")
    words = cups.get(round(dose_g / plan.dose_g, 3)) if plan.dose_g else None
    return _fitting(base, words or _("%(mass)s g") % {"mass": trimmed(dose_g, 1)})


def name_for_coffee(recipe: Recipe, coffee: Coffee) -> str:
    """The recipe's name with the other coffee's in it."""
    if recipe.coffee.name in recipe.name:
        name: str = recipe.name.replace(recipe.coffee.name, coffee.name)
        if len(name) <= LONGEST_NAME:
            return name
    return _fitting(recipe.name, coffee.name)


LONGEST_NAME = Recipe._meta.get_field("name").max_length or 0


def _fitting(name: str, more: str) -> str:
    room = LONGEST_NAME - len(more) - 2
    return f"{name[:room].rstrip()}, {more}" if room > 0 else more[:LONGEST_NAME]
