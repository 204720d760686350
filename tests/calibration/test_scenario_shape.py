"""The invented scenario hangs together, whatever the day, and says the same thing twice."""

from collections import Counter
from datetime import UTC, date, datetime, timedelta
from zoneinfo import ZoneInfo

import numpy as np
import pytest

from calibration.scenario import Scenario, build
from calibration.scenario.rows import Reading

ORDINARY = date(2026, 6, 17)
DAYS = [
    pytest.param(ORDINARY, id="ordinary"),
    pytest.param(date(2028, 2, 29), id="29 February"),
    pytest.param(date(2026, 3, 29), id="clocks go forward"),
    pytest.param(date(2026, 10, 25), id="clocks go back"),
    pytest.param(date(2026, 12, 31), id="last of the year"),
    pytest.param(date(2027, 1, 1), id="first of the year"),
    pytest.param(date(2026, 4, 30), id="clock change within"),
]


def built(today: date = ORDINARY, seed: int = 1) -> Scenario:
    return build(today, np.random.default_rng(seed))


@pytest.fixture(scope="module", params=DAYS)
def scenario(request: pytest.FixtureRequest) -> Scenario:
    return built(request.param)


def cafe_of(scenario: Scenario, reading: Reading) -> str:
    card = {row.key: row for row in scenario.slots}[reading.slot].card
    station = {row.key: row for row in scenario.cards}[card].station
    return {row.key: row for row in scenario.stations}[station].cafe


def test_same_day_and_seed_give_the_same_scenario() -> None:
    assert built() == built()


def test_another_seed_or_day_gives_another() -> None:
    assert built().readings != built(seed=2).readings
    assert built().readings != built(ORDINARY + timedelta(days=1)).readings


def test_size_of_the_company(scenario: Scenario) -> None:
    roles = Counter(person.role for person in scenario.people)
    assert len(scenario.cafes) == 3
    assert 13 <= sum(person.brews for person in scenario.people) <= 15
    assert roles["owner"] == 1
    assert roles["head"] == 4
    assert sum(person.trainee for person in scenario.people) == 1
    assert sum(len(person.cafes) == 2 for person in scenario.people) == 1
    assert (len(scenario.coffees), len(scenario.recipes)) == (6, 8)


def test_the_head_of_coffee_heads_every_cafe_and_stands_at_no_bar(scenario: Scenario) -> None:
    [head] = [person for person in scenario.people if not person.brews and person.role != "owner"]
    assert head.role == "head"
    assert head.cafes == tuple(cafe.key for cafe in scenario.cafes)
    at_the_bar = {row.barista for row in scenario.readings} | {row.user for row in scenario.on_duty}
    assert head.key not in at_the_bar


def test_about_850_check_brews_of_two_drops(scenario: Scenario) -> None:
    brews = {r.uuid for r in scenario.readings if r.kind == "check"} - {
        other.uuid for r in scenario.readings for other in scenario.readings if r.corrects == other.key
    }
    assert 765 <= len(brews) <= 935
    drops = Counter(len(r.drops_tds) for r in scenario.readings)
    assert set(drops) == {2, 3, 4}
    assert 3 <= drops[3] + drops[4] <= 45


def test_a_third_drop_only_where_two_disagreed(scenario: Scenario) -> None:
    for reading in scenario.readings:
        if len(reading.drops_tds) > 2:
            assert round(abs(reading.drops_tds[0] - reading.drops_tds[1]), 2) > 0.03


def test_one_staff_day_in_five_brewed_twice_on_request(scenario: Scenario) -> None:
    checks = [r for r in scenario.readings if r.kind == "check"]
    worked = {(r.barista, r.business_day) for r in checks}
    twice = {(r.barista, r.business_day) for r in checks if r.attempt == "repeat"}
    assert 0.15 < len(twice) / len(worked) < 0.25
    asked = {(who, day) for who, day in scenario.asked_twice if day < scenario.today}
    assert twice == worked & asked


def test_every_key_is_there_once_and_every_reference_leads_somewhere(scenario: Scenario) -> None:
    keys = {
        name: {row.key for row in getattr(scenario, name)}
        for name in [
            "cafes",
            "stations",
            "people",
            "coffees",
            "batches",
            "brewers",
            "papers",
            "kettles",
            "grinders",
            "servers",
            "refractometers",
            "recipes",
            "versions",
            "cards",
            "slots",
            "readings",
        ]
    }
    for name, found in keys.items():
        assert len(found) == len(getattr(scenario, name))
    for version in scenario.versions:
        assert version.recipe in keys["recipes"]
        assert version.published_by in keys["people"]
        assert version.brewer in keys["brewers"]
        assert version.paper in keys["papers"]
    for slot in scenario.slots:
        assert slot.card in keys["cards"]
        assert slot.version in keys["versions"]
        assert slot.kettle in keys["kettles"]
    for reading in scenario.readings:
        assert reading.slot in keys["slots"]
        assert reading.roast_batch in keys["batches"]
        assert reading.barista in keys["people"]
        assert reading.server in keys["servers"]
        assert reading.corrects is None or reading.corrects in keys["readings"]
    assert len({r.uuid for r in scenario.readings}) == len(scenario.readings)


