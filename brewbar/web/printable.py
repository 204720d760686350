"""Refuses what the card's font has no letters for: sooner or later every name and note stands on paper."""

from django import forms
from django.core.exceptions import ValidationError
from django.utils.translation import gettext_lazy as _

from brewbar.glyphs import unprintable


class PrintableTexts(forms.BaseForm):
    """Refuses, beside the field, what a printed card would show as an empty box."""

    def _clean_fields(self) -> None:
        super()._clean_fields()  # type: ignore[misc]
        for name, value in list(self.cleaned_data.items()):
            if isinstance(value, str) and (lost := unprintable(value)):
                self.add_error(
                    name,
                    ValidationError(
                        _("The card cannot print this: %(lost)s. Please write it in other characters."),
                        code="unprintable",
                        params={"lost": " ".join(lost)},
                    ),
                )
