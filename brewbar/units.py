"""What people type and what they are shown: grams, seconds, per cent. Pure: no Django.

Rounding is half away from zero on the number as it is written in decimals: 2.25 shows as 2.3, -2.25 as -2.3.
ISO 80000-1, annex B, has this (rule B) beside half to even (rule A, for long sums); it is what a barista gets
by hand. Only what is shown is rounded: nothing is rounded or truncated before a calculation.
"""

import re
from decimal import ROUND_HALF_UP, Decimal

Number = int | float | Decimal

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
        raise ValueError("Enter a number, such as 1.40 or 1,40.")
    if _THOUSANDS.fullmatch(typed):
        whole, part = typed.split(",")
        raise ValueError(
            f"{typed} can be read in two ways. Write {whole}{part} for the whole number, or {whole}.{part}."
        )
    if not _DECIMAL.fullmatch(typed):
        raise ValueError("Enter the number alone, such as 1.40 or 1,40, without a unit.")
    return Decimal(typed.replace(",", "."))


def parse_clock(text: str) -> int:
    """Read a time typed as minutes:seconds ("3:05") or as whole seconds ("185"), in seconds.

    "3.05" is refused, since it can mean 3 min 5 s or 3.05 minutes. Raises ValueError with a sentence to show.
    """
    typed = text.strip()
    if not typed:
        raise ValueError("Enter the time as minutes:seconds, such as 3:05, or in seconds, such as 185.")
    if match := _CLOCK.fullmatch(typed):
        minutes, seconds = int(match[1]), int(match[2])
        if seconds > 59:
            raise ValueError(f"{seconds} seconds is more than a minute. Write the seconds from 00 to 59.")
        return 60 * minutes + seconds
    if _SECONDS.fullmatch(typed):
        return int(typed)
    if re.fullmatch(r"\d+[.,]\d+", typed):
        raise ValueError(f"{typed} can be read in two ways. Write 3:05 for 3 minutes and 5 seconds, or 185.")
    if re.fullmatch(r"\d+:\d", typed):
        raise ValueError("Write the seconds with two figures, such as 3:05 or 3:50.")
    raise ValueError("Write the time as minutes:seconds, such as 3:05, or in whole seconds, such as 185.")


def fixed(value: Number, decimals: int) -> str:
    """The value with this many decimals, rounded half away from zero; never "-0.0"."""
    exact = value if isinstance(value, Decimal) else Decimal(repr(value))
    if not exact.is_finite():
        raise ValueError("Only a finite number can be shown.")
    rounded = exact.quantize(Decimal(1).scaleb(-decimals), rounding=ROUND_HALF_UP)
    return f"{abs(rounded) if rounded.is_zero() else rounded:f}"


def trimmed(value: Number, decimals: int) -> str:
    """Like `fixed`, without zeros that say nothing: 30, 30.5. For numbers inside a sentence."""
    shown = fixed(value, decimals)
    return shown.rstrip("0").rstrip(".") if "." in shown else shown


def grams(value: Number, decimals: int = 1) -> str:
    return f"{fixed(value, decimals)} g"


def percent(value: Number, decimals: int = 2) -> str:
    return f"{fixed(value, decimals)} %"


def degrees(value: Number, decimals: int = 0) -> str:
    return f"{fixed(value, decimals)} °C"


def clock(seconds: Number) -> str:
    """Seconds as m:ss, to the nearest whole second: 185 is "3:05". Hours stay in the minutes."""
    whole = int(fixed(seconds, 0))
    minutes, rest = divmod(abs(whole), 60)
    return f"{'-' if whole < 0 else ''}{minutes}:{rest:02d}"


def ratio(water_g: Number, dose_g: Number) -> str:
    """Brew water to dose, written 1:16.7."""
    dose = Decimal(str(dose_g))
    if not dose.is_finite() or dose <= 0:
        raise ValueError("A brew ratio needs a dose above 0 g.")
    return f"1:{fixed(Decimal(str(water_g)) / dose, 1)}"
