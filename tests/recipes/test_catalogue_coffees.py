"""Coffees and their roast batches: the list, the page, what is written, and what becomes of a batch."""

from datetime import date, timedelta

import pytest
from django.urls import reverse
from django.utils import timezone

from brewbar.crew.models import Role
from recipes import catalogue
from recipes.models import Coffee, RoastBatch
from tests import factories as make

pytestmark = pytest.mark.django_db


@pytest.fixture
def cafe():
    return make.cafe(name="Harbour", day_turns_at=0)


@pytest.fixture
def head(cafe):
    return make.person(Role.HEAD, cafe)


@pytest.fixture
def client(head):
    return make.signed_in(head)


@pytest.fixture
def coffee(cafe):
    return make.coffee(cafe.company, name="Blue Pear", origin="Kenya", process="washed")


@pytest.fixture
def today(cafe):
    return timezone.localdate(timezone=cafe.zone)


def at(name, *args):
    return reverse(f"recipes:{name}", args=args)


def page(client, address, **query):
    answer = client.get(address, query)
    assert answer.status_code == 200
    return " ".join(answer.content.decode().split())


def test_a_coffee_is_added_edited_retired_and_brought_back(cafe, client):
    typed = {"name": " Blue  Pear", "origin": "Kenya", "roast_level": "light", "density_g_l": "720"}
    answer = client.post(at("coffee_new"), typed)
    coffee = Coffee.objects.get()
    assert answer.url == at("coffee", coffee.pk)
    assert (coffee.name, coffee.company, coffee.density_g_l) == ("Blue Pear", cafe.company, 720)
    client.post(at("coffee_edit", coffee.pk), typed | {"name": "Green Pear"})
    client.post(at("coffee_retire", coffee.pk))
    assert "Green Pear</a>" not in page(client, at("coffees"))
    assert "Green Pear</a>" in page(client, at("coffees"), retired="on")
    client.post(at("coffee_retire", coffee.pk), {"bring_back": "1"})
    assert "Green Pear</a>" in page(client, at("coffees"))


def test_the_list_tells_batches_days_recipes_and_the_board(cafe, head, client, coffee, today):
    batch = make.batch(coffee, label="BP 7", roasted_on=today - timedelta(days=12), opened_on=today)
    make.batch(coffee, label="BP 6", roasted_on=today - timedelta(days=40), used_up_on=today)
    recipe = make.recipe(cafe.company, coffee, by=head)
    make.recipe(cafe.company, coffee, by=head).retire()
    station = make.station(cafe, name="Window bar")
    make.live_slot(cafe, make.version(recipe), station, by=head, roast_batch=batch)
    html = page(client, at("coffees"))
    for said in (
        "BP 7",
        "12 days,",
        f"opened {today.day} ",
        "Window bar",
        '<td class="num" data-label="Recipes">1',
    ):
        assert said in html
    assert "BP 6" not in html


def test_the_list_is_searched(client, coffee, cafe):
    make.coffee(cafe.company, name="Red Quince", origin="Peru")
    for wanted in ("pear", "KENYA", "wash"):
        html = page(client, at("coffees"), q=wanted)
        assert "Blue Pear" in html
        assert "Red Quince" not in html
    assert "Nothing here has “zzz”" in page(client, at("coffees"), q="zzz")


def test_an_empty_list_says_where_to_begin(cafe, client):
    assert at("coffee_new") in page(client, at("coffees"))
    reader = make.signed_in(make.person(Role.BARISTA, cafe))
    assert at("coffee_new") not in page(reader, at("coffees"))


@pytest.mark.parametrize("role", [Role.BARISTA, Role.OWNER])
def test_baristas_and_owners_read_only(role, cafe, coffee):
    batch = make.batch(coffee)
    client = make.signed_in(make.person(role, cafe))
    html = page(client, at("coffee", coffee.pk))
    assert batch.label in html
    # what is left are the menu's: switching place, signing out
    assert at("batch_mark", batch.pk) not in html
    for name, row in (("coffee_edit", coffee), ("coffee_retire", coffee), ("batch_new", coffee)):
        assert client.post(at(name, row.pk), {"name": "Mine"}).status_code == 403
    for name in ("batch", "batch_mark", "batch_retire"):
        assert client.post(at(name, batch.pk), {"what": "opened_on"}).status_code == 403


def test_what_is_another_companys_is_not_there(client):
    stranger = make.coffee(make.company(), name="Stranger")
    batch = make.batch(stranger)
    for name, row in (
        ("coffee", stranger),
        ("coffee_edit", stranger),
        ("batch_new", stranger),
        ("batch", batch),
    ):
        assert client.get(at(name, row.pk)).status_code == 404
    for name, row in (
        ("coffee_retire", stranger),
        ("batch_mark", batch),
        ("batch_retire", batch),
        ("batch", batch),
    ):
        assert client.post(at(name, row.pk), {"what": "opened_on"}).status_code == 404
    assert "Stranger" not in page(client, at("coffees"))


def test_a_batch_stays_with_its_coffee_whatever_is_posted(client, coffee, today):
    stranger = make.coffee(make.company())
    client.post(at("batch_new", coffee.pk), {"label": "BP 1", "roasted_on": today, "coffee": stranger.pk})
    assert RoastBatch.objects.get().coffee == coffee


