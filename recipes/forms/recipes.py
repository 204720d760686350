"""What is typed about a recipe: its name, a revision's reasons, and a whole draft with its pours."""

from __future__ import annotations

from decimal import Decimal
from functools import partial
from typing import Any

from django import forms
from django.core.exceptions import ValidationError
from django.utils.translation import gettext_lazy as _

from brewbar.crew.access import Member
from brewbar.web.forms import FieldOnPage
from brewbar.web.printable import PrintableTexts
from recipes.authoring import kettle_told
from recipes.forms.fields import ClockField, NumberField, TemperatureField, WholeField
from recipes.models import Brewer, Coffee, Kettle, Paper, Pour, Recipe, RecipeVersion

KIND_LIMITS = {
    "min_value": _("At least %(limit_value)s."),
    "max_value": _("At most %(limit_value)s."),
    "max_digits": _("This number is too long."),
    "max_whole_digits": _("This number is too large."),
    "max_decimal_places": _("With at most %(max)s decimals."),
}


class FieldWithFindings(FieldOnPage):
    """A field of a plan. What the review finds about it stands close by, and is tied to it by its id."""

    @property
    def aria_describedby(self) -> str | None:
        said = super().aria_describedby
        return " ".join(part for part in (said, f"{self.html_name}-finding") if part)

    def css_classes(self, extra_classes: Any = None) -> str:
        return f"at-{self.name} {super().css_classes(extra_classes)}".strip()

    @property
    def is_optional(self) -> bool:
        return bool(self.field.widget.attrs.get("data-optional"))


class PlanForm(PrintableTexts, forms.ModelForm):
    """A form whose fields the review speaks about."""

    bound_field_class = FieldWithFindings

    def _post_clean(self) -> None:
        # The database's checks say nothing that the fields did not, and asking it costs a query a pour a keystroke.
        self.instance.validate_constraints = lambda exclude=None: None
        super()._post_clean()  # type: ignore[misc]

    @property
    def labels(self) -> dict[str, object]:
        return {name: field.label for name, field in self.fields.items()}

    @property
    def unread(self) -> dict[str, list[str]]:
        """What is wrong with the fields that could not be read."""
        return {
            name: [str(message) for message in messages]
            for name, messages in self.errors.items()
            if name in self.fields
        }


