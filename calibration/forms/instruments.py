"""What is typed about a refractometer, and what it showed when it was checked."""

from __future__ import annotations

from decimal import Decimal
from typing import Any

from django import forms
from django.utils.translation import gettext_lazy as _

from brewbar.web.forms import with_examples
from brewbar.web.printable import PrintableTexts
from calibration.models import InstrumentCheck, Refractometer
from recipes.forms.catalogue import NamedForm, typed
from recipes.forms.fields import NumberField
from recipes.forms.recipes import KIND_LIMITS


class InstrumentForm(NamedForm):
    within = "cafe"

    class Meta:
        model = Refractometer
        fields = ["name", "resolution_tds", "repeatability_tds", "accuracy_tds", "filters_samples", "note"]
        field_classes = {
            "resolution_tds": NumberField,
            "repeatability_tds": NumberField,
            "accuracy_tds": NumberField,
        }
        widgets = {
            "name": typed(),
            "resolution_tds": typed(**{"data-unit": "% TDS"}),
            "repeatability_tds": typed(**{"data-unit": "% TDS"}),
            "accuracy_tds": typed(**{"data-unit": "% TDS"}),
            "note": typed(),
        }
        help_texts = {
            "resolution_tds": with_examples(
                _("%(step)s if it shows %(one)s and then %(two)s."), step="0.01", one="1.40", two="1.41"
            ),
            "repeatability_tds": _(
                "How far drops of one sample scatter, as a standard deviation. "
                "If the maker states a limit, ±, enter half of it."
            ),
            "accuracy_tds": _("As the maker states it. It counts against published bands and other cafés."),
        }


class CheckForm(PrintableTexts, forms.Form):
    """What an instrument showed. On distilled water nothing else is asked: that should read 0.00."""

    kind = forms.ChoiceField(
        label=_("Read on"),
        choices=InstrumentCheck.Kind.choices,
        initial=InstrumentCheck.Kind.ZERO,
        widget=forms.RadioSelect(attrs={"class": "choices"}),
        error_messages={"required": _("Choose one."), "invalid_choice": _("Please choose one of these.")},
    )
    expected_tds = NumberField(
        label=_("A check standard should read"),
        required=False,
        min_value=0,
        max_value=30,
        max_digits=4,
        decimal_places=2,
        help_text=_("In % TDS, as its bottle says for this instrument. Leave it empty for distilled water."),
    )
    read_tds = NumberField(
        label=_("It reads"),
        min_value=-5,
        max_value=30,
        max_digits=4,
        decimal_places=2,
        help_text=_("As the display shows it, also below zero."),
        error_messages={"required": _("Enter what the display shows.")},
    )
    note = forms.CharField(
        label=_("Note"),
        max_length=200,
        required=False,
        widget=forms.TextInput(attrs={"autocomplete": "off"}),
    )

    def __init__(self, *args: Any, **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        for name in ("expected_tds", "read_tds"):
            self.fields[name].widget.attrs |= {"data-unit": "% TDS"}
            limits = KIND_LIMITS | self.fields[name].error_messages
            self.fields[name].error_messages = limits | {
                key: KIND_LIMITS[key] for key in ("min_value", "max_value") if key in KIND_LIMITS
            }

    def clean(self) -> dict[str, Any]:
        said = self.cleaned_data
        expected = said.get("expected_tds")
        if said.get("kind") == InstrumentCheck.Kind.STANDARD:
            if "expected_tds" in said and not expected:
                self.add_error("expected_tds", _("Enter what the check standard should read."))
        elif said.get("kind") == InstrumentCheck.Kind.ZERO and "expected_tds" in said:
            if expected:
                self.add_error("expected_tds", _("Distilled water should read 0: leave this empty."))
            said["expected_tds"] = Decimal(0)
        return said
