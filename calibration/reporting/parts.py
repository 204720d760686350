"""Everything a report tells, each part reckoned once, when it is first asked for."""

from __future__ import annotations

from dataclasses import dataclass
from functools import cached_property

from calibration.reporting.cafes import Cafes
from calibration.reporting.checks_done import Checks
from calibration.reporting.coffees import Coffees
from calibration.reporting.costs import Costs
from calibration.reporting.ground import Ground
from calibration.reporting.instruments_health import Instruments
from calibration.reporting.moved import Moved
from calibration.reporting.people import People
from calibration.reporting.shares import Shares
from calibration.reporting.signals_done import Signals
from calibration.reporting.spreads import Spreads


@dataclass(frozen=True)
class Parts:
    ground: Ground

    @cached_property
    def shares(self) -> Shares:
        return Shares(self.ground)

    @cached_property
    def spreads(self) -> Spreads:
        return Spreads(self.ground)

    @cached_property
    def moved(self) -> Moved:
        return Moved(self.ground)

    @cached_property
    def cafes(self) -> Cafes:
        return Cafes(self.ground, self.instruments)

    @cached_property
    def coffees(self) -> Coffees:
        return Coffees(self.ground)

    @cached_property
    def signals(self) -> Signals:
        return Signals(self.ground)

    @cached_property
    def checks(self) -> Checks:
        return Checks(self.ground)

    @cached_property
    def instruments(self) -> Instruments:
        return Instruments(self.ground)

    @cached_property
    def people(self) -> People:
        return People(self.ground, self.moved)

    @cached_property
    def costs(self) -> Costs:
        return Costs(self.ground)
