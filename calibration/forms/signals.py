"""What is said of a signal: a reply, what it was, why it is opened again, how a trial went."""

from __future__ import annotations

from typing import Any

from django import forms
from django.utils.translation import gettext_lazy as _

from brewbar.web.printable import PrintableTexts
from calibration.models import SignalNote

What = SignalNote.What


class ReplyForm(PrintableTexts, forms.Form):
    says = forms.CharField(
        label=_("Your reply"),
        max_length=300,
        widget=forms.Textarea(attrs={"rows": 3}),
        help_text=_("What you think it was, or what you have changed since. The head barista reads it."),
        error_messages={"required": _("Write a word or two.")},
    )


class ExplainForm(PrintableTexts, forms.Form):
    cause = forms.ChoiceField(
        label=_("What was it?"),
        choices=[("", _("Choose")), *SignalNote.Cause.choices],
        error_messages={"required": _("Say what the cause was. If nobody knows, chance may well be it.")},
    )
    says = forms.CharField(
        label=_("Note"),
        max_length=300,
        required=False,
        widget=forms.Textarea(attrs={"rows": 2}),
        help_text=_("Whom it is about reads it too."),
    )
    action = forms.CharField(label=_("What was done"), max_length=200, required=False)
    restarts_baseline = forms.BooleanField(
        label=_("Start the baseline anew from tomorrow"),
        required=False,
        help_text=_("If this is how it shall be from now on. Leave it if things go back to how they were."),
    )


class WordForm(PrintableTexts, forms.Form):
    """A step that may say why, and need not."""

    says = forms.CharField(label=_("Note"), max_length=200, required=False)


FORMS: dict[str, type[forms.Form]] = {
    What.REPLIED: ReplyForm,
    What.EXPLAINED: ExplainForm,
    What.CLOSED: WordForm,
    What.REOPENED: WordForm,
    What.LOOKED: WordForm,
    "ended": WordForm,
}


def forms_for(steps: list[str], data: Any) -> dict[str, forms.Form]:
    """A form for each step that can be taken, in their order; the one that was sent is bound to ``data``."""
    sent = data.get("step") if data is not None else None
    return {step: FORMS[step](data if step == sent else None, prefix=step) for step in steps}
