"""What an owner sets for the company and its cafés, and everybody for themselves."""

from __future__ import annotations

import zoneinfo
from collections.abc import Iterator
from functools import cache
from itertools import groupby
from typing import Any

from django import forms
from django.core.exceptions import ValidationError
from django.utils.functional import Promise
from django.utils.text import capfirst
from django.utils.translation import gettext_lazy as _

from brewbar.crew.models import Cafe, Company, DateOrder, DecimalMark, Naming, TemperatureUnit, User
from brewbar.crew.people_forms import NameField
from brewbar.web.printable import PrintableTexts

AREAS = {
    "Africa": _("Africa"),
    "America": _("America"),
    "Antarctica": _("Antarctica"),
    "Arctic": _("Arctic"),
    "Asia": _("Asia"),
    "Atlantic": _("Atlantic"),
    "Australia": _("Australia"),
    "Europe": _("Europe"),
    "Indian": _("Indian Ocean"),
    "Pacific": _("Pacific"),
}
"""Where people are; the other names of the database are of offsets, or old."""
STYLES = ("decimal_mark", "temperature_unit", "date_order")
WHOLE = {
    "invalid": _("A whole number of metres, such as 120."),
    "min_value": _("At least %(limit_value)s m."),
    "max_value": _("At most %(limit_value)s m."),
}


@cache
def _zones() -> tuple[tuple[str | Promise, tuple[tuple[str, str], ...]], ...]:
    names = sorted(name for name in zoneinfo.available_timezones() if name.split("/")[0] in AREAS)
    return tuple(
        (
            AREAS[area],
            tuple((name, name.split("/", 1)[1].replace("_", " ").replace("/", ", ")) for name in group),
        )
        for area, group in groupby(names, lambda name: name.split("/")[0])
    )


class TimeZoneField(forms.ChoiceField):
    """Every inhabited time zone by continent. A script may choose the browser's own while none is chosen."""

    def __init__(self, **more: Any) -> None:
        super().__init__(
            label=_("Time zone"),
            help_text=_("By the nearest town. The board and the business day go by it."),
            error_messages={
                "invalid_choice": _("%(value)s is no time zone we know: choose one of the list.")
            },
            **more,
        )
        self.widget.attrs["data-own-zone"] = True
        self.offer()

    def offer(self, kept: str = "") -> None:
        """Offer what a café has already beside the rest."""
        listed = {name for _area, zones in _zones() for name, _town in zones}
        others = [name for name in dict.fromkeys((kept, "UTC")) if name and name not in listed]
        first = [] if kept else [("", _("Choose one"))]
        self.choices = [*first, *_zones(), (_("Elsewhere"), [(name, name) for name in others])]


class AltitudeField(forms.IntegerField):
    widget = forms.TextInput

    def __init__(self, **more: Any) -> None:
        super().__init__(
            label=_("Altitude"),
            help_text=_(
                "Metres above the sea; a map tells it. Water boils about 1 °C lower for every 300 m, and plans are "
                "checked against that."
            ),
            min_value=-430,
            max_value=5000,
            error_messages=WHOLE,
            **more,
        )
        self.widget.attrs |= {"autocomplete": "off", "size": 5, "data-unit": "m"}


def style_fields(usual: Company | None = None) -> Iterator[tuple[str, forms.ChoiceField]]:
    """The fields for figures and dates; with ``usual`` they may be left as that company has them."""
    for name, label, choices in (
        ("decimal_mark", _("Decimal mark"), DecimalMark.choices),
        ("temperature_unit", _("Temperatures in"), TemperatureUnit.choices),
        ("date_order", _("Dates"), DateOrder.choices),
    ):
        offered: list[tuple[str, str | Promise]] = [(value, capfirst(word)) for value, word in choices]
        if usual is not None:
            words = {"usual": getattr(usual, f"get_{name}_display")()}
            offered.insert(0, ("", _("as the company: %(usual)s") % words))
        field = forms.ChoiceField(label=label, choices=offered, required=usual is None)
        # Never empty on the page: as the company has it is a choice too.
        field.is_needed = True  # type: ignore[attr-defined]
        yield name, field


