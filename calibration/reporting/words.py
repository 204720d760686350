"""How numbers of a report are written: shares as so many of 100, intervals, and what is unrounded for files."""

from __future__ import annotations

from datetime import date

from django.utils.translation import gettext as _
from django.utils.translation import ngettext

from brewbar import dates, units
from calibration.statistics.mean_squares import Interval

NONE = "–"
EXACT = 6
"""Decimals of the numbers in files: more than anybody reads, fewer than machines differ in."""


def exact(value: float | None) -> float | None:
    return None if value is None else round(float(value), EXACT) + 0.0


def low_high(interval: Interval | None, by: float = 1.0) -> tuple[float | None, float | None]:
    """For files."""
    return (None, None) if interval is None else (exact(by * interval.low), exact(by * interval.high))


def fixed(value: float, decimals: int) -> str:
    """A number of an array is written as any other."""
    return units.fixed(float(value), decimals)


def of_100(share: float) -> str:
    """78: so many of 100."""
    return units.fixed(100 * float(share), 0)


def percent(share: float | None) -> str:
    return NONE if share is None else f"{of_100(share)}\N{NO-BREAK SPACE}%"


def from_to(low: str, high: str) -> str:
    return _("%(low)s to %(high)s") % {"low": low, "high": high}


def between(interval: Interval | None) -> str:
    """70 to 85, of 100."""
    return NONE if interval is None else from_to(of_100(interval.low), of_100(interval.high))


def brews(n: int) -> str:
    return ngettext("%(n)s check brew", "%(n)s check brews", n) % {"n": number(n)}


def days(n: int) -> str:
    return ngettext("%(n)s day", "%(n)s days", n) % {"n": number(n)}


def people(n: int) -> str:
    return ngettext("%(n)s person", "%(n)s people", n) % {"n": number(n)}


def number(n: int) -> str:
    """12 345 with a thin space, which reads alike wherever a comma means something else."""
    return f"{n:,}".replace(",", "\N{NARROW NO-BREAK SPACE}")


def span(first: date, last: date) -> str:
    """1 Oct to 31 Oct 2026."""
    return from_to(dates.day(first, year=first.year != last.year), dates.day(last, year=True))


def listed(parts: list[str]) -> str:
    """One, two and three."""
    if len(parts) < 2:
        return "".join(parts)
    return _("%(first)s and %(last)s") % {"first": ", ".join(parts[:-1]), "last": parts[-1]}
