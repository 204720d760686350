"""Grinders beside one another: written down, taken back, and used where one recipe is brewed at two stations."""

from datetime import timedelta

import pytest
from django.db import IntegrityError, transaction
from django.urls import reverse
from django.utils import timezone

from brewbar.crew.models import Change, Role
from recipes import cards, catalogue, matches, planning
from recipes.models import BarEvent, GrinderMatch
from tests import factories as make

pytestmark = pytest.mark.django_db


@pytest.fixture
def cafe():
    return make.cafe()


@pytest.fixture
def head(cafe):
    return make.person(Role.HEAD, cafe, name="Inés Faro")


@pytest.fixture
def client(head):
    return make.signed_in(head)


@pytest.fixture
def quern(cafe):
    return make.grinder(cafe, name="The Quern")


@pytest.fixture
def nutmeg(cafe):
    return make.grinder(cafe, name="The Nutmeg")


@pytest.fixture
def two(cafe, head, quern, nutmeg):
    """One recipe live at two stations, each with a grinder of its own: at 24, and at 21."""
    version = make.version(make.recipe(cafe.company, by=head))
    batch = make.batch(version.recipe.coffee)
    return [
        make.live_slot(
            cafe,
            version,
            make.station(cafe, name=name),
            by=head,
            roast_batch=batch,
            grinder=grinder,
            grind_setting=setting,
        )
        for name, grinder, setting in (("Window", quern, "24"), ("Quay", nutmeg, "21"))
    ]


def at(name, *args):
    return reverse(f"recipes:{name}", args=args)


def typed(quern, nutmeg, **other):
    return {"grinder": quern.pk, "setting": "24", "other": nutmeg.pk, "other_setting": "22"} | other


def test_two_settings_are_written_down_and_taken_back(client, head, cafe, quern, nutmeg):
    assert client.post(at("match_new"), typed(quern, nutmeg, note="by time")).url == at("matches")
    match = GrinderMatch.objects.get()
    assert (match.cafe, match.found_by, match.note) == (cafe, head, "by time")
    for page in (at("matches"), at("grinder", quern.pk), at("grinder", nutmeg.pk)):
        assert "24 = 22" in client.get(page).content.decode()
    client.post(at("match_take_back", match.pk))
    assert matches.standing(cafe) == []
    assert "1 taken back" in client.get(at("matches")).content.decode()
    again = client.post(at("match_take_back", match.pk), follow=True).content.decode()
    assert "This was taken back already." in again
    assert [change.what for change in Change.objects.order_by("pk")] == ["found to grind alike", "taken back"]
    with pytest.raises(IntegrityError), transaction.atomic():
        GrinderMatch.objects.update(setting="25")


@pytest.mark.parametrize(
    ("typed_wrong", "field", "said"),
    [
        ({"setting": ""}, "setting", "Enter the setting as it is marked"),
        ({"other_setting": "x" * 13}, "other_setting", "at most 12 characters"),
        ({"other": ""}, "other", "Please choose one."),
        ({"note": "漏"}, "note", "cannot print"),
    ],
)
def test_what_is_wrong_is_said_beside_the_field(client, quern, nutmeg, typed_wrong, field, said):
    answer = client.post(at("match_new"), typed(quern, nutmeg, **typed_wrong))
    assert answer.status_code == 422
    assert list(answer.context["form"].errors) == [field]
    assert said in answer.context["form"].errors[field][0]
    assert "22" in answer.content.decode()


def test_a_grinder_is_not_like_itself_nor_like_one_of_another_cafe(client, head, cafe, quern, nutmeg):
    assert client.post(at("match_new"), typed(quern, quern)).status_code == 422
    stranger = make.grinder(make.cafe(cafe.company))
    answer = client.post(at("match_new"), typed(quern, stranger))
    assert answer.context["form"].errors["other"] == ["Please choose one of these."]
    for other in (quern, stranger):
        with pytest.raises(catalogue.NotDone):
            matches.add(quern, "24", other, "22", "", head, timezone.now())


def test_baristas_read_and_do_not_write(cafe, quern, nutmeg):
    match = make.match(quern, "24", nutmeg, "22")
    barista = make.signed_in(make.person(Role.BARISTA, cafe))
    html = barista.get(at("matches")).content.decode()
    assert "24 = 22" in html
    assert at("match_new") not in html
    assert barista.post(at("match_new"), typed(quern, nutmeg)).status_code == 403
    assert barista.post(at("match_take_back", match.pk)).status_code == 403


