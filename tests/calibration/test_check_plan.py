"""What a café asks: the recipe that may be a check, what is on record, what it costs, and how little would do."""

from __future__ import annotations

from datetime import date, timedelta
from decimal import Decimal

import pytest
from django.urls import reverse
from django.utils import timezone

from brewbar.crew.models import Change, Role
from calibration import check_plans, duty, schedule
from calibration.models import CheckPlan, OnDuty
from recipes.models import Pour
from tests import factories as make


@pytest.fixture
def slot(db):
    return make.live_slot(make.cafe(), at=timezone.now() - timedelta(days=60))


@pytest.fixture
def cafe(slot):
    return slot.board.cafe


@pytest.fixture
def head(cafe):
    return make.person(Role.HEAD, cafe)


@pytest.fixture
def client(head):
    return make.signed_in(head)


PATH = "/check/plan/"


def filled(client, **change):
    form = client.get(PATH).context["form"]
    said = {name: form[name].value() for name in form.fields if form[name].value() is not None}
    return said | change


def with_pattern(cafe, pattern):
    version = make.version(make.recipe(cafe.company))
    Pour.objects.filter(version=version, order=2).update(pattern=pattern)
    return make.live_slot(cafe, version)


# --- the recipe


@pytest.mark.parametrize("pattern", [Pour.Pattern.RISE_AND_FALL, Pour.Pattern.WALL])
def test_what_does_not_repeat_is_no_check_recipe(client, cafe, pattern):
    """R10, common practice, no source."""
    slot = with_pattern(cafe, pattern)
    answer = client.post(PATH, filled(client, recipe=slot.card.recipe_id, drops="4"))
    page = answer.content.decode()
    assert answer.status_code == 422
    assert "Pour 2 of version 1" in page
    assert 'value="4"' in page
    assert not CheckPlan.objects.exists()


def test_a_recipe_that_turned_so_later_is_told_about(client, cafe, slot):
    slot = with_pattern(cafe, Pour.Pattern.WALL)
    CheckPlan.objects.create(cafe=cafe, recipe=slot.card.recipe)
    assert "Pour 2 of version 1" in client.get(PATH).content.decode()
    assert "Pour 2 of version 1" in client.get("/check/").content.decode()


def test_it_is_what_the_board_has_that_counts(cafe, slot):
    newer = make.version(slot.card.recipe)
    Pour.objects.filter(version=newer, order=1).update(pattern=Pour.Pattern.WALL)
    newer.published_at, newer.published_by = timezone.now(), slot.planned_by
    newer.save()
    assert check_plans.standing_version(cafe, slot.card.recipe) == slot.version
    assert check_plans.trouble_with(cafe, slot.card.recipe) == ""
    slot.withdrawn_at, slot.withdrawn_by, slot.withdrawn_why = timezone.now(), slot.planned_by, "out"
    slot.save()
    assert check_plans.standing_version(cafe, slot.card.recipe) == newer


def test_a_recipe_of_another_company_or_without_a_version_is_no_choice(client, cafe):
    draft = make.version(make.recipe(cafe.company)).recipe
    stranger = make.live_slot(make.cafe()).card.recipe
    for recipe in (draft, stranger):
        assert client.post(PATH, filled(client, recipe=recipe.pk)).status_code == 422


def test_saving_is_on_record_and_names_the_day(client, cafe, slot, head):
    answer = client.post(
        PATH, filled(client, recipe=slot.card.recipe_id, twice_pct="25", coffee_price_kg="32,50")
    )
    assert answer["Location"] == PATH
    plan = CheckPlan.objects.get()
    assert (plan.twice_share, plan.coffee_price_kg) == (Decimal("0.25"), Decimal("32.50"))
    assert plan.recipe_since == cafe.business_day(timezone.now())
    client.post(PATH, filled(client, drops="3"))
    client.post(PATH, filled(client))
    changes = Change.objects.filter(about=Change.About.SETTING).order_by("pk")
    assert [change.after.get("drops of each brew") for change in changes] == ["2", "3"]
    assert (changes[1].before, changes[1].by) == ({"drops of each brew": "2"}, head)


@pytest.mark.parametrize(
    ("name", "value", "says"),
    [
        ("every_days", "0", ""),
        ("drops", "1", ""),
        ("drops", "6", ""),
        ("twice_pct", "101", ""),
        ("twice_pct", "a fifth", ""),
        ("false_alarms_a_month", "0", ""),
        ("smallest_tds", "0", ""),
        ("currency", "doubloons", "At most 4 characters"),
        ("coffee_price_kg", "-1", ""),
    ],
)
def test_what_cannot_be_is_told_beside_the_field(client, name, value, says):
    answer = client.post(PATH, filled(client, **{name: value}))
    assert answer.status_code == 422
    assert name in answer.context["form"].errors
    assert says in answer.content.decode()
    assert f'value="{value}"' in answer.content.decode()


def test_the_smallest_difference_is_half_the_tolerance_unless_it_is_said(cafe, slot):
    plan = CheckPlan(cafe=cafe, recipe=slot.card.recipe)
    small = check_plans.smallest(plan)
    assert (small.tds_pct, small.time_s, small.tds_is_half) == (Decimal("0.05"), 7.5, True)
    plan.smallest_tds, plan.smallest_time_s = Decimal("0.08"), 12
    small = check_plans.smallest(plan)
    assert (small.tds_pct, small.time_s, small.time_is_half) == (Decimal("0.08"), 12, False)
    nothing = check_plans.smallest(CheckPlan(cafe=make.cafe()))
    assert (nothing.tds_pct, nothing.time_s) == (None, None)


