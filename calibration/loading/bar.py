"""The company's crew, its counters and what happened at them."""

from __future__ import annotations

from collections.abc import Iterator
from datetime import datetime

from django.contrib.auth.hashers import make_password

from brewbar.crew.models import Cafe, Membership, Role, Station, User
from calibration import instruments
from calibration.loading.made import Made, decimal_of
from calibration.models import BandChoice, InstrumentCheck, Refractometer
from calibration.scenario import rows
from calibration.scenario.things import Person
from recipes.models import (
    BarEvent,
    BreakupPoint,
    Brewer,
    BrewWater,
    Coffee,
    Grinder,
    GrinderMatch,
    Kettle,
    Paper,
    RoastBatch,
    Server,
)


class Bar(Made):
    def bar(self) -> None:
        BandChoice.objects.create(company=self.company, key=self.scenario.published_band)
        self._crew()
        self._things()

    def _crew(self) -> None:
        self.make(Cafe, self.scenario.cafes, company=self.company)
        for position, station in enumerate(self.scenario.stations):
            self.make(Station, [station], position=position)
        people = self.scenario.people
        nobody_knows = make_password(None)
        self.save({who.key: User(username=who.key, name=who.name, password=nobody_knows) for who in people})
        memberships = [membership for who in people for membership in self._memberships(who)]
        Membership.objects.bulk_create(memberships)
        joined_on = {self.made[User][who.key]: who.joined_on for who in people}
        for membership in memberships:
            day = joined_on[membership.user]
            membership.started_at = datetime(day.year, day.month, day.day, 8, tzinfo=self.now.tzinfo)
        Membership.objects.bulk_update(memberships, ["started_at"])

    def _memberships(self, who: Person) -> Iterator[Membership]:
        user = self.made[User][who.key]
        for cafe in (None,) if Role(who.role) is Role.OWNER else who.cafes:
            yield Membership(
                user=user,
                company=self.company,
                cafe=self.made[Cafe][cafe] if cafe else None,
                role=who.role,
                in_training=who.trainee,
            )

    def _things(self) -> None:
        scenario = self.scenario
        self.make(Coffee, scenario.coffees, company=self.company)
        self.make(RoastBatch, scenario.batches)
        self.make(Brewer, scenario.brewers, company=self.company)
        self.make(Paper, scenario.papers, company=self.company)
        self.make(Kettle, scenario.kettles)
        self.make(Grinder, scenario.grinders)
        self.make(Server, scenario.servers)
        self.make(Refractometer, scenario.refractometers)
        self._happenings()
        self._instrument_checks()
        for cafe in self.made[Cafe].values():
            instruments.write_reach(cafe)

    def _happenings(self) -> None:
        scenario = self.scenario
        self.make(BrewWater, scenario.waters)
        self.make(BarEvent, [event for event in scenario.events if event.noted_at <= self.now])
        self.make(GrinderMatch, [match for match in scenario.matches if match.found_at <= self.now])
        measured = [point for point in scenario.breakup_points if point.measured_at <= self.now]
        self.make(BreakupPoint, measured)
        for event in self.made[BarEvent].values():
            if event.brew_water:
                event.brew_water.in_use_since = event.happened_at
        BrewWater.objects.bulk_update(self.made[BrewWater].values(), ["in_use_since"])

    def _instrument_checks(self) -> None:
        due = [check for check in self.scenario.checks if check.checked_at <= self.now]
        self.save({check.key: self._instrument_check(check) for check in due if check.sucrose_g is None})
        for check in sorted(due, key=lambda check: check.checked_at):
            if check.sucrose_g is not None:
                # One by one: what an instrument shows of sucrose is learnt from its standards before.
                self.save({check.key: self._instrument_check(check)})

    def _instrument_check(self, check: rows.InstrumentCheck) -> InstrumentCheck:
        mixed = None
        if check.sucrose_g is not None and check.solution_g is not None:
            mixed = instruments.Mixed(decimal_of(check.sucrose_g), decimal_of(check.solution_g))
        expected, found = instruments.judged(
            self.made[Refractometer][check.refractometer],
            check.kind,
            None if check.expected_tds is None else decimal_of(check.expected_tds),
            decimal_of(check.read_tds),
            mixed,
        )
        row = InstrumentCheck(**self.columns(InstrumentCheck, check, ["expected_tds"]), expected_tds=expected)
        row.passed, row.unclear, row.u_tds = found.word == "passed", found.word == "unclear", found.u
        return row
