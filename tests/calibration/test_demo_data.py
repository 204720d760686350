"""The demo's company in the database: complete, frozen, and replaced as a whole."""

from collections.abc import Iterator
from datetime import UTC, date, datetime, timedelta
from functools import partial
from typing import Any

import numpy as np
import pytest
from django.db import IntegrityError, transaction
from django.test import Client
from django.urls import reverse
from django.utils import timezone

from brewbar.crew.access import places_of
from brewbar.crew.models import Company, Membership, User
from calibration import demo_data, loading
from calibration.models import BandChoice, CheckPlan, CheckRun, Drop, OnDuty, Reading, Signal
from calibration.scenario import Scenario, build
from recipes import codes
from recipes.brewing.plan import Conditions, Severity, review
from recipes.models import Board, CardCode, InstrumentReach, Pour, RecipeVersion, Slot, SlotSetting
from tests import factories

TODAY = date(2026, 6, 17)

pytestmark = pytest.mark.django_db


@pytest.fixture(scope="module")
def scenario() -> Scenario:
    return build(TODAY, np.random.default_rng(demo_data.SEED))


@pytest.fixture(scope="module")
def demo(django_db_setup: None, django_db_blocker: Any) -> Iterator[Company]:
    """One for all tests of this module; what each of them changes is undone after it."""
    with django_db_blocker.unblock(), transaction.atomic():
        demo_data.rebuild(TODAY)
        yield Company.objects.get(is_invented=True)
        transaction.set_rollback(True)


def test_everything_of_the_scenario_is_there(demo: Company, scenario: Scenario) -> None:
    assert demo_data.built_on() == TODAY
    assert Reading.objects.count() == len(scenario.readings)
    assert Drop.objects.count() == sum(len(reading.drops_tds) for reading in scenario.readings)
    assert RecipeVersion.objects.count() == len(scenario.versions)
    assert Slot.objects.count() == len(scenario.slots)
    assert SlotSetting.objects.count() == len(scenario.settings)
    assert Membership.objects.count() == sum(
        1 if person.role == "owner" else len(person.cafes) for person in scenario.people
    )


def test_the_invented_company_has_chosen_the_standard_of_2015(demo: Company) -> None:
    assert BandChoice.objects.get(company=demo).band.key == "scaa-2015"


def test_recipes_know_what_every_instrument_can_tell(demo: Company, scenario: Scenario) -> None:
    names = InstrumentReach.objects.filter(cafe__company=demo).values_list("name", flat=True)
    assert sorted(names) == sorted(row.name for row in scenario.refractometers)


def test_a_reading_says_what_the_scenario_says(demo: Company, scenario: Scenario) -> None:
    rows = {
        row.uuid: row
        for row in Reading.objects.select_related("barista", "version", "corrects", "slot__board__cafe")
    }
    versions = {row.key: row for row in scenario.versions}
    slots = {row.key: row for row in scenario.slots}
    uuids = {row.key: row.uuid for row in scenario.readings}
    for reading in scenario.readings:
        row, version = rows[reading.uuid], versions[slots[reading.slot].version]
        assert row.barista.username == reading.barista
        assert row.version.number == version.number
        assert (row.brewed_at, row.entered_at) == (reading.brewed_at, reading.entered_at)
        assert row.business_day == reading.business_day
        assert row.slot.board.cafe == row.cafe
        assert row.is_voided == bool(reading.void)
        assert (row.corrects and row.corrects.uuid) == (reading.corrects and uuids[reading.corrects])
        if reading.beverage_g is not None:
            assert float(row.beverage_g) == reading.beverage_g
            # E = T B / D: Lockhart (1957)
            assert row.ey == pytest.approx(float(row.tds) * reading.beverage_g / reading.dose_g, rel=1e-3)
        else:
            assert row.beverage_source == Reading.Beverage.ESTIMATED


def test_every_cafe_has_its_shift_check(demo: Company, scenario: Scenario) -> None:
    plans = CheckPlan.objects.select_related("recipe", "cafe")
    said = {plan.cafe.name: (plan.recipe.name, plan.recipe_since, plan.currency) for plan in plans}
    assert {name: recipe for name, (recipe, _since, _currency) in said.items()} == {
        "Netloft Quay": "Window cup",
        "Candle Yard": "House filter",
        "Upper Station": "First cable car",
    }
    assert {since for _recipe, since, _currency in said.values()} == {scenario.first_day}
    assert [plan.cafe.name for plan in plans if plan.coffee_price_kg] == ["Upper Station"]
    assert OnDuty.objects.count() == len(scenario.on_duty)
    assert Reading.objects.filter(kind=Reading.Kind.PRACTICE).count() == sum(
        reading.kind == "practice" for reading in scenario.readings
    )
    assert Reading.objects.filter(was_served=True).count() == sum(
        reading.was_served for reading in scenario.readings
    )
    run = CheckRun.objects.get()
    assert (run.uuid, run.reading, run.closed_at) == (scenario.runs[0].uuid, None, None)


