"""Cafés beside one another: only what they share, only where both refractometers can be trusted, and never ranked."""

from __future__ import annotations

from dataclasses import dataclass, replace
from functools import cached_property
from math import sqrt
from typing import Any

from django.db.models import F, Max
from django.utils.translation import gettext as _

from calibration.drift import MEASURES
from calibration.reporting import words
from calibration.reporting.ground import Ground
from calibration.reporting.instruments_health import Instruments, named
from calibration.reporting.result import Bar, Bars, Section, Table
from calibration.statistics.cafes import CafeEffect, CafePair, CafesCompared, cafes_compared
from calibration.statistics.mean_squares import Interval
from calibration.statistics.sums import Sums

TDS = MEASURES["tds"]


@dataclass(frozen=True)
class Cafes:
    ground: Ground
    instruments: Instruments

    @cached_property
    def compared(self) -> CafesCompared | None:
        """None where fewer than two brewed."""
        this = self.ground.this
        hits = this.of["tds"]
        told = hits.n > 0
        own, of = this.only(told), hits.only(told)
        if len(set(own.cafe.tolist())) < 2:
            return None
        # Whatever must agree to be compared: the version and the batch.
        sums = Sums.of(own.who, own.day, of.n, of.total, of.squares, recipe=own.version, lot=own.batch)
        return cafes_compared(own.cafe, sums, self._u, self.cannot)

    @cached_property
    def cannot(self) -> dict[int, str]:
        """By café why what its refractometer reads cannot be held against another's."""
        found = {}
        for cafe in self.ground.asked.cafes:
            wrong = [one for one in self.instruments.of_cafe(cafe.pk) if not one.is_trusted]
            if wrong:
                names = words.listed([named(one) for one in wrong])
                found[cafe.pk] = _("%(names)s passed no check standard in this span that still stands") % {
                    "names": names
                }
        return found

    @cached_property
    def _u(self) -> dict[int, float]:
        """Standard uncertainty that all readings of a café share: its instrument's own error. One query."""
        rows = self.ground.counted.filter(business_day__gte=self.ground.asked.first)
        shared = F("u_tds_absolute") * F("u_tds_absolute") - F("u_tds_relative") * F("u_tds_relative")
        largest = rows.order_by().values_list("cafe").annotate(u2=Max(shared))
        return {cafe: sqrt(max(0.0, float(u2))) for cafe, u2 in largest}


def section(cafes: Cafes) -> Section | None:
    """None for a report of one café."""
    if len(cafes.ground.asked.cafes) < 2:
        return None
    title = _("Cafés beside one another")
    found = cafes.compared
    if found is None:
        return Section("cafes", title, (), notes=(_("Fewer than two cafés brewed checks in this span."),))
    names = {cafe.pk: cafe.name for cafe in cafes.ground.asked.cafes}
    notes = (
        _(
            "Only the same version of a recipe from the same batch is compared, and only where both refractometers "
            "passed a check standard. The interval holds what the two instruments may differ by. The order is by name: "
            "this is no ranking."
        ),
        *found.notes,
    )
    if found.effects:
        return _of_many(title, found, names, notes)
    return _of_few(title, found, names, notes)


def _of_few(title: str, found: CafesCompared, names: dict[int, str], notes: tuple[str, ...]) -> Section:
    pairs = [_by_name(pair, names) for pair in found.pairs]
    pairs.sort(key=lambda pair: (names[pair.one], names[pair.other]))
    bars = tuple(_bar(pair, names) for pair in pairs if pair.difference is not None)
    figure = (
        Bars("cafes", _("Difference in TDS"), _("% TDS, first less second"), 3, bars, zero=True)
        if bars
        else None
    )
    says = tuple(_says(pair, names) for pair in pairs)
    return Section("cafes", title, says, figure, _table(title, pairs, names), notes)


def _by_name(pair: CafePair, names: dict[int, str]) -> CafePair:
    """The first in name first."""
    if names[pair.one] <= names[pair.other]:
        return pair
    return replace(
        pair,
        one=pair.other,
        other=pair.one,
        difference=None if pair.difference is None else -pair.difference,
        crews=_turned(pair.crews),
        anyone=_turned(pair.anyone),
        n_one=pair.n_other,
        n_other=pair.n_one,
    )


def _turned(interval: Interval | None) -> Interval | None:
    return None if interval is None else Interval(-interval.high, -interval.low)


def _pair_name(pair: CafePair, names: dict[int, str]) -> str:
    return _("%(one)s and %(other)s") % {"one": names[pair.one], "other": names[pair.other]}


def _bar(pair: CafePair, names: dict[int, str]) -> Bar:
    assert pair.difference is not None
    assert pair.crews is not None
    mark = "" if not pair.is_seen else "high" if pair.difference > 0 else "low"
    low, high = float(pair.crews.low), float(pair.crews.high)
    return Bar(_pair_name(pair, names), float(pair.difference), low, high, mark=mark)


