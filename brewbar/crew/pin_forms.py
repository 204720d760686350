"""Typing a PIN, choosing one, and enrolling the tablet it is typed on."""

from __future__ import annotations

from typing import Any

from django import forms
from django.contrib.auth import authenticate
from django.core.exceptions import ValidationError
from django.utils.translation import gettext_lazy as _

from brewbar.crew.access import Member
from brewbar.crew.models import Membership, Station
from brewbar.crew.pins import check_pin, known_of
from brewbar.glyphs import as_drawn, unprintable


class PinField(forms.CharField):
    """Digits behind dots, typed on a keyboard of digits."""

    def __init__(self, **more: Any) -> None:
        attrs = {"inputmode": "numeric", "autocomplete": "off"}
        super().__init__(widget=forms.PasswordInput(attrs=attrs), **more)


class PinForm(forms.Form):
    pin = PinField(label=_("PIN"))
    pin.widget.attrs["autofocus"] = True

    def clean_pin(self) -> str:
        pin = str(self.cleaned_data["pin"])
        if not (pin.isascii() and pin.isdecimal()):
            # A slip of the finger: no need to count it as a try.
            raise ValidationError(_("A PIN has digits only."))
        return pin


class NewPinForm(forms.Form):
    """The password says that it is really the owner of the PIN who chooses it."""

    pin = PinField(
        label=_("New PIN"),
        help_text=_(
            "4 to 8 digits that nobody would guess: no birthday, no row of keys, not your phone's PIN."
        ),
    )
    pin_again = PinField(label=_("The same PIN once more"))
    password = forms.CharField(
        label=_("Your password"),
        strip=False,
        widget=forms.PasswordInput(attrs={"autocomplete": "current-password"}),
    )

    def __init__(self, request: Any, membership: Membership) -> None:
        super().__init__(request.POST if request.method == "POST" else None)
        self.request, self.membership = request, membership

    def clean_pin(self) -> str:
        pin = str(self.cleaned_data["pin"])
        check_pin(pin, known_of(self.membership))
        return pin

    def clean_pin_again(self) -> str:
        again = str(self.cleaned_data["pin_again"])
        if self.cleaned_data.get("pin", again) != again:
            raise ValidationError(_("The two PINs differ. Type the same digits twice."))
        return again

    def clean(self) -> None:
        # Asked last, and only of what is otherwise in order: each wrong password counts as a try.
        password = self.cleaned_data.get("password")
        if self.errors or not password:
            return
        username = self.membership.user.get_username()
        if authenticate(self.request, username=username, password=password) != self.membership.user:
            self.add_error("password", _("That is not the password. It tells capitals from small letters."))


class EnrolForm(forms.Form):
    station = forms.ModelChoiceField(
        label=_("Station"), queryset=Station.objects.none(), empty_label=_("Choose a station")
    )
    label = forms.CharField(
        label=_("Which device"),
        max_length=40,
        required=False,
        help_text=_("How you would tell it from another, such as 'by the grinder'."),
    )

    def __init__(self, member: Member, data: Any = None) -> None:
        super().__init__(data)
        stations = Station.objects.for_member(member).filter(cafe=member.cafe).in_use()
        self.fields["station"].queryset = stations  # type: ignore[attr-defined]

    def clean_label(self) -> str:
        label = as_drawn(self.cleaned_data["label"])
        if lost := unprintable(label):
            raise ValidationError(
                _("Please write it in other characters than these: %(lost)s."),
                code="unprintable",
                params={"lost": " ".join(lost)},
            )
        return label
