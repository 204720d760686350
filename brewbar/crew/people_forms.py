"""Inviting somebody, giving and changing roles, and what whoever opens a link fills in."""

from __future__ import annotations

from typing import Any

from django import forms
from django.contrib.auth.password_validation import password_validators_help_text_html, validate_password
from django.core.exceptions import ValidationError
from django.core.validators import RegexValidator
from django.utils.translation import gettext_lazy as _

from brewbar.crew import roles
from brewbar.crew.access import Member
from brewbar.crew.forms import SignInForm
from brewbar.crew.founding import sign_in_name
from brewbar.crew.models import Cafe, Role, User
from brewbar.glyphs import as_drawn
from brewbar.web.printable import PrintableTexts

TOO_LONG = {"max_length": _("At most %(limit_value)d characters; this has %(show_value)d.")}


class NameField(forms.CharField):
    """A name, without the characters that nobody sees."""

    def __init__(self, max_length: int = 60, **more: Any) -> None:
        attrs = more.pop("attrs", {"autocomplete": "off"})
        widget = forms.TextInput(attrs=attrs)
        super().__init__(max_length=max_length, error_messages=TOO_LONG, widget=widget, **more)

    def to_python(self, value: Any) -> str:
        return as_drawn(str(super().to_python(value) or ""))


class RoleForm(PrintableTexts, forms.Form):
    """A role and where; of the roles and cafés only those that the member may give."""

    role = forms.ChoiceField(label=_("Role"), widget=forms.RadioSelect(attrs={"class": "choices"}))
    cafe = forms.ModelChoiceField(
        label=_("Café"),
        queryset=Cafe.objects.none(),
        required=False,
        empty_label=None,
        help_text=_("An owner is of all cafés, whatever stands here."),
    )
    in_training = forms.BooleanField(
        label=_("In training"), required=False, help_text=_("Said beside the name, until it is taken off.")
    )

    def __init__(self, member: Member, data: Any = None, **more: Any) -> None:
        super().__init__(data, **more)
        self.member = member
        given = roles.given_by(member)
        self.fields["role"].choices = [(role.value, role.label.capitalize()) for role in given]  # type: ignore[attr-defined]
        self.fields["cafe"].queryset = Cafe.objects.for_member(member)  # type: ignore[attr-defined]
        self.initial = {"role": Role.BARISTA.value, "cafe": member.cafe.pk, **self.initial}
        self.fields["cafe"].is_needed = True  # type: ignore[attr-defined]
        if len(given) == 1:
            del self.fields["role"], self.fields["cafe"]

    def clean(self) -> dict[str, Any]:
        data = super().clean() or self.cleaned_data
        if "role" not in self.fields:
            return data | {"role": roles.given_by(self.member)[0].value, "cafe": self.member.cafe}
        if data.get("role") == Role.OWNER:
            return data | {"cafe": None, "in_training": False}
        if "cafe" in data and data["cafe"] is None:
            self.add_error("cafe", _("In which café?"))
        return data


class InviteForm(RoleForm):
    name = NameField(
        label=_("Whom is it for?"),
        help_text=_("So that you can tell the link from others. Their name they choose themselves."),
    )
    field_order = ["name", "role", "cafe", "in_training"]


def _new_password(label: Any, **more: Any) -> forms.CharField:
    widget = forms.PasswordInput(attrs={"autocomplete": "new-password"})
    return forms.CharField(label=label, strip=False, widget=widget, **more)


class JoinForm(PrintableTexts, forms.Form):
    name = NameField(
        label=_("Your name"),
        help_text=_("As your colleagues know you: it stands beside your results."),
        attrs={"autocomplete": "name"},
    )
    username = forms.CharField(
        label=_("Sign-in name"),
        max_length=60,
        error_messages=TOO_LONG,
        help_text=_("What you type to sign in, such as your first name in small letters."),
        validators=[RegexValidator(r"^[\w.@+-]+$", _("Letters, digits and . @ + - _ only, without spaces."))],
        widget=forms.TextInput(
            attrs={"autocomplete": "username", "autocapitalize": "none", "spellcheck": "false"}
        ),
    )
    password = _new_password(_("Password"), help_text=password_validators_help_text_html)
    password_again = _new_password(_("The same password once more"))

    def clean_username(self) -> str:
        username = sign_in_name(str(self.cleaned_data["username"]))
        if User.objects.filter(username=username).exists():
            raise ValidationError(
                _("%(name)s is taken. If it is you, sign in instead; else choose another."),
                code="taken",
                params={"name": username},
            )
        return username

    def clean_password_again(self) -> str:
        again = str(self.cleaned_data["password_again"])
        if self.cleaned_data.get("password", again) != again:
            raise ValidationError(_("The two passwords differ. Type the same one twice."))
        return again

    def clean(self) -> dict[str, Any]:
        data = super().clean() or self.cleaned_data
        if "password" in data:
            user = User(username=data.get("username", ""), name=data.get("name", ""))
            try:
                validate_password(data["password"], user)
            except ValidationError as easy:
                self.add_error("password", easy)
        return data


class AccountForm(SignInForm):
    """Signing in to accept a link: who left and comes back has no role at that moment."""

    def confirm_login_allowed(self, user: Any) -> None:
        super(SignInForm, self).confirm_login_allowed(user)
