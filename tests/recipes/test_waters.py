"""Which water the bar brews with: one at a time, by a press, known for any moment in the past too."""

from datetime import timedelta

import pytest
from django.db import IntegrityError, transaction
from django.urls import reverse
from django.utils import timezone

from brewbar.crew.models import Change, Role
from recipes import catalogue, happenings
from recipes.models import BarEvent, BrewWater
from tests import factories as make

NOW = timezone.now()


@pytest.fixture
def cafe(db):
    return make.cafe()


@pytest.fixture
def head(cafe):
    return make.person(Role.HEAD, cafe)


@pytest.fixture
def client(head):
    return make.signed_in(head)


@pytest.fixture
def tap(cafe):
    return make.water(cafe, name="Tap")


@pytest.fixture
def spring(cafe):
    return make.water(cafe, name="Spring")


def at(name, *args):
    return reverse(f"recipes:{name}", args=args)


def in_use(cafe):
    return [water.name for water in BrewWater.objects.filter(cafe=cafe, in_use_since__isnull=False)]


def test_the_form_says_the_unit_and_how_to_come_to_it(client):
    html = client.get(at("water_new")).content.decode()
    assert "Total hardness, as CaCO3" in html
    assert "1 °dH is 17.85 mg/L" in html


def test_one_press_and_the_bar_brews_with_it_from_now_on(cafe, head, client, tap, spring):
    for water in (tap, spring):
        assert client.post(at("water_use", water.pk)).url == at("water", water.pk)
        assert in_use(cafe) == [water.name]
    event = BarEvent.objects.first()
    assert (event.kind, event.thing, event.noted_by) == ("water", spring, head)
    spring.refresh_from_db()
    assert spring.in_use_since == event.happened_at
    assert Change.objects.first().subject == "other water: Spring"
    html = client.get(at("equipment")).content.decode()
    assert html.count("now, since") == 1
    assert "The bar brews with this" in client.get(at("water", spring.pk)).content.decode()


def test_a_second_press_says_nothing_new(cafe, head, tap):
    happenings.brew_with(tap, head, NOW)
    happenings.brew_with(tap, head, NOW + timedelta(minutes=1))
    assert BarEvent.objects.count() == 1


def test_each_cafe_has_its_own(cafe, head, client, tap):
    next_door = make.water(make.cafe(cafe.company), name="Next door")
    assert client.post(at("water_use", next_door.pk)).status_code == 404
    happenings.brew_with(next_door, head, NOW)
    happenings.brew_with(tap, head, NOW)
    assert (in_use(cafe), in_use(next_door.cafe)) == (["Tap"], ["Next door"])


def test_what_is_in_use_is_not_retired_and_what_is_retired_not_used(cafe, head, client, tap, spring):
    happenings.brew_with(tap, head, NOW)
    answer = client.post(at("water_retire", tap.pk), follow=True).content.decode()
    assert "The bar brews with Tap now. Say first what it brews with instead." in answer
    catalogue.retire(spring, head)
    answer = client.post(at("water_use", spring.pk), follow=True).content.decode()
    assert "The bar would brew with Spring, which is retired." in answer
    assert in_use(cafe) == ["Tap"]
    assert BarEvent.objects.count() == 1
    with pytest.raises(IntegrityError), transaction.atomic():
        BrewWater.objects.filter(pk=tap.pk).update(retired_at=NOW)


def test_it_is_known_for_any_moment_since_somebody_said_so(cafe, head, tap, spring):
    monday, tuesday = NOW - timedelta(days=2), NOW - timedelta(days=1)
    # Said in the wrong order: the change of Monday was forgotten until now.
    happenings.add(cafe, "water", tuesday, head, NOW, spring)
    happenings.add(cafe, "water", monday, head, NOW, tap)
    assert in_use(cafe) == ["Spring"]
    seen = [happenings.water_at(cafe, moment) for moment in (monday - timedelta(1), monday, tuesday, NOW)]
    assert seen == [None, tap, spring, spring]


def test_taking_back_a_change_of_water_goes_back_to_the_one_before(cafe, head, tap, spring):
    happenings.brew_with(tap, head, NOW - timedelta(hours=2))
    happenings.brew_with(spring, head, NOW - timedelta(hours=1))
    happenings.take_back(BarEvent.objects.first(), head, NOW)
    assert in_use(cafe) == ["Tap"]
    assert happenings.water_at(cafe, NOW) == tap
    happenings.take_back(BarEvent.objects.get(taken_back_at=None), head, NOW)
    assert in_use(cafe) == []
    assert happenings.water_at(cafe, NOW) is None


def test_not_back_to_a_water_that_is_retired(cafe, head, client, tap, spring):
    happenings.brew_with(tap, head, NOW - timedelta(hours=2))
    happenings.brew_with(spring, head, NOW - timedelta(hours=1))
    catalogue.retire(tap, head)
    newest = BarEvent.objects.first()
    answer = client.post(at("event_take_back", newest.pk), follow=True).content.decode()
    assert "The bar would brew with Tap, which is retired." in answer
    newest.refresh_from_db()
    assert newest.taken_back_at is None
    assert in_use(cafe) == ["Spring"]