def test_without_brewing_twice_the_page_says_what_can_never_be_told(client, cafe, slot):
    CheckPlan.objects.create(cafe=cafe, recipe=slot.card.recipe, twice_share=0)
    for path in (PATH, "/check/"):
        assert "never be told from chance" in client.get(path).content.decode()


# --- what it costs


def on_for(cafe, user, days, now):
    for back in days:
        at = now - timedelta(days=back)
        OnDuty.objects.create(
            cafe=cafe, user=user, business_day=cafe.business_day(at), since=at, how="signed-in"
        )


def test_a_month_is_counted_from_who_was_on(cafe, slot):
    now = timezone.now()
    for _person in range(2):
        on_for(cafe, make.person(cafe=cafe), range(1, 29), now)
    plan = CheckPlan.objects.create(
        cafe=cafe, recipe=slot.card.recipe, coffee_price_kg=40, twice_share=Decimal("0.2")
    )
    there = schedule.presence(plan, now)
    cost = schedule.cost(plan, there, dose_g=15, served=0.25)
    # By hand: 2 people × 30.4 days × 1.2 checks; three quarters of them cost 15 g; 6 minutes each; 40 a kilogram.
    assert cost.checks == pytest.approx(72.96)
    assert cost.coffee_g == pytest.approx(820.8)
    assert cost.minutes == pytest.approx(437.76)
    assert cost.money == Decimal("32.83")


@pytest.mark.parametrize(("every_days", "owed"), [(1, 5), (2, 3), (7, 1)])
def test_how_many_checks_somebody_owes(every_days, owed):
    days = [date(2026, 3, day) for day in (2, 3, 4, 6, 7)]
    assert schedule.checks_in(days, every_days) == owed


def test_days_on_which_somebody_was_marked_off_cost_nothing(cafe, slot):
    now = timezone.now()
    ana = make.person(cafe=cafe)
    on_for(cafe, ana, range(1, 11), now)
    OnDuty.objects.filter(business_day=cafe.business_day(now - timedelta(days=3))).update(off_since=now)
    plan = CheckPlan.objects.create(cafe=cafe, recipe=slot.card.recipe)
    assert len(schedule.presence(plan, now).of_each[ana.pk]) == 9


def test_a_few_days_are_too_few_to_reckon_a_month_from(client, cafe, slot):
    CheckPlan.objects.create(cafe=cafe, recipe=slot.card.recipe)
    on_for(cafe, make.person(cafe=cafe), (1, 2), timezone.now())
    assert "Only 2 days" in client.get(PATH).content.decode()


# --- how little would do


def there(shifts):
    days = [date(2026, 3, 1) + timedelta(days=n) for n in shifts]
    return schedule.Presence({1: days}, 28)


def needed(n):
    return (schedule.Needed("tds", 0.05, 0.04, True, n),)


def test_the_longest_span_that_still_gives_enough_brews():
    found = schedule.smallest_schedule(there(range(28)), needed(7))
    assert found.every_days == 4
    assert schedule.checks_in(there(range(28)).of_each[1], 4) == 7
    assert schedule.checks_in(there(range(28)).of_each[1], 5) < 7


def test_where_traffic_is_low_it_takes_weeks():
    found = schedule.smallest_schedule(there(range(0, 28, 7)), needed(9))
    assert (found.every_days, found.weeks) == (None, 9)


def test_a_difference_that_no_number_shows():
    assert schedule.smallest_schedule(there(range(28)), needed(None)).n is None


def test_brews_needed_by_the_textbook(cafe, slot):
    """n = ((z₀.₉₇₅ + z₀.₉) σ/δ)², 1.96 and 1.2816 from any table of the normal: σ 0.04, δ 0.05 give 6.72."""
    plan = CheckPlan.objects.create(cafe=cafe, recipe=slot.card.recipe)
    tds, time = schedule.needed(plan, timezone.now())
    assert (tds.n, tds.is_usual) == (7, True)
    # σ 6 s, δ 7.5 s: the same ratio
    assert time.n == 7


def test_the_crews_own_spread_is_taken_once_it_is_known(cafe, slot):
    now = timezone.now()
    plan = CheckPlan.objects.create(cafe=cafe, recipe=slot.card.recipe)
    crew = [make.person(cafe=cafe) for _n in range(3)]
    for back in range(1, 10):
        for place, person in enumerate(crew):
            # A day's and a person's own level, and a swing of 0.02 that neither explains.
            level = 1.30 + 0.01 * back + 0.03 * place + 0.02 * (-1) ** (back + place)
            drops = (f"{level:.2f}", f"{level:.2f}")
            make.reading(slot, person, drops, brewed_at=now - timedelta(days=back))
    tds, _time = schedule.crew_spreads(plan, now)
    assert tds is not None
    assert 0.01 < tds.sd < 0.03
    assert not schedule.needed(plan, now)[0].is_usual


def test_the_page_does_not_query_by_day_or_person(client, cafe, slot, django_assert_max_num_queries):
    CheckPlan.objects.create(cafe=cafe, recipe=slot.card.recipe)
    now = timezone.now()
    for _n in range(6):
        on_for(cafe, make.person(cafe=cafe), range(1, 15), now)
    with django_assert_max_num_queries(40) as few:
        client.get(PATH)
    for _n in range(6):
        on_for(cafe, make.person(cafe=cafe), range(1, 15), now)
    with django_assert_max_num_queries(len(few.captured_queries)):
        assert client.get(reverse("calibration:check_plan")).status_code == 200
    assert duty.tally(cafe, *duty.last_weeks(cafe, now), now).missed == 168
