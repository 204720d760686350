"""The brews of ten weeks: who brewed what when, and what scale, clock and refractometer showed."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass, field, replace
from datetime import date, timedelta
from uuid import UUID

import numpy as np

from .boards import PLACES, Place, slot_on
from .calendar import DAYS, Calendar, Shift, instant, on_duty
from .cast import CAFES, REFRACTOMETERS, cafe_of, head_of
from .coffees import AGEING
from .rows import Attempt, Kind, Person, Reading, RecipeVersion, RoastBatch, Slot, SlotSetting
from .truth import BatchStep, Components, Drift, Effects, GainError, Mishap, draw_brew, draw_drop

TODAY = DAYS - 1
MIDNIGHT = 24 * 60  # minutes

MISSED = 0.03
ASKED_TWICE = 0.2
ANOTHER_RECIPE = 0.07
SERVED = 0.09
REBREWED = 0.3
REBREWED_BEYOND_TDS = 0.09
MISHAPS = 0.006
NOT_WEIGHED = 0.04
ENTERED_BY_HEAD = 0.03
SLIGHTLY_OFF_PLAN = 0.15
TASTED = 0.3

# ISO 5725-6:1994, 5.2: 2.8, 3.3 times the repeatability SD, 0.0104 with rounding, in whole steps of 0.01
DROPS_MAY_DIFFER_TDS = 0.03
FOURTH_DROP = 0.5

# Water kept per gram of dose and its spread over brews: trade rule of about 2 g/g, common practice, no source
RETAINED_G_PER_G = 2.2
RETAINED_SD_G_PER_G = 0.06
# Stronger cups run longer: chosen for the scenario, no source
SECONDS_PER_TDS = 150.0
BREW_TIME_SD_S = 7.0

STORIES = (
    ("Stopped the second pour 30 g short and made it up at the end.", -0.14),
    ("The bed stalled; it took a stir to start again.", 0.17),
    ("Grinder not purged after the last coffee.", -0.12),
    ("Kettle had gone off its base; the water was cool.", -0.16),
    ("Dosed straight from a new bag without weighing twice.", 0.15),
)
THIS_MORNING = "Ground at last night's setting, before the board was read."
THIS_MORNING_OFF_TDS = -0.17

THIN = ("a little thin", "short and sharp", "watery at the end")
RIGHT = ("sweet and clear", "as the card says", "clean, long finish", "good balance")
HEAVY = ("heavy, a bit dry", "muted, cocoa more than fruit", "strong, slightly bitter")


@dataclass(frozen=True)
class Story:
    """What is fixed before the first brew."""

    calendar: Calendar
    people: tuple[Person, ...]
    versions: dict[str, RecipeVersion]
    level_tds: dict[str, float]
    batches: dict[str, RoastBatch]
    slots: dict[str, Slot]
    settings: dict[str, list[SlotSetting]]
    coffee_of: dict[str, str]
    components: Components
    effects: Effects
    drift: Drift
    batch_step: BatchStep
    gain_error: GainError
    asked_twice: frozenset[tuple[str, date]]


@dataclass
class Log:
    """What has been brewed so far."""

    readings: list[Reading] = field(default_factory=list)
    mishaps: list[Mishap] = field(default_factory=list)
    brew_tds: dict[str, float] = field(default_factory=dict)
    cup_tds: dict[str, float] = field(default_factory=dict)


def attendance(calendar: Calendar, people: tuple[Person, ...]) -> Iterator[tuple[int, str, list[Shift]]]:
    for index in range(DAYS):
        for cafe in CAFES:
            yield index, cafe.key, on_duty(people, cafe.key, index, calendar.day(index))


def brew_everything(story: Story, rng: np.random.Generator) -> Log:
    log = Log()
    for index, cafe, shifts in attendance(story.calendar, story.people):
        heads_here = {shift.person for shift in shifts} & {head_of(cafe)}
        for shift in shifts:
            if index < TODAY:
                if rng.random() >= MISSED:
                    _work(story, log, index, cafe, shift, heads_here, rng)
            elif shift.early:
                _open_today(story, log, cafe, shift, shifts, rng)
    return log


def _work(
    story: Story, log: Log, index: int, cafe: str, shift: Shift, heads: set[str], rng: np.random.Generator
) -> None:
    """One person's brews on one day: the check, perhaps once more, another recipe, a served cup."""
    day = story.calendar.day(index)
    clock = _first_check(cafe, shift, day, rng)
    entered_by = shift.person
    if heads and rng.random() < ENTERED_BY_HEAD:
        entered_by = next(iter(heads))
    tries = _Tries(story, log, index, cafe, shift.person, entered_by, rng)
    place = tries.choose()
    first = tries.brew(place, clock, "check", "first")
    off = abs(log.cup_tds[first.key] - story.versions[story.slots[first.slot].version].tds_target)
    if (shift.person, day) in story.asked_twice:
        clock = tries.later(clock)
        tries.brew(place, clock, "check", "repeat")
    elif off > REBREWED_BEYOND_TDS and rng.random() < REBREWED:
        clock = tries.later(clock)
        tries.brew(place, clock, "check", "rebrew")
    if clock < MIDNIGHT and rng.random() < ANOTHER_RECIPE:
        clock = tries.later(clock)
        tries.brew(tries.choose(besides=place), clock, "check", "first")
    if clock < MIDNIGHT and rng.random() < SERVED:
        clock = tries.later(clock)
        tries.brew(tries.choose(), clock, "served", "first")


