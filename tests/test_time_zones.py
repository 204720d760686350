"""Cafés of one company in other time zones and at other altitudes: each has its own day, month and boiling point.

Clocks in Europe change at 01:00 UTC on the last Sundays of March and October (directive 2000/84/EC, articles 2 to 4):
on 29 March and 25 October in 2026.
"""

from __future__ import annotations

from datetime import UTC, date, datetime, timedelta

import pytest
from django.urls import reverse

from brewbar.crew.access import Place
from brewbar.crew.models import Cafe, Role
from calibration import duty, shift, signal_lists
from calibration.models import SignalNote
from calibration.report_spans import span_named
from recipes import due, publishing, seen
from recipes.models import Board, Slot
from tests import factories as make


def at(text: str) -> datetime:
    return datetime.fromisoformat(text).replace(tzinfo=UTC)


@pytest.fixture
def cafes(db) -> tuple[Cafe, Cafe]:
    quay = make.cafe(name="Quay", time_zone="Europe/London", altitude_m=6, day_turns_at=4)
    return quay, make.cafe(
        quay.company, name="Peak", time_zone="Europe/Zurich", altitude_m=1480, day_turns_at=3
    )


DAYS = pytest.mark.parametrize(
    ("now", "quay", "peak"),
    [
        ("2026-11-25T02:30", "2026-11-24", "2026-11-25"),
        ("2026-11-25T01:59", "2026-11-24", "2026-11-24"),
        ("2026-11-25T04:00", "2026-11-25", "2026-11-25"),
        # The night in which the clocks go forward: 03:59 and 04:00 of summer time in London, 04:59 in Zurich.
        ("2026-03-29T00:59", "2026-03-28", "2026-03-28"),
        ("2026-03-29T01:00", "2026-03-28", "2026-03-29"),
        ("2026-03-29T02:59", "2026-03-28", "2026-03-29"),
        ("2026-03-29T03:00", "2026-03-29", "2026-03-29"),
        # The night in which they go back: the hour that comes twice is before the turn in both.
        ("2026-10-25T00:30", "2026-10-24", "2026-10-24"),
        ("2026-10-25T01:30", "2026-10-24", "2026-10-24"),
        ("2026-10-25T02:30", "2026-10-24", "2026-10-25"),
        ("2026-10-25T04:00", "2026-10-25", "2026-10-25"),
    ],
)


@DAYS
def test_the_same_moment_is_each_cafes_own_day(cafes, now, quay, peak):
    days = [date.fromisoformat(day) for day in (quay, peak)]
    assert [cafe.business_day(at(now)) for cafe in cafes] == days
    for cafe, day in zip(cafes, days, strict=True):
        assert duty.come(cafe, make.person(cafe=cafe), at(now)).business_day == day


@DAYS
def test_what_is_brewed_then_is_in_todays_list_of_that_day(cafes, now, quay, peak):
    for cafe, day in zip(cafes, (quay, peak), strict=True):
        row = make.reading(make.live_slot(cafe), make.person(cafe=cafe), brewed_at=at(now))
        for shown, expected in ((date.fromisoformat(day), [row.pk]), (at(now).date() + timedelta(5), [])):
            lines = shift.day_at(cafe, shown, at(now))
            assert [judged.reading.pk for line in lines for judged in line.checks] == expected


@pytest.mark.parametrize(
    ("evening", "quay", "peak"),
    [
        ("2026-11-24T20:00", "2026-11-25T04:00", "2026-11-25T02:00"),
        ("2026-03-28T20:00", "2026-03-29T03:00", "2026-03-29T01:00"),
        ("2026-10-24T20:00", "2026-10-25T04:00", "2026-10-25T02:00"),
        ("2026-07-01T20:00", "2026-07-02T03:00", "2026-07-02T01:00"),
    ],
)
def test_boards_due_when_the_day_turns_go_live_at_each_cafes_own_hour(cafes, evening, quay, peak):
    """04:00 in London and 03:00 in Zurich, whichever way the clocks went that night."""
    slots = [make.planned_slot(cafe) for cafe in cafes]
    for slot, turn in zip(slots, (quay, peak), strict=True):
        moment = due.next_turn(slot.board.cafe, at(evening))
        assert moment == at(turn)
        due.set_due(slot.board, moment, slot.planned_by, at(evening))
        board = Board.objects.get(pk=slot.board.pk)
        assert not publishing.bring_up_to_date(board, at(turn) - timedelta(seconds=1))
        assert publishing.bring_up_to_date(board, at(turn))
        assert Slot.objects.get(pk=slot.pk).published_at == at(turn)


@pytest.mark.parametrize(
    ("now", "quay", "peak"),
    [
        # Half past two in London is still October's last day; in Zurich November has begun.
        ("2026-11-01T02:30", ("2026-09-01", "2026-09-30"), ("2026-10-01", "2026-10-31")),
        ("2026-11-01T04:00", ("2026-10-01", "2026-10-31"), ("2026-10-01", "2026-10-31")),
        ("2026-03-31T23:30", ("2026-02-01", "2026-02-28"), ("2026-02-01", "2026-02-28")),
    ],
)
def test_the_last_whole_month_is_that_of_the_cafes_own_day(cafes, now, quay, peak):
    for cafe, (first, last) in zip(cafes, (quay, peak), strict=True):
        span = (date.fromisoformat(first), date.fromisoformat(last))
        assert span_named("month", cafe.business_day(at(now))) == span


def test_a_months_signals_are_counted_by_the_cafes_own_clock(cafes):
    moment = at("2026-10-31T23:30")
    for cafe, month in zip(cafes, (date(2026, 10, 1), date(2026, 11, 1)), strict=True):
        signal = make.signal(cafe)
        SignalNote.objects.filter(signal=signal).delete()
        signal.notes.create(at=moment, what=SignalNote.What.RAISED)
        head = make.member(make.person(Role.HEAD, cafe))
        [found] = signal_lists.months(head, cafe.business_day(at("2026-11-02T12:00")))
        assert (found.first, found.raised) == (month, 1)


def test_what_is_new_today_at_the_bar_follows_the_cafes_own_day(cafes):
    """Put on at the same moment: in Zurich after the day has turned, in London before."""
    quay, peak = (
        make.live_slot(cafe, at=at("2026-10-25T02:30"), station=make.station(cafe)) for cafe in cafes
    )
    for slot, is_new in ((quay, False), (peak, True)):
        place = Place.of(make.tablet(slot.station)[0])
        told = seen.news_for(place, [slot], at("2026-10-25T10:00"))
        assert bool(told) is is_new


def test_water_boils_lower_in_the_cafe_that_is_higher(cafes):
    """95.0 °C at 1480 m in the US Standard Atmosphere 1976: a plan at 96 °C cannot be brewed as written there."""
    company = cafes[0].company
    version = make.version(make.recipe(company), published=True, water_temperature_C=96)
    path = reverse("recipes:version", args=[version.pk])
    pages = [make.signed_in(make.person(Role.HEAD, cafe)).get(path).content.decode() for cafe in cafes]
    assert ["boils" in page for page in pages] == [False, True]