class RecipeForm(PrintableTexts, forms.ModelForm):
    """A new recipe."""

    class Meta:
        model = Recipe
        fields = ["name", "coffee"]
        widgets = {"name": forms.TextInput(attrs={"autocomplete": "off"})}

    def __init__(self, *args: Any, member: Member, **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        self.member = member
        coffees = self.fields.get("coffee")
        if isinstance(coffees, forms.ModelChoiceField):
            coffees.queryset = Coffee.objects.for_member(member).in_use()
            coffees.empty_label = _("Choose a coffee")

    def clean_name(self) -> str:
        name = " ".join(str(self.cleaned_data["name"]).split())
        others = Recipe.objects.for_member(self.member).exclude(pk=self.instance.pk)
        if others.filter(name__iexact=name).exists():
            raise ValidationError(_("There is already a recipe called %(name)s."), params={"name": name})
        return name


class NameForm(RecipeForm):
    """Another name for a recipe; its codes, versions and readings stay as they are."""

    class Meta(RecipeForm.Meta):
        fields = ["name"]


class ReasonsForm(PrintableTexts, forms.ModelForm):
    """What a revision is going to change and why; both can still be written while it is a draft."""

    class Meta:
        model = RecipeVersion
        fields = ["what_changed", "why"]

    def __init__(self, *args: Any, **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        for name in self.fields:
            self.fields[name].required = False


def _unit(text: str, **attrs: Any) -> forms.TextInput:
    return forms.TextInput(attrs={"data-unit": text, **attrs})


class VersionForm(PlanForm):
    """A draft without its pours. Whatever is still open may stay open."""

    class Meta:
        model = RecipeVersion
        fields = [
            "what_changed",
            "why",
            "dose_g",
            "water_g",
            "water_temperature_C",
            "at_the_boil",
            "brewer",
            "paper",
            "kettle",
            "reference_grind",
            "rinse_paper",
            "tds_target",
            "tds_tolerance",
            "ey_target",
            "ey_tolerance",
            "brew_time_s",
            "brew_time_tolerance_s",
            "intended_cup",
            "bypass_g",
            "ice_g",
            "note",
        ]
        field_classes = {
            "dose_g": NumberField,
            "water_g": NumberField,
            "water_temperature_C": TemperatureField,
            "tds_target": NumberField,
            "tds_tolerance": NumberField,
            "ey_target": NumberField,
            "ey_tolerance": NumberField,
            "brew_time_s": ClockField,
            "brew_time_tolerance_s": WholeField,
            "bypass_g": NumberField,
            "ice_g": NumberField,
        }
        labels = {
            "tds_tolerance": _("± tolerance"),
            "ey_tolerance": _("± tolerance"),
            "brew_time_tolerance_s": _("± tolerance"),
        }
        widgets = {
            "dose_g": _unit("g"),
            "water_g": _unit("g"),
            "tds_target": _unit("%"),
            "tds_tolerance": _unit("%"),
            "ey_target": _unit("%"),
            "ey_tolerance": _unit("%"),
            "brew_time_s": _unit("m:ss"),
            "brew_time_tolerance_s": _unit("s"),
            "bypass_g": _unit("g"),
            "ice_g": _unit("g"),
            "note": forms.Textarea(attrs={"rows": 2}),
        }
        help_texts = {"kettle": "", "reference_grind": "", "bypass_g": ""}

    def __init__(self, *args: Any, member: Member, **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        self._offer("brewer", Brewer.objects.for_member(member))
        self._offer("paper", Paper.objects.for_member(member))
        self._offer("kettle", Kettle.objects.for_member(member))
        kettle: Any = self.fields["kettle"]
        kettle.label_from_instance = partial(kettle_told, place=member)
        for name, field in self.fields.items():
            field.required = name.endswith(("_tolerance", "_tolerance_s"))
            field.error_messages["required"] = _("By how much may it differ from the target?")

    def _get_validation_exclusions(self) -> set[str]:
        """What was chosen from a queryset is there: the model need not ask for it once more."""
        exclusions: set[str] = super()._get_validation_exclusions()  # type: ignore[misc]
        return exclusions | {"brewer", "paper", "kettle"}

    def _offer(self, name: str, rows: Any) -> None:
        """What is in use, and what the version already names: it may be retired, or stand elsewhere."""
        chosen = getattr(self.instance, f"{name}_id")
        field: Any = self.fields[name]
        field.queryset = rows.in_use() | rows.model.objects.filter(pk=chosen) if chosen else rows.in_use()
        field.empty_label = "–"

    def clean(self) -> dict[str, Any]:
        data = super().clean() or self.cleaned_data
        if data.get("at_the_boil"):
            # Whatever stands in the greyed temperature does not matter then.
            self.errors.pop("water_temperature_C", None)
            data["water_temperature_C"] = None
        for name in ("bypass_g", "ice_g"):
            if name in data and data[name] is None:
                data[name] = Decimal(0)
        return data


class PourForm(PlanForm):
    class Meta:
        model = Pour
        fields = [
            "starts_at_s",
            "to_g",
            "flow_g_s",
            "spout_height_mm",
            "pattern",
            "after",
            "temperature_C",
            "note",
        ]
        field_classes = {
            "starts_at_s": ClockField,
            "to_g": NumberField,
            "flow_g_s": NumberField,
            "spout_height_mm": WholeField,
            "temperature_C": TemperatureField,
        }
        widgets = {
            "starts_at_s": _unit("m:ss"),
            "to_g": _unit("g"),
            "flow_g_s": _unit("g/s"),
            "spout_height_mm": _unit("mm"),
            "note": forms.TextInput(attrs={"placeholder": _("Note")}),
        }
        labels = {"temperature_C": _("Water")}

    def __init__(self, data: Any = None, *, key: str, number: int, instance: Pour | None = None) -> None:
        super().__init__(data, prefix=f"pour-{key}", instance=instance)
        self.key, self.number = key, number

    @property
    def title(self) -> str:
        return str(_("Pour %(number)d") % {"number": self.number})


for _form in (VersionForm, PourForm):
    for _field in _form.base_fields.values():
        _field.error_messages |= KIND_LIMITS
