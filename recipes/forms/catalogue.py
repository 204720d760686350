"""What is typed about a coffee and its roast batches, and what every named thing has in common."""

from __future__ import annotations

from datetime import date
from typing import Any

from django import forms
from django.core.exceptions import ValidationError
from django.utils.translation import gettext_lazy as _

from brewbar.crew.tenancy import Retirable
from brewbar.web.printable import PrintableTexts
from recipes.catalogue import DATES, out_of_order
from recipes.forms.fields import WholeField
from recipes.forms.recipes import KIND_LIMITS
from recipes.models import Coffee, RoastBatch

KIND_REFUSALS = KIND_LIMITS | {
    "max_length": _("At most %(limit_value)d characters; this has %(show_value)d."),
    "max_digits": _("This number is too large."),
}


def typed(**attrs: Any) -> forms.TextInput:
    return forms.TextInput(attrs={"autocomplete": "off", **attrs})


class NamedForm(PrintableTexts, forms.ModelForm):
    """A row whose name is once in its company, café or coffee. Its ``instance`` says in which, from the first."""

    named, within = "name", "company"
    twin: Retirable | None = None
    """The retired row that has the name asked for, if there is one: it can be brought back instead."""

    def __init__(self, *args: Any, **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        for field in self.fields.values():
            field.error_messages |= KIND_REFUSALS
            if isinstance(field, forms.TypedChoiceField):
                choices: Any = field.choices
                field.choices = [(value, word if value else "–") for value, word in choices]

    @property
    def twin_name(self) -> str:
        return str(getattr(self.twin, self.named, ""))

    def _clean_fields(self) -> None:
        super()._clean_fields()
        if typed_name := self.cleaned_data.get(self.named):
            name = self.cleaned_data[self.named] = " ".join(typed_name.split())
            self._refuse_twins(name)

    def _refuse_twins(self, name: str) -> None:
        row: Any = self.instance
        within = {self.within: getattr(row, self.within)}
        others = type(row)._default_manager.filter(**within, **{f"{self.named}__iexact": name})
        other = others.exclude(pk=row.pk).first()
        if other is None:
            return
        words = {"name": getattr(other, self.named)}
        if other.retired_at:
            self.twin = other
            said = _("%(name)s exists already. It is retired: bring it back instead?")
        else:
            said = _("%(name)s exists already.")
        self.add_error(self.named, ValidationError(said, code="taken", params=words))

    def clean(self) -> dict[str, Any]:
        # Not super(), which would ask the database once more about what the fields have checked already.
        return self.cleaned_data


class CoffeeForm(NamedForm):
    class Meta:
        model = Coffee
        fields = ["name", "origin", "process", "roast_level", "density_g_l", "note"]
        field_classes = {"density_g_l": WholeField}
        widgets = {
            "name": typed(),
            "origin": typed(),
            "process": typed(),
            "density_g_l": typed(**{"data-unit": "g/L"}),
            "note": forms.Textarea(attrs={"rows": 3}),
        }
        labels = {"density_g_l": _("Bean density")}
        help_texts = {
            "name": _("As your crew calls it. It stands on the board and on every card."),
            "density_g_l": "",
            "note": _("What you expect in the cup, and anything odd about it."),
        }


def _day() -> forms.DateInput:
    return forms.DateInput(format="%Y-%m-%d", attrs={"type": "date"})


class BatchForm(NamedForm):
    """A roast batch; ``today`` is the day by the café's clock, beyond which nothing has happened yet."""

    named, within = "label", "coffee"

    class Meta:
        model = RoastBatch
        fields = ["label", *DATES]
        widgets = {"label": typed()} | {name: _day() for name in DATES}

    def __init__(self, *args: Any, today: date, **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        self.today = today
        for name in DATES:
            self.fields[name].widget.attrs["max"] = today.isoformat()

    def clean(self) -> dict[str, Any]:
        for name, sentence in out_of_order(self.cleaned_data, self.today):
            self.add_error(name, sentence)
        return self.cleaned_data
