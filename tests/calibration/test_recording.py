"""What a reading becomes when it is saved."""

from __future__ import annotations

import dataclasses
from datetime import UTC, datetime, timedelta
from decimal import Decimal
from uuid import uuid4

import pytest
from django.utils import timezone

from brewbar.crew.models import Role
from calibration import recording
from calibration.models import Drop, Reading
from tests import factories as make

NOW = timezone.now()


@pytest.fixture
def slot(db):
    return make.live_slot(make.cafe(), at=NOW - timedelta(days=5))


@pytest.fixture
def barista(slot):
    return make.person(cafe=slot.board.cafe)


def saved(entry, by=None, now=NOW):
    return recording.record(entry, by or entry.barista, now).reading


def test_a_worked_example(slot, barista):
    """15 g of coffee, 220 g of beverage at 1.40 %: 20.53 % by mass balance, U = 0.8 with k = 2 (JCGM 100:2008, 5.1.2).

    The budget of the standard example: accuracy ±0.03 % rectangular, resolution 0.01 %, repeatability 0.01 %,
    0.3 K at 0.057 % per K; u(beverage) 0.5 g, u(dose) 0.1 g. Ours divides repeatability by the root of two drops and
    adds 0.005 % for drift, which moves U by less than its first decimal.
    """
    reading = saved(make.entry(slot, barista))
    assert reading.ey == pytest.approx(20.5333, abs=1e-4)
    assert round(2 * reading.u_ey_absolute, 1) == 0.8
    assert reading.tds == Decimal("1.4000")
    assert reading.u_tds_relative < reading.u_tds_absolute
    assert [drop.tds for drop in Drop.objects.filter(reading=reading)] == [Decimal("1.40")] * 2


def test_weighed_in_its_server_less_the_tare(slot, barista):
    server = make.server(slot.board.cafe, tare_g="312.4")
    entry = make.entry(
        slot,
        barista,
        beverage_source=Reading.Beverage.SERVER,
        server=server,
        tare_g=Decimal("312.4"),
        weight_g=Decimal("532.4"),
    )
    reading = saved(entry)
    assert (reading.gross_g, reading.tare_g, reading.beverage_g) == (Decimal("532.4"), Decimal("312.4"), 220)


def test_a_beverage_left_open_is_estimated_and_known_less_well(slot, barista):
    weighed = saved(make.entry(slot, barista))
    entry = make.entry(slot, barista, beverage_source=Reading.Beverage.ESTIMATED, weight_g=None)
    estimated = saved(entry)
    # B = W - rD + ED with r = 2.2 g of water a gram and E the yield: 250 - 33 + 3.09 (mass balance).
    assert float(estimated.beverage_g) == pytest.approx(220.1, abs=0.1)
    assert estimated.beverage_source == Reading.Beverage.ESTIMATED
    assert estimated.u_ey_absolute > weighed.u_ey_absolute


def test_drops_that_disagree_ask_for_one_more_then_a_fourth_then_the_median_counts(slot, barista):
    entry = make.entry(slot, barista, ("1.40", "1.50"))
    for drops, more in (
        (("1.40", "1.50"), True),
        (("1.40", "1.50", "1.42"), True),
        (("1.40", "1.50", "1.42", "1.43"), False),
    ):
        entry = dataclasses.replace(entry, drops=tuple(map(Decimal, drops)))
        if more:
            with pytest.raises(recording.Unsure) as unsure:
                saved(entry)
            assert "one more drop" in unsure.value.question.more_drops
            assert not Reading.objects.exists()
    reading = saved(entry)
    assert (reading.tds, reading.tds_rule) == (Decimal("1.4250"), "median")
    assert reading.drops_range_tds > reading.drops_allowed_tds


def test_who_cannot_take_another_drop_saves_what_there_is(slot, barista):
    reading = saved(make.entry(slot, barista, ("1.40", "1.50"), no_more_drops=True))
    agreeing = saved(make.entry(slot, barista))
    assert reading.tds == Decimal("1.4500")
    assert reading.u_tds_relative > agreeing.u_tds_relative