def _says(pair: CafePair, names: dict[int, str]) -> str:
    both = _pair_name(pair, names)
    if pair.difference is None or pair.crews is None:
        return _("%(both)s cannot be compared, because: %(why)s.") % {
            "both": both,
            "why": pair.reason.rstrip("."),
        }
    between = words.from_to(TDS.apart(float(pair.crews.low)), TDS.apart(float(pair.crews.high)))
    if not pair.is_seen:
        said = _("%(both)s brew what they share alike, as far as can be told (%(between)s, in %% TDS).")
        return said % {"both": both, "between": between}
    words_ = {
        "one": names[pair.one],
        "other": names[pair.other],
        "size": TDS.said(float(pair.difference)),
        "way": TDS.way(float(pair.difference)),
        "between": between,
    }
    return _("%(one)s brews what both brew %(size)s %(way)s than %(other)s (%(between)s).") % words_


def _table(title: str, pairs: list[CafePair], names: dict[int, str]) -> Table:
    cells: list[tuple[str, ...]] = []
    numbers: list[tuple[Any, ...]] = []
    for pair in pairs:
        told = pair.difference is not None
        cells.append(
            (
                _pair_name(pair, names),
                TDS.apart(float(pair.difference)) if pair.difference is not None else words.NONE,
                _interval(pair.crews),
                _interval(pair.anyone),
                words.number(pair.n_one) if told else words.NONE,
                words.number(pair.n_other) if told else words.NONE,
                words.number(pair.lots) if told else words.NONE,
                pair.reason,
            )
        )
        numbers.append(
            (
                names[pair.one], names[pair.other], words.exact(pair.difference), *words.low_high(pair.crews),
                *words.low_high(pair.anyone), words.exact(pair.u_instruments), pair.n_one, pair.n_other, pair.lots,
                told,
            )
        )  # fmt: skip
    head = (
        _("Cafés"), _("Difference, % TDS"), _("These crews (95 %)"), _("Whoever pours (95 %)"), _("Brews, first"),
        _("Brews, second"), _("Shared batches"), _("Why not"),
    )  # fmt: skip
    csv_head = (
        "cafe", "other_cafe", "difference_tds_pct", "crews_low_95", "crews_high_95", "whoever_pours_low_95",
        "whoever_pours_high_95", "u_instruments_tds_pct", "brews", "other_brews", "shared_batches", "can_be_compared",
    )  # fmt: skip
    return Table("cafes", title, head, tuple(cells), csv_head, tuple(numbers))


def _interval(interval: Interval | None) -> str:
    if interval is None:
        return words.NONE
    return words.from_to(TDS.apart(float(interval.low)), TDS.apart(float(interval.high)))


# --- five or more


def _of_many(title: str, found: CafesCompared, names: dict[int, str], notes: tuple[str, ...]) -> Section:
    effects = sorted(found.effects, key=lambda one: names[one.cafe])
    bars = tuple(_effect_bar(one, names) for one in effects if one.effect is not None)
    figure = (
        Bars("cafes", _("Above or below the mean of all cafés, TDS"), _("% TDS"), 3, bars, zero=True)
        if bars
        else None
    )
    seen = [one for one in effects if one.is_seen]
    says = [
        _("%(cafe)s brews what it shares %(size)s %(way)s than the cafés’ mean (%(between)s).")
        % {
            "cafe": names[one.cafe],
            "size": TDS.said(float(one.effect or 0)),
            "way": TDS.way(float(one.effect or 0)),
            "between": _interval(one.interval),
        }
        for one in seen
    ]
    if not seen and bars:
        says.append(_("No café surely brews what it shares other than the cafés’ mean."))
    says += [
        _("%(cafe)s cannot be compared, because: %(why)s.")
        % {"cafe": names[one.cafe], "why": one.reason.rstrip(".")}
        for one in effects
        if one.effect is None
    ]
    cells = tuple(
        (
            names[one.cafe],
            words.NONE if one.effect is None else TDS.apart(float(one.effect)),
            _interval(one.interval),
            words.number(one.n),
            one.reason,
        )
        for one in effects
    )
    numbers = tuple(
        (
            names[one.cafe],
            words.exact(one.effect),
            *words.low_high(one.interval),
            one.n,
            one.effect is not None,
        )
        for one in effects
    )
    head = (_("Café"), _("Against the mean, % TDS"), _("Interval (95 %)"), _("Brews"), _("Why not"))
    csv_head = ("cafe", "effect_tds_pct", "low_95", "high_95", "brews", "can_be_compared")
    return Section(
        "cafes", title, tuple(says), figure, Table("cafes", title, head, cells, csv_head, numbers), notes
    )


def _effect_bar(one: CafeEffect, names: dict[int, str]) -> Bar:
    assert one.effect is not None
    mark = "" if not one.is_seen else "high" if one.effect > 0 else "low"
    low, high = (None, None) if one.interval is None else (float(one.interval.low), float(one.interval.high))
    return Bar(names[one.cafe], float(one.effect), low, high, mark=mark)
