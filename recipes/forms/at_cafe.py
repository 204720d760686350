"""What is typed about one café's own way with a recipe."""

from __future__ import annotations

from typing import Any

from django import forms
from django.utils.translation import gettext_lazy as _

from brewbar.web.printable import PrintableTexts
from recipes.forms.fields import ClockField, NumberField, WholeField
from recipes.models import CafeTarget, GrindNote
from recipes.models.at_cafe import QUANTITIES


def _unit(unit: str) -> forms.TextInput:
    return forms.TextInput(attrs={"data-unit": unit})


class SeenForm(forms.Form):
    """Which row stood on the page; none if there was none."""

    seen = forms.IntegerField(widget=forms.HiddenInput, required=False)


class OwnForm(PrintableTexts, forms.ModelForm):
    seen = forms.IntegerField(widget=forms.HiddenInput, required=False)

    def __init__(self, *args: Any, standing: Any, **kwargs: Any) -> None:
        shown = {name: getattr(standing, name) for name in self._meta.fields or ()} if standing else {}
        kwargs["initial"] = {"seen": standing and standing.pk, **shown}
        super().__init__(*args, **kwargs)

    def refuse(self, why: str, standing: Any) -> None:
        """Keep what was typed, and count what stands now as seen: the page shows it."""
        self.add_error(None, why)
        self.data = {**dict(self.data.items()), self.add_prefix("seen"): str(standing.pk) if standing else ""}


class GrindNoteForm(OwnForm):
    prefix = "grind"

    class Meta:
        model = GrindNote
        fields = ["says"]
        labels = {"says": _("How it is ground here")}
        help_texts = {"says": _("In a few words: two clicks finer than on the quay, the burrs are newer.")}
        widgets = {"says": forms.TextInput(attrs={"autocomplete": "off"})}
        error_messages = {"says": {"required": _("Say how it is ground here, or take the note back.")}}


class OwnTargetForm(OwnForm):
    """At least one quantity, each with its tolerance, and a reason."""

    prefix = "target"

    class Meta:
        model = CafeTarget
        fields = [*(name for pair in QUANTITIES for name in pair), "why"]
        field_classes = {
            "tds_target": NumberField,
            "tds_tolerance": NumberField,
            "ey_target": NumberField,
            "ey_tolerance": NumberField,
            "brew_time_s": ClockField,
            "brew_time_tolerance_s": WholeField,
        }
        labels = {
            "tds_tolerance": _("± tolerance"),
            "ey_tolerance": _("± tolerance"),
            "brew_time_tolerance_s": _("± tolerance"),
            "why": _("Why is it another one here?"),
        }
        help_texts = {"why": _("The crew reads it beside the target: the water boils at 95 °C up here.")}
        widgets = {
            "tds_target": _unit("%"),
            "tds_tolerance": _unit("%"),
            "ey_target": _unit("%"),
            "ey_tolerance": _unit("%"),
            "brew_time_s": _unit("m:ss"),
            "brew_time_tolerance_s": _unit("s"),
            "why": forms.TextInput(attrs={"autocomplete": "off"}),
        }
        error_messages = {"why": {"required": _("Say why, so that whoever comes next knows.")}}

    def clean(self) -> dict[str, Any]:
        cleaned: dict[str, Any] = super().clean() or self.cleaned_data
        said = [
            name for pair in QUANTITIES for name in pair if self.data.get(self.add_prefix(name), "").strip()
        ]
        if not said:
            self.add_error(
                "tds_target", _("Set one of the three at least. What stays empty is as the version says.")
            )
        for target, tolerance in QUANTITIES:
            if target in said and tolerance not in said:
                self.add_error(tolerance, _("By how much may it differ from the target?"))
            elif tolerance in said and target not in said:
                self.add_error(target, _("A tolerance needs the target it belongs to."))
        return cleaned

    @property
    def wanted(self) -> dict[str, Any]:
        return {name: self.cleaned_data.get(name) for pair in QUANTITIES for name in pair}

    def validate_constraints(self) -> None:
        """Said above, kinder."""
