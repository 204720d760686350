"""The invented recipes can be brewed and their targets can be met."""

from datetime import date

import numpy as np
import pytest

from calibration.scenario import Scenario, build
from calibration.scenario.rows import RecipeVersion
from calibration.scenario.things import Kettle
from recipes.brewing import plan


@pytest.fixture(scope="module")
def scenario() -> Scenario:
    return build(date(2026, 6, 17), np.random.default_rng(1))


def test_every_plan_ends_at_the_brew_water(scenario: Scenario) -> None:
    for version in scenario.versions:
        assert version.pours[-1].to_g == version.water_g, version.key


def test_every_pour_ends_before_the_next_begins(scenario: Scenario) -> None:
    for version in scenario.versions:
        poured_g = 0
        for pour, following in zip(version.pours, [*version.pours[1:], None], strict=True):
            ends_at_s = pour.starts_at_s + (pour.to_g - poured_g) / pour.flow_g_s
            limit_s = version.brew_time_s if following is None else following.starts_at_s
            assert pour.to_g > poured_g, version.key
            assert ends_at_s <= limit_s, version.key
            poured_g = pour.to_g


def test_a_kettle_can_hold_the_flow_and_the_water(scenario: Scenario) -> None:
    kettles = {row.key: row for row in scenario.kettles}
    versions = {row.key: row for row in scenario.versions}
    pairs = {(version.key, version.kettle) for version in scenario.versions}
    pairs |= {(slot.version, slot.kettle) for slot in scenario.slots}
    for version_key, kettle_key in pairs:
        version, kettle = versions[version_key], kettles[kettle_key]
        assert version.water_g <= kettle.capacity_g
        for pour in version.pours:
            low = 2.5 if pour.pattern == "sideways" else kettle.flow_min_g_s
            assert low <= pour.flow_g_s <= kettle.flow_max_g_s, version.key


def test_targets_agree_with_the_mass_balance(scenario: Scenario) -> None:
    """E D = T B with B = (A - r D) / (1 - T), r = 2.2 g/g: common practice, no source."""
    for version in scenario.versions:
        strength = version.tds_target / 100
        beverage_g = (version.water_g + version.bypass_g - 2.2 * version.dose_g) / (1 - strength)
        assert version.ey_target == pytest.approx(100 * strength * beverage_g / version.dose_g, abs=0.15), (
            version.key
        )
        assert version.tds_tolerance == 0.10


def test_the_patterns_of_the_trade_occur_but_not_those_that_do_not_repeat(scenario: Scenario) -> None:
    patterns = {pour.pattern for version in scenario.versions for pour in version.pours}
    assert patterns == {"circle", "centre", "off-centre", "sideways", "broken-stream"}


def test_a_revision_says_what_changed_and_why(scenario: Scenario) -> None:
    for version in scenario.versions:
        assert bool(version.what_changed) == bool(version.why) == (version.number > 1), version.key
    counts = [len(_of(scenario, recipe.key)) for recipe in scenario.recipes]
    assert sum(count >= 2 for count in counts) >= 4
    assert max(counts) == 3


def test_versions_come_out_one_after_the_other(scenario: Scenario) -> None:
    for recipe in scenario.recipes:
        versions = _of(scenario, recipe.key)
        assert [version.number for version in versions] == list(range(1, len(versions) + 1))
        assert versions == sorted(versions, key=lambda version: version.published_at)
        for version in versions:
            slots = [slot for slot in scenario.slots if slot.version == version.key]
            assert min(slot.published_at for slot in slots) == version.published_at


def test_one_slot_of_a_card_is_live_at_a_time(scenario: Scenario) -> None:
    for card in scenario.cards:
        slots = [slot for slot in scenario.slots if slot.card == card.key]
        assert [slot.withdrawn_at for slot in slots] == [*(slot.published_at for slot in slots[1:]), None]
        assert all(bool(slot.withdrawn_why) == (slot.withdrawn_at is not None) for slot in slots)


def test_one_cafe_is_high_enough_that_96_degrees_is_above_boiling(scenario: Scenario) -> None:
    """ISO 2533:1975 puts 94.98 °C at 1,500 m and 96.65 °C at 1,000 m (water properties of IAPWS R7-97)."""
    assert max(cafe.altitude_m for cafe in scenario.cafes) > 1250
    assert any(version.water_temperature_C is None for version in scenario.versions)


def test_the_review_finds_no_error_in_any_plan_with_any_kettle_it_is_brewed_with(scenario: Scenario) -> None:
    versions = {row.key: row for row in scenario.versions}
    kettles = {row.key: row for row in scenario.kettles}
    pairs = {(version.key, version.kettle) for version in scenario.versions}
    pairs |= {(slot.version, slot.kettle) for slot in scenario.slots}
    warned = set()
    for version, kettle in sorted(pairs):
        for finding in _review(scenario, versions[version], kettles[kettle]):
            assert finding.severity is plan.Severity.WARNING, (version, finding)
            warned.add((version, finding.code))
    assert warned == {("cablecar-v1", "above-boiling")}


def _review(scenario: Scenario, version: RecipeVersion, kettle: Kettle) -> tuple[plan.Finding, ...]:
    altitude_m = next(cafe.altitude_m for cafe in scenario.cafes if cafe.key == kettle.cafe)
    pours = tuple(
        plan.Pour(
            pour.starts_at_s,
            pour.to_g,
            plan.Pattern(pour.pattern),
            pour.flow_g_s,
            pour.spout_height_mm,
            after=plan.After(pour.after),
        )
        for pour in version.pours
    )
    return plan.review(
        plan.PourPlan(
            dose_g=version.dose_g,
            water_g=version.water_g,
            water_temperature_C=version.water_temperature_C,
            at_the_boil=version.water_temperature_C is None,
            pours=pours,
            bypass_g=version.bypass_g,
            tds_target=version.tds_target,
            tds_tolerance=version.tds_tolerance,
            ey_target=version.ey_target,
            ey_tolerance=version.ey_tolerance,
            brew_time_s=version.brew_time_s,
            brew_time_tolerance_s=version.brew_time_tolerance_s,
        ),
        plan.Kettle(kettle.name, kettle.flow_min_g_s, kettle.flow_max_g_s, kettle.capacity_g),
        cafe=plan.Conditions(altitude_m),
    )


def _of(scenario: Scenario, recipe: str) -> list[RecipeVersion]:
    return [version for version in scenario.versions if version.recipe == recipe]