def _open_today(
    story: Story, log: Log, cafe: str, shift: Shift, shifts: list[Shift], rng: np.random.Generator
) -> None:
    """This morning the early shift has checked; at the first café its last check went wrong."""
    early = [other for other in shifts if other.early]
    clock = 6 * 60 + 20 + float(rng.uniform(0, 60))
    tries = _Tries(story, log, TODAY, cafe, shift.person, shift.person, rng)
    went_wrong = cafe == CAFES[0].key and shift is early[-1]
    tries.brew(tries.choose(), clock, "check", "first", THIS_MORNING if went_wrong else "")


def _first_check(cafe: str, shift: Shift, day: date, rng: np.random.Generator) -> float:
    """Minutes after midnight. Candle Yard stays open past midnight on Fridays and Saturdays."""
    if shift.early:
        return 6 * 60 + 20 + float(rng.uniform(0, 170))
    if shift.closes and cafe == "candle" and day.weekday() in (4, 5):
        return 22 * 60 + 30 + float(rng.uniform(0, 110))
    return 12 * 60 + 40 + float(rng.uniform(0, 210))


@dataclass(frozen=True)
class _Tries:
    story: Story
    log: Log
    index: int
    cafe: str
    person: str
    entered_by: str
    rng: np.random.Generator

    def later(self, clock: float) -> float:
        return clock + 20 + float(self.rng.uniform(0, 15))

    def choose(self, besides: Place | None = None) -> Place:
        places = [
            place
            for place in PLACES
            if place.cafe == self.cafe and place.since <= self.index and place is not besides
        ]
        shares = np.array([place.share for place in places])
        return places[int(self.rng.choice(len(places), p=shares / shares.sum()))]

    def brew(self, place: Place, clock: float, kind: Kind, attempt: Attempt, went_wrong: str = "") -> Reading:
        story, rng = self.story, self.rng
        day = story.calendar.day(self.index)
        brewed_at = instant(day, clock, cafe_of(self.cafe))
        slot = story.slots[slot_on(place, self.index)]
        version = story.versions[slot.version]
        setting = [row for row in story.settings[slot.key] if row.set_at <= brewed_at][-1]
        key = f"brew-{len(self.log.readings) + 1:04d}"

        own = draw_brew(story.components, rng)
        cup = self._shared(version, setting.roast_batch, day) + own
        mishap = self._mishap(key, cup, version, went_wrong)
        if mishap:
            self.log.mishaps.append(mishap)
            cup += mishap.tds
        self.log.brew_tds[key] = own
        self.log.cup_tds[key] = cup

        dose_g, water_g = self._masses(version)
        refractometer = next(row.key for row in REFRACTOMETERS if row.cafe == self.cafe)
        reading = Reading(
            key=key,
            uuid=UUID(bytes=rng.bytes(16), version=4),
            slot=slot.key,
            roast_batch=setting.roast_batch,
            grinder=setting.grinder,
            grind_setting=setting.grind_setting,
            barista=self.person,
            refractometer=refractometer,
            server=place.server,
            brewed_at=brewed_at,
            entered_at=brewed_at,
            entered_by=self.entered_by,
            business_day=day,
            kind=kind,
            attempt=attempt,
            dose_g=dose_g,
            water_g=water_g,
            beverage_g=self._beverage_g(cup, dose_g, water_g + version.bypass_g, kind),
            brew_time_s=self._brew_time_s(cup, version),
            drops_tds=self._drops(cup, story.gain_error.on(refractometer, day)),
            sample_temperature_C=round(float(rng.uniform(21.0, 25.5)), 1),
            taste=self._taste(cup - version.tds_target),
        )
        entered_at = brewed_at + timedelta(seconds=reading.brew_time_s + int(rng.integers(360, 720)))
        self.log.readings.append(replace(reading, entered_at=entered_at))
        return reading

    def _shared(self, version: RecipeVersion, batch: str, day: date) -> float:
        story = self.story
        days_off_roast = (day - story.batches[batch].roasted_on).days
        return (
            story.level_tds[version.key]
            + story.batch_step.of(batch)
            + AGEING.of(story.coffee_of[version.recipe], days_off_roast)
            + story.effects.of(self.person, self.cafe, day)
            + story.drift.on(self.person, day)
        )

    def _mishap(self, key: str, cup_tds: float, version: RecipeVersion, went_wrong: str) -> Mishap | None:
        if went_wrong:
            return Mishap(key, version.tds_target + THIS_MORNING_OFF_TDS - cup_tds, went_wrong)
        if self.index < TODAY and self.rng.random() < MISHAPS:
            story, off = STORIES[int(self.rng.integers(len(STORIES)))]
            return Mishap(key, off, story)
        return None

    def _masses(self, version: RecipeVersion) -> tuple[float, float]:
        if self.rng.random() >= SLIGHTLY_OFF_PLAN:
            return version.dose_g, float(version.water_g)
        dose_g = version.dose_g + float(self.rng.choice([-0.1, 0.1]))
        return round(dose_g, 1), float(version.water_g + int(self.rng.integers(-1, 4)))

    def _beverage_g(self, cup_tds: float, dose_g: float, added_g: float, kind: Kind) -> float | None:
        """Water that left the bed and what it carries: B = (A - r D) / (1 - T)."""
        retained = self.rng.normal(RETAINED_G_PER_G, RETAINED_SD_G_PER_G)
        weighed = self.rng.random() >= (NOT_WEIGHED if kind == "check" else 0.5)
        return round((added_g - retained * dose_g) / (1 - cup_tds / 100), 1) if weighed else None

    def _brew_time_s(self, cup_tds: float, version: RecipeVersion) -> int:
        longer = SECONDS_PER_TDS * (cup_tds - version.tds_target)
        return round(version.brew_time_s + longer + self.rng.normal(0.0, BREW_TIME_SD_S))

    def _drops(self, cup_tds: float, gain: float) -> tuple[float, ...]:
        components = self.story.components
        drops = [draw_drop(cup_tds, gain, components, self.rng) for _ in range(2)]
        if round(max(drops) - min(drops), 2) > DROPS_MAY_DIFFER_TDS:
            wanted = 2 if self.rng.random() < FOURTH_DROP else 1
            drops += [draw_drop(cup_tds, gain, components, self.rng) for _ in range(wanted)]
        return tuple(drops)

    def _taste(self, off_tds: float) -> str:
        if self.rng.random() >= TASTED:
            return ""
        words = THIN if off_tds < -0.06 else HEAVY if off_tds > 0.06 else RIGHT
        return str(self.rng.choice(words))
