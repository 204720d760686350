"""Who is on, who is due, and what became of it: by signing in, by opening the board, by a head barista's mark."""

from __future__ import annotations

from datetime import UTC, datetime, timedelta
from decimal import Decimal
from random import Random

import pytest
from django.utils import timezone

from brewbar.crew.models import Role
from calibration import check_plans, duty
from calibration.models import CheckPlan, CheckRun, OnDuty, Reading
from tests import factories as make


class Lot:
    def __init__(self, drawn: float) -> None:
        self.drawn = drawn

    def random(self) -> float:
        return self.drawn


@pytest.fixture
def slot(db):
    return make.live_slot(make.cafe(time_zone="Europe/Lisbon"), at=timezone.now() - timedelta(days=60))


@pytest.fixture
def cafe(slot):
    return slot.board.cafe


@pytest.fixture
def plan(slot, cafe):
    return CheckPlan.objects.create(cafe=cafe, recipe=slot.card.recipe)


@pytest.fixture
def ana(cafe):
    return make.person(cafe=cafe, name="Ana")


def state_of(cafe, user, day=None, now=None):
    now = now or timezone.now()
    turns = duty.day_at(cafe, day or cafe.business_day(now), now)
    return next((turn.state for turn in turns if turn.person == user), None)


# --- coming on


def test_signing_in_puts_somebody_on_once_a_day(cafe, ana):
    for _time in range(2):
        make.signed_in(ana)
    (row,) = OnDuty.objects.all()
    assert (row.user, row.cafe, row.how) == (ana, cafe, OnDuty.How.SIGNED_IN)


def test_an_owner_signs_in_and_is_not_on(cafe):
    make.signed_in(make.person(Role.OWNER, cafe))
    assert not OnDuty.objects.exists()


def test_on_a_tablet_it_is_the_tablets_cafe(cafe, ana, slot):
    other = make.cafe(cafe.company)
    ana.memberships.create(company=cafe.company, cafe=other, role=Role.BARISTA)
    tablet, _key = make.tablet(slot.station)
    OnDuty.objects.all().delete()
    assert duty.signed_in(ana, tablet, timezone.now()).cafe == cafe


def test_with_roles_in_two_cafes_the_board_that_is_opened_tells(cafe, ana):
    ana.memberships.create(company=cafe.company, cafe=make.cafe(cafe.company), role=Role.BARISTA)
    client = make.signed_in(ana)
    assert not OnDuty.objects.exists()
    client.get("/board/")
    assert OnDuty.objects.get().cafe in [m.cafe for m in ana.memberships.all()]


def test_opening_the_board_the_next_day_is_enough_and_a_poll_is_not(cafe, ana):
    client = make.signed_in(ana)
    OnDuty.objects.all().delete()
    client.get("/board/", headers={"HX-Request": "true", "X-Poll": "yes"})
    assert not OnDuty.objects.exists()
    client.get("/board/")
    assert OnDuty.objects.get().user == ana


def test_a_shift_past_midnight_and_a_change_of_clocks_stay_on_their_day(cafe, ana):
    # Lisbon, 25 October 2026: at 02:00 summer time the clocks go back, and 01:30 comes twice.
    for at in ("2026-10-24T20:00", "2026-10-25T00:30", "2026-10-25T01:30", "2026-10-25T02:45"):
        duty.come(cafe, ana, datetime.fromisoformat(at).replace(tzinfo=UTC))
    assert [row.business_day.isoformat() for row in OnDuty.objects.all()] == ["2026-10-24"]


# --- the lot


def test_one_in_five_is_drawn_and_the_draw_stays(cafe, ana, plan):
    now = timezone.now()
    assert duty.come(cafe, ana, now, lots=Lot(0.19)).asked_twice
    duty.take_off(cafe, ana, now)
    duty.mark_on(cafe, ana, ana, now)
    assert duty.come(cafe, ana, now, lots=Lot(0.99)).asked_twice
    assert not duty.come(cafe, make.person(cafe=cafe), now, lots=Lot(0.2)).asked_twice


def test_the_share_of_many_draws_is_the_plans(cafe, ana, plan):
    lots, start = Random(7), datetime(2026, 1, 1, 12, tzinfo=UTC)
    drawn = sum(duty.come(cafe, ana, start + timedelta(days=n), lots=lots).asked_twice for n in range(300))
    # Binomial of 300 at 0.2: within four standard deviations of 60.
    assert abs(drawn - 60) < 4 * (300 * 0.2 * 0.8) ** 0.5


def test_without_a_check_recipe_or_a_share_nobody_is_drawn(cafe, ana, plan):
    now = timezone.now()
    plan.twice_share = Decimal(0)
    plan.save()
    assert not duty.come(cafe, ana, now, lots=Lot(0.0)).asked_twice
    CheckPlan.objects.all().delete()
    assert not duty.come(cafe, make.person(cafe=cafe), now, lots=Lot(0.0)).asked_twice


# --- what is due


