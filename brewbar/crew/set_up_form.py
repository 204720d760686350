"""The first form that anybody fills in: company, café, owner."""

from __future__ import annotations

from typing import Any

from django import forms
from django.core.exceptions import ValidationError
from django.utils.translation import gettext_lazy as _

from brewbar.crew import first_start
from brewbar.crew.people_forms import JoinForm, NameField
from brewbar.crew.settings_forms import STYLES, AltitudeField, TimeZoneField, style_fields

OWNER = ("name", "username", "password", "password_again")


class SetUpForm(JoinForm):
    code = forms.CharField(
        label=_("Code"),
        max_length=40,
        help_text=_("It stands where brewbar was started, and looks like ABCD-EFGH-JKLM."),
        error_messages={"max_length": _("The code is shorter than that: three groups of four.")},
        widget=forms.TextInput(
            attrs={"autocomplete": "off", "autocapitalize": "characters", "spellcheck": "false"}
        ),
    )
    company = NameField(
        max_length=80,
        label=_("Company"),
        help_text=_("It stands on cards and pages, and can be changed later."),
    )
    cafe = NameField(label=_("Café"), help_text=_("The first one; more can be added."))
    time_zone = TimeZoneField()
    altitude_m = AltitudeField()
    field_order = ["code", "company", "cafe", "time_zone", "altitude_m", *STYLES, *OWNER]

    def __init__(self, data: Any = None) -> None:
        super().__init__(data)
        self.fields.update(style_fields())
        self.order_fields(self.field_order)

    def clean_code(self) -> str:
        code = str(self.cleaned_data["code"])
        if not first_start.fits(code):
            raise ValidationError(
                _(
                    "That is not the code of the last start. Look where brewbar was started; starting it again "
                    "prints a new one."
                ),
                code="wrong",
            )
        return code

    @property
    def answers(self) -> dict[str, Any]:
        """What `first_start.open_with` takes."""
        return {name: value for name, value in self.cleaned_data.items() if name != "password_again"}
