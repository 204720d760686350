"""A café whose crew has brewed its check recipe for weeks, as rows saved at once. All of it is invented."""

from __future__ import annotations

import uuid
from dataclasses import dataclass, field
from datetime import date, datetime, time, timedelta
from decimal import Decimal
from typing import Any

import numpy as np
from django.utils import timezone

from brewbar.crew.models import Cafe, Role, User
from calibration import signals
from calibration.models import CheckPlan, Reading, Refractometer, Signal
from recipes.models import Slot
from tests import factories as make

STAFF, DAY, STAFF_DAY, BREW = 0.02, 0.015, 0.01, 0.02  # % TDS
TIME_SD = 5.0  # s
S_PER_TDS = 150.0  # what is stronger runs longer


@dataclass
class Crew:
    """days: business days, oldest first, the last of them yesterday; people in the order of `shift`'s keys."""

    cafe: Cafe
    head: User
    people: list[User]
    slot: Slot
    instrument: Refractometer
    days: list[date]
    readings: list[Reading] = field(default_factory=list)

    def at(self, day: date, hour: int = 9) -> datetime:
        return datetime.combine(day, time(hour), self.cafe.zone)

    def of(self, person: User, day: date) -> Reading:
        return next(one for one in self.readings if one.barista == person and one.business_day == day)

    def signals(self, **wanted: Any) -> list[Signal]:
        return list(Signal.objects.filter(cafe=self.cafe, **wanted).order_by("day", "pk"))

    def catch_up(self, since: date | None = None) -> int:
        return signals.catch_up(self.cafe, since)

    def look(self, day: date) -> list[Signal]:
        """As after the last save of ``day``."""
        return signals.look_again(self.cafe, self.slot.version.recipe_id, day, self.at(day, 18))


def crew(people: int = 4, days: int = 40, seed: int = 1, shift: Any = None, smallest: str = "0.05") -> Crew:
    """Everybody brews once a day. shift(person, day): what is added to TDS, both counted from 0."""
    cafe = make.cafe(time_zone="Europe/London")
    head = make.person(Role.HEAD, cafe)
    crew = [make.person(cafe=cafe, name=f"Brewer {letter}") for letter in "ABCDEFGH"[:people]]
    last = cafe.business_day(timezone.now()) - timedelta(days=1)
    span = [last - timedelta(days=back) for back in reversed(range(days))]
    slot = make.live_slot(cafe, by=head, at=timezone.now() - timedelta(days=days + 2))
    instrument = make.refractometer(cafe)
    CheckPlan.objects.create(
        cafe=cafe,
        recipe=slot.version.recipe,
        smallest_tds=Decimal(smallest),
        smallest_time_s=60,
        # So seldom that chance has no part in these few weeks.
        false_alarms_a_month=Decimal("0.1"),
    )
    made = Crew(cafe, head, crew, slot, instrument, span)
    rng = np.random.default_rng(seed)
    of_people, of_days = rng.normal(0, STAFF, people), rng.normal(0, DAY, days)
    for t, day in enumerate(span):
        for who, person in enumerate(crew):
            tds = 1.40 + of_people[who] + of_days[t] + rng.normal(0, STAFF_DAY) + rng.normal(0, BREW)
            more = shift(who, t) if shift else 0.0
            time_s = 165 + S_PER_TDS * more + rng.normal(0, TIME_SD)
            made.readings.append(row(made, person, day, tds + more, time_s))
    Reading.objects.bulk_create(made.readings)
    return made


def row(crew: Crew, person: User, day: date, tds: float, time_s: float = 165.0, hour: int = 9) -> Reading:
    """A reading that is not saved yet."""
    slot, at = crew.slot, crew.at(day, hour)
    return Reading(
        company=crew.cafe.company,
        cafe=crew.cafe,
        uuid=uuid.uuid4(),
        fingerprint=uuid.uuid4().hex,
        barista=person,
        entered_by=person,
        entered_at=at,
        brewed_at=at,
        business_day=day,
        slot=slot,
        station=slot.station,
        version=slot.version,
        roast_batch=slot.setting.roast_batch,
        grinder=slot.setting.grinder,
        grind_setting=slot.setting.grind_setting,
        kettle=slot.kettle,
        refractometer=crew.instrument,
        dose_g=15,
        water_g=250,
        beverage_source=Reading.Beverage.ALONE,
        beverage_g=Decimal(220),
        brew_time_s=round(time_s),
        tds=round(Decimal(tds), 4),
        tds_rule="mean",
        drops_range_tds=0,
        drops_allowed_tds=Decimal("0.03"),
        u_tds_relative=0.01,
        u_tds_absolute=0.02,
        ey=tds * 220 / 15,
        u_ey_relative=0.2,
        u_ey_absolute=0.3,
    )
