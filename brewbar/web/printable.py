"""Refuses what the card's font has no letters for: sooner or later every name and note stands on paper."""

from decimal import Decimal

from django import forms
from django.core.exceptions import ValidationError
from django.utils.translation import gettext_lazy as _

from brewbar.glyphs import unprintable
from brewbar.units import trimmed

CANNOT_PRINT = _("The card cannot print this: %(lost)s. Please write it in other characters.")


class PrintableTexts(forms.BaseForm):
    """Refuses, beside the field, what a printed card would show as an empty box.

    What its model refuses is told in the reader's figures.
    """

    def _update_errors(self, errors: ValidationError) -> None:
        for refused in getattr(errors, "error_dict", {}).values():
            for error in refused:
                limit = (error.params or {}).get("limit_value")
                if isinstance(limit, Decimal):
                    error.params["limit_value"] = trimmed(limit, 3)
        super()._update_errors(errors)  # type: ignore[misc]

    def _clean_fields(self) -> None:
        super()._clean_fields()  # type: ignore[misc]
        for name, value in list(self.cleaned_data.items()):
            if isinstance(self.fields[name].widget, forms.PasswordInput):
                continue
            if isinstance(value, str) and (lost := unprintable(value)):
                self.add_error(
                    name,
                    ValidationError(
                        CANNOT_PRINT,
                        code="unprintable",
                        params={"lost": " ".join(lost)},
                    ),
                )
