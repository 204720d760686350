"""What a chart page asks for. It lives in the address, so that a page can be sent to somebody."""

from __future__ import annotations

from datetime import date, timedelta
from typing import Any, Self
from urllib.parse import urlencode

from django import forms
from django.core.exceptions import ValidationError
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


class DayField(forms.DateField):
    widget = forms.DateInput(attrs={"type": "date"}, format="%Y-%m-%d")


class ChartFilter(forms.Form):
    """A bound form whatever the address names: what it leaves out has a sensible value."""

    cafe = forms.ModelChoiceField(Cafe.objects.none(), label=_("Café"), empty_label=None)
    recipe = forms.ModelChoiceField(Recipe.objects.none(), label=_("Recipe"), empty_label=None)
    measure = forms.ChoiceField(
        label=_("What"), choices=[(key, m.label) for key, m in drift.MEASURES.items()]
    )
    kind = forms.ChoiceField(
        label=_("Brews"), choices=[("check", _("check brews")), ("served", _("cups we served"))]
    )
    first = DayField(label=_("From"))
    last = DayField(label=_("To"))

    @classmethod
    def of(cls, request: Any) -> Self:
        """What the address of ``request`` names, up to today at its member's café."""
        return cls(request.GET, request.member, request.member.cafe.business_day(timezone.now()))

    def __init__(self, asked: Any, member: Member, today: date) -> None:
        cafes = Cafe.objects.for_member(member)
        cafe = member.cafe
        if member.is_owner and str(asked.get("cafe", "")).isdigit():
            cafe = cafes.filter(pk=asked["cafe"]).first() or member.cafe
        recipes = drift.recipes_of(cafe)
        favourite = recipes.first()
        usual = {
            "cafe": member.cafe.pk,
            "recipe": favourite.pk if favourite else "",
            "measure": "tds",
            "kind": Reading.Kind.CHECK,
            "first": (today - timedelta(days=DAYS_AT_FIRST - 1)).isoformat(),
            "last": today.isoformat(),
        }
        given = {name: asked[name] for name in usual if asked.get(name)}
        if not member.is_owner:
            given.pop("cafe", None)
        if "recipe" in given and "cafe" in given and not recipes.filter(pk=_as_key(given["recipe"])).exists():
            # Another café was chosen, which does not brew the recipe of the one before.
            elsewhere = member.is_owner and Recipe.objects.for_member(member).filter(
                pk=_as_key(given["recipe"])
            )
            if elsewhere and elsewhere.exists():
                del given["recipe"]
        super().__init__(usual | given)
        self.fields["cafe"].queryset = cafes  # type: ignore[attr-defined]
        self.fields["recipe"].queryset = recipes  # type: ignore[attr-defined]
        if not member.is_owner:
            self.fields["cafe"].widget = forms.HiddenInput()
        self.has_recipes = favourite is not None

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
        measure = drift.MEASURES[data["measure"]]
        return drift.Asked(data["cafe"], data["recipe"], measure, data["kind"], data["first"], data["last"])

    def tabs(self, current: str) -> list[tuple[Any, str, bool]]:
        """(label, address, whether it is ``current``) of each chart of what a valid form asks for."""
        charts = reverse("calibration:charts")
        tabs = [
            (measure.label, f"{charts}?{self.address(measure=key)}", key == current)
            for key, measure in drift.MEASURES.items()
        ]
        strength = f"{reverse('calibration:strength')}?{self.address()}"
        return [*tabs, (_("Strength and yield"), strength, current == "strength")]

    def address(self, **change: Any) -> str:
        """The query that asks for the same again, with what is changed."""
        data = self.cleaned_data
        same = {
            "cafe": data["cafe"].pk,
            "recipe": data["recipe"].pk,
            "measure": data["measure"],
            "kind": data["kind"],
            "first": data["first"].isoformat(),
            "last": data["last"].isoformat(),
        }
        return urlencode(same | change)


def _as_key(text: str) -> int:
    return int(text) if str(text).isdigit() else 0
