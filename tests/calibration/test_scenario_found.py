"""What the written truth put into the check brews is found again from readings alone, by least squares.

Each scenario gives one estimate; a dozen of them say how far such an estimate is off by chance, so that every tolerance
is three standard errors that are measured, not chosen. The bound on the standard error says that the test can fail.
"""

from collections.abc import Callable
from datetime import date
from functools import cache

import numpy as np
import pytest

from calibration.scenario import Scenario, build
from calibration.scenario.rows import Reading

SEEDS = range(12)


@cache
def scenario(seed: int) -> Scenario:
    return build(date(2026, 6, 17), np.random.default_rng(seed))


def checks_at(made: Scenario, cafe: str) -> list[Reading]:
    """Standing check brews of the café's check recipe, without re-brews and without what went wrong at the bar."""
    replaced = {reading.corrects for reading in made.readings}
    mishaps = {row.reading for row in made.truth.mishaps}
    recipe = next(plan.recipe for plan in made.check_plans if plan.cafe == cafe)
    stations = {row.key for row in made.stations if row.cafe == cafe}
    cards = {row.key for row in made.cards if row.recipe == recipe and row.station in stations}
    slots = {row.key for row in made.slots if row.card in cards}
    return [
        reading
        for reading in made.readings
        if reading.slot in slots
        and reading.kind == "check"
        and reading.attempt != "rebrew"
        and not reading.void
        and reading.key not in replaced | mishaps
    ]


def slope(
    made: Scenario,
    rows: list[Reading],
    also: Callable[[Reading], object],
    x: Callable[[Reading], float],
    *beside: Callable[[Reading], float],
) -> float:
    """Change of TDS with x, beside other numbers, a level of every person, and of all that ``also`` tells apart."""
    columns = [np.array([one(reading) for reading in rows], dtype=np.float64) for one in (x, *beside)]
    for told in (lambda reading: reading.barista, also):
        kinds = [told(reading) for reading in rows]
        columns += [
            np.array([kind == one for kind in kinds], dtype=np.float64) for one in dict.fromkeys(kinds)
        ]
    y = np.array([np.mean(reading.drops_tds) for reading in rows])
    found = np.linalg.lstsq(np.column_stack(columns), y, rcond=None)[0]
    return float(found[0])


def found(one: Callable[[Scenario], float], truth: float, known_to: float) -> None:
    estimates = np.array([one(scenario(seed)) for seed in SEEDS])
    error = estimates.std(ddof=1) / np.sqrt(len(estimates))
    assert error < known_to
    assert estimates.mean() == pytest.approx(truth, abs=3 * error)


def version_of(made: Scenario) -> Callable[[Reading], str]:
    versions = {row.key: row.version for row in made.slots}
    return lambda reading: versions[reading.slot]


def day_and_version(made: Scenario) -> Callable[[Reading], object]:
    version = version_of(made)
    return lambda reading: (reading.business_day, version(reading))


def drift_of(made: Scenario) -> float:
    """Against colleagues on the same day, so that days take no part."""
    drift = made.truth.drift
    rows = checks_at(made, "netloft")
    return slope(
        made,
        rows,
        day_and_version(made),
        lambda reading: (
            float(max(0, (reading.business_day - drift.after).days))
            if reading.barista == drift.person
            else 0.0
        ),
    )


def test_one_person_drifts_against_the_others_of_the_same_day() -> None:
    found(drift_of, 0.0015, known_to=0.0003)


def test_before_that_they_did_not() -> None:
    def before(made: Scenario) -> float:
        drift = made.truth.drift
        rows = [row for row in checks_at(made, "netloft") if row.business_day <= drift.after]
        return slope(
            made,
            rows,
            day_and_version(made),
            lambda reading: (
                float((reading.business_day - made.first_day).days)
                if reading.barista == drift.person
                else 0.0
            ),
        )

    found(before, 0.0, known_to=0.0006)


def test_a_colleague_elsewhere_does_not() -> None:
    def of_another(made: Scenario) -> float:
        rows = checks_at(made, "candle")
        return slope(
            made,
            rows,
            day_and_version(made),
            lambda row: float((row.business_day - made.first_day).days) if row.barista == "wiktor" else 0.0,
        )

    found(of_another, 0.0, known_to=0.0003)


def test_the_new_crop_is_stronger_for_everybody() -> None:
    def step(made: Scenario) -> float:
        batches = made.truth.batch_step.batches
        rows = checks_at(made, "candle")
        return slope(made, rows, version_of(made), lambda reading: float(reading.roast_batch in batches))

    found(step, 0.06, known_to=0.005)


def days_off_roast(made: Scenario) -> Callable[[Reading], float]:
    roasted = {row.key: row.roasted_on for row in made.batches}
    return lambda reading: float((reading.business_day - roasted[reading.roast_batch]).days)


def in_the_wrong_week(made: Scenario) -> Callable[[Reading], bool]:
    wrong = made.truth.gain_error
    return lambda reading: wrong.first_day <= reading.business_day <= wrong.last_day


def test_the_coffee_that_ages_loses_strength_by_the_day() -> None:
    def per_day(made: Scenario) -> float:
        version, wrong = version_of(made), in_the_wrong_week(made)
        rows = checks_at(made, "upper")
        return slope(made, rows, lambda row: (version(row), wrong(row)), days_off_roast(made))

    found(per_day, -0.004, known_to=0.0004)


def test_the_wrong_week_reads_high_beside_what_age_explains() -> None:
    def high(made: Scenario) -> float:
        version, wrong, age = version_of(made), in_the_wrong_week(made), days_off_roast(made)
        rows = checks_at(made, "upper")
        return slope(made, rows, version, lambda row: float(wrong(row)), age)

    found(high, 0.04, known_to=0.008)
