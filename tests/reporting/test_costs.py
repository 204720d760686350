"""What checks cost: coffee nobody drank, money where a price is set, and never two currencies in one sum."""

from __future__ import annotations

from datetime import timedelta
from decimal import Decimal

import pytest

from calibration.models import CheckPlan
from calibration.reporting import costs as reported
from calibration.reporting.costs import Costs
from calibration.reporting.ground import gather
from tests import factories as make
from tests.reporting import bar


@pytest.fixture
def slot(db):
    return bar.slot(make.cafe(name="Alder"))


@pytest.fixture
def cafe(slot):
    return slot.board.cafe


def costs_of(cafe) -> Costs:
    return Costs(gather(bar.asked(cafe), bar.NOW))


def test_every_brew_that_nobody_drank_is_counted_once(slot, cafe):
    who = make.person(cafe=cafe)
    typo = bar.brew(slot, who, bar.FIRST)
    bar.brew(slot, who, bar.FIRST, corrects=typo)
    bar.void(bar.brew(slot, who, bar.FIRST, dose_g=Decimal(20)), who)
    bar.brew(slot, who, bar.FIRST, attempt="rebrew")
    bar.brew(slot, who, bar.FIRST, was_served=True)
    bar.brew(slot, who, bar.FIRST, kind="practice")
    bar.brew(slot, who, bar.FIRST, kind="served")
    bar.brew(slot, who, bar.FIRST - timedelta(days=1))
    at = bar.NOW.replace(month=9, day=2)
    make.run(slot, who, opened_at=at, closed_at=at, poured_at=at, dropped_why="spilt")
    make.run(slot, who, opened_at=at, closed_at=at)
    CheckPlan.objects.create(cafe=cafe, coffee_price_kg=Decimal("30.00"), currency="EUR", minutes_a_check=5)
    (one,) = costs_of(cafe).all
    assert (one.dumped, one.served, one.practice, one.dropped) == (3, 1, 1, 1)
    assert one.coffee_g == Decimal("15") * 4 + 20
    assert one.money == Decimal("2.40")
    assert one.minutes == 20


def test_without_a_price_no_money_is_said(slot, cafe):
    bar.brew(slot, make.person(cafe=cafe), bar.FIRST)
    found = reported.section(costs_of(cafe))
    assert "It cost" not in found.says[0]
    assert "No price of coffee is set at Alder" in found.notes[0]
    assert found.table.numbers[0][6] is None


def test_two_currencies_stay_two(slot, cafe):
    for currency, at in (("EUR", slot), ("CHF", bar.slot(make.cafe(cafe.company, name="Birch")))):
        CheckPlan.objects.create(cafe=at.board.cafe, coffee_price_kg=Decimal(20), currency=currency)
        bar.brew(at, make.person(cafe=at.board.cafe), bar.FIRST)
    costs = costs_of(cafe)
    assert costs.by_currency == {"CHF": Decimal("0.30"), "EUR": Decimal("0.30")}
    found = reported.section(costs)
    assert "It cost 0.30 CHF and 0.30 EUR." in found.says[0]
    assert any("never added up" in note for note in found.notes)
