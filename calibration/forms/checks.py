"""What is typed or tapped around a check: what to start, the timer, why not."""

from __future__ import annotations

import uuid
from datetime import timedelta
from typing import Any

from django import forms
from django.utils.translation import gettext_lazy as _

from brewbar.crew.models import User
from brewbar.web.printable import PrintableTexts
from calibration.models import Reading
from recipes.forms.catalogue import KIND_REFUSALS, typed
from recipes.forms.fields import ClockField
from recipes.models import Slot

STARTS = {
    "check": (Reading.Kind.CHECK, False),
    "served": (Reading.Kind.CHECK, True),
    "practice": (Reading.Kind.PRACTICE, False),
}
"""What is declared before a brew: its kind, and whether a guest gets it."""
LONGEST_AGO_MS = 24 * 60 * 60 * 1000


class StartForm(forms.Form):
    """``what`` is the button that was tapped. The UUID is made with the page, so that a double tap starts once."""

    uuid = forms.UUIDField(widget=forms.HiddenInput, initial=uuid.uuid4)
    slot = forms.ModelChoiceField(
        Slot.objects.none(), error_messages={"invalid_choice": _("This card is not of your café.")}
    )
    what = forms.ChoiceField(choices=[(key, key) for key in STARTS])

    def __init__(self, *args: Any, slots: Any, **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        field = self.fields["slot"]
        assert isinstance(field, forms.ModelChoiceField)
        field.queryset = slots


class TapForm(forms.Form):
    """One tap of the timer. ``ago_ms``: how long ago, where the network was slow or away."""

    do = forms.ChoiceField(choices=[(do, do) for do in ("start", "finish", "back", "typed")])
    ago_ms = forms.IntegerField(required=False, min_value=0, max_value=LONGEST_AGO_MS)

    @property
    def ago(self) -> timedelta:
        return timedelta(milliseconds=self.cleaned_data.get("ago_ms") or 0)


class TimeForm(forms.Form):
    brew_time = ClockField(
        label=_("Brew time, by another clock"),
        min_value=10,
        max_value=3600,
        error_messages={
            "required": _("Enter minutes and seconds, such as 2:45."),
            "min_value": _("A brew time lies between 0:10 and 60:00."),
            "max_value": _("A brew time lies between 0:10 and 60:00."),
        },
    )


class BusyForm(PrintableTexts, forms.Form):
    note = forms.CharField(label=_("What kept you"), max_length=120, required=False, widget=typed())

    def __init__(self, *args: Any, **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        self.fields["note"].error_messages |= KIND_REFUSALS


class DropForm(PrintableTexts, forms.Form):
    why = forms.CharField(
        label=_("Why it is given up"),
        max_length=120,
        widget=typed(),
        help_text=_("Such as: the server broke, or the scale went off."),
        error_messages={"required": _("Say why: a brew that was begun never just vanishes.")},
    )

    def __init__(self, *args: Any, **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        self.fields["why"].error_messages |= {"max_length": KIND_REFUSALS["max_length"]}


class DutyForm(forms.Form):
    user = forms.ModelChoiceField(
        User.objects.none(), label=_("Somebody else is on"), empty_label=_("Choose")
    )

    def __init__(self, *args: Any, crew: Any, **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        field = self.fields["user"]
        assert isinstance(field, forms.ModelChoiceField)
        field.queryset = crew
