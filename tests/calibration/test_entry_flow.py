"""The entry page: one form, nothing typed is lost, nothing is saved twice."""

from __future__ import annotations

import re
from datetime import timedelta
from uuid import uuid4

import pytest
from django.urls import reverse
from django.utils import timezone

from brewbar.crew.models import Role
from calibration.models import Reading
from tests import factories as make


@pytest.fixture
def slot(db):
    slot = make.live_slot(make.cafe(), at=timezone.now() - timedelta(days=5))
    make.refractometer(slot.board.cafe)
    make.server(slot.board.cafe, tare_g="312.4")
    return slot


@pytest.fixture
def barista(slot):
    return make.person(cafe=slot.board.cafe)


@pytest.fixture
def client(barista):
    return make.signed_in(barista)


def path_of(slot, *printed):
    return reverse("calibration:code", args=[slot.card.code, *printed])


def typed(client, slot, **change):
    """What the page's own form holds, with the four things that are typed."""
    form = client.get(path_of(slot)).context["form"]
    said = {name: form[name].value() for name in form.fields if form[name].value() is not None}
    # A browser sends the only choice of a select without being asked.
    said.setdefault("refractometer", slot.board.cafe.refractometers.get().pk)
    four = {"weight_g": "532,4", "minutes": "2", "seconds": "45", "drop_1": "1,40", "drop_2": "1.41"}
    return said | {"slot": slot.pk} | four | change


def test_four_things_are_enough(client, slot, barista):
    answer = client.post(path_of(slot), typed(client, slot))
    reading = Reading.objects.get()
    assert answer["Location"] == reverse("calibration:reading", args=[reading.uuid])
    assert (float(reading.tds), reading.brew_time_s, float(reading.beverage_g)) == (1.405, 165, 220.0)
    assert (reading.barista, reading.entered_by, reading.slot) == (barista, barista, slot)
    assert (reading.kettle, reading.grind_setting) == (slot.kettle, slot.setting.grind_setting)


def test_the_beverage_is_never_filled_in_beforehand(client, slot):
    client.post(path_of(slot), typed(client, slot))
    form = client.get(path_of(slot)).context["form"]
    for name in ("weight_g", "minutes", "seconds", "drop_1", "drop_2"):
        assert not form[name].value()


def test_what_is_wrong_is_told_beside_the_field_and_stays_typed(client, slot):
    answer = client.post(path_of(slot), typed(client, slot, weight_g="12,5", drop_1="1.4.0", seconds="75"))
    page = answer.content.decode()
    assert answer.status_code == 422
    for kept in ('value="12,5"', 'value="1.4.0"', 'value="75"', 'value="1.41"'):
        assert kept in page
    assert page.count('aria-invalid="true"') >= 2
    assert not Reading.objects.exists()


def test_one_more_drop_keeps_everything_without_a_script(client, slot):
    said = typed(client, slot, more="1", drop_1="not yet")
    page = client.post(path_of(slot), said).content.decode()
    assert 'name="drop_3"' in page
    assert 'value="not yet"' in page
    assert 'value="532,4"' in page


def test_five_drops_at_most(client, slot):
    said = typed(client, slot, drop_3="1.40", drop_4="1.41", drop_5="1.40")
    assert client.post(path_of(slot), said).status_code == 302
    assert Reading.objects.get().drops.count() == 5


def test_drops_that_disagree_are_asked_about_and_then_saved(client, slot):
    said = typed(client, slot, drop_2="1.52")
    page = client.post(path_of(slot), said)
    assert page.status_code == 422
    text = page.content.decode()
    assert "one more drop" in text
    assert 'name="drop_3"' in text
    assert 'value="1.52"' in text
    name = re.search(r'name="(no_more_drops)"', text)
    assert name
    assert client.post(path_of(slot), said | {"no_more_drops": "1"}).status_code == 302


def test_the_improbable_is_asked_once_and_nothing_is_typed_again(client, slot):
    said = typed(client, slot, minutes="5")
    page = client.post(path_of(slot), said)
    assert page.status_code == 422
    question = page.context["question"]
    assert [doubt.key for doubt in question.doubts] == ["time:345"]
    assert client.post(path_of(slot), said | {"sure": question.keys}).status_code == 302


