"""What a chart page asks for. It lives in the address, so that a page can be sent to somebody."""

from __future__ import annotations

from datetime import date, timedelta
from typing import Any, Self
from urllib.parse import urlencode

from django import forms
from django.core.exceptions import ValidationError
from django.core.validators import MaxValueValidator, MinValueValidator
from django.urls import reverse
from django.utils import timezone
from django.utils.translation import gettext_lazy as _

from brewbar.crew.access import Member
from brewbar.crew.models import Cafe
from calibration import drift
from calibration.models import Reading
from recipes.models import Recipe

DAYS_AT_FIRST = 28
LONGEST_SPAN = 800
COFFEE = "coffee-"

CHARTS = (
    ("days", _("Has the cup moved?")),
    ("staff", _("Who is off?")),
    ("people_share", _("Is it the people?")),
    ("heat_map", _("Who and when")),
    ("scatter", _("Strength and time")),
    ("strength", _("Strength and yield")),
)
"""Name of the address of each chart, and the question that it answers."""


BETWEEN = _("A day between 2000 and 2100.")


class DayField(forms.DateField):
    """Far enough from where dates end that days may be counted on and back from it."""

    widget = forms.DateInput(attrs={"type": "date"}, format="%Y-%m-%d")
    default_validators = [
        MinValueValidator(date(2000, 1, 1), BETWEEN),
        MaxValueValidator(date(2100, 12, 31), BETWEEN),
    ]


class ChartFilter(forms.Form):
    """A bound form whatever the address names: what it leaves out has a sensible value."""

    cafe = forms.ModelChoiceField(Cafe.objects.none(), label=_("Café"), empty_label=None)
    recipe = forms.ChoiceField(label=_("Recipe or coffee"))
    measure = forms.ChoiceField(
        label=_("What"), choices=[(key, m.label) for key, m in drift.MEASURES.items()]
    )
    kind = forms.ChoiceField(
        label=_("Brews"), choices=[("check", _("check brews")), ("served", _("cups we served"))]
    )
    instrument = forms.ChoiceField(
        label=_("Instrument"),
        choices=[
            ("passing", _("not failing")),
            ("checked", _("checked only")),
            ("any", _("any")),
        ],
    )
    first = DayField(label=_("From"))
    last = DayField(label=_("To"))
    ageing = forms.ChoiceField(choices=[("in", _("left in")), ("out", _("taken out"))], required=False)

    @classmethod
    def of(cls, request: Any) -> Self:
        """What the address of ``request`` names, up to today at its member's café."""
        return cls(request.GET, request.member, request.member.cafe.business_day(timezone.now()))

    def __init__(self, asked: Any, member: Member, today: date) -> None:
        cafes = Cafe.objects.for_member(member)
        cafe = member.cafe
        if member.is_owner and str(asked.get("cafe", "")).isdigit():
            cafe = cafes.filter(pk=asked["cafe"]).first() or member.cafe
        self.recipes = {recipe.pk: recipe for recipe in drift.recipes_of(cafe)}
        usual = {
            "cafe": member.cafe.pk,
            "recipe": "",
            "measure": "tds",
            "kind": Reading.Kind.CHECK,
            "instrument": "passing",
            "first": (today - timedelta(days=DAYS_AT_FIRST - 1)).isoformat(),
            "last": today.isoformat(),
            "ageing": "in",
        }
        given = {name: asked[name] for name in usual if asked.get(name)}
        if not member.is_owner:
            given.pop("cafe", None)
        elsewhere = "recipe" in given and "cafe" in given and not self._has(given["recipe"])
        if elsewhere and member.is_owner and self._is_of_the_company(given["recipe"], member):
            # Another café was chosen, which does not brew the recipe of the one before.
            del given["recipe"]
        if "recipe" not in given and (favourite := drift.favourite_of(cafe, self.recipes)):
            usual["recipe"] = favourite.pk
        super().__init__(usual | given)
        self.fields["cafe"].queryset = cafes  # type: ignore[attr-defined]
        self.fields["recipe"].choices = self._choices()  # type: ignore[attr-defined]
        if not member.is_owner:
            self.fields["cafe"].widget = forms.HiddenInput()
        self.has_recipes = bool(self.recipes)

    def _of_coffees(self) -> dict[int, list[Recipe]]:
        """The coffees that several recipes are brewed of."""
        found: dict[int, list[Recipe]] = {}
        for recipe in self.recipes.values():
            found.setdefault(recipe.coffee_id, []).append(recipe)
        return {coffee: recipes for coffee, recipes in found.items() if len(recipes) > 1}

    def _choices(self) -> list[Any]:
        recipes = [(str(recipe.pk), recipe.name) for recipe in self.recipes.values()]
        coffees = [(f"{COFFEE}{pk}", str(recipes[0].coffee)) for pk, recipes in self._of_coffees().items()]
        if not coffees:
            return recipes
        return [(_("Recipes"), recipes), (_("All recipes of a coffee"), coffees)]

    def _has(self, key: str) -> bool:
        if key.startswith(COFFEE):
            return _as_key(key.removeprefix(COFFEE)) in self._of_coffees()
        return _as_key(key) in self.recipes

    @staticmethod
    def _is_of_the_company(key: str, member: Member) -> bool:
        recipes = Recipe.objects.for_member(member)
        if key.startswith(COFFEE):
            return recipes.filter(coffee=_as_key(key.removeprefix(COFFEE))).exists()
        return recipes.filter(pk=_as_key(key)).exists()

    def clean(self) -> dict[str, Any]:
        cleaned = super().clean() or self.cleaned_data
        first, last = cleaned.get("first"), cleaned.get("last")
        if first and last and first > last:
            raise ValidationError({"last": _("The span ends before it begins.")})
        if first and last and (last - first).days > LONGEST_SPAN:
            raise ValidationError({"first": _("Choose a span of at most %(n)d days.") % {"n": LONGEST_SPAN}})
        return cleaned

    def asked(self) -> drift.Asked:
        """What a valid form asks for."""
        data = self.cleaned_data
        key = data["recipe"]
        recipes = (
            self._of_coffees()[_as_key(key.removeprefix(COFFEE))]
            if key.startswith(COFFEE)
            else [self.recipes[_as_key(key)]]
        )
        return drift.Asked(
            data["cafe"],
            recipes[0],
            drift.MEASURES[data["measure"]],
            data["kind"],
            data["first"],
            data["last"],
            data["instrument"],
            tuple(recipes[1:]),
            data["ageing"] == "out",
        )

    def tabs(self, current: str) -> list[tuple[Any, str, bool]]:
        """(question, address, whether it is ``current``) of each chart of what a valid form asks for."""
        return [
            (label, f"{reverse(f'calibration:{name}')}?{self.address()}", name == current)
            for name, label in CHARTS
        ]

    def address(self, **change: Any) -> str:
        """The query that asks for the same again, with what is changed."""
        data = self.cleaned_data
        same = {
            "cafe": data["cafe"].pk,
            "recipe": data["recipe"],
            "measure": data["measure"],
            "kind": data["kind"],
            "instrument": data["instrument"],
            "first": data["first"].isoformat(),
            "last": data["last"].isoformat(),
        }
        if data["ageing"] == "out":
            same["ageing"] = "out"
        return urlencode(same | change)


def _as_key(text: str) -> int:
    return int(text) if str(text).isdigit() else 0
