"""What people type and what they are shown: grams, seconds, per cent, degrees. Pure: no Django.

Rounding is half away from zero on the number as it is written in decimals: 2.25 shows as 2.3, -2.25 as -2.3.
ISO 80000-1, annex B, has this (rule B) beside half to even (rule A, for long sums); it is what a barista gets
by hand. Only what is shown is rounded: nothing is rounded or truncated before a calculation.

What people are shown obeys the `Style` in force; what machines read has a point and degrees Celsius, always.
"""

from __future__ import annotations

import re
from collections.abc import Iterator
from contextlib import contextmanager
from contextvars import ContextVar
from dataclasses import dataclass
from decimal import ROUND_HALF_UP, Decimal

from brewbar.words import gettext as _

Number = int | float | Decimal


@dataclass(frozen=True, slots=True)
class Style:
    """How figures and dates are written for a person or on a card.

    decimal_mark: "." or ","; temperature_unit: "C" or "F"; date_order: "dmy", "mdy" or "iso" (ISO 8601).
    """

    decimal_mark: str = "."
    temperature_unit: str = "C"
    date_order: str = "dmy"


PLAIN = Style()
"""Until another is in force."""
AS_KEPT = Style(date_order="iso")
"""For words that are kept, whoever caused them: they are read and searched by whoever looks back."""

_style: ContextVar[Style] = ContextVar("style", default=PLAIN)


def style() -> Style:
    return _style.get()


@contextmanager
def written_as(style: Style) -> Iterator[None]:
    """Whatever is shown inside is written in ``style``."""
    token = _style.set(style)
    try:
        yield
    finally:
        _style.reset(token)


# --- what people type

_DECIMAL = re.compile(r"[+-]?(\d{1,9}([.,]\d{0,9})?|[.,]\d{1,9})")
_THOUSANDS = re.compile(r"[+-]?[1-9]\d{0,2},\d{3}")
_CLOCK = re.compile(r"(\d{1,3}):(\d{2})")
_SECONDS = re.compile(r"\d{1,5}")


def parse_decimal(text: str) -> Decimal:
    """Read a number typed with a decimal point or a decimal comma.

    Raises ValueError with a sentence to show beside the field.
    """
    typed = text.strip().replace("\N{MINUS SIGN}", "-")
    if not typed:
        raise ValueError(_("Enter a number, such as 1.40 or 1,40."))
    if _THOUSANDS.fullmatch(typed):
        whole, part = typed.split(",")
        said = _("%(typed)s can be read in two ways. Write %(whole)s for the whole number, or %(parted)s.")
        raise ValueError(said % {"typed": typed, "whole": whole + part, "parted": f"{whole}.{part}"})
    if not _DECIMAL.fullmatch(typed):
        raise ValueError(_("Enter the number alone, such as 1.40 or 1,40, without a unit."))
    return Decimal(typed.replace(",", "."))


def parse_clock(text: str) -> int:
    """Read a time typed as minutes:seconds ("3:05") or as whole seconds ("185"), in seconds.

    "3.05" is refused, since it can mean 3 min 5 s or 3.05 minutes. Raises ValueError with a sentence to show.
    """
    typed = text.strip()
    if not typed:
        raise ValueError(_("Enter the time as minutes:seconds, such as 3:05, or in seconds, such as 185."))
    if match := _CLOCK.fullmatch(typed):
        minutes, seconds = int(match[1]), int(match[2])
        if seconds > 59:
            said = _("%(seconds)d seconds is more than a minute. Write the seconds from 00 to 59.")
            raise ValueError(said % {"seconds": seconds})
        return 60 * minutes + seconds
    if _SECONDS.fullmatch(typed):
        return int(typed)
    if re.fullmatch(r"\d+[.,]\d+", typed):
        said = _("%(typed)s can be read in two ways. Write 3:05 for 3 minutes and 5 seconds, or 185.")
        raise ValueError(said % {"typed": typed})
    if re.fullmatch(r"\d+:\d", typed):
        raise ValueError(_("Write the seconds with two figures, such as 3:05 or 3:50."))
    raise ValueError(_("Write the time as minutes:seconds, such as 3:05, or in whole seconds, such as 185."))


# --- numbers rounded, for arithmetic and for machines