def test_rinse_water_is_asked_about_and_marked(client, slot):
    said = typed(client, slot, weight_g="572.4")
    page = client.post(path_of(slot), said)
    assert page.status_code == 422
    assert page.context["question"].rinse_water
    keys = page.context["question"].keys
    answer = client.post(path_of(slot), said | {"sure": keys, "rinse_left_in": "yes"}, follow=True)
    assert Reading.objects.get().rinse_left_in is True
    assert "Rinse water left in" in answer.content.decode()


def test_not_weighed_is_estimated_and_marked(client, slot):
    said = typed(client, slot, beverage_source="estimated", weight_g="")
    answer = client.post(path_of(slot), said, follow=True)
    assert Reading.objects.get().beverage_source == "estimated"
    assert "Not weighed" in answer.content.decode()


def test_a_double_tap_a_reload_or_a_lost_answer_never_makes_two(client, slot):
    said = typed(client, slot)
    first, second = client.post(path_of(slot), said), client.post(path_of(slot), said)
    assert first["Location"] == second["Location"]
    assert Reading.objects.count() == 1


def test_the_same_form_with_something_else_in_it_is_refused_and_kept(client, slot):
    said = typed(client, slot)
    client.post(path_of(slot), said)
    answer = client.post(path_of(slot), said | {"drop_1": "1.39"})
    assert answer.status_code == 409
    page = answer.content.decode()
    assert 'value="1.39"' in page
    assert said["uuid"] not in re.findall(r'name="uuid" value="([^"]+)"', page)
    assert Reading.objects.count() == 1
    assert "This page was saved before" in page
    assert reverse("calibration:reading", args=[said["uuid"]]) in page
    another = dict(answer.context["form"].data.items())
    assert client.post(path_of(slot), another).status_code == 302
    assert Reading.objects.count() == 2


def test_a_uuid_that_stands_for_somebody_elses_brew_shows_nothing_of_it(client, slot):
    theirs = make.reading(slot, make.person(cafe=slot.board.cafe), ("1.77", "1.77"))
    answer = client.post(path_of(slot), typed(client, slot, uuid=theirs.uuid))
    assert answer.status_code == 409
    assert "1.77" not in answer.content.decode()


def test_what_is_missing_is_told_all_at_once(client, slot):
    nothing = {"weight_g": "", "minutes": "", "seconds": "", "drop_1": "", "drop_2": ""}
    form = client.post(path_of(slot), typed(client, slot, **nothing)).context["form"]
    assert set(form.errors) == {"weight_g", "minutes", "drop_1", "drop_2"}


@pytest.mark.parametrize(
    ("minutes", "seconds", "brew_time_s"),
    [
        ("2", "45", 165),
        ("2", "5", 125),
        ("2:45", "", 165),
        ("", "165", 165),
        ("", "2:45", 165),
        ("3", "00", 180),
    ],
)
def test_a_brew_time_in_two_parts_or_one(client, slot, minutes, seconds, brew_time_s):
    said = typed(client, slot, minutes=minutes, seconds=seconds)
    client.post(path_of(slot), said)
    assert Reading.objects.get().brew_time_s == brew_time_s


@pytest.mark.parametrize(
    ("minutes", "seconds", "where"),
    [("2", "75", "seconds"), ("2", "", "seconds"), ("2.45", "10", "minutes"), ("", "two", "seconds")],
)
def test_a_brew_time_that_cannot_be_read_is_told_where_it_stands(client, slot, minutes, seconds, where):
    form = client.post(path_of(slot), typed(client, slot, minutes=minutes, seconds=seconds)).context["form"]
    assert list(form.errors) == [where]


def test_who_passes_over_the_question_about_rinse_water_is_asked_beside_it(client, slot):
    said = typed(client, slot, weight_g="572.4")
    first = client.post(path_of(slot), said)
    keys = first.context["question"].keys
    assert "rinse_left_in" not in first.context["form"].errors
    again = client.post(path_of(slot), said | {"sure": keys, "rinse_asked": "yes"})
    assert again.status_code == 422
    assert "rinse_left_in" in again.context["form"].errors


