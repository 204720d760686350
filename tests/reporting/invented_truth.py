"""The invented scenario as a report finds it, without a database: once as it was measured, once as it is expected.

Every estimate that a report tells is a sum of brews by weights that do not depend on the cups. Reckoned from what each
brew is expected to be, by the written truth and without any chance, the same sums are what the report aims at.
"""

from __future__ import annotations

from collections.abc import Iterable, Iterator
from dataclasses import dataclass
from datetime import UTC, date, datetime, time
from decimal import Decimal
from math import hypot, sqrt

import numpy as np
from scipy.special import ndtr

from brewbar.crew.models import Cafe, Company
from calibration.drift import MEASURES
from calibration.models import CheckPlan
from calibration.reporting import changed
from calibration.reporting.cells import AIMS, Cells, Hits, Z
from calibration.reporting.ground import Ground
from calibration.reporting.moved import Bar, Moved
from calibration.reporting.result import Asked
from calibration.reporting.shares import counted
from calibration.scenario import Scenario
from calibration.scenario.brews import BREW_TIME_SD_S, SECONDS_PER_TDS
from calibration.scenario.rows import Reading
from calibration.statistics.drops import settle_drops
from calibration.statistics.uncertainty import BREW_TIME_U_S, conformity, tds_budget
from recipes.aims import OwnAims
from recipes.models import CafeTarget, Recipe, RecipeVersion

RESOLUTION = 0.01


Verdict = tuple[float, float, float]
"""Inside, high, low: 1 for what it is, or the chance of each."""


@dataclass(frozen=True)
class Brew:
    """A standing check brew. Of each measure: read; expected, without chance; verdict: of what was read; chances: of
    each verdict, if the brew were made over and over."""

    reading: Reading
    cafe: int
    version: int
    batch: int
    who: int
    read: dict[str, float]
    expected: dict[str, float]
    verdict: dict[str, Verdict]
    chances: dict[str, Verdict]


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
                        tds_target=Decimal(str(row.tds_target)),
                        tds_tolerance=Decimal(str(row.tds_tolerance)),
                        brew_time_s=row.brew_time_s,
                        brew_time_tolerance_s=row.brew_time_tolerance_s,
                    ),
                )
                for row in made.cafe_targets
            }
        )
        self._slots = {row.key: row for row in made.slots}
        self._versions = {row.key: row for row in made.versions}
        self._places = {row.key: row.cafe for row in made.refractometers}
        self._mishaps = {row.reading: row.tds for row in made.truth.mishaps}
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
        truth = self.made.truth
        slot = self._slots[reading.slot]
        version = self._versions[slot.version]
        cafe = self._places[reading.refractometer]
        day, parts = reading.business_day, truth.components
        mishap = self._mishaps.get(reading.key, 0.0)
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
        targets = self._targets(reading, cafe, slot.version)
        read = {"tds": settled.value, "time": float(reading.brew_time_s)}
        middle = {
            "tds": expected,
            "time": version.brew_time_s + SECONDS_PER_TDS * (expected - version.tds_target),
        }
        sd = {"tds": hypot(of_cup, of_drops), "time": hypot(SECONDS_PER_TDS * of_cup, BREW_TIME_SD_S)}
        u = {"tds": tds_budget(settled.n, settled.sd, RESOLUTION).u_relative, "time": BREW_TIME_U_S}
        return Brew(
            reading,
            self.cafes[cafe].pk,
            self.versions[slot.version].pk,
            self.batches[reading.roast_batch],
            self.people[reading.barista],
            read,
            middle,
            {key: verdict_of(read[key], u[key], *targets[key]) for key in read},
            {key: chances_of(middle[key], sd[key], u[key], *targets[key]) for key in read},
        )

    def _targets(self, reading: Reading, cafe: str, version: str) -> dict[str, tuple[float, float]]:
        aims = self.own.at(self.cafes[cafe].pk, self.versions[version], reading.brewed_at)
        return {
            key: (float(getattr(aims, AIMS[key][0])), float(getattr(aims, AIMS[key][1])))
            for key in ("tds", "time")
        }

    def days(self, bar: Bar) -> dict[int, float]:
        """What a day's check brews of a café's main recipe are expected to be, whoever was on: without chance."""
        staff = {self.people[key]: effect for key, effect in self.made.truth.effects.staff.items()}
        levels: dict[int, list[float]] = {}
        own = {row.pk for row in self.versions.values() if row.recipe_id == bar.recipe.pk}
        for brew in self.brews:
            if brew.cafe == bar.cafe.pk and brew.version in own and brew.who not in self.learning:
                day = brew.reading.business_day.toordinal()
                levels.setdefault(day, []).append(brew.expected["tds"] - staff[brew.who])
        return {day: float(np.mean(rows)) for day, rows in levels.items()}

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
        verdicts = np.array([(brew.chances if by_truth else brew.verdict)[key] for brew in brews])
        return Hits(ones, value, value**2, ones, *verdicts.reshape(-1, 3).T, 0 * ones)


