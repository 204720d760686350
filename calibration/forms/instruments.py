"""What is typed about a refractometer."""

from __future__ import annotations

from django.utils.translation import gettext_lazy as _

from calibration.models import Refractometer
from recipes.forms.catalogue import NamedForm, typed
from recipes.forms.fields import NumberField


class InstrumentForm(NamedForm):
    within = "cafe"

    class Meta:
        model = Refractometer
        fields = ["name", "resolution_tds", "repeatability_tds", "accuracy_tds", "filters_samples", "note"]
        field_classes = {
            "resolution_tds": NumberField,
            "repeatability_tds": NumberField,
            "accuracy_tds": NumberField,
        }
        widgets = {
            "name": typed(),
            "resolution_tds": typed(**{"data-unit": "% TDS"}),
            "repeatability_tds": typed(**{"data-unit": "% TDS"}),
            "accuracy_tds": typed(**{"data-unit": "% TDS"}),
            "note": typed(),
        }
        help_texts = {
            "resolution_tds": _("0.01 if it shows 1.40 and then 1.41."),
            "repeatability_tds": _(
                "How far drops of one sample scatter, as a standard deviation. "
                "If the maker states a limit, ±, enter half of it."
            ),
            "accuracy_tds": _("As the maker states it. It counts against published bands and other cafés."),
        }
