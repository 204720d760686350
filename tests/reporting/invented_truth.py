"""The invented scenario as a report finds it, without a database: once as it was measured, once as it is expected.

Every estimate that a report tells is a sum of brews by weights that do not depend on the cups. Reckoned from what each
brew is expected to be, by the written truth and without any chance, the same sums are what the report aims at.
"""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass
from datetime import UTC, date, datetime, time
from decimal import Decimal
from math import hypot, sqrt

import numpy as np
from scipy.special import ndtr

from brewbar.crew.models import Cafe, Company
from calibration.drift import MEASURES
from calibration.models import CheckPlan
from calibration.reporting.cells import AIMS, Cells, Hits, Z
from calibration.reporting.ground import Ground
from calibration.reporting.result import Asked
from calibration.scenario import Scenario
from calibration.scenario.brews import BREW_TIME_SD_S, SECONDS_PER_TDS
from calibration.scenario.rows import Reading
from calibration.statistics.drops import settle_drops
from calibration.statistics.uncertainty import BREW_TIME_U_S, conformity, tds_budget
from recipes.aims import OwnAims
from recipes.models import CafeTarget, Recipe, RecipeVersion

RESOLUTION = 0.01


@dataclass(frozen=True)
class Brew:
    """A standing check brew. Of each measure: read; expected, without chance; sd: of chance about that; u: of reading."""

    reading: Reading
    cafe: int
    version: int
    batch: int
    who: int
    read: dict[str, float]
    expected: dict[str, float]
    sd: dict[str, float]
    u: dict[str, float]


