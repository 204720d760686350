"""What a head barista asks of the crew, as it is typed."""

from __future__ import annotations

from decimal import Decimal
from typing import Any

from django import forms
from django.utils.translation import gettext_lazy as _

from brewbar.crew.access import Member
from brewbar.web.forms import with_examples
from brewbar.web.printable import PrintableTexts
from calibration.models import CheckPlan
from recipes.forms.catalogue import KIND_REFUSALS, typed
from recipes.forms.fields import NumberField, WholeField
from recipes.models import Recipe, RecipeVersion

NUMBERS = ("smallest_tds", "false_alarms_a_month", "coffee_price_kg")
WHOLE = (
    *("every_days", "drops", "instrument_window_h", "standard_every_days"),
    *("smallest_time_s", "minutes_a_check"),
)
UNITS = {
    "every_days": _("days"),
    "twice_pct": "%",
    "instrument_window_h": _("hours"),
    "standard_every_days": _("days"),
    "smallest_tds": "% TDS",
    "smallest_time_s": "s",
    "minutes_a_check": _("min"),
}


class CheckPlanForm(PrintableTexts, forms.ModelForm):
    """``half_tds`` and ``half_time`` are what an empty smallest difference means, ready to be read."""

    twice_pct = WholeField(
        label=_("Brewed twice, drawn by lot"),
        min_value=0,
        max_value=100,
        help_text=_("Of all checks. Twenty is one in five."),
        widget=typed(),
    )

    class Meta:
        model = CheckPlan
        fields = [
            *("recipe", "every_days", "drops", "twice_pct", "instrument_window_h", "standard_every_days"),
            *("smallest_tds", "smallest_time_s", "false_alarms_a_month"),
            *("minutes_a_check", "coffee_price_kg", "currency"),
        ]
        field_classes = dict.fromkeys(NUMBERS, NumberField) | dict.fromkeys(WHOLE, WholeField)
        widgets = {name: typed() for name in (*NUMBERS, *WHOLE, "currency")}
        labels = {
            "recipe": _("Check recipe"),
            "every_days": _("Each barista is due every"),
            "drops": _("Drops of each check"),
            "instrument_window_h": _("A check of the refractometer holds for"),
            "standard_every_days": _("Check standard every"),
            "smallest_tds": _("Smallest difference in TDS that matters"),
            "smallest_time_s": _("Smallest difference in brew time that matters"),
            "false_alarms_a_month": _("False alarms a month"),
            "minutes_a_check": _("A check takes"),
            "coffee_price_kg": _("A kilogram of coffee costs"),
            "currency": _("Currency"),
        }
        help_texts = {
            "recipe": _("One that repeats: no rise-and-fall, no pours on the wall."),
            "every_days": _("1 is every day somebody is on."),
            "drops": _("Two or more of the same sample. The instrument may ask for another."),
            "standard_every_days": _("Distilled water cannot tell whether strong cups are read right."),
            "false_alarms_a_month": _(
                "From all charts together: 1 means about one false alarm a month. Fewer means that real changes "
                "are seen later."
            ),
            "currency": with_examples(_("Such as EUR or £.")),
        }

    def __init__(self, *args: Any, member: Member, half_tds: str, half_time: str, **kwargs: Any) -> None:
        plan: CheckPlan = kwargs["instance"]
        kwargs["initial"] = {"twice_pct": round(plan.twice_share * 100)} | kwargs.get("initial", {})
        super().__init__(*args, **kwargs)
        recipes = self.fields["recipe"]
        assert isinstance(recipes, forms.ModelChoiceField)
        published = RecipeVersion.objects.for_member(member).published().filter(retired_at=None)
        recipes.queryset = Recipe.objects.for_member(member).filter(pk__in=published.values("recipe"))
        recipes.empty_label = _("None yet")
        half = _("Empty means half the tolerance of the recipe%(now)s.")
        for name, now in (("smallest_tds", half_tds), ("smallest_time_s", half_time)):
            self.fields[name].help_text = half % {"now": f": {now}" if now else ""}
        for field in self.fields.values():
            field.error_messages |= KIND_REFUSALS
        for name, unit in UNITS.items():
            self.fields[name].widget.attrs["data-unit"] = unit

    def said(self) -> dict[str, Any]:
        """What a valid form says, by the names of the plan."""
        said = {name: value for name, value in self.cleaned_data.items() if name != "twice_pct"}
        return said | {"twice_share": Decimal(self.cleaned_data["twice_pct"]) / 100}
