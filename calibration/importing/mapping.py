"""Which column of a sheet is what, as a person has settled it: kept as JSON between one page and the next."""

from __future__ import annotations

import json
from collections.abc import Collection, Iterator
from dataclasses import asdict, dataclass
from typing import Any, Self

from brewbar.words import gettext as _
from calibration.importing.cells import GRAMS_PER
from calibration.importing.days import DAY_FIRST, MONTH_FIRST, YEAR_FIRST
from calibration.importing.fields import DATES, FIELDS, NEEDED, Field, Holds, Kind
from calibration.importing.raw import letters

UNITS_OF = {
    Holds.MASS: (*GRAMS_PER, "fl oz"),
    Holds.TEMPERATURE: ("C", "F"),
    Holds.STRENGTH: ("%", "fraction"),
    Holds.DURATION: ("s", "min", "m:ss"),
    Holds.DENSITY: ("g/l",),
}
ORDERS = (DAY_FIRST, MONTH_FIRST, YEAR_FIRST)


@dataclass(frozen=True, slots=True)
class Chosen:
    """One column. place: 0 is A; field: its key; what follows is empty where the cells may decide it themselves.

    unit: of cells that have none; decimal_mark: "." or ","; date_order: one of ORDERS; turned: whether the
    spreadsheet turned day and month of its dates about, "yes" or "no".
    """

    place: int
    field: str
    unit: str = ""
    decimal_mark: str = ""
    date_order: str = ""
    turned: str = ""


@dataclass(frozen=True, slots=True)
class Mapping:
    """head_row: number of the row with the headings, 0 if there is none; rows begin below it.

    fill_merged: the value of a merged cell counts for each cell under it; leave_out_hidden: rows that the
    spreadsheet hides aren't brought in; keep_repeats: rows that are alike were brewed alike, not pasted twice.
    """

    kind: Kind
    columns: tuple[Chosen, ...]
    head_row: int = 0
    fill_merged: bool = False
    leave_out_hidden: bool = False
    keep_repeats: bool = False

    def field_of(self, column: Chosen) -> Field:
        return FIELDS[self.kind][column.field]

    def faults(self, given: Collection[str] = ()) -> list[str]:
        """What keeps it from being used, in words. given: fields that have one value for all rows, or none of their
        own."""
        return list(self._faults(given))

    def to_json(self) -> str:
        return json.dumps(asdict(self), sort_keys=True)

    @classmethod
    def from_json(cls, text: str) -> Self:
        """Raises ValueError if it isn't one."""
        try:
            kept = json.loads(text)
            kind = Kind(kept["kind"])
            columns = tuple(_column(kind, one) for one in kept["columns"])
            head_row = kept["head_row"]
            answers = [kept[name] for name in ("fill_merged", "leave_out_hidden", "keep_repeats")]
            if type(head_row) is not int or head_row < 0 or any(type(one) is not bool for one in answers):
                raise ValueError("not answers")
        except (KeyError, TypeError, ValueError) as error:
            raise ValueError(_("This choice of columns cannot be read. Choose them anew.")) from error
        return cls(kind, columns, head_row, *answers)

    def _faults(self, given: Collection[str]) -> Iterator[str]:
        fields = FIELDS[self.kind]
        chosen = [one.field for one in self.columns]
        for key in dict.fromkeys(chosen):
            if chosen.count(key) > 1 and not fields[key].many:
                said = _("%(field)s is in more than one column: %(columns)s. Choose one.")
                columns = ", ".join(letters(one.place) for one in self.columns if one.field == key)
                yield said % {"field": fields[key].says, "columns": columns}
        for any_of in NEEDED[self.kind]:
            if not set(any_of) & {*chosen, *given}:
                said = _("Say which column holds the %(field)s.")
                yield said % {"field": _(" or the ").join(fields[key].says for key in any_of)}


def _column(kind: Kind, kept: dict[str, Any]) -> Chosen:
    made = Chosen(**kept)
    field = FIELDS[kind][made.field]
    allowed = {
        "unit": UNITS_OF.get(field.holds, ()),
        "decimal_mark": (".", ","),
        "date_order": ORDERS if field.holds in DATES else (),
        "turned": ("yes", "no") if field.holds in DATES else (),
    }
    if type(made.place) is not int or made.place < 0:
        raise ValueError(made.place)
    for name, choices in allowed.items():
        if getattr(made, name) not in ("", *choices):
            raise ValueError(name)
    return made
