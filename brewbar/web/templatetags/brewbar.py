"""What pages write: states and shapes, figures and dates in the reader's style, a café's own time."""

from __future__ import annotations

from collections.abc import Iterable
from datetime import date, datetime, tzinfo
from decimal import Decimal
from typing import Any, Protocol

from django import template
from django.forms import BaseForm
from django.forms.formsets import BaseFormSet
from django.templatetags.tz import do_timezone
from django.utils.functional import Promise
from django.utils.safestring import SafeString

from brewbar import __version__, dates, units
from brewbar.web import navigation, shapes
from brewbar.web.forms import Wrong, what_is_wrong

register = template.Library()

Number = int | float | Decimal
ABSENT = "–"


class HasZone(Protocol):
    @property
    def zone(self) -> tzinfo: ...


@register.simple_tag
def glyph(name: str) -> SafeString:
    return shapes.glyph(name)


@register.simple_tag
def state(name: str, word: str | Promise = "") -> SafeString:
    """``{% state "inside" %}``; a second argument puts another word to the same shape."""
    return shapes.badge(name, word)


@register.simple_tag
def band(
    value: Number | None, low: Number | None, high: Number | None, spread: Number | None = 0
) -> SafeString:
    """``{% band value low high spread %}``: nothing where there is no band to stand in."""
    if low is None or high is None or low >= high:
        return SafeString("")
    return shapes.band(None if value is None else float(value), float(low), float(high), float(spread or 0))


@register.simple_tag
def version() -> str:
    return __version__


@register.inclusion_tag("_nav.html", takes_context=True)
def nav(context: template.Context) -> dict[str, object]:
    request = context["request"]
    shown = list(navigation.ways(request.member.role, request.path))
    fit = navigation.IN_THE_BAR
    first = shown if len(shown) <= fit else shown[: fit - 1]
    rest = shown[len(first) :]
    return {"first": first, "rest": rest, "in_rest": any(way.current for way in rest)}


@register.inclusion_tag("_errors.html")
def error_summary(*forms: BaseForm | BaseFormSet[Any]) -> dict[str, Iterable[Wrong]]:
    """``{% error_summary form formset %}``: every error of a refused page, each leading to its field."""
    return {"wrongs": list(what_is_wrong(*forms))}


@register.filter
def clock(seconds: Number | None) -> str:
    """185 is 3:05."""
    return ABSENT if seconds is None else units.clock(seconds)


@register.filter
def number(value: Number | None, decimals: int = 2) -> str:
    return ABSENT if value is None else units.fixed(value, decimals)


@register.filter
def trimmed(value: Number | None, decimals: int = 1) -> str:
    """15 rather than 15.0, and 15.5."""
    return ABSENT if value is None else units.trimmed(value, decimals)


@register.filter
def grams(value: Number | None, decimals: int = 1) -> str:
    return ABSENT if value is None else units.grams(value, decimals)


@register.filter
def percent(value: Number | None, decimals: int = 2) -> str:
    return ABSENT if value is None else units.percent(value, decimals)


@register.filter
def degrees(value: Number | None, decimals: int | None = None) -> str:
    return ABSENT if value is None else units.degrees(value, decimals)


@register.filter
def degree_figure(value: Number | None, decimals: int | None = None) -> str:
    """The number alone; ``{% degree_unit %}`` stands behind it."""
    return ABSENT if value is None else units.degree_figure(value, decimals)


@register.simple_tag
def decimal_mark() -> str:
    """For scripts that write a number."""
    return units.style().decimal_mark


@register.simple_tag
def degree_unit() -> str:
    return units.degree_unit()


@register.filter
def signed(value: Number | None, decimals: int = 2) -> str:
    """With a plus or a true minus sign before it; a difference that rounds to nothing has neither."""
    if value is None:
        return ABSENT
    size = units.fixed(value if value > 0 else -value, decimals)
    if not units.rounded(value, decimals):
        return size
    return f"{'+' if value > 0 else '−'}{size}"


@register.filter
def ratio(water_g: Number | None, dose_g: Number | None) -> str:
    """``{{ version.water_g|ratio:version.dose_g }}`` is 1:16.7."""
    return ABSENT if water_g is None or not dose_g else units.ratio(water_g, dose_g)


@register.filter
def local(at: datetime | None, cafe: HasZone) -> datetime | str:
    """The moment on the café's own wall clock: ``{{ at|local:cafe|moment }}``."""
    return ABSENT if at is None else do_timezone(at, cafe.zone)


@register.filter
def day(when: date | str | None, parts: str = "") -> str:
    """``{{ when|day }}`` is 25 Nov or as the reader likes it; ``|day:"weekday year full"`` has more of it."""
    return dates.day(when, **_asked(parts)) if isinstance(when, date) else when or ABSENT


@register.filter
def moment(at: datetime | str | None, parts: str = "") -> str:
    """Day and time, after ``|local:cafe``; ``parts`` as for ``day``."""
    return dates.moment(at, **_asked(parts)) if isinstance(at, datetime) else at or ABSENT


@register.filter
def time_of_day(at: datetime | str | None) -> str:
    """06:45, after ``|local:cafe``."""
    return dates.time_of_day(at) if isinstance(at, datetime) else at or ABSENT


def _asked(parts: str) -> dict[str, bool]:
    return dict.fromkeys(parts.split(), True)
