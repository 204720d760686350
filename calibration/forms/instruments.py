"""What is typed about a refractometer, and what it showed when it was checked."""

from __future__ import annotations

from decimal import Decimal
from typing import Any

from django import forms
from django.utils.translation import gettext_lazy as _

from brewbar import units
from brewbar.web.forms import with_examples
from brewbar.web.printable import PrintableTexts
from calibration.instruments import COARSE_SCALE_G, SCALES_G, Mixed, wrong_with_standard
from calibration.models import InstrumentCheck, Refractometer
from recipes.forms.catalogue import NamedForm, typed
from recipes.forms.fields import NumberField
from recipes.forms.recipes import KIND_LIMITS

SCALES = SCALES_G


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
    """What an instrument showed of a liquid of known strength: its two kinds are below."""

    kind = forms.ChoiceField(
        choices=InstrumentCheck.Kind.choices,
        widget=forms.HiddenInput,
        error_messages={"invalid_choice": _("Please choose one of these.")},
    )
    sure = forms.CharField(required=False, widget=forms.HiddenInput)
    """Names the very numbers that failed, once somebody has looked at them again."""
    read_tds = NumberField(
        label=_("It reads"),
        min_value=-5,
        max_value=30,
        max_digits=4,
        decimal_places=2,
        help_text=_("As the display shows it, also below zero."),
        error_messages={"required": _("Enter what the display shows.")},
    )
    was_zeroed = forms.BooleanField(label=_("I have just set it to zero"), required=False)
    note = forms.CharField(
        label=_("Note"),
        max_length=200,
        required=False,
        widget=forms.TextInput(attrs={"autocomplete": "off"}),
    )
    measures: dict[str, str] = {"read_tds": "% TDS"}
    """The numbers that are typed, and their units."""

    @classmethod
    def of(cls, request: Any) -> CheckForm:
        """The form that was sent; else the one the address asks for, water where it asks for nothing."""
        data = request.POST if request.method == "POST" else None
        kind = request.GET.get("on", "") if data is None else data.get("kind", "")
        form = StandardForm if kind == InstrumentCheck.Kind.STANDARD else ZeroForm
        zeroed = bool(request.GET.get("zeroed"))
        return form(data, initial={"kind": form.is_on, "was_zeroed": zeroed})

    is_on: str

    def __init__(self, *args: Any, **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        for name, unit in self.measures.items():
            self.fields[name].widget.attrs |= {"data-unit": unit}
            limits = KIND_LIMITS | self.fields[name].error_messages
            self.fields[name].error_messages = limits | {
                key: KIND_LIMITS[key] for key in ("min_value", "max_value") if key in KIND_LIMITS
            }

    @property
    def measured(self) -> dict[str, Any]:
        """What ``instruments.judged`` wants to know."""
        said = self.cleaned_data
        return {"kind": self.is_on, "expected_tds": Decimal(0), "read_tds": said["read_tds"]}

    @property
    def key(self) -> str:
        """Of the numbers as they are typed: others want another look."""
        return " ".join(str(self.cleaned_data.get(name)) for name in self.measures)

    @property
    def is_sure(self) -> bool:
        return self.cleaned_data["sure"] == self.key


class ZeroForm(CheckForm):
    """Distilled water: one number."""

    is_on = InstrumentCheck.Kind.ZERO


class StandardForm(CheckForm):
    """A check standard: either what was weighed, or what its bottle says."""

    is_on = InstrumentCheck.Kind.STANDARD
    measures = {
        "sucrose_g": "g",
        "solution_g": "g",
        "expected_tds": "% TDS",
        "read_tds": "% TDS",
    }

    sucrose_g = NumberField(
        label=_("Sugar"),
        required=False,
        min_value=Decimal("0.01"),
        max_digits=6,
        decimal_places=2,
        max_value=999,
    )
    solution_g = NumberField(
        label=_("Sugar and water together"),
        required=False,
        min_value=1,
        max_digits=7,
        decimal_places=2,
        max_value=9999,
    )
    scale_g = forms.TypedChoiceField(
        label=_("The scale reads to"),
        coerce=Decimal,
        choices=lambda: [(str(step), f"{units.trimmed(step, 2)} g") for step in SCALES],
        initial=str(COARSE_SCALE_G),
        required=False,
        widget=forms.RadioSelect(attrs={"class": "choices"}),
        error_messages={"invalid_choice": _("Please choose one of these.")},
    )
    expected_tds = NumberField(
        label=_("A bottled standard should read"),
        required=False,
        min_value=0,
        max_value=30,
        max_digits=5,
        decimal_places=3,
        help_text=_("As its bottle says for this instrument."),
    )
    starts_over = forms.BooleanField(
        label=_("It is back from service, or was set to another scale"),
        help_text=_("What it shows of sugar is then learnt anew, from this standard on."),
        required=False,
    )
    is_needed = ("sucrose_g", "solution_g", "scale_g")
    """Unless there is a bottle."""
    field_order = ["kind", "sure", "sucrose_g", "solution_g", "scale_g", "expected_tds", "read_tds"]

    def __init__(self, *args: Any, **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        for name in self.is_needed:
            self.fields[name].is_needed = True  # type: ignore[attr-defined]  # read by FieldOnPage

    def clean(self) -> dict[str, Any]:
        said = self.cleaned_data
        sugar, whole, bottle = (said.get(name) for name in ("sucrose_g", "solution_g", "expected_tds"))
        if self.errors.keys() & {"sucrose_g", "solution_g", "expected_tds"}:
            return said
        if wrong := wrong_with_standard(sugar, whole, bottle):
            self.add_error(*wrong)
        return said

    @property
    def measured(self) -> dict[str, Any]:
        said = self.cleaned_data
        weighed = None
        if said["sucrose_g"]:
            weighed = Mixed(said["sucrose_g"], said["solution_g"], said["scale_g"] or COARSE_SCALE_G)
        return super().measured | {
            "expected_tds": said["expected_tds"],
            "mixed": weighed,
            "starts_over": said["starts_over"],
        }
