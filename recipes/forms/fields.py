"""Fields that read numbers as people write them: a decimal comma, minutes:seconds."""

from __future__ import annotations

from decimal import Decimal
from typing import Any

from django import forms
from django.core.exceptions import ValidationError

from brewbar.units import clock, fixed, parse_clock, parse_decimal, trimmed

STRENGTH_DECIMALS = 2


class NumberField(forms.DecimalField):
    """Takes 1.40 and 1,40 alike. Shows 15 rather than 15.0, but a strength with both of its decimals."""

    widget = forms.TextInput

    def to_python(self, value: Any) -> Decimal | None:  # type: ignore[override]  # as Django's own
        if value in self.empty_values:
            return None
        if isinstance(value, Decimal | int | float):
            return Decimal(str(value))
        try:
            return parse_decimal(str(value))
        except ValueError as error:
            raise ValidationError(str(error), code="invalid") from error

    def prepare_value(self, value: Any) -> Any:
        if not isinstance(value, Decimal | int | float):
            return value
        decimals = self.decimal_places or 0
        return fixed(value, decimals) if decimals == STRENGTH_DECIMALS else trimmed(value, decimals)

    def widget_attrs(self, widget: forms.Widget) -> dict[str, Any]:
        return {"inputmode": "decimal", "autocomplete": "off", "size": 6}


class WholeField(forms.IntegerField):
    """A whole number, typed into a plain field so that what cannot be read stays where it was typed."""

    widget = forms.TextInput

    def widget_attrs(self, widget: forms.Widget) -> dict[str, Any]:
        return {"inputmode": "numeric", "autocomplete": "off", "size": 5}


class ClockField(forms.IntegerField):
    """Seconds, typed as 3:05 or 185 and shown as 3:05."""

    widget = forms.TextInput

    def to_python(self, value: Any) -> int | None:
        if value in self.empty_values:
            return None
        if isinstance(value, int):
            return value
        try:
            return parse_clock(str(value))
        except ValueError as error:
            raise ValidationError(str(error), code="invalid") from error

    def prepare_value(self, value: Any) -> Any:
        return clock(value) if isinstance(value, int) else value

    def widget_attrs(self, widget: forms.Widget) -> dict[str, Any]:
        # No inputmode: the number pads of phones have no colon.
        return {"autocomplete": "off", "size": 5}
