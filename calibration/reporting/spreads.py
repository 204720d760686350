"""What the spread of cups is made of: people, days, a person's day, one brew to the next, and the instrument's drops.

Every version in every café is at a level of its own, so that no choice of recipe passes for a spread.
"""

from __future__ import annotations

from dataclasses import dataclass
from functools import cached_property
from typing import Any

from django.utils.translation import gettext as _

from calibration import spread
from calibration.drift import MEASURES, Measure
from calibration.reporting import drops, words
from calibration.reporting.cells import Cells
from calibration.reporting.ground import Ground
from calibration.reporting.result import Bar, Bars, Section, Table
from calibration.statistics.intermediate import ProcessPrecision, Spread, process_precision
from calibration.statistics.sums import FEWEST_STAFF, parted
from calibration.statistics.variance import Component, VarianceFit, WithinBrews

TDS = MEASURES["tds"]
TOGETHER = "staff:day"


@dataclass(frozen=True)
class Parted:
    """Of one measure in one café, or in all (cafe ""): how it parts, and what ISO 5725-3 calls it."""

    cafe: str
    measure: Measure
    fit: VarianceFit
    precision: ProcessPrecision
    drops: WithinBrews | None

    @property
    def parts(self) -> list[Component]:
        """Those that could be told."""
        return [part for part in self.fit.components.values() if part.share is not None]

    @property
    def largest(self) -> Component | None:
        return max(self.parts, key=lambda part: part.share or 0.0, default=None)

    @property
    def is_sure(self) -> bool:
        """Whether the largest part surely is: above what any other may be."""
        first = self.largest
        if first is None or first.share_low is None:
            return False
        return all(
            part.share_high is not None and part.share_high < first.share_low
            for part in self.parts
            if part is not first
        )


@dataclass(frozen=True)
class Spreads:
    ground: Ground

    @cached_property
    def together(self) -> dict[str, Parted]:
        """By measure, all cafés in one."""
        return {
            key: self._parted("", measure, self.ground.this, 0)
            for key, measure in MEASURES.items()
            if self.ground.this.of[key].n.any()
        }

    @cached_property
    def apart(self) -> tuple[Parted, ...]:
        """TDS by café, where there are several."""
        ground = self.ground
        if len(ground.asked.cafes) < 2:
            return ()
        found = []
        for cafe in ground.asked.cafes:
            own = ground.this.only(ground.this.cafe == cafe.pk)
            if own.of["tds"].n.any():
                found.append(self._parted(cafe.name, TDS, own, cafe.pk))
        return tuple(found)

    @cached_property
    def _drops(self) -> dict[int, WithinBrews]:
        return drops.of_cafes(self.ground)

    def _parted(self, cafe: str, measure: Measure, own: Cells, place: int) -> Parted:
        sums = own.sums(measure)
        fit = spread.remembered("report.parts", sums, lambda: parted(sums, intervals=True))
        of_drops = self._drops.get(place) if measure is TDS else None
        return Parted(cafe, measure, fit, process_precision(fit, of_drops), of_drops)


def section(spreads: Spreads) -> Section:
    title = _("What the spread is made of")
    strength = spreads.together.get("tds")
    if strength is None:
        return Section("spread", title, (), notes=(_("No check brew counts in this span."),))
    bars = [_bar(part, TDS) for part in strength.parts]
    if strength.precision.drops.sd is not None:
        bars.append(_of_drops(strength.precision.drops))
    figure = Bars(
        "spread",
        _("Spread of TDS, by part"),
        _("standard deviation, % TDS"),
        3,
        tuple(bars),
        None,
        filled=True,
    )
    all_of = [*spreads.together.values(), *spreads.apart]
    return Section(
        "spread",
        title,
        (says(strength), *_plainly(strength)),
        figure,
        _table(title, all_of),
        _notes(strength),
    )


# --- in words


def label(part: Component) -> str:
    named = {
        "staff": _("People"),
        "day": _("Days"),
        TOGETHER: _("A person’s day"),
        "brew": _("One brew to the next"),
    }
    if part.name in named:
        return named[part.name]
    if TOGETHER in part.name and "brew" in part.name:
        return _("A person’s day and one brew to the next")
    return " + ".join(named.get(name, name) for name in part.name.split(" + "))


def kind(part: Component) -> str:
    """ "people", "days", "both" or "brews": what it asks one to look at."""
    return {"staff": "people", "day": "days", TOGETHER: "both"}.get(part.name, "brews")


def says(parted: Parted) -> str:
    """Which part is the largest, in one sentence."""
    first = parted.largest
    if first is None:
        return _("What the spread is made of cannot be told yet: there is too little to tell its parts from.")
    own = {
        "people": _("how people differ from one another"),
        "days": _("how days differ, whoever brews"),
        "both": _("how the same people differ from day to day"),
        "brews": _("how one brew differs from the next, whoever brews and whenever"),
    }[kind(first)]
    said = {
        True: _("Most of the spread in strength is %(what)s: %(share)s of 100 parts (%(between)s)."),
        False: _(
            "The largest part of the spread in strength seems to be %(what)s: %(share)s of 100 parts (%(between)s). It "
            "is not sure, since another may be as large."
        ),
    }[parted.is_sure]
    between = (
        words.NONE
        if first.share_low is None or first.share_high is None
        else words.from_to(words.of_100(first.share_low), words.of_100(first.share_high))
    )
    return said % {"what": own, "share": words.of_100(first.share or 0.0), "between": between}