def test_a_head_barista_enters_for_anyone_and_it_says_so(slot, barista):
    client = make.signed_in(make.person(Role.HEAD, slot.board.cafe, name="Hana Head"))
    answer = client.post(path_of(slot), typed(client, slot, barista=barista.pk), follow=True)
    assert Reading.objects.get().barista == barista
    assert "Entered by Hana Head" in answer.content.decode()


def test_a_barista_cannot_enter_for_somebody_else(client, slot, barista):
    other = make.person(cafe=slot.board.cafe)
    client.post(path_of(slot), typed(client, slot, barista=other.pk))
    assert Reading.objects.get().barista == barista


@pytest.mark.parametrize("field", ["kettle", "grinder", "server", "refractometer", "roast_batch", "barista"])
@pytest.mark.parametrize("same_company", [True, False])
def test_rows_of_another_place_are_no_choice(slot, field, same_company):
    there = make.cafe(slot.board.cafe.company if same_company else None)
    foreign = {
        "roast_batch": lambda: make.batch(make.coffee(there.company)),
        "barista": lambda: make.person(cafe=there),
    }.get(field, lambda: getattr(make, field)(there))()
    client = make.signed_in(make.person(Role.HEAD, slot.board.cafe))
    answer = client.post(path_of(slot), typed(client, slot, **{field: foreign.pk}))
    assert answer.status_code == 422
    assert not Reading.objects.exists()


def test_an_owner_sees_the_card_and_enters_nothing(slot):
    owner = make.signed_in(make.person(Role.OWNER, slot.board.cafe))
    page = owner.get(path_of(slot))
    assert page.status_code == 200
    assert 'name="drop_1"' not in page.content.decode()
    assert owner.post(path_of(slot), {"uuid": uuid4()}).status_code == 403


def test_an_old_card_is_told_first(client, slot):
    newer = make.version(slot.version.recipe, published=True, what_changed="Finer", why="It ran fast")
    slot.withdrawn_at, slot.withdrawn_by = timezone.now(), slot.published_by
    slot.save()
    make.live_slot(slot.board.cafe, newer, slot.station)
    page = client.get(path_of(slot, 1)).content.decode()
    page = page[page.index("<main") :]
    assert page.index("This card says version 1") < page.index("<h1>")
    assert "It ran fast" in page
    assert "This card says" not in client.get(path_of(slot, 2)).content.decode()


def test_a_recipe_that_left_its_station_says_what_is_there(client, slot):
    other = make.live_slot(slot.board.cafe, station=slot.station)
    slot.withdrawn_at, slot.withdrawn_by = timezone.now(), slot.published_by
    slot.save()
    page = client.get(path_of(slot)).content.decode()
    assert other.version.recipe.name in page
    assert 'name="drop_1"' not in page


@pytest.mark.parametrize(
    "how", [str.lower, lambda code: f" {code[:2]}-{code[2:]} ", lambda code: f"http://x/c/{code}/1/"]
)
def test_a_code_is_found_however_it_is_typed(client, slot, how):
    assert slot.card.code in client.get("/c/", {"code": how(slot.card.code)})["Location"]


def test_an_unknown_code_is_told_kindly(client):
    page = client.get("/c/", {"code": "77777"})
    assert page.status_code == 404
    assert 'value="77777"' in page.content.decode()


def test_without_a_refractometer_the_page_says_who_can_help(db):
    slot = make.live_slot(make.cafe())
    barista = make.signed_in(make.person(cafe=slot.board.cafe)).get(path_of(slot)).content.decode()
    head = make.signed_in(make.person(Role.HEAD, slot.board.cafe)).get(path_of(slot)).content.decode()
    assert "No refractometer" in barista
    assert reverse("calibration:instruments") in head[head.index("<main") :]


def test_the_page_costs_few_queries(client, slot, django_assert_max_num_queries):
    with django_assert_max_num_queries(15):
        client.get(path_of(slot))
