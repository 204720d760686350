"""Numbers of a chart's tables, written as its measure wants them."""

from __future__ import annotations

from django.template import Library

from brewbar import units
from calibration.drift import Measure

register = Library()


@register.filter
def of_measure(value: float, measure: Measure) -> str:
    """A difference with its unit: 0.05 % TDS."""
    return measure.said(value)


@register.filter
def of_level(value: float, measure: Measure) -> str:
    """A value with its unit: 1.40 %, 2:45."""
    return measure.shown(value) if measure.is_time else f"{measure.shown(value)} {measure.unit}"


@register.filter
def per_day(value: float, measure: Measure) -> str:
    """A small change with its sign, to one figure more than the measure has."""
    size = units.fixed(abs(value), measure.decimals + 1)
    return f"{'+' if value > 0 else '−'}{size}"
