"""One brew: the cup that comes of it, and what scale, clock and refractometer showed."""

from __future__ import annotations

from dataclasses import dataclass, replace
from datetime import date, timedelta
from uuid import UUID

import numpy as np

from .boards import PLACES, Place, slot_on
from .calendar import instant
from .cast import REFRACTOMETERS, cafe_of
from .coffees import AGEING
from .rows import Attempt, CheckRun, Kind, Reading, RecipeVersion, Slot, SlotSetting
from .story import TODAY, Log, Story
from .truth import Mishap, draw_brew, draw_drop

MISHAPS = 0.006
NOT_WEIGHED = 0.04
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
THIS_MORNING_OFF_TDS = -0.17

THIN = ("a little thin", "short and sharp", "watery at the end")
RIGHT = ("sweet and clear", "as the card says", "clean, long finish", "good balance")
HEAVY = ("heavy, a bit dry", "muted, cocoa more than fruit", "strong, slightly bitter")


@dataclass(frozen=True)
class Bench:
    """Somebody at a café's counter on one of the days."""

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

    def brew(
        self,
        place: Place,
        clock: float,
        kind: Kind,
        attempt: Attempt,
        *,
        was_served: bool = False,
        went_wrong: str = "",
    ) -> Reading:
        story, rng, day = self.story, self.rng, self._day
        slot, setting = self._on_the_board(place, clock)
        brewed_at, version = instant(day, clock, cafe_of(self.cafe)), story.versions[slot.version]
        key = f"brew-{len(self.log.readings) + 1:04d}"

        own = draw_brew(story.components, rng)
        cup = self._shared(version, setting.roast_batch) + own
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
            was_served=was_served,
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

    def cooling(self, place: Place, clock: float) -> CheckRun:
        """A first check that has been brewed and waits for its drops."""
        slot, setting = self._on_the_board(place, clock)
        version = self.story.versions[slot.version]
        cup = self._shared(version, setting.roast_batch) + draw_brew(self.story.components, self.rng)
        poured_at = instant(self._day, clock, cafe_of(self.cafe))
        return CheckRun(
            key=f"run-{self.person}",
            uuid=UUID(bytes=self.rng.bytes(16), version=4),
            cafe=self.cafe,
            business_day=self._day,
            barista=self.person,
            slot=slot.key,
            attempt="first",
            opened_at=poured_at - timedelta(minutes=3),
            poured_at=poured_at,
            brew_time_s=self._brew_time_s(cup, version),
        )

    @property
    def _day(self) -> date:
        return self.story.calendar.day(self.index)

    def _on_the_board(self, place: Place, clock: float) -> tuple[Slot, SlotSetting]:
        slot = self.story.slots[slot_on(place, self.index)]
        at = instant(self._day, clock, cafe_of(self.cafe))
        return slot, [row for row in self.story.settings[slot.key] if row.set_at <= at][-1]

    def _shared(self, version: RecipeVersion, batch: str) -> float:
        story, day = self.story, self._day
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
