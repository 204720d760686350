"""Two versions, or a plan before and after scaling, as rows of words: label, one side, the other, how they differ."""

from __future__ import annotations

from collections.abc import Callable, Collection, Iterable
from dataclasses import dataclass, replace

from django.utils.functional import Promise
from django.utils.text import capfirst
from django.utils.translation import gettext as _
from django.utils.translation import gettext_lazy

from brewbar.crew.access import Place
from brewbar.units import clock, degrees, degrees_apart, fixed, ratio, rounded, trimmed
from recipes.authoring import kettle_told
from recipes.brewing.comparison import AT_THE_BOIL, Line, Mark, PourPair, Value, line_by_line
from recipes.brewing.plan import PourPlan
from recipes.models import Pour, RecipeVersion
from recipes.version_words import label as label_of


@dataclass(frozen=True)
class Row:
    """``said`` is how the sides differ, in a word or as "+10 g"; empty where they don't. It stands with ``b``
    unless only ``a`` has a value."""

    label: str
    a: str
    b: str
    said: str
    only_a: bool = False


@dataclass(frozen=True)
class PourRows:
    """``only``: "a" or "b" where the other side has no such pour."""

    number: int
    rows: list[Row]
    only: str


@dataclass(frozen=True)
class SideBySide:
    facts: list[Row]
    sums: list[Row]
    others: list[Row]
    """Coffee, equipment and words of two versions; nothing for bare plans."""
    pours: list[PourRows]
    differences: int


@dataclass(frozen=True)
class _Kind:
    """How a number is written, to how many decimals, and how the difference of two is."""

    label: str | Promise
    shown: Callable[[float], str]
    decimals: int = 0
    apart: Callable[[float], str] | None = None


def _signed(apart: float, size: Callable[[float], str]) -> str:
    return f"{'−' if apart < 0 else '+'}{size(abs(apart))}"


def _amount(label: str | Promise, unit: str, decimals: int = 1) -> _Kind:
    def shown(value: float) -> str:
        return f"{trimmed(value, decimals)} {unit}"

    return _Kind(label, shown, decimals, lambda apart: _signed(apart, shown))


def _percent(label: str | Promise, decimals: int) -> _Kind:
    def shown(value: float) -> str:
        return f"{fixed(value, decimals)} %"

    return _Kind(label, shown, decimals, lambda apart: _signed(apart, shown))


def _time(label: str | Promise) -> _Kind:
    def apart(seconds: float) -> str:
        return _signed(seconds, lambda size: clock(size) if size >= 60 else f"{trimmed(size, 0)} s")

    return _Kind(label, clock, 0, apart)


def _temperature(label: str | Promise) -> _Kind:
    return _Kind(label, degrees, 1, lambda apart: _signed(apart, lambda size: degrees_apart(size, 1)))


KINDS = {
    "dose_g": _amount(gettext_lazy("Dose"), "g"),
    "water_g": _amount(gettext_lazy("Brew water"), "g"),
    "water_temperature_C": _temperature(gettext_lazy("Temperature")),
    "bypass_g": _amount(gettext_lazy("Bypass water"), "g"),
    "ice_g": _amount(gettext_lazy("Ice in the server"), "g"),
    "tds_target": _percent(gettext_lazy("TDS"), 2),
    "tds_tolerance": _percent(gettext_lazy("TDS tolerance, ±"), 2),
    "ey_target": _percent(gettext_lazy("Extraction yield"), 1),
    "ey_tolerance": _percent(gettext_lazy("Extraction yield tolerance, ±"), 1),
    "brew_time_s": _time(gettext_lazy("Brew time")),
    "brew_time_tolerance_s": _amount(gettext_lazy("Brew time tolerance, ±"), "s", 0),
    "brew_ratio": _Kind(gettext_lazy("Brew ratio"), lambda value: ratio(value, 1)),
    "pours": _Kind(gettext_lazy("Pours"), lambda value: trimmed(value, 0)),
    "pouring_s": _time(gettext_lazy("Time spent pouring")),
    "ends_at_s": _time(gettext_lazy("Pours end")),
    "drawdown_s": _time(gettext_lazy("Left to draw down")),
}
POUR_KINDS = {
    "starts_at_s": _time(gettext_lazy("Starts at")),
    "ends_at_s": _time(gettext_lazy("Ends at")),
    "to_g": _amount(gettext_lazy("To weight"), "g"),
    "added_g": _amount(gettext_lazy("Adds"), "g"),
    "flow_g_s": _amount(gettext_lazy("Flow"), "g/s"),
    "spout_height_mm": _amount(gettext_lazy("Spout height"), "mm"),
    "temperature_C": _temperature(gettext_lazy("Water")),
}
WORDS = ("reference_grind", "intended_cup", "note")
EQUIPMENT = ("brewer", "paper")


