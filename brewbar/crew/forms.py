"""Signing in and changing one's password."""

from __future__ import annotations

from typing import Any

from django import forms
from django.contrib.auth.forms import AuthenticationForm, PasswordChangeForm
from django.core.exceptions import ValidationError
from django.utils.translation import gettext_lazy as _

from brewbar.crew.access import places_of
from brewbar.crew.founding import sign_in_name


class SignInForm(AuthenticationForm):
    error_messages = {
        "invalid_login": _(
            "This name and password don't fit together. Passwords tell capitals from small letters."
        ),
        "inactive": _("This account is closed. Ask a head barista or the owner."),
        "no_role": _("You have no role in any café now. Whoever wants you back can invite you with a link."),
    }

    username = forms.CharField(
        label=_("Sign-in name"),
        max_length=60,
        widget=forms.TextInput(
            attrs={
                "autocomplete": "username",
                "autocapitalize": "none",
                "spellcheck": "false",
                "autofocus": True,
            }
        ),
    )

    def clean_username(self) -> str:
        # Throttling counts by this name: capitals must not open a second count.
        return sign_in_name(str(self.cleaned_data["username"]))

    def confirm_login_allowed(self, user: Any) -> None:
        super().confirm_login_allowed(user)
        if not places_of(user):
            raise ValidationError(self.error_messages["no_role"], code="no_role")


class PasswordForm(PasswordChangeForm):
    """Django's own form, whose rules live in settings."""