class Told:
    """One scenario, its rows by number."""

    def __init__(self, made: Scenario) -> None:
        self.made = made
        self.company = Company(pk=1, name="Invented")
        self.cafes = {
            row.key: Cafe(pk=n, company=self.company, name=row.name, time_zone=row.time_zone)
            for n, row in enumerate(made.cafes, start=1)
        }
        self.recipes = {
            row.key: Recipe(pk=n, company=self.company, name=row.name)
            for n, row in enumerate(made.recipes, 1)
        }
        self.versions = {
            row.key: RecipeVersion(
                pk=n,
                recipe=self.recipes[row.recipe],
                number=row.number,
                tds_target=Decimal(str(row.tds_target)),
                tds_tolerance=Decimal(str(row.tds_tolerance)),
                brew_time_s=row.brew_time_s,
                brew_time_tolerance_s=row.brew_time_tolerance_s,
            )
            for n, row in enumerate(made.versions, start=1)
        }
        self.batches = {row.key: n for n, row in enumerate(made.batches, start=1)}
        self.people = {row.key: n for n, row in enumerate(made.people, start=1)}
        self.learning = {self.people[row.key] for row in made.people if row.trainee}
        self.plans = {
            self.cafes[row.cafe].pk: CheckPlan(cafe=self.cafes[row.cafe], recipe=self.recipes[row.recipe])
            for row in made.check_plans
        }
        self.own = OwnAims(
            {
                (self.cafes[row.cafe].pk, self.recipes[row.recipe].pk): (
                    CafeTarget(
                        cafe=self.cafes[row.cafe],
                        recipe=self.recipes[row.recipe],
                        set_at=row.set_at,
                        brew_time_s=row.brew_time_s,
                        brew_time_tolerance_s=row.brew_time_tolerance_s,
                    ),
                )
                for row in made.cafe_targets
            }
        )
        self.brews = [self._brew(reading) for reading in self._standing()]

    def _standing(self) -> Iterable[Reading]:
        made = self.made
        corrected = {row.corrects for row in made.readings}
        start, end = self._failing()
        wrong = made.truth.gain_error.instrument
        for row in made.readings:
            stands = not row.void and row.key not in corrected
            left_out = row.refractometer == wrong and start <= row.brewed_at < end
            if row.kind == "check" and row.attempt != "rebrew" and stands and not left_out:
                yield row

    def _failing(self) -> tuple[datetime, datetime]:
        """From the last standard before the instrument went wrong to the first after."""
        wrong = self.made.truth.gain_error
        at = sorted(
            row.checked_at
            for row in self.made.checks
            if row.kind == "standard" and row.refractometer == wrong.instrument
        )
        first = datetime.combine(wrong.first_day, time(), UTC)
        last = datetime.combine(wrong.last_day, time(23, 59), UTC)
        return max(one for one in at if one < first), min(one for one in at if one > last)

    def _brew(self, reading: Reading) -> Brew:
        made, truth = self.made, self.made.truth
        slot = next(row for row in made.slots if row.key == reading.slot)
        version = next(row for row in made.versions if row.key == slot.version)
        cafe = next(row.cafe for row in made.refractometers if row.key == reading.refractometer)
        day, parts = reading.business_day, truth.components
        mishap = next((row.tds for row in truth.mishaps if row.reading == reading.key), 0.0)
        expected = (
            truth.cup_tds[reading.key]
            - truth.brew_tds[reading.key]
            - mishap
            - truth.effects.day[cafe, day]
            - truth.effects.staff_day[reading.barista, day]
        )
        settled = settle_drops(reading.drops_tds, parts.drop, RESOLUTION)
        of_cup = hypot(parts.day, parts.staff_day, parts.brew)
        of_drops = sqrt((parts.drop**2 + RESOLUTION**2 / 12) / settled.n)
        return Brew(
            reading,
            self.cafes[cafe].pk,
            self.versions[slot.version].pk,
            self.batches[reading.roast_batch],
            self.people[reading.barista],
            {"tds": settled.value, "time": float(reading.brew_time_s)},
            {
                "tds": expected,
                "time": version.brew_time_s + SECONDS_PER_TDS * (expected - version.tds_target),
            },
            {"tds": hypot(of_cup, of_drops), "time": hypot(SECONDS_PER_TDS * of_cup, BREW_TIME_SD_S)},
            {
                "tds": tds_budget(settled.n, settled.sd, RESOLUTION).u_relative,
                "time": BREW_TIME_U_S,
            },
        )

    def asked(self, first: date, last: date, before: tuple[date, date], cafe: str = "") -> Asked:
        cafes = (self.cafes[cafe],) if cafe else tuple(sorted(self.cafes.values(), key=lambda one: one.name))
        return Asked(self.company, cafes, first, last, before, is_whole_company=not cafe)

    def ground(self, asked: Asked, by_truth: bool = False) -> Ground:
        """What a report stands on; ``by_truth``: with every brew as it is expected."""
        cafes = {cafe.pk for cafe in asked.cafes}
        chosen = [
            brew
            for brew in self.brews
            if brew.cafe in cafes and asked.before[0] <= brew.reading.business_day <= asked.last
        ]
        crew = [brew for brew in chosen if brew.who not in self.learning]
        learning = [brew for brew in chosen if brew.who in self.learning]
        everybody, own, theirs, aside = (self._cells(rows, by_truth) for rows in (chosen, crew, learning, []))
        return Ground(
            asked, datetime.combine(asked.last, time(23), UTC), everybody, own, theirs, aside, (), self.own,
            self.plans, (), {version.pk: version for version in self.versions.values()},
            {self.batches[row.key]: row.roasted_on.toordinal() for row in self.made.batches},
        )  # fmt: skip

    def _cells(self, brews: list[Brew], by_truth: bool) -> Cells:
        """One for each brew, which is as good as added up."""
        labels = np.array(
            [
                (
                    brew.cafe,
                    brew.version,
                    brew.batch,
                    brew.who,
                    brew.reading.business_day.toordinal(),
                    brew.cafe,
                    1,
                )
                for brew in brews
            ],
            dtype=np.int64,
        ).reshape(-1, 7)
        of = {key: self._hits(brews, key, by_truth) for key in MEASURES}
        return Cells(*labels.T, of=of)

    def _hits(self, brews: list[Brew], key: str, by_truth: bool) -> Hits:
        ones = np.ones(len(brews), dtype=np.int64)
        if key == "ey":  # its chance is of the scale as well: left to what is checked in the database
            zero = 0 * ones
            return Hits(zero, zero * 1.0, zero * 1.0, zero, zero, zero, zero, zero)
        value = np.array([(brew.expected if by_truth else brew.read)[key] for brew in brews])
        verdicts = np.array(
            [(self._chances if by_truth else self._verdict)(brew, key) for brew in brews]
        ).reshape(-1, 3)
        return Hits(ones, value, value**2, ones, *verdicts.T, 0 * ones)

    def _target(self, brew: Brew, key: str) -> tuple[float, float]:
        version = next(row for row in self.versions.values() if row.pk == brew.version)
        aims = self.own.at(brew.cafe, version, brew.reading.brewed_at)
        target, tolerance = (float(getattr(aims, name)) for name in AIMS[key])
        return target, tolerance

    def _verdict(self, brew: Brew, key: str) -> tuple[float, float, float]:
        found = conformity(brew.read[key], brew.u[key], *self._target(brew, key))
        side = found.side if found.word == "outside" else ""
        return float(found.word == "inside"), float(side == "high"), float(side == "low")

    def _chances(self, brew: Brew, key: str) -> tuple[float, float, float]:
        """Of each verdict, if the brew were made over and over."""
        target, tolerance = self._target(brew, key)
        middle, sd, guard = brew.expected[key], brew.sd[key], Z * brew.u[key]
        fine = tolerance > 2 * brew.u[key]

        def below(limit: float) -> float:
            return float(ndtr((limit - middle) / sd))

        inside = below(target + tolerance - guard) - below(target - tolerance + guard) if fine else 0.0
        return inside, 1 - below(target + tolerance + guard), below(target - tolerance - guard)