def plans_beside(a: PourPlan, b: PourPlan, fields: Collection[str] = ()) -> SideBySide:
    """Two plans; of their lines only ``fields``, if any are named."""
    beside = line_by_line(a, b)

    def wanted(lines: Iterable[Line]) -> list[Line]:
        return [line for line in lines if not fields or line.field in fields]

    return SideBySide(
        facts=_rows(wanted(beside.facts)),
        sums=_rows(wanted(beside.sums)),
        others=[],
        pours=[
            PourRows(pair.number, _rows(wanted(pair.lines), in_pour=True), _side(pair))
            for pair in beside.pours
        ],
        differences=beside.differences,
    )


def versions_beside(a: RecipeVersion, b: RecipeVersion, place: Place) -> SideBySide:
    """Two versions as a whole, as ``place`` may read them: their plans, and what else their authors wrote."""
    plans, others = plans_beside(a.plan(), b.plan()), dict(_others(a, b, place))
    return replace(
        plans,
        others=[row for label, line in others.items() for row in _rows([line], label)],
        differences=plans.differences + sum(line.mark is not Mark.SAME for line in others.values()),
    )


def only_differing(beside: SideBySide) -> SideBySide:
    """What is the same on both sides, left out."""

    def differing(rows: list[Row]) -> list[Row]:
        return [row for row in rows if row.said]

    pours = [replace(pour, rows=differing(pour.rows)) for pour in beside.pours]
    return replace(
        beside,
        facts=differing(beside.facts),
        sums=differing(beside.sums),
        others=differing(beside.others),
        pours=[pour for pour in pours if pour.rows],
    )


def _others(a: RecipeVersion, b: RecipeVersion, place: Place) -> Iterable[tuple[str, Line]]:
    yield _("Coffee"), Line("coffee", str(a.recipe.coffee), str(b.recipe.coffee))
    for name in EQUIPMENT:
        label = capfirst(label_of(RecipeVersion, name))
        left, right = getattr(a, name), getattr(b, name)
        yield label, Line(name, str(left) if left else None, str(right) if right else None)
    written_for = Line("kettle", kettle_told(a.kettle, place) or None, kettle_told(b.kettle, place) or None)
    yield capfirst(label_of(RecipeVersion, "kettle")), written_for
    yes, no = _("rinsed"), _("not rinsed")
    yield _("Paper rinse"), Line("rinse_paper", yes if a.rinse_paper else no, yes if b.rinse_paper else no)
    for name in WORDS:
        label = capfirst(label_of(RecipeVersion, name))
        yield label, Line(name, getattr(a, name) or None, getattr(b, name) or None)


def _side(pair: PourPair) -> str:
    return {Mark.ONLY_A: "a", Mark.ONLY_B: "b"}.get(pair.only_in or Mark.SAME, "")


def _rows(lines: Iterable[Line], label: str = "", in_pour: bool = False) -> list[Row]:
    """Lines that say anything on either side."""
    kinds = POUR_KINDS if in_pour else KINDS
    return [
        Row(
            label=label or _label(line.field, kinds),
            a=_shown(line.a, line.field, kinds),
            b=_shown(line.b, line.field, kinds),
            said=_said(line, kinds),
            only_a=line.mark is Mark.ONLY_A,
        )
        for line in lines
        if line.a is not None or line.b is not None
    ]


def _label(field: str, kinds: dict[str, _Kind]) -> str:
    if field in kinds:
        return str(kinds[field].label)
    return capfirst(label_of(Pour, field))


def _shown(value: Value, field: str, kinds: dict[str, _Kind]) -> str:
    if value is None:
        return ""
    if value == AT_THE_BOIL:
        return _("at the boil")
    if isinstance(value, str):
        choices = {"pattern": Pour.Pattern, "after": Pour.After}.get(field)
        return str(choices(value).label) if choices else value
    return kinds[field].shown(value)


def _said(line: Line, kinds: dict[str, _Kind]) -> str:
    if line.mark is Mark.SAME:
        return ""
    if line.mark is not Mark.CHANGED:
        return _("only here")
    kind, (a, b) = kinds.get(line.field), (line.a, line.b)
    if kind is None or kind.apart is None or not isinstance(a, int | float) or not isinstance(b, int | float):
        return _("changed")
    # Of the two as they are shown, so that whoever subtracts them gets the same.
    apart = float(rounded(b, kind.decimals) - rounded(a, kind.decimals))
    return kind.apart(apart) if apart else ""