def test_whatever_stands_in_a_cafe_belongs_to_it(scenario: Scenario) -> None:
    homes = {
        row.key: row.cafe
        for rows in (scenario.kettles, scenario.grinders, scenario.servers, scenario.refractometers)
        for row in rows
    }
    slots = {row.key: row for row in scenario.slots}
    for reading in scenario.readings:
        cafe = cafe_of(scenario, reading)
        used = (slots[reading.slot].kettle, reading.grinder, reading.server, reading.refractometer)
        assert {homes[key] for key in used} == {cafe}


def test_people_brew_where_they_belong_and_only_heads_publish(scenario: Scenario) -> None:
    people = {person.key: person for person in scenario.people}
    for reading in scenario.readings:
        barista = people[reading.barista]
        assert cafe_of(scenario, reading) in barista.cafes
        assert barista.role != "owner"
        assert barista.joined_on <= reading.business_day
        assert reading.entered_by == reading.barista or people[reading.entered_by].role == "head"
    assert {people[row.published_by].role for row in scenario.slots} == {"head"}
    assert {people[row.published_by].role for row in scenario.versions} == {"head"}


def test_readings_use_what_stood_on_the_board(scenario: Scenario) -> None:
    slots = {row.key: row for row in scenario.slots}
    batches = {row.key: row for row in scenario.batches}
    for reading in scenario.readings:
        slot, batch = slots[reading.slot], batches[reading.roast_batch]
        assert slot.published_at <= reading.brewed_at
        assert slot.withdrawn_at is None or reading.brewed_at < slot.withdrawn_at
        setting = max(
            (row for row in scenario.settings if row.slot == slot.key and row.set_at <= reading.brewed_at),
            key=lambda row: row.set_at,
        )
        assert (reading.roast_batch, reading.grinder, reading.grind_setting) == (
            setting.roast_batch,
            setting.grinder,
            setting.grind_setting,
        )
        assert batch.opened_on is not None
        assert batch.roasted_on < batch.opened_on <= reading.business_day
        assert batch.used_up_on is None or reading.business_day < batch.used_up_on


def test_times_exist_and_fall_on_their_business_day(scenario: Scenario) -> None:
    cafes = {row.key: row for row in scenario.cafes}
    for reading in scenario.readings:
        cafe = cafes[cafe_of(scenario, reading)]
        assert reading.brewed_at.tzinfo is UTC
        assert reading.brewed_at < reading.entered_at
        wall = reading.brewed_at.astimezone(ZoneInfo(cafe.time_zone)).replace(tzinfo=None)
        assert (wall - timedelta(hours=cafe.day_turns_at)).date() == reading.business_day
        assert wall.hour < 1 or wall.hour >= 6, "nobody brews while the clocks change"


def test_some_brew_past_midnight(scenario: Scenario) -> None:
    zone = ZoneInfo("Europe/London")
    assert any(r.brewed_at.astimezone(zone).date() > r.business_day for r in scenario.readings)


def test_two_or_more_brewers_in_every_cafe_on_every_day(scenario: Scenario) -> None:
    crews: dict[tuple[str, date], set[str]] = {}
    for cafe, day in scenario.truth.effects.day:
        crews[cafe, day] = set()
    assert len(crews) == 3 * 70
    for reading in scenario.readings:
        crews[cafe_of(scenario, reading), reading.business_day].add(reading.barista)
    before_today = [len(crew) for (_, day), crew in crews.items() if day < scenario.today]
    # one may have missed the check, all of them only by chance
    assert sum(size >= 2 for size in before_today) > 0.85 * len(before_today)


def test_this_morning_is_alive(scenario: Scenario) -> None:
    checked = {r.barista for r in scenario.readings if r.business_day == scenario.today}
    on_duty = {person for person, day in scenario.truth.effects.staff_day if day == scenario.today}
    assert checked < on_duty
    assert len(checked) >= 3
    targets = {row.key: row.tds_target for row in scenario.versions}
    slots = {row.key: row.version for row in scenario.slots}
    outside = [
        r
        for r in scenario.readings
        if r.business_day == scenario.today and abs(np.mean(r.drops_tds) - targets[slots[r.slot]]) > 0.12
    ]
    assert outside
    last = max(r.entered_at for r in scenario.readings)
    assert last < datetime.combine(scenario.today, datetime.min.time(), UTC) + timedelta(hours=8)


def test_slips_are_kept(scenario: Scenario) -> None:
    by_key = {r.key: r for r in scenario.readings}
    voided = [r for r in scenario.readings if r.void]
    corrected = [r for r in scenario.readings if r.corrects]
    assert 4 <= len(voided) <= 8
    assert all(r.void and r.void.why and r.void.at > r.entered_at for r in voided)
    assert 3 <= len(corrected) <= 8
    for reading in corrected:
        old = by_key[reading.corrects or ""]
        assert timedelta() < reading.entered_at - old.entered_at <= timedelta(minutes=10)
        assert (old.drops_tds, old.brew_time_s) != (reading.drops_tds, reading.brew_time_s)
        assert old.brewed_at == reading.brewed_at


def test_all_kinds_of_reading_occur(scenario: Scenario) -> None:
    assert {r.attempt for r in scenario.readings} == {"first", "repeat", "rebrew"}
    assert 20 <= sum(r.kind == "served" for r in scenario.readings) <= 110
    assert 10 <= sum(r.beverage_g is None for r in scenario.readings) <= 110
    assert any(r.taste for r in scenario.readings)
