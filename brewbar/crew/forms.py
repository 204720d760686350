"""Signing in and changing one's password."""

from django import forms
from django.contrib.auth.forms import AuthenticationForm, PasswordChangeForm
from django.utils.translation import gettext_lazy as _


class SignInForm(AuthenticationForm):
    error_messages = {
        "invalid_login": _(
            "This name and password don't fit together. Passwords tell capitals from small letters."
        ),
        "inactive": _("This account is closed. Ask a head barista or the owner."),
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
        return str(self.cleaned_data["username"]).strip().lower()


class PasswordForm(PasswordChangeForm):
    """Django's own form, whose rules live in settings."""
