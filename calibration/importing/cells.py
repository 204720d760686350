"""One cell -> a value, or what is wrong with it: numbers with their units, and brew times.

A figure can have two readings: "1,380" is 1380 where commas part thousands, and 1.38 where they mark decimals. Both
are told, and who knows the whole column chooses.
"""

from __future__ import annotations

import re
from datetime import time, timedelta
from decimal import Decimal
from typing import NamedTuple

from brewbar.words import gettext as _
from calibration.importing.fields import Holds
from calibration.importing.headings import UNITS
from calibration.importing.raw import Cell, Percent

_THOUSANDS = re.compile(r"(?<![\d.,])([1-9]\d{0,2})((?:[ \u00a0\u2009\u202f'’]\d{3})+)(?!\d)")
_BY_POINT = re.compile(r"[+-]?(?:[1-9]\d{0,2}(?:,\d{3})+(?:\.\d+)?|\d{1,12}(?:\.\d{0,12})?|\.\d{1,12})")
_FIGURE = re.compile(r"\s*([+\-\u2212]?[\d.,][\d.,'’\s]*)\s*([^\d\s][^\d]*)?\s*")
_SWAPPED = str.maketrans(".,", ",.")

# NIST SP 811 (2008), appendix B.8: exact for the avoirdupois ounce and for degrees
GRAMS_PER = {
    "g": Decimal(1),
    "kg": Decimal(1000),
    "oz": Decimal("28.349523125"),
    "ml": Decimal(1),
    "l": Decimal(1000),
}
_FLUID_OUNCE_ML = {"fl oz": Decimal("29.5735295625")}  # US customary, exact: 231 cubic inches are 128 of them


class Figure(NamedTuple):
    """by_point, by_comma: what it is if the point, or the comma, is the decimal mark; None if it cannot be.
    unit: as a key of units, or what stands there instead."""

    by_point: Decimal | None
    by_comma: Decimal | None
    unit: str = ""

    @property
    def is_open(self) -> bool:
        return None not in (self.by_point, self.by_comma) and self.by_point != self.by_comma

    @property
    def only(self) -> Decimal | None:
        """The value, where there is but one."""
        if self.by_point is None:
            return self.by_comma
        return self.by_point if self.by_comma in (None, self.by_point) else None


def figure(text: str) -> Figure | None:
    """A number with or without a unit; None if it is neither."""
    match = _FIGURE.fullmatch(text)
    if not match:
        return None
    typed = _THOUSANDS.sub(lambda found: found[1] + re.sub(r"\D", "", found[2]), match[1].strip())
    typed = typed.replace("\N{MINUS SIGN}", "-")
    turned = typed.translate(_SWAPPED)
    by_point = Decimal(typed.replace(",", "")) if _BY_POINT.fullmatch(typed) else None
    by_comma = Decimal(turned.replace(",", "")) if _BY_POINT.fullmatch(turned) else None
    if by_point is None and by_comma is None:
        return None
    said = (match[2] or "").strip().casefold()
    return Figure(by_point, by_comma, UNITS.get(said.rstrip("."), said))


def figure_of(cell: Cell) -> Figure | None:
    """Also of a cell that holds a number already."""
    if isinstance(cell, str):
        return figure(cell)
    if isinstance(cell, int | float):
        exact = Decimal(repr(cell))
        return Figure(exact, exact)
    if isinstance(cell, Percent):
        exact = Decimal(repr(cell.value))
        return Figure(exact, exact, "%")
    return None


def in_unit(value: Decimal, unit: str, holds: Holds) -> tuple[Decimal, str]:
    """In the unit that is kept, and a remark. ValueError says which units would do."""
    if holds is Holds.MASS:
        return mass_g(value, unit)
    if holds is Holds.TEMPERATURE:
        return celsius(value, unit), ""
    if holds is Holds.DENSITY:
        return grams_per_litre(value, unit), ""
    return percent(value, unit), ""


def grams_per_litre(value: Decimal, unit: str) -> Decimal:
    if unit in ("", "g/l"):
        return value
    raise ValueError(_wrong_unit(unit, "g/L"))


def mass_g(value: Decimal, unit: str) -> tuple[Decimal, str]:
    """In grams, and a remark. A scale reads grams, so a millilitre is taken for what it showed."""
    if unit in ("", "g"):
        return value, ""
    if unit in _FLUID_OUNCE_ML:
        return value * _FLUID_OUNCE_ML[unit], _("Fluid ounces are read as millilitres, and those as grams.")
    if unit in GRAMS_PER:
        remark = _("Millilitres are read as grams.") if unit in ("ml", "l") else ""
        return value * GRAMS_PER[unit], remark
    raise ValueError(_wrong_unit(unit, "g, kg, ml, oz"))


