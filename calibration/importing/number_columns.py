"""The decimal mark and the unit of a column of numbers."""

from __future__ import annotations

import re
from decimal import Decimal
from statistics import median

from brewbar.units import trimmed
from brewbar.words import gettext as _
from calibration.importing.cells import Figure, duration_s, figure_of, in_unit
from calibration.importing.fields import Field, Holds
from calibration.importing.mapping import Chosen
from calibration.importing.raw import Cell
from calibration.importing.watching import MIXED, Column, Watcher

_VALUES_KEPT = 2_000
_SEVERAL = re.compile(r"\s*[/;|&]\s*|,\s+|\s+(?:and|und|et|e|y)\s+|(?<=[\d%])\s+(?=\d)")


def pieces(cell: Cell, field: Field) -> list[Figure | None]:
    """The figures of a cell: of a strength several can stand in one, such as 1,38 / 1,40."""
    if isinstance(cell, str) and field.many:
        return [figure_of(piece) for piece in _SEVERAL.split(cell.strip())]
    return [figure_of(cell)]


class NumberWatcher(Watcher):
    def __init__(self, chosen: Chosen, field: Field) -> None:
        super().__init__(chosen, field)
        self._by_point = self._by_comma = self._open = ""
        self._point_fits = self._comma_fits = True
        self._open_values: tuple[Decimal, Decimal] | None = None
        self._bare: list[float] = []

    def look(self, cell: Cell, row: int) -> None:
        for found in pieces(cell, self.field):
            if found is None:
                continue
            if isinstance(cell, str):
                self._look_at_mark(found, self.at(row, cell))
            value = found.only if found.only is not None else found.by_comma
            if not found.unit and value is not None and len(self._bare) < _VALUES_KEPT:
                self._bare.append(float(value))

    def column(self) -> Column:
        return Column(self.chosen.place, self.field, self._unit(), self._mark())

    def _look_at_mark(self, found: Figure, where: str) -> None:
        if found.by_point is None:
            self._by_comma = self._by_comma or where
        elif found.by_comma is None:
            self._by_point = self._by_point or where
        elif found.is_open:
            unit = found.unit or self.chosen.unit
            self._open = self._open or where
            self._open_values = self._open_values or (found.by_point, found.by_comma)
            self._point_fits &= is_possible(found.by_point, unit, self.field)
            self._comma_fits &= is_possible(found.by_comma, unit, self.field)

    def _mark(self) -> str:
        if self.chosen.decimal_mark:
            return self.chosen.decimal_mark
        if self._by_point and self._by_comma:
            said = _(
                "Decimal points and commas are mixed: %(point)s and %(comma)s. Each cell is read by itself."
            )
            return self.decide(
                "decimal_mark", MIXED, said % {"point": self._by_point, "comma": self._by_comma}
            )
        if self._by_comma:
            said = _("A comma marks decimals: %(cell)s.")
            return self.decide("decimal_mark", ",", said % {"cell": self._by_comma})
        if self._by_point:
            said = _("A point marks decimals: %(cell)s.")
            return self.decide("decimal_mark", ".", said % {"cell": self._by_point})
        return self._mark_of_open() if self._open_values else ""

    def _mark_of_open(self) -> str:
        """Where every figure can be read in two ways, what is possible may leave one."""
        assert self._open_values
        point, comma = (f"{value:f}" for value in self._open_values)
        if self._point_fits != self._comma_fits:
            mark, value, other = (".", point, comma) if self._point_fits else (",", comma, point)
            said = _("%(cell)s is read as %(value)s: for the %(field)s %(other)s is not possible.")
            words = {"cell": self._open, "value": value, "other": other, "field": self.field.says}
            return self.decide("decimal_mark", mark, said % words)
        said = _("%(cell)s can be %(point)s or %(comma)s. Which mark stands before the decimals?")
        return self.ask(
            "decimal_mark",
            said % {"cell": self._open, "point": point, "comma": comma},
            (".", _("The point: it is %(value)s") % {"value": point}),
            (",", _("The comma: it is %(value)s") % {"value": comma}),
        )

    def _unit(self) -> str:
        if self.chosen.unit or not self._bare:
            return self.chosen.unit
        middle = median(self._bare)
        match self.field.holds:
            case Holds.TEMPERATURE:
                return self._degrees(middle)
            case Holds.STRENGTH if 0 < middle < self.field.usual[0] / 20:
                said = _("Values such as %(value)s are read as parts of one: %(percent)s %%.")
                words = {"value": trimmed(middle, 4), "percent": trimmed(100 * middle, 2)}
                return self.decide("unit", "fraction", said % words)
            case Holds.MASS if 0 < middle < self.field.possible[0]:
                said = _("%(value)s g is too little for the %(field)s. What is the unit?")
                return self.ask(
                    "unit",
                    said % {"value": trimmed(middle, 3), "field": self.field.says},
                    ("kg", _("Kilograms")),
                    ("oz", _("Ounces of weight")),
                    ("g", _("Grams, and the values are wrong")),
                )
        return ""

    def _degrees(self, middle: float) -> str:
        low, high = self.field.usual
        as_celsius = (middle - 32) / 1.8
        if middle > self.field.possible[1]:
            said = _("Values such as %(value)s are read as °F: in °C they would be too hot.")
            return self.decide("unit", "F", said % {"value": trimmed(middle, 1)})
        if low <= middle <= high or not low <= as_celsius <= high:
            return "C"
        said = _("Is the %(field)s in °C or in °F? A usual value is %(value)s.")
        return self.ask(
            "unit",
            said % {"field": self.field.says, "value": trimmed(middle, 1)},
            ("F", _("°F: it is %(value)s °C") % {"value": trimmed(as_celsius, 1)}),
            ("C", _("°C")),
        )


class DurationWatcher(Watcher):
    def __init__(self, chosen: Chosen, field: Field) -> None:
        super().__init__(chosen, field)
        self._by_point = self._by_comma = self._unclear = ""

    def look(self, cell: Cell, row: int) -> None:
        found = figure_of(cell)
        if found is None:
            return
        if isinstance(cell, str) and found.by_point is None:
            self._by_comma = self._by_comma or self.at(row, cell)
        elif isinstance(cell, str) and found.by_comma is None:
            self._by_point = self._by_point or self.at(row, cell)
        try:
            duration_s(cell, self.chosen.unit)
        except ValueError:
            self._unclear = self._unclear or self.at(row, cell)

    def column(self) -> Column:
        unit = self.chosen.unit
        if self._unclear and not unit:
            said = _("%(cell)s can be minutes or seconds. Which are numbers without a colon?")
            self.ask(
                "unit",
                said % {"cell": self._unclear},
                ("s", _("Seconds: 165 is 2:45")),
                ("min", _("Minutes with decimals: 2.75 is 2:45")),
            )
        mark = self.chosen.decimal_mark
        if not mark and bool(self._by_comma) != bool(self._by_point):
            mark = "," if self._by_comma else "."
        return Column(self.chosen.place, self.field, unit, mark)


def is_possible(value: Decimal, unit: str, field: Field) -> bool:
    try:
        converted, _remark = in_unit(value, unit, field.holds)
    except ValueError:
        return False
    return field.possible[0] <= converted <= field.possible[1]