def test_without_a_check_recipe_nothing_is_asked(cafe, ana):
    duty.come(cafe, ana, timezone.now())
    assert state_of(cafe, ana) == duty.UNASKED


def test_due_until_a_check_of_the_check_recipe_counts(cafe, ana, plan, slot):
    duty.come(cafe, ana, timezone.now(), lots=Lot(1))
    assert state_of(cafe, ana) == duty.DUE
    make.reading(slot, ana, kind=Reading.Kind.PRACTICE)
    make.reading(make.live_slot(cafe), ana)
    head = make.person(Role.HEAD, cafe)
    make.reading(slot, ana, voided_at=timezone.now(), voided_by=head, void_reason="spilt")
    assert state_of(cafe, ana) == duty.DUE
    make.reading(slot, ana, was_served=True)
    assert state_of(cafe, ana) == duty.DONE


def test_who_was_drawn_brews_once_more(cafe, ana, plan, slot):
    duty.come(cafe, ana, timezone.now(), lots=Lot(0))
    make.reading(slot, ana)
    assert state_of(cafe, ana) == duty.REPEAT
    make.reading(slot, ana, attempt=Reading.Attempt.REBREW)
    assert state_of(cafe, ana) == duty.REPEAT
    make.reading(slot, ana, attempt=Reading.Attempt.REPEAT)
    assert state_of(cafe, ana) == duty.DONE


def test_too_busy_is_allowed_and_undone_by_a_check(cafe, ana, plan, slot):
    now = timezone.now()
    duty.too_busy(cafe, ana, now, "a coach party")
    assert state_of(cafe, ana) == duty.BUSY
    duty.not_too_busy(cafe, ana, now)
    assert state_of(cafe, ana) == duty.DUE
    duty.too_busy(cafe, ana, now)
    make.reading(slot, ana)
    assert state_of(cafe, ana) in (duty.DONE, duty.REPEAT)


def test_a_longer_span_asks_every_third_day(cafe, ana, plan, slot):
    plan.every_days = 3
    plan.save()
    now = timezone.now()
    duty.come(cafe, ana, now, lots=Lot(1))
    make.reading(slot, ana, brewed_at=now - timedelta(days=3))
    assert state_of(cafe, ana) == duty.DUE
    make.reading(slot, ana, brewed_at=now - timedelta(days=2))
    assert state_of(cafe, ana) == duty.RESTING


def test_whoever_is_marked_off_is_not_due(cafe, ana, plan):
    now = timezone.now()
    duty.come(cafe, ana, now)
    assert duty.take_off(cafe, ana, now)
    assert state_of(cafe, ana) is None
    assert ana in duty.not_on(cafe, cafe.business_day(now))
    make.signed_in(ana)
    assert state_of(cafe, ana) is None, "signing in again undoes no mark"
    duty.mark_on(cafe, ana, ana, now)
    assert state_of(cafe, ana) == duty.DUE


def test_an_open_check_says_so(cafe, ana, plan, slot):
    now = timezone.now()
    duty.come(cafe, ana, now)
    CheckRun.objects.create(
        cafe=cafe,
        uuid="00000000-0000-4000-8000-000000000001",
        business_day=cafe.business_day(now),
        barista=ana,
        slot=slot,
        station=slot.station,
        opened_at=now,
    )
    assert state_of(cafe, ana) == duty.BREWING


# --- counted


def test_four_weeks_are_told(cafe, ana, plan, slot):
    now = timezone.now()
    head = make.person(Role.HEAD, cafe)
    for back in range(1, 6):
        duty.come(cafe, ana, now - timedelta(days=back), lots=Lot(0 if back < 3 else 1))
    make.reading(slot, ana, brewed_at=now - timedelta(days=1))
    make.reading(slot, ana, brewed_at=now - timedelta(days=1), attempt=Reading.Attempt.REPEAT)
    make.reading(slot, ana, brewed_at=now - timedelta(days=2))
    make.reading(slot, ana, brewed_at=now - timedelta(days=2), attempt=Reading.Attempt.REBREW)
    make.reading(
        slot,
        ana,
        brewed_at=now - timedelta(days=3),
        voided_at=now,
        voided_by=head,
        void_reason="spilt",
    )
    OnDuty.objects.filter(business_day=cafe.business_day(now - timedelta(days=4))).update(too_busy_at=now)
    told = duty.tally(cafe, *duty.last_weeks(cafe, now), now)
    assert (told.due, told.done, told.too_busy, told.missed) == (5, 2, 1, 2)
    assert (told.twice, told.repeats, told.rebrews, told.voids) == (2, 1, 1, 1)
    assert duty.tally(cafe, *duty.last_weeks(cafe, now), now, head).due == 0


def test_days_before_the_recipe_was_named_are_no_missed_checks(cafe, ana, slot):
    now = timezone.now()
    duty.come(cafe, ana, now - timedelta(days=1))
    head = make.person(Role.HEAD, cafe)
    check_plans.save(cafe, {"recipe": slot.card.recipe}, head, now)
    assert duty.tally(cafe, *duty.last_weeks(cafe, now), now).missed == 0
