"""What the values of one row say about each other."""

from __future__ import annotations

from collections.abc import Iterator
from datetime import date
from decimal import Decimal

from brewbar.units import percent
from brewbar.words import gettext as _
from calibration.importing.answers import Value
from calibration.importing.fields import FIELDS, Kind
from recipes.brewing.extraction import percolation_yield_pct

YIELD_APART_PCT = 0.3
"""Rounding of what stands in a sheet explains a difference below this: 0.005 % TDS and 0.5 g of beverage make 0.12."""
_AFTER_ROAST = ("received_on", "opened_on", "frozen_on", "thawed_on", "used_up_on")

About = tuple[str, str]
"""Key of a field, and a sentence."""


def cross_checked(kind: Kind, values: dict[str, Value]) -> tuple[list[About], list[About]]:
    """Problems and remarks."""
    if kind is Kind.LOTS:
        return list(_of_lot(values)), []
    return [], list(_of_yield(values))


def _of_yield(values: dict[str, Value]) -> Iterator[About]:
    """brewbar works the yield out itself: the sheet's own is only compared."""
    said, tds = values.get("yield_pct"), values.get("tds")
    dose, beverage = values.get("dose_g"), values.get("beverage_g")
    if not isinstance(tds, tuple) or not all(isinstance(one, Decimal) for one in (said, dose, beverage)):
        return
    assert isinstance(said, Decimal)
    assert isinstance(dose, Decimal)
    assert isinstance(beverage, Decimal)
    mean = float(sum(tds) / len(tds))
    found = percolation_yield_pct(mean, float(beverage), float(dose))
    if abs(found - float(said)) > YIELD_APART_PCT:
        words = {"said": percent(said, 1), "found": percent(found, 1)}
        yield (
            "yield_pct",
            _("The sheet says %(said)s; strength, beverage and dose of this row give %(found)s.") % words,
        )


def _of_lot(values: dict[str, Value]) -> Iterator[About]:
    roasted = values.get("roasted_on")
    for key in _AFTER_ROAST:
        day = values.get(key)
        if isinstance(day, date) and isinstance(roasted, date) and day < roasted:
            field = FIELDS[Kind.LOTS][key]
            yield key, _("The day '%(field)s' lies before the roast.") % {"field": field.says}
    frozen, thawed = values.get("frozen_on"), values.get("thawed_on")
    if isinstance(thawed, date):
        if not isinstance(frozen, date):
            yield "thawed_on", _("A batch that was thawed was frozen first: write when.")
        elif thawed < frozen:
            yield "thawed_on", _("The batch was thawed before it was frozen. Are the two days changed about?")
