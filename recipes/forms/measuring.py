"""What is typed about one raising of a kettle: the flow, the water, the height, and whether its stream broke."""

from __future__ import annotations

from typing import Any

from django import forms
from django.core.validators import MaxValueValidator, MinValueValidator
from django.db.models import Field
from django.utils.translation import gettext_lazy as _

from brewbar.web.printable import PrintableTexts
from recipes.forms.fields import NumberField, TemperatureField, WholeField
from recipes.models import BreakupPoint

BROKE, WHOLE = "broke", "whole"


def _limits(name: str) -> dict[str, Any]:
    """The least and the most that the table takes."""
    found: dict[str, Any] = {}
    field = BreakupPoint._meta.get_field(name)
    assert isinstance(field, Field)
    for validator in field.validators:
        if isinstance(validator, MinValueValidator):
            found["min_value"] = validator.limit_value
        elif isinstance(validator, MaxValueValidator):
            found["max_value"] = validator.limit_value
    return found


class PointForm(PrintableTexts, forms.Form):
    flow_g_s = NumberField(
        label=_("Flow"),
        decimal_places=1,
        help_text=_("What the scale gained in ten seconds, divided by ten."),
        widget=forms.TextInput(attrs={"data-unit": "g/s"}),
        error_messages={
            "required": _("Enter the flow that was held."),
            "min_value": _("Below %(limit_value)s g/s there is no stream: pour a little faster."),
            "max_value": _("No kettle pours more than %(limit_value)s g/s. Grams in one second are meant."),
        },
        **_limits("flow_g_s"),
    )
    temperature_C = TemperatureField(
        label=_("Temperature of the water"),
        error_messages={"required": _("Enter how warm the water was: a stream depends on it.")},
        **_limits("temperature_C"),
    )
    height_mm = WholeField(
        label=_("Height of the spout"),
        help_text=_("From its tip to the surface that the water falls on."),
        widget=forms.TextInput(attrs={"data-unit": "mm"}),
        error_messages={
            "required": _("Enter how high the spout was."),
            "invalid": _("Enter whole millimetres, such as 140."),
            "min_value": _("Millimetres are meant: %(limit_value)s or more."),
            "max_value": _(
                "Nothing is measured above %(limit_value)s mm: it splashes too far. If the stream was whole at "
                "200 mm, enter that."
            ),
        },
        **_limits("height_mm"),
    )
    outcome = forms.ChoiceField(
        label=_("At this height the stream"),
        choices=[(BROKE, _("broke into drops")), (WHOLE, _("was still whole"))],
        widget=forms.RadioSelect(attrs={"class": "choices"}),
        error_messages={
            "required": _("Say whether it broke: both count."),
            "invalid_choice": _("Please choose one of these."),
        },
    )
    note = forms.CharField(
        label=_("Note"),
        max_length=120,
        required=False,
        widget=forms.TextInput(attrs={"autocomplete": "off"}),
    )

    def measured(self) -> dict[str, Any]:
        """What the job takes."""
        said = dict(self.cleaned_data)
        return said | {"broke": said.pop("outcome") == BROKE}
