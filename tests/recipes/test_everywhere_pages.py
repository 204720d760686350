"""Publishing in several cafés as a page: who gets it, what is asked in each café, what is kept when refused."""

from __future__ import annotations

from typing import Any

import pytest
from django.db import connection
from django.test import Client
from django.test.utils import CaptureQueriesContext
from django.urls import reverse
from django.utils import timezone

from brewbar.crew.models import Role
from recipes import turns
from recipes.models import Slot
from tests import factories as make
from tests.recipes.test_everywhere import Two, heads


@pytest.fixture
def two(db) -> Two:
    return Two()


def path(two: Two) -> str:
    return reverse("recipes:version_everywhere", args=[two.draft.pk])


def looked(two: Two, client: Client, *chosen: Any, **more: Any) -> dict[str, Any]:
    """What the page would send with the boxes of ``chosen`` ticked."""
    rows = client.get(path(two)).context["cafes"]
    seen = {f"{row.form.prefix}-seen": row.there.mark for row in rows}
    return seen | {f"cafe-{cafe.pk}-chosen": "on" for cafe in chosen} | more


def at_the_yard(two: Two, **fields: Any) -> dict[str, Any]:
    new = vars(two.new(two.yard)) | fields
    return {f"cafe-{two.yard.pk}-{name}": getattr(value, "pk", value) for name, value in new.items()}


def test_one_confirmation_for_all_that_were_chosen(two):
    client = make.signed_in(two.head)
    more = at_the_yard(two)
    answer = client.post(path(two), looked(two, client, two.quay, two.peak, two.yard, **more), follow=True)
    assert answer.redirect_chain[0][0] == reverse("recipes:version", args=[two.draft.pk])
    assert "version 2 is live in Quay, Peak and Yard." in answer.content.decode()
    assert [two.versions(cafe) for cafe in (two.quay, two.peak, two.yard)] == [{two.draft}] * 3


def test_a_second_tap_says_that_it_stands(two):
    client = make.signed_in(two.head)
    sent = looked(two, client, two.quay, two.peak)
    client.post(path(two), sent)
    slots = Slot.objects.count()
    answer = client.post(path(two), sent, follow=True)
    assert "already: nothing was changed" in answer.content.decode()
    assert Slot.objects.count() == slots


def test_a_second_tap_where_it_was_new_says_that_it_stands(two):
    client = make.signed_in(two.head)
    sent = looked(two, client, two.yard, **at_the_yard(two))
    client.post(path(two), sent)
    assert "already: nothing was changed" in client.post(path(two), sent, follow=True).content.decode()


def test_nothing_chosen_is_said(two):
    client = make.signed_in(two.head)
    answer = client.post(path(two), looked(two, client))
    assert answer.status_code == 422
    assert "Choose at least one café." in answer.content.decode()


def test_what_is_missing_is_said_beside_the_field_and_the_rest_stays(two):
    client = make.signed_in(two.head)
    more = at_the_yard(two, grind_setting="", kettle="")
    answer = client.post(path(two), looked(two, client, two.quay, two.yard, **more))
    assert answer.status_code == 422
    rows = {row.there.cafe: row.form for row in answer.context["cafes"]}
    assert set(rows[two.yard].errors) == {"grind_setting", "kettle"}
    page = answer.content.decode()
    assert f'<option value="{more[f"cafe-{two.yard.pk}-station"]}" selected>' in page
    assert rows[two.quay].is_chosen
    assert two.versions(two.quay) == {two.live[0].version}


def test_a_cafe_that_is_not_chosen_need_not_be_filled_in_and_keeps_what_was(two):
    client = make.signed_in(two.head)
    more = at_the_yard(two, grind_setting="", kettle="")
    assert client.post(path(two), looked(two, client, two.quay, **more)).status_code == 302
    more[f"cafe-{two.yard.pk}-grind_setting"] = "11.5"
    answer = client.post(path(two), looked(two, client, **more))
    assert 'value="11.5"' in answer.content.decode()


def test_when_a_board_moved_what_was_chosen_stays_and_goes_through_the_second_time(two):
    client = make.signed_in(two.head)
    more = at_the_yard(two, grind_setting="11.5")
    sent = looked(two, client, two.quay, two.peak, two.yard, **more)
    turns.show(two.live[1].board)
    answer = client.post(path(two), sent)
    assert answer.status_code == 422
    page = answer.content.decode()
    assert "The board or the plan of Peak has changed since you looked." in page
    assert two.versions(two.quay) == {two.live[0].version}
    assert 'value="11.5"' in page
    rows = answer.context["cafes"]
    assert all(row.form.is_chosen for row in rows)
    sent |= {f"{row.form.prefix}-seen": row.there.mark for row in rows}
    assert client.post(path(two), sent).status_code == 302
    assert two.versions(two.yard) == {two.draft}