def test_the_first_brew_of_the_day_counts_and_others_are_rebrews(slot, barista):
    first, second = saved(make.entry(slot, barista)), saved(make.entry(slot, barista))
    assert (first.attempt, second.attempt) == (Reading.Attempt.FIRST, Reading.Attempt.REBREW)
    colleague = saved(make.entry(slot, make.person(cafe=slot.board.cafe)))
    served = saved(make.entry(slot, barista, kind=Reading.Kind.SERVED))
    other_recipe = saved(make.entry(make.live_slot(slot.board.cafe), barista))
    day_before = saved(make.entry(slot, barista, brewed_at=NOW - timedelta(days=1)))
    assert {r.attempt for r in (colleague, served, other_recipe, day_before)} == {Reading.Attempt.FIRST}
    assert Reading.objects.counted().count() == 4


def test_after_a_void_the_next_brew_is_the_first(slot, barista):
    first = saved(make.entry(slot, barista))
    recording.void(first, make.person(Role.HEAD, slot.board.cafe), "spilt", NOW)
    assert saved(make.entry(slot, barista)).attempt == Reading.Attempt.FIRST


def test_a_night_shift_belongs_to_the_evening_it_began(slot, barista):
    cafe = slot.board.cafe
    cafe.time_zone = "Europe/Berlin"
    cafe.save()
    # Half past two on the wall after the clocks went back: still Saturday's business day, which turns at four.
    at = datetime(2026, 10, 25, 1, 30, tzinfo=UTC)
    old = make.live_slot(cafe, at=at - timedelta(days=3))
    reading = saved(make.entry(old, barista), now=at)
    assert reading.business_day.isoformat() == "2026-10-24"


def test_a_correction_keeps_both_and_the_standing(slot, barista):
    typo = saved(make.entry(slot, barista, brew_time_s=125, sure=frozenset({"time:125"})))
    right = saved(make.entry(slot, barista, corrects=typo))
    typo.refresh_from_db()
    assert (typo.brew_time_s, right.brew_time_s, right.attempt) == (125, 165, Reading.Attempt.FIRST)
    assert list(Reading.objects.counted()) == [right]
    with pytest.raises(recording.NotStanding, match="corrected"):
        saved(make.entry(slot, barista, corrects=typo))
    with pytest.raises(recording.NotStanding, match="corrected"):
        recording.void(typo, barista, "too late", NOW)
    assert saved(make.entry(slot, barista, corrects=right)).corrects == right


def test_ten_minutes_from_the_first_saving(slot, barista):
    first = saved(make.entry(slot, barista))
    second = saved(make.entry(slot, barista, corrects=first), now=NOW + timedelta(minutes=6))
    me, head = make.member(barista), make.member(make.person(Role.HEAD, slot.board.cafe))
    assert recording.minutes_to_correct(second, NOW + timedelta(minutes=7)) == 3
    assert recording.may_correct(me, second, NOW + timedelta(minutes=9, seconds=59))
    assert not recording.may_correct(me, second, NOW + timedelta(minutes=10))
    assert recording.may_correct(head, second, NOW + timedelta(days=30))


def test_the_same_entry_again_is_the_same_reading(slot, barista):
    entry = make.entry(slot, barista)
    first = recording.record(entry, barista, NOW)
    again = recording.record(dataclasses.replace(entry), barista, NOW + timedelta(minutes=3))
    assert (first.is_new, again.is_new) == (True, False)
    assert first.reading == again.reading
    assert Reading.objects.count() == 1


def test_answers_to_questions_do_not_make_another_reading(slot, barista):
    entry = make.entry(slot, barista, ("1.40", "1.50"))
    first = saved(dataclasses.replace(entry, no_more_drops=True))
    assert saved(dataclasses.replace(entry, no_more_drops=True, sure=frozenset({"tds:1.45"}))) == first


@pytest.mark.parametrize("change", [{"brew_time_s": 166}, {"weight_g": Decimal(221)}, {"taste": "flat"}])
def test_the_same_uuid_with_another_body_is_refused(slot, barista, change):
    entry = make.entry(slot, barista)
    first = saved(entry)
    with pytest.raises(recording.Taken) as taken:
        saved(dataclasses.replace(entry, **change))
    assert taken.value.reading == first
    assert Reading.objects.count() == 1


def test_another_company_may_use_the_same_uuid(slot, barista):
    there = make.live_slot(make.cafe())
    uuid = uuid4()
    saved(make.entry(slot, barista, uuid=uuid))
    saved(make.entry(there, make.person(cafe=there.board.cafe), uuid=uuid))
    assert Reading.objects.count() == 2
