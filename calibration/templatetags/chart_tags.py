"""Numbers of a chart's tables, written as its measure wants them."""

from __future__ import annotations

from django.template import Library

from calibration.drift import Measure

register = Library()


@register.filter
def shown(value: float | None, measure: Measure) -> str:
    return measure.shown(value)


@register.filter
def spread(value: float | None, measure: Measure) -> str:
    return measure.spread(value)