WRONG_DATES = [
    # which dates, in days from today; the field that is told, and a word of what is said
    ({"roasted_on": 1}, "roasted_on", "still to come"),
    ({"roasted_on": -9, "received_on": -10}, "received_on", "before it was roasted"),
    ({"roasted_on": -9, "opened_on": -10}, "opened_on", "before it was roasted"),
    ({"roasted_on": -9, "received_on": -5, "opened_on": -6}, "opened_on", "before it was received"),
    ({"roasted_on": -9, "frozen_on": -10}, "frozen_on", "before it was roasted"),
    ({"roasted_on": -9, "frozen_on": -5, "thawed_on": -6}, "thawed_on", "before it was frozen"),
    ({"roasted_on": -9, "thawed_on": -6}, "frozen_on", "when was it frozen"),
    ({"roasted_on": -9, "opened_on": -3, "used_up_on": -4}, "used_up_on", "before it was opened"),
    ({"roasted_on": -9, "opened_on": 2}, "opened_on", "still to come"),
    ({"roasted_on": -4000}, "roasted_on", "Check the year"),
]


@pytest.mark.parametrize(("days", "field", "said"), WRONG_DATES)
def test_dates_that_cannot_be_are_refused_beside_the_field(days, field, said, client, coffee, today):
    typed = {name: (today + timedelta(days=offset)).isoformat() for name, offset in days.items()}
    answer = client.post(at("batch_new", coffee.pk), {"label": "BP 1", **typed})
    assert answer.status_code == 422
    errors = answer.context["form"].errors
    assert list(errors) == [field]
    assert said in errors[field][0]
    for value in typed.values():
        assert f'value="{value}"' in answer.content.decode()
    assert not RoastBatch.objects.exists()


def test_every_date_may_be_today_and_a_label_is_given_once_a_coffee(cafe, client, coffee, today):
    typed = dict.fromkeys(catalogue.DATES, today) | {"label": "BP 1"}
    assert client.post(at("batch_new", coffee.pk), typed).status_code == 302
    again = client.post(at("batch_new", coffee.pk), typed | {"label": "bp 1"})
    assert again.context["form"].errors["label"] == ["BP 1 exists already."]
    other = make.coffee(cafe.company)
    assert client.post(at("batch_new", other.pk), typed).status_code == 302


@pytest.mark.parametrize(
    ("dates", "offered"),
    [
        ((), ["opened_on", "frozen_on", "used_up_on"]),
        (("opened_on",), ["frozen_on", "used_up_on"]),
        (("frozen_on",), ["thawed_on"]),
        (("frozen_on", "thawed_on"), ["opened_on", "used_up_on"]),
        (("opened_on", "frozen_on", "thawed_on"), ["used_up_on"]),
        (("opened_on", "used_up_on"), []),
    ],
)
def test_only_what_can_happen_next_is_offered_and_taken(dates, offered, client, coffee, today):
    batch = make.batch(coffee, roasted_on=today - timedelta(days=9), **dict.fromkeys(dates, today))
    assert catalogue.next_marks(batch) == offered
    for what in catalogue.MARKS:
        row = make.batch(coffee, roasted_on=today - timedelta(days=9), **dict.fromkeys(dates, today))
        client.post(at("batch_mark", row.pk), {"what": what})
        before = getattr(row, what)
        row.refresh_from_db()
        assert getattr(row, what) == (today if what in offered else before)


def test_a_mark_that_is_none_changes_nothing(client, coffee):
    batch = make.batch(coffee)
    client.post(at("batch_mark", batch.pk), {"what": "retired_at"})
    batch.refresh_from_db()
    assert batch.retired_at is None


def test_a_batch_is_not_marked_before_it_was_roasted(coffee):
    batch = make.batch(coffee, roasted_on=date(2026, 3, 2))
    with pytest.raises(catalogue.NotDone, match="before it was roasted"):
        catalogue.mark(batch, "opened_on", date(2026, 3, 1), make.person())


def test_a_batch_used_up_on_the_board_is_pointed_out(cafe, head, client, coffee, today):
    batch = make.batch(coffee, label="BP 7")
    slot = make.live_slot(
        cafe, make.version(make.recipe(cafe.company, coffee, by=head)), by=head, roast_batch=batch
    )
    client.post(at("batch_mark", batch.pk), {"what": "used_up_on"})
    html = page(client, at("coffee", coffee.pk))
    assert "BP 7 is used up, but the board still names it." in html
    assert at("slot", slot.pk) in html


def test_what_the_board_shows_cannot_be_retired_under_it(cafe, head, client, coffee):
    slot = make.live_slot(cafe, make.version(make.recipe(cafe.company, coffee, by=head)), by=head)
    for name, row in (("coffee_retire", coffee), ("batch_retire", slot.setting.roast_batch)):
        answer = client.post(at(name, row.pk), follow=True)
        assert "is on the board, or planned for it" in answer.content.decode()
        row.refresh_from_db()
        assert row.retired_at is None


def test_a_recipe_is_begun_from_its_coffee(client, coffee):
    assert f"{at('recipe_new')}?coffee={coffee.pk}" in page(client, at("coffee", coffee.pk))
    begun = client.get(at("recipe_new"), {"coffee": coffee.pk})
    assert f'<option value="{coffee.pk}" selected>' in begun.content.decode()


@pytest.mark.parametrize("amount", [1, 5])
def test_the_pages_ask_as_often_however_much_there_is(
    amount, cafe, head, client, coffee, django_assert_num_queries
):
    for _ in range(amount):
        recipe = make.recipe(cafe.company, coffee, by=head)
        make.live_slot(cafe, make.version(recipe), by=head)
        make.batch(make.coffee(cafe.company))
    # session, person, places; coffees, their batches, the live slots
    with django_assert_num_queries(6):
        page(client, at("coffees"))
    # session, person, places; the coffee, its batches, the live slots, its recipes
    with django_assert_num_queries(7):
        page(client, at("coffee", coffee.pk))