def test_whoever_was_asked_about_rinse_water_has_answered(demo: Company) -> None:
    said_no = Reading.objects.filter(rinse_left_in=False)
    assert [row.void_reason for row in said_no] == ["Rinse water was left in the server."]


def test_published_versions_slots_and_readings_are_frozen(demo: Company) -> None:
    assert not RecipeVersion.objects.drafts().exists()
    for rows, change in (
        (RecipeVersion.objects.all(), {"dose_g": 14}),
        (Pour.objects.all(), {"to_g": 1}),
        (Slot.objects.all(), {"planned_at": datetime(2026, 1, 1, tzinfo=UTC)}),
        (SlotSetting.objects.all(), {"grind_setting": "1"}),
        (Reading.objects.all(), {"brew_time_s": 1}),
    ):
        with pytest.raises(IntegrityError), transaction.atomic():
            rows.update(**change)


def test_every_version_passes_its_review_at_every_station_it_stood_on(demo: Company) -> None:
    for slot in Slot.objects.for_card():
        found = review(slot.version.plan(), slot.kettle.limits(), cafe=Conditions(slot.board.cafe.altitude_m))
        assert not [finding for finding in found if finding.severity is Severity.ERROR], slot


def test_a_board_shows_one_slot_a_card_with_its_newest_setting(demo: Company) -> None:
    live = list(Slot.objects.live().select_related("setting", "card"))
    assert len(live) == CardCode.objects.count()
    for slot in Slot.objects.all():
        assert slot.setting == slot.settings.order_by("set_at").last()
        assert slot.planned_at < slot.published_at
    for board in Board.objects.all():
        assert board.revision > board.slots.count()
        assert board.published_at == max(slot.published_at for slot in board.slots.all())


def test_codes_resolve_to_what_is_live(demo: Company) -> None:
    for card in CardCode.objects.select_related("station__cafe"):
        head = Membership.objects.filter(cafe=card.station.cafe, role="head").first().user
        place = next(place for place in places_of(head) if place.cafe == card.station.cafe)
        resolved = codes.resolve(place, card.code, timezone.now())
        assert resolved is not None
        assert resolved.slot is not None
        assert resolved.slot.card == card


@pytest.fixture
def without_signals(monkeypatch: pytest.MonkeyPatch) -> None:
    """What is made of the readings takes longer than to load them."""
    monkeypatch.setattr(demo_data.loading, "load", partial(loading.load, signals=False))


@pytest.mark.usefixtures("without_signals")
def test_a_second_rebuild_replaces_the_first_and_nothing_else(demo: Company) -> None:
    other = factories.live_slot(factories.cafe())
    factories.reading(other, factories.person("barista", other.board.cafe))
    demo_data.rebuild(TODAY + timedelta(days=1))
    assert demo_data.built_on() == TODAY + timedelta(days=1)
    assert Company.objects.filter(is_invented=True).count() == 1
    assert not Company.objects.filter(pk=demo.pk).exists()
    assert User.objects.filter(username="kofi").count() == 1
    assert not Signal.objects.exists()
    assert Reading.objects.filter(company=other.board.cafe.company).count() == 1
    again = build(TODAY + timedelta(days=1), np.random.default_rng(demo_data.SEED))
    assert Reading.objects.filter(company__is_invented=True).count() == len(again.readings)


@pytest.mark.usefixtures("without_signals")
def test_what_has_not_happened_yet_is_left_out(demo: Company, monkeypatch: pytest.MonkeyPatch) -> None:
    early = datetime(TODAY.year, TODAY.month, TODAY.day, 2, tzinfo=UTC)
    monkeypatch.setattr(demo_data.timezone, "now", lambda: early)
    demo_data.rebuild(TODAY)
    assert not Reading.objects.filter(business_day=TODAY).exists()
    assert Reading.objects.filter(business_day=TODAY - timedelta(days=1)).exists()
    assert not SlotSetting.objects.filter(set_at__gt=early).exists()
    assert not OnDuty.objects.filter(since__gt=early).exists()
    assert not CheckRun.objects.exists()


def test_new_passwords_sign_in(demo: Company) -> None:
    before = User.objects.get(username="kofi").password
    accounts = demo_data.fresh_passwords()
    heads = ["owner", *["head barista"] * 4, "barista"]
    assert [account.role for account in accounts[:6]] == heads
    assert len({account.password for account in accounts}) == len(accounts) == User.objects.count()
    assert (
        next(account.cafe for account in accounts if account.username == "noor")
        == "Candle Yard, Netloft Quay"
    )
    assert (
        next(account.cafe for account in accounts if account.username == "halina")
        == "Candle Yard, Netloft Quay, Upper Station"
    )
    assert User.objects.get(username="kofi").password != before
    for account in (accounts[0], accounts[-1]):
        user = User.objects.get(username=account.username)
        assert user.password.startswith("argon2")
        client = Client()
        said = {"username": account.username, "password": account.password}
        assert client.post(reverse("crew:sign_in"), said).status_code == 302
        assert client.session["_auth_user_id"] == str(user.pk)
