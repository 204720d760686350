"""What is said about a key for another program before it is made."""

from __future__ import annotations

from typing import Any

from django import forms
from django.utils.translation import gettext_lazy as _
from django.utils.translation import ngettext

from brewbar.crew import keys
from brewbar.crew.access import Member
from brewbar.web.printable import PrintableTexts


def _lasts() -> list[tuple[int, str]]:
    return [(n, ngettext("%(n)d day", "%(n)d days", n) % {"n": n}) for n in keys.LASTS_DAYS]


class KeyForm(PrintableTexts, forms.Form):
    name = forms.CharField(
        label=_("What it is for"),
        max_length=60,
        help_text=_(
            "Such as 'scale at the bar': whoever finds it in the list should know what stops without it."
        ),
        error_messages={"required": _("Say what the key is for.")},
        widget=forms.TextInput(attrs={"autocomplete": "off"}),
    )
    scopes = forms.MultipleChoiceField(
        label=_("It may"),
        widget=forms.CheckboxSelectMultiple(attrs={"class": "choices choices-long"}),
        error_messages={"required": _("Choose at least one: a key that may nothing is of no use.")},
    )
    days = forms.TypedChoiceField(
        label=_("It opens for"),
        coerce=int,
        choices=_lasts,
        initial=90,
        widget=forms.RadioSelect(attrs={"class": "choices"}),
    )

    def __init__(self, member: Member, data: Any = None) -> None:
        super().__init__(data)
        self.fields["scopes"].choices = [  # type: ignore[attr-defined]
            (scope.value, scope.label) for scope in keys.scopes_for(member)
        ]


class RevokeForm(PrintableTexts, forms.Form):
    why = forms.CharField(
        label=_("Why"),
        max_length=200,
        required=False,
        help_text=_("For the record, such as 'the tablet was lost'. May be left out."),
        widget=forms.TextInput(attrs={"autocomplete": "off"}),
    )
