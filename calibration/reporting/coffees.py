"""Which coffees were hardest to hold: their strength inside target, all recipes and cafés of a coffee together."""

from __future__ import annotations

from dataclasses import dataclass
from functools import cached_property
from typing import Any

import numpy as np
from django.utils.translation import gettext as _

from calibration.drift import MEASURES
from calibration.reporting import shares, words
from calibration.reporting.ground import Ground
from calibration.reporting.result import Bar, Bars, Section, Table
from calibration.reporting.shares import Counted, counted
from calibration.reporting.spreads import measured
from calibration.statistics.sums import Sums


@dataclass(frozen=True)
class Held:
    """One coffee. sd: of its brews about each recipe's own mean in its café, None where that cannot be told."""

    coffee: str
    strength: Counted
    brews: int
    sd: float | None


@dataclass(frozen=True)
class Coffees:
    ground: Ground

    @cached_property
    def all(self) -> tuple[Held, ...]:
        """Those inside least often first; of those brewed too seldom to say, last."""
        ground = self.ground
        coffees = {pk: version.recipe.coffee for pk, version in ground.versions.items()}
        of = np.array([coffees[pk].pk for pk in ground.this.version.tolist()], dtype=np.int64)
        names = {coffee.pk: coffee.name for coffee in coffees.values()}
        found = []
        for pk in np.unique(of).tolist():
            own = ground.this.only(of == pk)
            strength = counted(own, "tds")
            if strength is not None:
                found.append(Held(names[pk], strength, own.brews, _sd(own.sums(MEASURES["tds"]))))
        return tuple(
            sorted(found, key=lambda one: (one.strength.is_few, one.strength.share.share, one.coffee))
        )

    @property
    def hardest(self) -> Held | None:
        """The one surely held worse than some other; None where chance could have it so."""
        told = [one for one in self.all if not one.strength.is_few]
        if len(told) < 2:
            return None
        first = told[0]
        best = max(one.strength.share.crew.low for one in told[1:])
        return first if first.strength.share.crew.high < best else None


def _sd(sums: Sums) -> float | None:
    """About the mean of each recipe and café: what a head barista would call its scatter."""
    if not len(sums):
        return None
    levels = sums.by("recipe")
    df = sums.brews - len(levels)
    within = float((levels.squares - levels.total**2 / levels.n).sum())
    return (max(within, 0.0) / df) ** 0.5 if df > 0 else None


def section(coffees: Coffees) -> Section:
    title = _("Coffees, hardest to hold first")
    found = coffees.all
    if not found:
        return Section(
            "coffees", title, (), notes=(_("No coffee was brewed against a target in this span."),)
        )
    bars = tuple(
        Bar(
            one.coffee,
            100 * float(one.strength.share.share),
            100 * float(one.strength.share.crew.low),
            100 * float(one.strength.share.crew.high),
            note=_("%(inside)s of %(n)s")
            % {"inside": words.number(one.strength.inside), "n": words.number(one.strength.judged)},
        )
        for one in found
    )
    figure = Bars("coffees", _("TDS inside target, by coffee"), _("of 100 check brews"), 0, bars, (0, 100))
    return Section("coffees", title, (_says(coffees),), figure, _table(title, found), _notes(found))


def _says(coffees: Coffees) -> str:
    told = [one for one in coffees.all if not one.strength.is_few]
    if len(told) < 2:
        return _("Too few coffees were brewed often enough to say which was hardest to hold.")
    hardest = coffees.hardest
    if hardest is None:
        return _("No coffee was surely harder to hold than the others.")
    return _("%(coffee)s was hardest to hold: %(share)s of 100 were inside target (%(between)s).") % {
        "coffee": hardest.coffee,
        "share": words.of_100(hardest.strength.share.share),
        "between": words.between(hardest.strength.share.crew),
    }


def _notes(found: tuple[Held, ...]) -> tuple[str, ...]:
    few = [one.coffee for one in found if one.strength.is_few]
    if not few:
        return ()
    said = _("Too few brews to say, fewer than %(least)d: %(coffees)s.")
    return (said % {"least": shares.FEW_BREWS, "coffees": words.listed(few)},)


def _table(title: str, found: tuple[Held, ...]) -> Table:
    tds = MEASURES["tds"]
    cells: list[tuple[str, ...]] = []
    numbers: list[tuple[Any, ...]] = []
    for one in found:
        own = one.strength
        cells.append(
            (
                one.coffee, words.number(own.judged), words.percent(own.share.share), words.between(own.share.crew),
                words.number(own.close), words.number(own.outside), measured(tds, one.sd),
            )
        )  # fmt: skip
        numbers.append(
            (
                one.coffee, own.judged, own.inside, own.close, own.high, own.low, words.exact(own.share.share),
                *words.low_high(own.share.crew), words.exact(one.sd),
            )
        )  # fmt: skip
    head = (
        _("Coffee"), _("Brews"), _("Inside"), _("Interval (95 %)"), _("Too close to call"), _("Outside"),
        _("Scatter, standard deviation"),
    )  # fmt: skip
    csv_head = (
        "coffee", "brews", "inside", "too_close", "high", "low", "share", "share_low_95", "share_high_95", "sd_tds_pct",
    )  # fmt: skip
    return Table("coffees", title, head, tuple(cells), csv_head, tuple(numbers))