def celsius(value: Decimal, unit: str) -> Decimal:
    if unit in ("", "C"):
        return value
    if unit == "F":
        return (value - 32) / Decimal("1.8")
    raise ValueError(_wrong_unit(unit, "°C, °F"))


def percent(value: Decimal, unit: str) -> Decimal:
    """unit: "fraction" for 0.0138."""
    if unit in ("", "%"):
        return value
    if unit == "fraction":
        return value * 100
    raise ValueError(_wrong_unit(unit, "%"))


def _wrong_unit(unit: str, wanted: str) -> str:
    said = _("The unit %(unit)s doesn't belong here. Write the number alone, or with one of %(wanted)s.")
    return said % {"unit": unit, "wanted": wanted}


# --- brew times

_CLOCK = re.compile(r"(?:(\d{1,2}):)?(\d{1,3}):(\d{2})(?:[.,]\d+)?(?:\s*(?:min|m|h))?\.?")
_IN_WORDS = re.compile(
    r"(?:(\d{1,3})\s*(?:m|min|mins|minutes?|minuten|minuti|minutos|'|’|′)\.?)"
    r"(?:\s*(?:and|und|et|e|y)?\s*(\d{1,2})\s*(?:s|secs?|seconds?|sek|sekunden|secondes?|secondi|segundos|\"|″|''|”)?\.?)?"
)
_LEAST_S, _MOST_S = 10, 3600


def duration_s(cell: Cell, unit: str, decimal_comma: bool | None = None) -> tuple[int, str]:
    """Whole seconds, and a remark. unit: what the heading says, "s", "min" or "m:ss"; only where it says minutes
    are 2.75 minutes. decimal_comma: of the column; None if it is not known."""
    if isinstance(cell, time | timedelta):
        return _shown_as_clock(cell)
    if isinstance(cell, str):
        if match := _CLOCK.fullmatch(cell.strip()):
            seconds = _from_clock(*match.groups())
            return _shown_as_clock(timedelta(seconds=seconds)) if match[1] else (seconds, "")
        if match := _IN_WORDS.fullmatch(cell.strip().casefold()):
            return _from_clock(None, match[1], match[2] or "00"), ""
    found = figure_of(cell)
    value = None
    if found is not None:
        value = found.only
        if value is None and decimal_comma is not None:
            value = found.by_comma if decimal_comma else found.by_point
    if found is None or value is None:
        raise ValueError(
            _("Write the brew time as minutes:seconds, such as 2:45, or in seconds, such as 165.")
        )
    said = found.unit or ("" if unit == "m:ss" else unit)
    if said == "min":
        return _whole(60 * value)
    if said == "s":
        return _whole(value)
    if said:
        raise ValueError(_wrong_unit(said, "s, min"))
    if value != value.to_integral_value() or not _LEAST_S <= value <= _MOST_S:
        shown = cell if isinstance(cell, str) else f"{value.normalize():f}"
        raise ValueError(
            _(
                "%(typed)s can be minutes or seconds. Write 2:45 for 2 minutes and 45 seconds, or 165, "
                "or write min or s into the heading."
            )
            % {"typed": shown}
        )
    return int(value), ""


def _shown_as_clock(cell: time | timedelta) -> tuple[int, str]:
    """A spreadsheet takes 2:45 for a quarter to three."""
    if isinstance(cell, time):
        cell = timedelta(hours=cell.hour, minutes=cell.minute, seconds=cell.second)
    total = round(cell.total_seconds())
    if total >= 3600 and total % 60 == 0:
        said = _("The spreadsheet took %(clock)s for hours and minutes; it is read as minutes and seconds.")
        return total // 60, said % {"clock": f"{total // 3600}:{total // 60 % 60:02d}"}
    return total, ""


def _from_clock(hours: str | None, minutes: str, seconds: str) -> int:
    if int(seconds) > 59 or (hours is not None and int(minutes) > 59):
        said = _("%(seconds)s seconds is more than a minute. Write the seconds from 00 to 59.")
        raise ValueError(said % {"seconds": seconds})
    return 3600 * int(hours or 0) + 60 * int(minutes) + int(seconds)


def _whole(seconds: Decimal) -> tuple[int, str]:
    near = int(seconds.to_integral_value())
    if near == seconds:
        return near, ""
    said = _("The brew time is kept to the whole second, %(seconds)d s.")
    return near, said % {"seconds": near}
