"""What is typed to begin a recipe with the plan of a version there is."""

from __future__ import annotations

from collections.abc import Iterator
from decimal import Decimal
from typing import Any

from django import forms
from django.core.exceptions import ValidationError
from django.utils.translation import gettext_lazy as _

from recipes.brewing.plan import PourPlan, Scaled, scale
from recipes.forms.fields import NumberField
from recipes.forms.recipes import KIND_LIMITS
from recipes.models import Pour, RecipeVersion
from recipes.starting import POUR_SCALED, SCALED

LEAST_DOSE_G, MOST_DOSE_G = 1, 200


class DoseForm(forms.Form):
    """For which dose a plan is wanted. ``scaled`` is the plan for it once the form is valid."""

    dose = NumberField(
        label=_("Dose"),
        min_value=LEAST_DOSE_G,
        max_value=MOST_DOSE_G,
        max_digits=5,
        decimal_places=1,
        widget=forms.TextInput(attrs={"data-unit": "g"}),
        error_messages=KIND_LIMITS | {"required": _("Enter the dose, in grams.")},
    )

    def __init__(self, *args: Any, plan: PourPlan, **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        self.plan = plan
        self.scaled: Scaled | None = None

    @property
    def factor(self) -> float:
        dose_g: Decimal = self.cleaned_data["dose"]
        return float(dose_g) / (self.plan.dose_g or 1)

    def clean_dose(self) -> Decimal:
        dose: Decimal = self.cleaned_data["dose"]
        if float(dose) == self.plan.dose_g:
            raise ValidationError(_("That is the dose it has. Enter another one, or copy it as it is."))
        scaled = scale(self.plan, self.factor)
        for what in out_of_bounds(scaled.plan):
            raise ValidationError(what)
        self.scaled = scaled
        return dose


def out_of_bounds(plan: PourPlan) -> Iterator[str]:
    """What a scaled plan asks for that no recipe can hold."""
    if _is_refused(plan, RecipeVersion, SCALED):
        yield str(_("At this dose there would be more water, or less, than a recipe can hold."))
    if any(_is_refused(pour, Pour, POUR_SCALED) for pour in plan.pours):
        yield str(_("At this dose the pours would take longer than an hour."))


def _is_refused(planned: Any, model: Any, fields: tuple[str, ...]) -> bool:
    for name in fields:
        value = getattr(planned, name)
        try:
            if value is not None:
                model._meta.get_field(name).run_validators(Decimal(str(value)))
        except ValidationError:
            return True
    return False
