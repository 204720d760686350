"""The published band of a company."""

from __future__ import annotations

from typing import Any

from django import forms
from django.utils.translation import gettext_lazy as _

from calibration import conventions
from recipes.brewing.bands import PUBLISHED_BANDS, PublishedBand


class BandForm(forms.Form):
    key = forms.ChoiceField(
        label=_("Compare cups with"),
        required=False,
        widget=forms.RadioSelect(attrs={"class": "choices choices-long"}),
        error_messages={"invalid_choice": _("Choose one of these.")},
    )

    def __init__(self, *args: Any, **more: Any) -> None:
        super().__init__(*args, **more)
        # In the reader's own figures, so it waits until a page is asked for.
        self.fields["key"].choices = [  # type: ignore[attr-defined]
            ("", _("No published band")),
            *(
                (band.key, f"{conventions.named(band)}: {conventions.figures_of(band)}")
                for band in PUBLISHED_BANDS
            ),
        ]
        self.fields["key"].is_needed = True  # type: ignore[attr-defined]

    def band(self) -> PublishedBand | None:
        """What a valid form chose."""
        key = self.cleaned_data["key"]
        return next((band for band in PUBLISHED_BANDS if band.key == key), None)
