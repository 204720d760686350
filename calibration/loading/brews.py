"""The shift check: what each café asks, who was on duty, what they brewed and measured."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import replace
from datetime import datetime

from brewbar.crew.models import Cafe, User
from calibration import beds, checking, recording
from calibration.entry import Entry
from calibration.loading.made import Made, decimal_of
from calibration.models import CheckPlan, CheckRun, Drop, OnDuty, Reading, Refractometer
from calibration.scenario import rows
from recipes.models import BarEvent, BrewWater, Grinder, RoastBatch, Seen, Server, Slot


class Brews(Made):
    def brews(self) -> None:
        self._checks()
        self._readings()

    def _checks(self) -> None:
        scenario = self.scenario
        self.make(CheckPlan, scenario.check_plans)
        came = [row for row in scenario.on_duty if row.since <= self.now]
        self.make(OnDuty, came, how=OnDuty.How.SIGNED_IN)
        for run in scenario.runs:
            if run.opened_at <= self.now:
                self.make(CheckRun, [run], station=self.made[Slot][run.slot].card.station)

    def _readings(self) -> None:
        readings = [reading for reading in self.scenario.readings if reading.entered_at <= self.now]
        entries: dict[str, Entry] = {}
        for correcting in (False, True):
            due = [reading for reading in readings if bool(reading.corrects) is correcting]
            entries |= {reading.key: self._entry(reading) for reading in due}
            self.save({reading.key: self._reading(reading, entries[reading.key]) for reading in due})
        made = self.made[Reading]
        drops = [drop for key, entry in entries.items() for drop in recording.drops(entry, made[key])]
        Drop.objects.bulk_create(drops, batch_size=1000)
        beds.refit_all(Reading.objects.filter(company=self.company))
        self._seen(made.values())

    def _seen(self, readings: Iterable[Reading]) -> None:
        """Who has brewed a version knows what changed with it."""
        first: dict[tuple[int, int], datetime] = {}
        for reading in sorted(readings, key=lambda reading: reading.entered_at):
            first.setdefault((reading.slot_id, reading.barista_id), reading.entered_at)
        Seen.objects.bulk_create(
            (Seen(slot_id=slot, user_id=user, seen_at=at) for (slot, user), at in first.items()),
            batch_size=500,
        )

    def _entry(self, reading: rows.Reading) -> Entry:
        slot = self.made[Slot][reading.slot]
        server = self.made[Server][reading.server]
        weighed = reading.beverage_g is not None
        entry = Entry(
            uuid=reading.uuid,
            slot=slot,
            barista=self.made[User][reading.barista],
            kind=reading.kind,
            drops=tuple(decimal_of(drop) for drop in reading.drops_tds),
            brew_time_s=reading.brew_time_s,
            beverage_source=Reading.Beverage.SERVER if weighed else Reading.Beverage.ESTIMATED,
            dose_g=decimal_of(reading.dose_g),
            water_g=decimal_of(reading.water_g),
            roast_batch=self.made[RoastBatch][reading.roast_batch],
            grinder=self.made[Grinder][reading.grinder],
            grind_setting=reading.grind_setting,
            kettle=slot.kettle,
            refractometer=self.made[Refractometer][reading.refractometer],
            weight_g=server.tare_g + decimal_of(reading.beverage_g)
            if reading.beverage_g is not None
            else None,
            server=server if weighed else None,
            tare_g=server.tare_g if weighed else None,
            bypass_g=slot.version.bypass_g,
            brewed_at=reading.brewed_at,
            sample_temperature_C=decimal_of(reading.sample_temperature_C),
            taste=reading.taste,
            corrects=self.made[Reading][reading.corrects] if reading.corrects else None,
        )
        if checking.asks_about_rinse_water(entry):
            # They thought that there was none; whoever was wrong has had the reading voided.
            entry = replace(entry, rinse_left_in=False)
        return entry

    def _reading(self, reading: rows.Reading, entry: Entry) -> Reading:
        if problems := checking.problems(entry, reading.entered_at):
            raise recording.Impossible(problems)
        by = self.made[User][reading.entered_by]
        row = recording.made(entry, by, reading.entered_at, self._water_at(entry.cafe, reading.brewed_at))
        row.attempt, row.was_served = reading.attempt, reading.was_served
        if reading.void:
            row.voided_at, row.void_reason = reading.void.at, reading.void.why
            row.voided_by = self.made[User][reading.void.by]
        return row

    def _water_at(self, cafe: Cafe, at: datetime) -> BrewWater | None:
        said = [
            event
            for event in self.made[BarEvent].values()
            if event.brew_water and event.cafe == cafe and event.happened_at <= at
        ]
        newest: BarEvent | None = max(said, key=lambda event: event.happened_at, default=None)
        return newest.brew_water if newest else None