def verdict_of(value: float, u: float, target: float, tolerance: float) -> Verdict:
    found = conformity(value, u, target, tolerance)
    side = found.side if found.word == "outside" else ""
    return float(found.word == "inside"), float(side == "high"), float(side == "low")


def chances_of(middle: float, sd: float, u: float, target: float, tolerance: float) -> Verdict:
    guard = Z * u

    def below(limit: float) -> float:
        return float(ndtr((limit - middle) / sd))

    fine = tolerance > 2 * u
    inside = below(target + tolerance - guard) - below(target - tolerance + guard) if fine else 0.0
    return inside, 1 - below(target + tolerance + guard), below(target - tolerance - guard)


# --- what a report claims, and what is so


@dataclass(frozen=True)
class Claim:
    """One interval of a report. truth: what it aims at; stated: whether the report says that something differs."""

    what: str
    low: float
    high: float
    truth: float
    stated: bool = False

    @property
    def holds(self) -> bool:
        return self.low <= self.truth <= self.high


def claims(told: Told, asked: Asked) -> Iterator[Claim]:
    found, true = (told.ground(asked, by_truth) for by_truth in (False, True))
    yield from _shares(found, true)
    yield from _differences(found, true)
    yield from _steps(told, found)


def _shares(found: Ground, true: Ground) -> Iterator[Claim]:
    for span in ("this", "before"):
        cells, expected = getattr(found, span), getattr(true, span)
        for cafe in [None, *found.asked.cafes]:
            here = np.ones(len(cells), dtype=bool) if cafe is None else cells.cafe == cafe.pk
            for key in ("tds", "time"):
                told, hits = counted(cells.only(here), key), expected.only(here).of[key]
                if told is None:
                    continue
                n = float(hits.judged.sum())
                inside, outside = float(hits.inside.sum()) / n, float((hits.high + hits.low).sum()) / n
                where = f"{key} {span} {cafe.name if cafe else 'everywhere'}"
                yield Claim(f"inside {where}", told.share.crew.low, told.share.crew.high, inside)
                of = told.outside_share.crew
                yield Claim(f"outside {where}", of.low, of.high, outside)


def _differences(found: Ground, true: Ground) -> Iterator[Claim]:
    moved, so = Moved(found), Moved(true)
    for one, other in zip((*moved.together, *moved.apart), (*so.together, *so.apart), strict=True):
        where = f"{one.measure.key} {one.cafe or 'everywhere'}"
        if one.share is not None:
            limits = one.share.interval
            yield Claim(f"share {where}", limits.low, limits.high, other.share.difference, one.share.is_seen)
        difference, _is_alike = changed.best(one)
        if difference is not None:
            limits = difference.interval
            aimed_at = changed.best(other)[0].difference
            yield Claim(f"mean {where}", limits.low, limits.high, aimed_at, difference.is_seen)


def _steps(told: Told, found: Ground) -> Iterator[Claim]:
    """Every step is a statement: what the days after it are expected to be, less those before."""
    moved = Moved(found)
    moved.__dict__["changes"] = {}  # what is on record beside it is another question, and in the database
    for bar in moved.bars:
        if bar.step is not None:
            days = [
                np.mean(
                    [
                        levels[day]
                        for day in bar.reckoned.effects.day.tolist()
                        if (day >= bar.step.day) is after
                    ]
                )
                for levels in [told.days(bar)]
                for after in (True, False)
            ]
            yield Claim(f"step {bar.cafe.name}", bar.step.low, bar.step.high, float(days[0] - days[1]), True)
