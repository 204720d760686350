"""What is asked of the record. It lives in the address, so that a page can be sent to somebody."""

from __future__ import annotations

from datetime import datetime, time, timedelta, tzinfo
from typing import Any

from django import forms
from django.utils.translation import gettext_lazy as _

from brewbar.crew.models import Change


class RecordFilter(forms.Form):
    text = forms.CharField(label=_("Search"), max_length=100, required=False)
    about = forms.ChoiceField(
        label=_("About"), choices=[("", _("everything")), *Change.About.choices], required=False
    )
    first = forms.DateField(
        label=_("From"), required=False, widget=forms.DateInput(format="%Y-%m-%d", attrs={"type": "date"})
    )
    last = forms.DateField(
        label=_("To"), required=False, widget=forms.DateInput(format="%Y-%m-%d", attrs={"type": "date"})
    )

    def __init__(self, asked: Any, zone: tzinfo) -> None:
        super().__init__(asked)
        self.zone = zone
        self.fields["text"].widget.attrs |= {"autocomplete": "off", "type": "search"}

    def clean(self) -> dict[str, Any]:
        cleaned = super().clean() or self.cleaned_data
        first, last = cleaned.get("first"), cleaned.get("last")
        if first and last and first > last:
            self.add_error("last", _("The span ends before it begins."))
        return cleaned

    def asked(self) -> dict[str, Any]:
        """For `record.looked_up`; days are the café's own, from midnight to midnight."""
        data = self.cleaned_data
        first, last = data["first"], data["last"]
        return {
            "text": data["text"],
            "about": data["about"],
            "since": datetime.combine(first, time(), self.zone) if first else None,
            "until": datetime.combine(last + timedelta(days=1), time(), self.zone) if last else None,
        }