def rounded(value: Number, decimals: int) -> Decimal:
    """To this many decimals, half away from zero; never -0."""
    exact = value if isinstance(value, Decimal) else Decimal(repr(value))
    if not exact.is_finite():
        raise ValueError("Only a finite number can be shown.")
    near = exact.quantize(Decimal(1).scaleb(-decimals), rounding=ROUND_HALF_UP)
    return abs(near) if near.is_zero() else near


def pointed(value: Number, decimals: int) -> str:
    """For machines: with this many decimals and a point, whoever is looking."""
    return f"{rounded(value, decimals):f}"


# --- what people are shown


def fixed(value: Number, decimals: int) -> str:
    """The value with this many decimals, rounded half away from zero; never "-0.0"."""
    return marked(pointed(value, decimals))


def trimmed(value: Number, decimals: int) -> str:
    """Like `fixed`, without zeros that say nothing: 30, 30.5. For numbers inside a sentence."""
    shown = pointed(value, decimals)
    short = shown.rstrip("0").rstrip(".") if "." in shown else shown
    return marked(short)


def marked(figure: str) -> str:
    """An example such as "1.40", with the decimal mark of the style in force."""
    return figure.replace(".", style().decimal_mark)


def grams(value: Number, decimals: int = 1) -> str:
    return f"{fixed(value, decimals)} g"


def percent(value: Number, decimals: int = 2) -> str:
    return f"{fixed(value, decimals)} %"


def clock(seconds: Number) -> str:
    """Seconds as m:ss, to the nearest whole second: 185 is "3:05". Hours stay in the minutes."""
    whole = int(rounded(seconds, 0))
    minutes, rest = divmod(abs(whole), 60)
    return f"{'-' if whole < 0 else ''}{minutes}:{rest:02d}"


def ratio(water_g: Number, dose_g: Number) -> str:
    """Brew water to dose, written 1:16.7."""
    dose = Decimal(str(dose_g))
    if not dose.is_finite() or dose <= 0:
        raise ValueError("A brew ratio needs a dose above 0 g.")
    return f"1:{fixed(Decimal(str(water_g)) / dose, 1)}"


# --- temperatures: kept in degrees Celsius

_F_PER_K = Decimal("1.8")
_ICE_F = 32  # both exact by definition: NIST SP 811 (2008), appendix B.8
KEPT_DECIMALS = 1
"""Temperatures are kept to 0.1 °C."""


def degree_unit() -> str:
    return f"°{style().temperature_unit}"


def in_degrees(value_C: Number) -> Decimal:
    """In the unit of the style in force, unrounded."""
    exact = Decimal(str(value_C))
    return exact if style().temperature_unit == "C" else exact * _F_PER_K + _ICE_F


def from_degrees(value: Number) -> Decimal:
    """In °C as kept, from a number in the unit of the style in force."""
    exact = Decimal(str(value))
    celsius = exact if style().temperature_unit == "C" else (exact - _ICE_F) / _F_PER_K
    return rounded(celsius, KEPT_DECIMALS)


def degree_figure(value_C: Number, decimals: int | None = None) -> str:
    """The number alone: to this many decimals or, without, as short as still means what is kept.

    199 °F is kept as 92.8 °C, which is 199.04 °F: it has to come back as 199.
    """
    if decimals is not None:
        return fixed(in_degrees(value_C), decimals)
    kept = rounded(value_C, KEPT_DECIMALS)
    shown = in_degrees(kept)
    for step in (Decimal(1), Decimal("0.5")):
        near = rounded(shown / step, 0) * step
        if from_degrees(near) == kept:
            return trimmed(near, 1)
    return trimmed(shown, 1)


def degrees(value_C: Number, decimals: int | None = None) -> str:
    """93 °C, or 199.4 °F."""
    return f"{degree_figure(value_C, decimals)} {degree_unit()}"


def degrees_apart(kelvin: Number, decimals: int = 0) -> str:
    """A difference of temperatures: 2 °C are 4 °F."""
    size = Decimal(str(kelvin))
    size = size if style().temperature_unit == "C" else size * _F_PER_K
    return f"{trimmed(size, decimals)} {degree_unit()}"


def degrees_up_to(limit_C: Number) -> str:
    """The highest whole degree that is not above ``limit_C``."""
    return f"{int(in_degrees(limit_C) // 1)} {degree_unit()}"
