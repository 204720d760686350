"""Fields that read what people write: a decimal comma, minutes:seconds, a moment on the café's own clock."""

from __future__ import annotations

from datetime import UTC, datetime, tzinfo
from decimal import Decimal
from typing import Any

from django import forms
from django.core.exceptions import ValidationError
from django.utils.functional import lazy
from django.utils.translation import gettext_lazy as _

from brewbar import units
from brewbar.units import clock, fixed, parse_clock, parse_decimal, trimmed

STRENGTH_DECIMALS = 2
WALL_TIME = "%Y-%m-%dT%H:%M"


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


degree_unit = lazy(units.degree_unit, str)
"""As the page is drawn: forms are declared long before anybody looks at them."""


class TemperatureField(NumberField):
    """Kept in °C; typed and shown in the reader's unit. What is left as it was shown keeps its very value."""

    def __init__(self, **kwargs: Any) -> None:
        limits = {"min_value": 0, "max_value": 100, "decimal_places": units.KEPT_DECIMALS}
        super().__init__(**limits | kwargs)
        self.widget.attrs.setdefault("data-unit", degree_unit())

    def to_python(self, value: Any) -> Decimal | None:  # type: ignore[override]  # as Django's own
        typed = super().to_python(value)
        if typed is None or not isinstance(value, str):
            return typed
        if typed != round(typed, units.KEPT_DECIMALS):
            raise ValidationError(_("With at most one decimal."), code="max_decimal_places")
        return units.from_degrees(typed)

    def run_validators(self, value: Any) -> None:
        try:
            super().run_validators(value)
        except ValidationError as refused:
            for error in refused.error_list:
                if error.code in ("min_value", "max_value") and error.params:
                    error.params["limit_value"] = units.degrees(error.params["limit_value"])
            raise

    def prepare_value(self, value: Any) -> Any:
        return units.degree_figure(value) if isinstance(value, Decimal | int | float) else value


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


class WallTimeField(forms.Field):
    """A moment as the clock on the café's wall showed it."""

    def __init__(self, zone: tzinfo, **kwargs: Any) -> None:
        self.zone = zone
        super().__init__(widget=forms.DateTimeInput(attrs={"type": "datetime-local"}), **kwargs)

    def to_python(self, value: Any) -> datetime | None:
        if value in self.empty_values:
            return None
        try:
            wall = datetime.fromisoformat(str(value)).replace(tzinfo=None)
        except ValueError as error:
            raise ValidationError(_("Enter day and time, such as 2026-03-01 09:40.")) from error
        # In UTC at once: times of one zone that come twice in a night equal no time of another.
        at = wall.replace(tzinfo=self.zone).astimezone(UTC)
        if at.astimezone(self.zone).replace(tzinfo=None) != wall:
            raise ValidationError(
                _("The clocks skip this time as they go forward: that night has no such moment.")
            )
        return at

    def has_changed(self, initial: Any, data: Any) -> bool:
        """The page shows whole minutes, and a minute that comes twice only once: what is left so is unchanged."""
        return str(self.prepare_value(initial) or "") != str(data or "")

    def prepare_value(self, value: Any) -> Any:
        return value.astimezone(self.zone).strftime(WALL_TIME) if isinstance(value, datetime) else value
