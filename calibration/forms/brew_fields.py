"""Fields for what is measured at the bar: masses, drops, degrees, and which of a few pieces it was done with."""

from __future__ import annotations

from collections.abc import Callable, Iterable
from decimal import Decimal
from typing import Any

from django import forms
from django.core.exceptions import ValidationError
from django.utils.translation import gettext_lazy as _

from brewbar.units import fixed, parse_clock, rounded, trimmed
from recipes.forms.fields import NumberField


class MassField(NumberField):
    """Grams, kept to 0.1 g: what a finer scale shows beyond that is far below the uncertainty of a mass."""

    def __init__(self, least: int, most: int, **kwargs: Any) -> None:
        super().__init__(widget=_with_unit("g"), min_value=least, max_value=most, **kwargs)
        self.error_messages["required"] = _("Enter the mass in grams.")

    def clean(self, value: Any) -> Decimal | None:
        typed = super().clean(value)
        return None if typed is None else rounded(typed, 1)

    def prepare_value(self, value: Any) -> Any:
        return trimmed(value, 1) if isinstance(value, Decimal) else value


class DropField(NumberField):
    """One reading of a refractometer, as its display shows it."""

    def __init__(self, **kwargs: Any) -> None:
        super().__init__(widget=_with_unit("%"), required=False, **kwargs)

    def clean(self, value: Any) -> Decimal | None:
        typed = super().clean(value)
        if typed is not None and typed != round(typed, 2):
            said = _("Enter it as the display shows it, with two decimals, such as %(example)s.")
            raise ValidationError(said, params={"example": fixed(1.4, 2)})
        return typed

    def prepare_value(self, value: Any) -> Any:
        return fixed(value, 2) if isinstance(value, Decimal) else value


class PieceField(forms.ChoiceField):
    """One of a few rows. They are read once, however often a page draws and checks them."""

    def __init__(self, says: Callable[[Any], str] = str, **kwargs: Any) -> None:
        super().__init__(**kwargs)
        self.says = says
        self.rows: dict[str, Any] = {}

    def offer(self, rows: Iterable[Any]) -> None:
        self.rows = {str(row.pk): row for row in rows}
        # A single row needs no question; of several none is chosen before somebody said which.
        unsaid = [] if len(self.rows) == 1 and self.required else [("", _("Choose"))]
        self.choices = [*unsaid, *((pk, self.says(row)) for pk, row in self.rows.items())]

    def clean(self, value: Any) -> Any:
        return self.rows.get(super().clean(value))

    def has_changed(self, initial: Any, data: Any) -> bool:
        return str(initial or "") != str(data or "")


def brew_time_s(minutes: str, seconds: str) -> int:
    """Seconds, from minutes and seconds typed apart, or from all of it in one of the two: 2:45, or 165 seconds.

    Raises ValidationError that says beside which of the two.
    """
    if not minutes and not seconds:
        raise ValidationError({"minutes": _("Enter minutes and seconds.")})
    if minutes and not seconds and ":" not in minutes:
        raise ValidationError({"seconds": _("Enter the seconds too: 0 if it was the full minute.")})
    typed = f"{minutes}:{seconds:0>2}" if minutes and seconds else minutes or seconds
    try:
        return parse_clock(typed)
    except ValueError as error:
        where = "seconds" if not minutes or minutes.isdecimal() else "minutes"
        raise ValidationError({where: str(error)}) from error


def _with_unit(unit: str) -> forms.TextInput:
    return forms.TextInput(attrs={"data-unit": unit})