class ForgetField(forms.IntegerField):
    widget = forms.TextInput

    def __init__(self) -> None:
        super().__init__(
            label=_("People who left become a pseudonym after"),
            help_text=_(
                "Months since their last role ended, here or in another company of this installation. Left empty, "
                "names stay. What they brewed stays either way; the name does not come back."
            ),
            required=False,
            min_value=1,
            max_value=120,
            error_messages={
                "invalid": _("A whole number of months, such as 12, or nothing."),
                "min_value": _("At least %(limit_value)s month."),
                "max_value": _("At most %(limit_value)s months."),
            },
        )
        self.widget.attrs |= {
            "autocomplete": "off",
            "size": 4,
            "inputmode": "numeric",
            "data-unit": _("months"),
        }


class CompanyForm(PrintableTexts, forms.ModelForm):
    name = NameField(max_length=80, label=_("Company"))

    class Meta:
        model = Company
        fields = ["name", *STYLES, "people_shown_to_owners", "forget_after_months"]

    def __init__(self, data: Any, instance: Company) -> None:
        super().__init__(data, instance=instance)
        self.fields.update(style_fields())
        self.fields["people_shown_to_owners"] = forms.ChoiceField(
            label=_("People in your reports"),
            choices=[(value, capfirst(word)) for value, word in Naming.choices],
            widget=forms.RadioSelect(attrs={"class": "choices"}),
            help_text=_(
                "Showing more begins with the next business day and never reaches back. Showing less holds for all "
                "days at once."
            ),
        )
        self.fields["forget_after_months"] = ForgetField()
        self.fields["name"].error_messages["unique"] = _("Another company here has this name.")


class CafeForm(PrintableTexts, forms.ModelForm):
    """A café; its ``instance`` says of which company from the first."""

    name = NameField(label=_("Name"))
    time_zone = TimeZoneField()
    altitude_m = AltitudeField()
    day_turns_at = forms.TypedChoiceField(
        label=_("The business day turns at"),
        coerce=int,
        choices=[(hour, f"{hour:02}:00") for hour in range(12)],
        help_text=_("What is brewed in the night before that hour belongs to the day before."),
    )

    class Meta:
        model = Cafe
        fields = ["name", "time_zone", "altitude_m", "day_turns_at"]

    def __init__(self, data: Any, instance: Cafe) -> None:
        super().__init__(data, instance=instance)
        if instance.pk:
            self.fields["time_zone"].offer(instance.time_zone)  # type: ignore[attr-defined]
        else:
            # Nobody lives at a time zone or an altitude by default.
            self.initial.update(time_zone="", altitude_m="")

    def clean_name(self) -> str:
        name = str(self.cleaned_data["name"])
        others = Cafe.objects.filter(company=self.instance.company, name__iexact=name)
        if others.exclude(pk=self.instance.pk).exists():
            raise ValidationError(_("There is a café %(name)s already."), code="taken", params={"name": name})
        return name

    @property
    def consequences(self) -> list[str | Promise]:
        """What a change means for what is saved already; each wants to be known before it is made."""
        means = {
            "time_zone": _(
                "Times are shown by the new clock, those of earlier readings too. The business day that each was "
                "saved under stays."
            ),
            "altitude_m": _(
                "Plans are checked against the boiling point there from now on. What is saved or published stays "
                "as it is: look at the temperatures of the recipes on the board."
            ),
            "day_turns_at": _(
                "From now on the business day turns at the new hour. Readings stay under the day they were saved "
                "under."
            ),
        }
        return [means[name] for name in self.changed_data if name in means] if self.instance.pk else []


class MineForm(PrintableTexts, forms.ModelForm):
    """What people set for themselves."""

    name = NameField(label=_("Name"), attrs={"autocomplete": "name"})

    class Meta:
        model = User
        fields = ["name", "email", *STYLES]
        labels = {"email": _("E-mail")}
        help_texts = {"email": _("Only for reports to owners, where this installation sends mail.")}
        widgets = {"email": forms.EmailInput(attrs={"autocomplete": "email"})}

    def __init__(self, data: Any, instance: User, company: Company) -> None:
        super().__init__(data, instance=instance)
        self.fields.update(style_fields(company))