def test_a_cafe_that_is_not_ready_says_why_and_cannot_be_chosen(two):
    two.live[1].setting.roast_batch.retire()
    client = make.signed_in(two.head)
    page = client.get(path(two)).content.decode()
    assert "is used up" in page
    assert f'name="cafe-{two.peak.pk}-chosen"' not in page
    answer = client.post(path(two), looked(two, client, two.quay, two.peak))
    assert answer.status_code == 422
    assert "It is not ready for Peak" in answer.content.decode()
    assert two.versions(two.quay) == {two.live[0].version}


def test_what_a_cafe_lacks_is_said(two):
    page = make.signed_in(two.head).get(path(two)).content.decode()
    assert "Something is missing there to brew it" in page
    assert "a station" in page


def test_a_head_of_one_cafe_reads_a_plain_sentence_and_finds_no_link(two):
    other = make.person(Role.HEAD, two.quay)
    client = make.signed_in(other)
    answer = client.get(path(two))
    assert answer.status_code == 200
    page = answer.content.decode()
    assert "You are head barista of one café, Quay." in page
    assert "Peak" not in page
    version = reverse("recipes:version", args=[two.draft.pk])
    assert path(two) not in client.get(version).content.decode()
    assert path(two) in make.signed_in(two.head).get(version).content.decode()
    client.post(path(two), {f"cafe-{two.quay.pk}-chosen": "on"})
    assert two.versions(two.quay) == {two.live[0].version}


def test_cafes_that_one_does_not_head_are_neither_shown_nor_touched(two):
    other = make.person(Role.HEAD, two.quay)
    heads(other, two.yard, make.cafe(name="Abroad"))
    client = make.signed_in(other)
    answer = client.get(path(two))
    assert "Peak" not in answer.content.decode()
    assert [row.there.cafe for row in answer.context["cafes"]] == [two.quay, two.yard]
    mark = two.there(two.peak).mark
    sent = {f"cafe-{two.peak.pk}-chosen": "on", f"cafe-{two.peak.pk}-seen": mark}
    client.post(path(two), looked(two, client, two.quay) | sent)
    assert two.versions(two.quay) == {two.draft}
    assert two.versions(two.peak) == {two.live[1].version}


def test_a_place_where_one_is_a_barista_does_not_open_it(two):
    two.head.memberships.filter(cafe=two.quay).update(role=Role.BARISTA)
    client = make.signed_in(two.head)
    at_quay = next(m for m in two.head.memberships.all() if m.cafe == two.quay)
    client.post(reverse("crew:switch_place"), {"place": f"{at_quay.pk}-{two.quay.pk}"})
    assert client.get(path(two)).status_code == 403


def test_a_pin_opens_nothing_of_it(two):
    tablet, key = make.tablet(make.station(two.quay), by=two.head)
    client = make.signed_in_by_pin(tablet, key, two.head)
    assert client.get(path(two)).status_code == 403
    assert client.post(path(two), {f"cafe-{two.quay.pk}-chosen": "on"}).status_code == 403
    assert two.versions(two.quay) == {two.live[0].version}


def test_what_is_usual_is_suggested_where_it_stood_before(two):
    """It stood in the yard until yesterday: the same station, batch, grinder, setting and kettle."""
    before = make.live_slot(two.yard, two.live[0].version, by=two.head, grind_setting="31")
    Slot.objects.filter(pk=before.pk).update(
        withdrawn_at=timezone.now(), withdrawn_by=two.head, withdrawn_why="sold out"
    )
    make.station(two.yard)
    answer = make.signed_in(two.head).get(path(two))
    row = next(row for row in answer.context["cafes"] if row.there.cafe == two.yard)
    assert row.is_ready
    assert row.form.new.station == before.station
    assert (row.form.new.grind_setting, row.form.new.kettle) == ("31", before.kettle)


def test_queries_do_not_grow_with_what_else_is_on_the_boards(two, django_assert_num_queries):
    client = make.signed_in(two.head)
    client.get(path(two))
    with CaptureQueriesContext(connection) as before:
        client.get(path(two))
    for _ in range(3):
        make.live_slot(two.quay, by=two.head)
        make.planned_slot(two.peak, by=two.head)
    with django_assert_num_queries(len(before)):
        client.get(path(two))
