"""An invented company and ten weeks of its brewing, made from a written truth.

Pure: the day and the random numbers come in as arguments, and the same ones give the same scenario.
"""

from __future__ import annotations

from datetime import date, timedelta

import numpy as np

from . import at_cafe, bar, boards, cast, coffees, instruments, kettles, plans, recipes
from .calendar import Calendar
from .rows import Reading, Scenario
from .shifts import asked_twice, brew_everything
from .slips import slip
from .story import Log, Story, attendance
from .truth import Components, Drift, GainError, Truth, draw_effects

__all__ = ["Scenario", "Truth", "build"]

_DRIFT_AFTER_DAY = 27
_GAIN_FIRST_DAY = 45
_GAIN_WORTH_TDS = 0.04
_GAIN_AT_TDS = 1.40


def build(today: date, rng: np.random.Generator) -> Scenario:
    calendar = Calendar(today)
    story = _story(calendar, rng)
    log = brew_everything(story, rng)
    readings = slip(log.readings, rng)
    checks = instruments.checks(calendar, story.components, story.gain_error, rng)
    return Scenario(
        notice=cast.NOTICE,
        company=cast.COMPANY,
        published_band=cast.PUBLISHED_BAND,
        today=today,
        first_day=calendar.day(0),
        cafes=cast.CAFES,
        stations=cast.STATIONS,
        people=story.people,
        coffees=coffees.COFFEES,
        batches=tuple(story.batches.values()),
        brewers=cast.BREWERS,
        papers=cast.PAPERS,
        kettles=cast.KETTLES,
        grinders=cast.GRINDERS,
        servers=cast.SERVERS,
        refractometers=cast.REFRACTOMETERS,
        waters=bar.waters(calendar),
        events=bar.events(calendar),
        matches=bar.matches(calendar),
        breakup_points=kettles.breakup_points(calendar),
        checks=checks,
        recipes=recipes.RECIPES,
        versions=tuple(story.versions.values()),
        cards=boards.cards(),
        slots=tuple(story.slots.values()),
        settings=tuple(row for rows in story.settings.values() for row in rows),
        grind_notes=at_cafe.grind_notes(calendar),
        cafe_targets=at_cafe.cafe_targets(calendar),
        check_plans=plans.check_plans(calendar),
        on_duty=tuple(log.on_duty),
        runs=tuple(log.runs),
        readings=tuple(readings),
        asked_twice=story.asked_twice,
        truth=_truth(story, log, readings),
    )


def _story(calendar: Calendar, rng: np.random.Generator) -> Story:
    components = Components()
    people = cast.people(calendar.day(0))
    cafe_days, staff_days = [], []
    for index, cafe, shifts in attendance(calendar, people):
        cafe_days.append((cafe, calendar.day(index)))
        staff_days += [(shift.person, calendar.day(index)) for shift in shifts]
    brewing = [person.key for person in people if person.brews]
    effects = draw_effects(components, brewing, cafe_days, staff_days, rng)
    slots = boards.slots(calendar)
    settings = boards.settings(calendar, rng)
    return Story(
        calendar=calendar,
        people=people,
        versions={row.key: row for row in recipes.versions(calendar)},
        level_tds={recipes.key_of(e): e.targets[0] + e.settles_off_tds for e in recipes.EDITIONS},
        batches={row.key: row for row in coffees.batches(calendar)},
        slots={row.key: row for row in slots},
        settings={slot.key: [row for row in settings if row.slot == slot.key] for slot in slots},
        coffee_of={row.key: row.coffee for row in recipes.RECIPES},
        components=components,
        effects=effects,
        drift=Drift(cast.DRIFTING, calendar.day(_DRIFT_AFTER_DAY), 0.0015),
        batch_step=coffees.new_crop(),
        gain_error=_gain_error(calendar),
        asked_twice=asked_twice(staff_days, rng),
    )


def _gain_error(calendar: Calendar) -> GainError:
    first = calendar.day(_GAIN_FIRST_DAY)
    return GainError(cast.MISREADING, first, first + timedelta(days=6), 1 + _GAIN_WORTH_TDS / _GAIN_AT_TDS)


def _truth(story: Story, log: Log, readings: list[Reading]) -> Truth:
    brew_of = {reading.key: reading.key.removesuffix("-typo") for reading in readings}
    return Truth(
        components=story.components,
        effects=story.effects,
        drift=story.drift,
        batch_step=story.batch_step,
        ageing=coffees.AGEING,
        gain_error=story.gain_error,
        shows_of_sucrose=instruments.SHOWS_OF_SUCROSE,
        stream_n=kettles.SMOOTHNESS,
        mishaps=tuple(log.mishaps),
        level_tds=story.level_tds,
        brew_tds={key: log.brew_tds[brew] for key, brew in brew_of.items()},
        cup_tds={key: log.cup_tds[brew] for key, brew in brew_of.items()},
    )