def _plainly(parted: Parted) -> tuple[str, ...]:
    """What two cups differ by, for whoever knows no standard deviation."""
    found = []
    for of, said in (
        (
            parted.precision.any_hands,
            _(
                "Two cups of one recipe by different people on different days differ by up to %(limit)s in 95 of 100 "
                "pairs."
            ),
        ),
        (
            parted.precision.same_hands,
            _(
                "Two cups of one recipe by the same person on different days differ by up to %(limit)s in 95 of 100 "
                "pairs."
            ),
        ),
    ):
        if of.limit is not None:
            found.append(said % {"limit": parted.measure.said(of.limit)})
    return tuple(found)


def _bar(part: Component, measure: Measure) -> Bar:
    return Bar(label(part), part.sd, part.sd_low, part.sd_high, note=words.percent(part.share))


def _of_drops(found: Spread) -> Bar:
    return Bar(
        _("The instrument, drop to drop"), found.sd, found.low, found.high, note=_("in every other part")
    )


def _notes(parted: Parted) -> tuple[str, ...]:
    notes = [
        _(
            "Each version of a recipe in each café is taken at a level of its own. A part’s share is of the variance, "
            "the standard deviation squared; the drops of one brew repeat the instrument, not the brew."
        )
    ]
    if "staff" not in parted.fit.components:
        notes.append(
            _("With fewer than %(n)d people, how much people differ cannot be told, and is not shown.")
            % {"n": FEWEST_STAFF}
        )
    notes.extend(parted.precision.notes)
    return tuple(notes)


# --- tables


def _table(title: str, found: list[Parted]) -> Table:
    several = any(one.cafe for one in found)
    cells: list[tuple[str, ...]] = []
    numbers: list[tuple[Any, ...]] = []
    for one in found:
        for part in one.parts:
            cells.append(
                (
                    *_where(one, several),
                    label(part),
                    measured(one.measure, part.sd),
                    limits(one.measure, part.sd_low, part.sd_high),
                    _share(part),
                )
            )
            of = (part.sd, part.sd_low, part.sd_high, part.share, part.share_low, part.share_high)
            numbers.append((one.cafe, one.measure.key, part.name, *map(words.exact, of)))
    head = (
        *_where_head(several), _("Part"), _("Standard deviation"), _("Interval (95 %)"), _("Share of the variance"),
    )  # fmt: skip
    csv_head = (
        "cafe", "measure", "part", "sd", "sd_low_95", "sd_high_95", "share", "share_low_95", "share_high_95",
    )  # fmt: skip
    return Table("spread", title, head, tuple(cells), csv_head, tuple(numbers))


def precision(spreads: Spreads) -> Section:
    """The same in the terms of ISO 5725-3, each with what it means."""
    title = _("How far two cups differ, in the terms of ISO 5725-3")
    found = [*spreads.together.values(), *spreads.apart]
    if not found:
        return Section("precision", title, (), notes=(_("No check brew counts in this span."),))
    several = any(one.cafe for one in found)
    cells: list[tuple[str, ...]] = []
    numbers: list[tuple[Any, ...]] = []
    for one in found:
        for of in (one.precision.drops, one.precision.same_hands, one.precision.any_hands):
            if of.sd is None:
                continue
            cells.append(
                (
                    *_where(one, several),
                    of.plain,
                    f"{of.name}, {of.symbol}",
                    measured(one.measure, of.sd),
                    limits(one.measure, of.low, of.high),
                    measured(one.measure, of.limit),
                )
            )
            exact = map(words.exact, (of.sd, of.low, of.high, of.limit))
            numbers.append((one.cafe, one.measure.key, of.symbol, *exact))
    head = (
        *_where_head(several), _("What it means"), _("In ISO 5725"), _("Standard deviation"), _("Interval (95 %)"),
        _("95 of 100 pairs within"),
    )  # fmt: skip
    csv_head = ("cafe", "measure", "symbol", "sd", "sd_low_95", "sd_high_95", "limit_of_pairs_95")
    notes = (
        _(
            "Two brews are two different cups, even by one person within the hour: only the drops of one brew are "
            "repeatability. Whatever includes another brew is intermediate precision."
        ),
    )
    table = Table("precision", title, head, tuple(cells), csv_head, tuple(numbers))
    return Section("precision", title, (), table=table, notes=notes)


def _where(one: Parted, several: bool) -> tuple[str, ...]:
    return (*((one.cafe or _("all cafés"),) if several else ()), str(one.measure.label))


def _where_head(several: bool) -> tuple[str, ...]:
    return (*((_("Café"),) if several else ()), _("Of"))


def measured(measure: Measure, value: float | None) -> str:
    """A spread with one more decimal than the value is shown with."""
    if value is None:
        return words.NONE
    more = {"tds": 3, "ey": 2, "time": 1}[measure.key]
    return f"{words.fixed(value, more)} {measure.unit}"


def limits(measure: Measure, low: float | None, high: float | None) -> str:
    if low is None or high is None:
        return words.NONE
    more = {"tds": 3, "ey": 2, "time": 1}[measure.key]
    return words.from_to(words.fixed(low, more), words.fixed(high, more))


def _share(part: Component) -> str:
    size = words.percent(part.share)
    if part.share_low is None or part.share_high is None:
        return size
    between = words.from_to(words.of_100(part.share_low), words.of_100(part.share_high))
    return _("%(size)s (%(between)s)") % {"size": size, "between": between}
