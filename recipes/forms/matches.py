"""What is typed about two settings of two grinders that grind alike."""

from __future__ import annotations

from typing import Any

from django import forms
from django.utils.translation import gettext_lazy as _

from brewbar.crew.access import Member
from brewbar.web.printable import PrintableTexts
from recipes.forms.board import SettingField
from recipes.models import Grinder


class MatchForm(PrintableTexts, forms.Form):
    grinder = forms.ModelChoiceField(
        label=_("One grinder"), queryset=Grinder.objects.none(), empty_label=_("Choose")
    )
    setting = SettingField()
    other = forms.ModelChoiceField(
        label=_("The other grinder"), queryset=Grinder.objects.none(), empty_label=_("Choose")
    )
    other_setting = SettingField()
    note = forms.CharField(
        label=_("Note"),
        max_length=120,
        required=False,
        help_text=_("How it was found: by time, by strength, by taste."),
        widget=forms.TextInput(attrs={"autocomplete": "off"}),
    )

    def __init__(self, *args: Any, member: Member, **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        self.fields["setting"].label = _("Its setting")
        self.fields["other_setting"].label = _("The other's setting")
        grinders = Grinder.objects.for_member(member).in_use()
        for name in ("grinder", "other"):
            field = self.fields[name]
            assert isinstance(field, forms.ModelChoiceField)
            field.queryset = grinders
            field.error_messages |= {
                "required": _("Please choose one."),
                "invalid_choice": _("Please choose one of these."),
            }

    def clean(self) -> dict[str, Any]:
        said = self.cleaned_data
        if said.get("grinder") and said.get("grinder") == said.get("other"):
            self.add_error("other", _("Choose two different grinders."))
        return said
