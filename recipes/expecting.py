"""What a second plan brings that a first does not, as rows and sentences for a page. Direction only."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass

from django.utils.translation import gettext as _

from brewbar.units import clock, degree_unit, fixed, in_degrees, trimmed
from recipes.brewing.expectations import Direction, Expectation, Figure, expect
from recipes.brewing.foresight import Foresight
from recipes.foreseen import millijoules


@dataclass(frozen=True)
class FigureRow:
    label: str
    a: str
    b: str
    """Empty where it cannot be given."""
    told: str
    """Of the second beside the first."""
    differs: bool
    bar_a: str
    bar_b: str
    """Lengths out of 100, where both are known and begin at nothing."""


@dataclass(frozen=True)
class Expecting:
    figures: list[FigureRow]
    expectations: tuple[Expectation, ...]


def expecting(a: Foresight, b: Foresight) -> Expecting:
    found = expect(a, b)
    return Expecting([_row(figure) for figure in found.figures], found.expectations)


def _row(figure: Figure) -> FigureRow:
    label, shown, more, less, has_bar = _WORDS[figure.name]()
    told = {
        Direction.MORE: more,
        Direction.LESS: less,
        Direction.SAME: _("about the same"),
        Direction.UNKNOWN: _("cannot be told"),
    }[figure.direction]
    most = max(figure.a or 0, figure.b or 0)
    bars = [
        "" if not has_bar or value is None or not most else str(round(100 * value / most))
        for value in (figure.a, figure.b)
    ]
    return FigureRow(
        label=label,
        a="" if figure.a is None else shown(figure.a),
        b="" if figure.b is None else shown(figure.b),
        told=f"{told}. {figure.note}" if figure.note else f"{told}.",
        differs=figure.direction in (Direction.MORE, Direction.LESS),
        bar_a=bars[0],
        bar_b=bars[1],
    )


Words = tuple[str, Callable[[float], str], str, str, bool]


def _energy() -> Words:
    return _("Energy at the bed"), lambda mJ: f"{millijoules(mJ)} mJ", _("more"), _("less"), True


def _mean() -> Words:
    return _("Slurry, mean of what runs out"), _degrees, _("warmer"), _("cooler"), False


def _tallest() -> Words:
    return _("Tallest column"), lambda mm: f"{trimmed(mm, 0)} mm", _("taller"), _("shorter"), True


def _poured_out() -> Words:
    return _("Last pour ends"), clock, _("later"), _("earlier"), False


def _brew_time() -> Words:
    return _("Brew ends"), clock, _("later"), _("earlier"), False


_WORDS = {
    "energy_mJ": _energy,
    "mean_C": _mean,
    "tallest_mm": _tallest,
    "poured_out_s": _poured_out,
    "brew_time_s": _brew_time,
}


def _degrees(value_C: float) -> str:
    return f"{fixed(in_degrees(value_C), 0)} {degree_unit()}"