def test_new_burrs_shake_a_match_that_is_older(client, cafe, quern, nutmeg):
    make.match(quern, "24", nutmeg, "22")
    make.event(cafe, BarEvent.Kind.CLEANED, grinder=quern)
    long_ago = timezone.now() - timedelta(days=9)
    make.event(cafe, BarEvent.Kind.BURRS, grinder=quern, happened_at=long_ago)
    assert matches.standing(cafe)[0].burrs_at is None
    event = make.event(cafe, BarEvent.Kind.BURRS, grinder=nutmeg)
    assert matches.standing(cafe)[0].burrs_at == event.happened_at
    assert "compare them again" in client.get(at("matches")).content.decode()


# --- the same recipe at two stations


def test_a_slot_says_what_its_setting_is_at_the_other_station(client, head, two, quern, nutmeg):
    window, quay = two
    html = client.get(at("slot", window.pk)).content.decode()
    assert "Its grinder was not compared with this one." in html
    make.match(quern, "24", nutmeg, "22", by=head)
    html = " ".join(client.get(at("slot", window.pk)).content.decode().split())
    assert "Quay stands at <b>21</b> on The Nutmeg." in html
    assert "24 here is 22 there." in html
    assert "From 24 = 22" in html
    assert "by Inés Faro" in html
    assert "Set Quay to 22" in html
    sent = {"seen": quay.setting_id, "back": window.pk, "grind_setting": "22"}
    assert client.post(at("slot_grind", quay.pk), sent).url == at("slot", window.pk)
    quay.refresh_from_db()
    assert (quay.setting.grind_setting, quay.setting.grinder) == ("22", nutmeg)
    assert "the same" in client.get(at("slot", window.pk)).content.decode()
    assert "here is" not in client.get(at("board")).content.decode()


def test_a_change_leads_back_to_its_slot_while_another_station_has_not_followed(client, two, quern, nutmeg):
    window, _quay = two
    make.match(quern, "24", nutmeg, "22")
    change = {"roast_batch": window.setting.roast_batch_id, "grinder": quern.pk, "note": ""}
    answer = client.post(at("slot", window.pk), change | {"grind_setting": "25", "seen": window.setting_id})
    assert answer.url == at("slot", window.pk)
    assert "25 here is 23 there." in client.get(answer.url).content.decode()
    window.refresh_from_db()
    # 23 less 2 is where the other one stands: nothing is left to follow.
    answer = client.post(at("slot", window.pk), change | {"grind_setting": "23", "seen": window.setting_id})
    assert answer.url == at("board")


def test_far_from_where_it_was_found_is_said(client, two, quern, nutmeg):
    make.match(quern, "40", nutmeg, "38")
    assert "taste before you trust it" in client.get(at("slot", two[0].pk)).content.decode()


def test_each_card_prints_the_setting_of_its_own_stations_grinder(two, quern, nutmeg):
    make.match(quern, "24", nutmeg, "22")
    drawn = [cards.content_of(slot, "http://bar.test", timezone.now()) for slot in two]
    printed = [(card.grinder, card.grind_setting) for card in drawn]
    assert printed == [("The Quern", "24"), ("The Nutmeg", "21")]


# --- planning a station that has another grinder


def usual(slot, station):
    return planning.usual(slot.board, station, slot.version)


def test_a_recipe_that_moves_takes_the_setting_of_the_stations_own_grinder(cafe, head, quern, nutmeg):
    here = make.live_slot(cafe, by=head, grinder=quern, grind_setting="25")
    there = make.live_slot(cafe, by=head, grinder=nutmeg, grind_setting="18").station
    unknown = usual(here, there)
    assert (unknown.grinder, unknown.grind_setting) == (nutmeg, "")
    assert unknown.elsewhere.converted == ()
    match = make.match(nutmeg, "22", quern, "24", by=head)
    known = usual(here, there)
    assert (known.grinder, known.grind_setting) == (nutmeg, "23")
    ((grinder, converted),) = known.elsewhere.converted
    assert (grinder, converted.match, known.elsewhere.is_live) == (nutmeg, match, True)


def test_what_stands_now_elsewhere_counts_before_what_stood_here_long_ago(cafe, head, two, quern, nutmeg):
    window, quay = two
    make.match(quern, "24", nutmeg, "22", by=head)
    for slot in (window, quay):
        assert usual(slot, slot.station).elsewhere is None
    quay.withdrawn_at, quay.withdrawn_by, quay.withdrawn_why = timezone.now(), head, "sold out"
    quay.save()
    again = usual(window, quay.station)
    assert (again.grinder, again.grind_setting) == (nutmeg, "22")


def test_with_the_same_grinder_it_grinds_there_as_here(cafe, head, quern):
    here = make.live_slot(cafe, by=head, grinder=quern, grind_setting="25")
    there = make.live_slot(cafe, by=head, grinder=quern, grind_setting="18").station
    found = usual(here, there)
    assert (found.grinder, found.grind_setting, found.elsewhere) == (quern, "25", None)
