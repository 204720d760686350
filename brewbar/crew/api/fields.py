"""Fields that take exactly what JSON says, and say of themselves in the schema what they take.

Numbers are JSON numbers: masses have one decimal and TDS two, which any double carries there and back unharmed, and
no script has to turn text into numbers. Text is never taken for a number, nor 1 for true.
"""

from __future__ import annotations

from datetime import UTC, date, datetime
from decimal import Decimal
from typing import Any

from django.core.validators import ProhibitNullCharactersValidator, RegexValidator
from django.utils.translation import gettext_lazy as _
from drf_spectacular.utils import extend_schema_field
from rest_framework import serializers

MOST_ID = 2**63 - 1


def number(least: float | None = None, most: float | None = None, says: str = "", step: str = "") -> Any:
    """A number field class whose schema has its bounds."""
    schema: dict[str, Any] = {"type": "number"}
    if least is not None:
        schema["minimum"] = least
    if most is not None:
        schema["maximum"] = most
    if says:
        schema["description"] = says
    decimals = None if not step else -int(Decimal(step).as_tuple().exponent)

    @extend_schema_field(schema)
    class Number(serializers.Field):
        default_error_messages = {
            "invalid": _("A number is wanted here."),
            "low": _("At least %(n)s.") % {"n": least},
            "high": _("At most %(n)s.") % {"n": most},
        }

        def to_internal_value(self, data: Any) -> Decimal:
            if isinstance(data, bool) or not isinstance(data, int | float):
                self.fail("invalid")
            value = Decimal(repr(data))
            if not value.is_finite():
                self.fail("invalid")
            if least is not None and value < Decimal(repr(least)):
                self.fail("low")
            if most is not None and value > Decimal(repr(most)):
                self.fail("high")
            return value

        def to_representation(self, value: Any) -> Any:
            return plain(value, decimals)

    return Number


def plain(value: Any, decimals: int | None = None) -> Any:
    """As JSON has it: 250 and not 250.0."""
    rounded = float(value) if decimals is None else round(float(value), decimals)
    return int(rounded) if rounded.is_integer() else rounded


Grams = number(says="g", step="0.1")
Tds = number(says="% TDS, mass fraction × 100", step="0.0001")
Yield = number(says="% of the dose", step="0.01")
Degrees = number(says="°C", step="0.1")
Plain = number()


class Whole(serializers.IntegerField):
    def to_internal_value(self, data: Any) -> int:
        if isinstance(data, float) and data.is_integer():
            # JSON knows one kind of number: 165.0 is 165 (RFC 8259, section 6).
            data = int(data)
        if isinstance(data, bool) or not isinstance(data, int):
            self.fail("invalid")
        return data


class Id(Whole):
    """The number by which a row is known."""

    def __init__(self, **more: Any) -> None:
        super().__init__(min_value=1, max_value=MOST_ID, **more)


class Text(serializers.CharField):
    def __init__(self, **more: Any) -> None:
        super().__init__(trim_whitespace=False, **more)

    def to_internal_value(self, data: Any) -> str:
        if not isinstance(data, str):
            self.fail("invalid")
        return super().to_internal_value(data)


class TextMatching(Text):
    """Text of a pattern that keeps NUL out, so that this is said once."""

    def __init__(self, pattern: str, says: Any, **more: Any) -> None:
        super().__init__(**more)
        matching = RegexValidator(pattern, says)
        self.validators = [
            matching if isinstance(one, ProhibitNullCharactersValidator) else one for one in self.validators
        ]


class TextSent(TextMatching):
    """No database keeps the character NUL, and the schema says so."""

    def __init__(self, **more: Any) -> None:
        super().__init__(r"^[^\u0000]*$", _("Without NUL characters."), **more)


class YesNo(serializers.BooleanField):
    def to_internal_value(self, data: Any) -> bool:
        if not isinstance(data, bool):
            self.fail("invalid", input=data)
        return data


class Choice(serializers.ChoiceField):
    def to_internal_value(self, data: Any) -> Any:
        if not isinstance(data, str):
            self.fail("invalid_choice", input=data)
        return super().to_internal_value(data)


class Uuid(serializers.UUIDField):
    def to_internal_value(self, data: Any) -> Any:
        if not isinstance(data, str) or len(data) != 36:
            self.fail("invalid", value=data)
        return super().to_internal_value(data)


class Instant(serializers.DateTimeField):
    """A moment with its offset (RFC 3339)."""

    default_error_messages = {"naive": _("Add the offset from UTC, such as Z or +02:00.")}

    def to_internal_value(self, value: Any) -> datetime:
        if not isinstance(value, str):
            self.fail("invalid", format="YYYY-MM-DDThh:mm[:ss]±hh:mm")
        try:
            read = datetime.fromisoformat(value.upper())
            if read.tzinfo is None:
                self.fail("naive")
            return read.astimezone(UTC)
        except (ValueError, OverflowError):
            self.fail("invalid", format="YYYY-MM-DDThh:mm[:ss]±hh:mm")
            raise

    def enforce_timezone(self, value: Any) -> Any:
        return value


def at(moment: datetime, member: Any) -> str:
    """A moment as the café's clock has it, with the offset."""
    return moment.astimezone(member.cafe.zone).isoformat(timespec="seconds")


class Day(serializers.DateField):
    def to_internal_value(self, value: Any) -> date:
        if not isinstance(value, str) or len(value) != 10:
            self.fail("invalid", format="YYYY-MM-DD")
        return super().to_internal_value(value)


class Strict(serializers.Serializer):
    """A body: what it does not know is refused, so that a slip in a name never goes unseen."""

    def to_internal_value(self, data: Any) -> Any:
        if isinstance(data, dict):
            unknown = {name: [_("There is no such field.")] for name in data if name not in self.fields}
            if unknown:
                raise serializers.ValidationError(unknown)
        return super().to_internal_value(data)


class Query(serializers.Serializer):
    """What may stand behind the question mark; numbers come as text there."""


class InAddress(serializers.IntegerField):
    """A whole number as an address has it: digits alone."""

    def to_internal_value(self, data: Any) -> int:
        if not (isinstance(data, str) and data.isascii() and data.isdigit() and len(data) < 20):
            self.fail("invalid")
        return super().to_internal_value(data)


class IdInAddress(InAddress):
    def __init__(self, **more: Any) -> None:
        super().__init__(min_value=1, max_value=MOST_ID, **more)


class CafeQuery(Query):
    cafe = IdInAddress(required=False, help_text="Of an owner's cafés; else there is but one.")
