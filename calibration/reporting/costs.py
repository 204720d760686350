"""What checks cost: coffee that nobody drank, money where a café has set a price, and time. Never one currency with
another."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass
from decimal import Decimal
from functools import cached_property
from typing import Any

from django.db.models import Count, F, Q, Sum
from django.utils.translation import gettext as _
from django.utils.translation import ngettext

from brewbar import units
from brewbar.crew.models import Cafe
from calibration import spread
from calibration.models import CheckPlan, CheckRun, Reading
from calibration.reporting import words
from calibration.reporting.ground import Ground
from calibration.reporting.result import Section, Table

NONE = Decimal(0)


@dataclass(frozen=True)
class Cost:
    """Of one café. dumped: check brews that no guest got, those voided and brewed again too; served: that one got;
    practice: brews declared as practice; dropped: begun and given up; coffee_g: of all that nobody drank; money: None
    without a price; minutes: of all check brews."""

    cafe: Cafe
    dumped: int
    served: int
    practice: int
    dropped: int
    coffee_g: Decimal
    money: Decimal | None
    currency: str
    minutes: int

    @property
    def is_anything(self) -> bool:
        return bool(self.dumped or self.served or self.practice or self.dropped)


@dataclass(frozen=True)
class Costs:
    ground: Ground

    @cached_property
    def all(self) -> tuple[Cost, ...]:
        """Two queries."""
        brewed, dropped = self._brewed, self._dropped
        nothing = dict.fromkeys(("dumped", "served", "practice", "coffee"), 0)
        found = []
        for cafe in self.ground.asked.cafes:
            own = brewed.get(cafe.pk, nothing)
            n_dropped, dropped_g = dropped.get(cafe.pk, (0, NONE))
            plan = self.ground.plan_of(cafe.pk)
            coffee_g = Decimal(own["coffee"] or 0) + dropped_g
            checks = own["dumped"] + own["served"]
            found.append(
                Cost(
                    cafe, own["dumped"], own["served"], own["practice"], n_dropped, coffee_g,
                    money_of(plan, coffee_g), plan.currency, checks * plan.minutes_a_check,
                )
            )  # fmt: skip
        return tuple(one for one in found if one.is_anything)

    @cached_property
    def _brewed(self) -> dict[int, dict[str, Any]]:
        """Every brew once: what was corrected is the same brew as its correction."""
        asked = self.ground.asked
        rows = Reading.objects.filter(
            company=asked.company,
            cafe__in=[cafe.pk for cafe in asked.cafes],
            business_day__range=(asked.first, asked.last),
        ).exclude(pk__in=spread.corrected())
        check, practice = Q(kind=Reading.Kind.CHECK), Q(kind=Reading.Kind.PRACTICE)
        unserved = Q(was_served=False)
        counts = {
            "dumped": Count("pk", filter=check & unserved),
            "served": Count("pk", filter=check & ~unserved),
            "practice": Count("pk", filter=practice),
            "coffee": Sum("dose_g", filter=(check | practice) & unserved),
        }
        told = rows.order_by().values_list("cafe").annotate(**counts)
        return {cafe: dict(zip(counts, own, strict=True)) for cafe, *own in told}

    @cached_property
    def _dropped(self) -> dict[int, tuple[int, Decimal]]:
        """Brews begun and given up have no dose of their own; their recipe has."""
        asked = self.ground.asked
        runs = CheckRun.objects.filter(
            cafe__in=asked.cafes,
            business_day__range=(asked.first, asked.last),
            reading=None,
            closed_at__isnull=False,
        ).exclude(poured_at=None, brew_time_s=None)
        rows = runs.order_by().values_list("cafe").annotate(n=Count("pk"), g=Sum(F("slot__version__dose_g")))
        return {cafe: (n, Decimal(g or 0)) for cafe, n, g in rows}

    @property
    def by_currency(self) -> dict[str, Decimal]:
        """Money of the cafés that share a currency."""
        found: dict[str, Decimal] = {}
        for one in self.all:
            if one.money is not None:
                found[one.currency] = found.get(one.currency, NONE) + one.money
        return dict(sorted(found.items()))


def money_of(plan: CheckPlan, coffee_g: Decimal) -> Decimal | None:
    if plan.coffee_price_kg is None:
        return None
    return units.rounded(plan.coffee_price_kg * coffee_g / 1000, 2)


def section(costs: Costs) -> Section:
    title = _("What checks cost")
    found = costs.all
    if not found:
        return Section("cost", title, (), notes=(_("Nothing was brewed to check or to practise."),))
    return Section("cost", title, (_says(costs),), table=_table(title, found), notes=_notes(costs))


def _says(costs: Costs) -> str:
    found = costs.all
    dumped = sum(one.dumped for one in found)
    coffee = sum((one.coffee_g for one in found), NONE)
    minutes = sum(one.minutes for one in found)
    said = ngettext(
        "%(n)s check brew was poured away; with practice and what was given up that is %(coffee)s of coffee.",
        "%(n)s check brews were poured away; with practice and what was given up that is %(coffee)s of coffee.",
        dumped,
    ) % {"n": words.number(dumped), "coffee": weight(coffee)}
    money = [amount(value, currency) for currency, value in costs.by_currency.items()]
    if money:
        said += " " + _("It cost %(money)s.") % {"money": words.listed(money)}
    return said + " " + _("Brewing and reading took about %(hours)s.") % {"hours": hours(minutes)}


def _notes(costs: Costs) -> tuple[str, ...]:
    notes = []
    without = [one.cafe.name for one in costs.all if one.money is None]
    if without:
        notes.append(
            _("No price of coffee is set at %(cafes)s, so no money is counted there.")
            % {"cafes": words.listed(without)}
        )
    if len(costs.by_currency) > 1:
        notes.append(_("Cafés with different currencies are never added up."))
    notes.append(_("Time is reckoned by the minutes that each café has set for a check."))
    return tuple(notes)


def weight(grams: Decimal) -> str:
    return units.grams(grams, 0) if grams < 1000 else f"{words.fixed(float(grams / 1000), 1)} kg"


def amount(money: Decimal, currency: str) -> str:
    return f"{units.fixed(money, 2)} {currency}".strip()


def hours(minutes: int) -> str:
    if minutes < 90:
        return ngettext("%(n)d minute", "%(n)d minutes", minutes) % {"n": minutes}
    whole = int(units.rounded(minutes / 60, 0))
    return ngettext("%(n)d hour", "%(n)d hours", whole) % {"n": whole}


def _table(title: str, found: Iterable[Cost]) -> Table:
    cells: list[tuple[str, ...]] = []
    numbers: list[tuple[Any, ...]] = []
    for one in found:
        counts = (one.dumped, one.served, one.practice, one.dropped)
        cells.append(
            (
                one.cafe.name, *map(words.number, counts), weight(one.coffee_g),
                words.NONE if one.money is None else amount(one.money, one.currency), hours(one.minutes),
            )
        )  # fmt: skip
        money = None if one.money is None else str(one.money)
        grams = str(units.rounded(one.coffee_g, 1))
        numbers.append((one.cafe.name, *counts, grams, money, one.currency, one.minutes))
    head = (
        _("Café"), _("Poured away"), _("Served"), _("Practice"), _("Given up"), _("Coffee"), _("Cost"), _("Time"),
    )  # fmt: skip
    csv_head = (
        "cafe", "checks_poured_away", "checks_served", "practice", "given_up", "coffee_g", "cost", "currency",
        "minutes",
    )  # fmt: skip
    return Table("cost", title, head, tuple(cells), csv_head, tuple(numbers))
