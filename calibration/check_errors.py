"""What an instrument's checks were wrong by, over time: the rows of its chart, its table and its CSV."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import datetime, timedelta

from django.utils.translation import gettext as _

from brewbar import units
from calibration import instruments
from calibration.models import InstrumentCheck, Refractometer
from calibration.statistics.chart_results import Chart
from calibration.statistics.charts import individuals
from calibration.statistics.uncertainty import COVERAGE_K

SHOWN = timedelta(days=366)
NEWEST = 40
"""So many lines of the table; the CSV has them all."""
FEWEST_FOR_LIMITS = 10
"""Limits from fewer standards than this are little more than a guess: the house's choice."""


@dataclass(frozen=True)
class Point:
    """One check. at: on the café's clock; error: read less expected; U: expanded, None where it was not reckoned."""

    check: InstrumentCheck
    at: datetime
    error: float
    U: float | None

    @property
    def is_standard(self) -> bool:
        return bool(self.check.kind == InstrumentCheck.Kind.STANDARD)

    @property
    def state(self) -> str:
        """Of the page's vocabulary."""
        if self.check.unclear:
            return "close"
        return "passed" if self.check.passed else "failed"

    @property
    def word(self) -> str:
        words = {"passed": _("passed"), "close": _("unclear"), "failed": _("failed")}
        return words[self.state]

    @property
    def liquid(self) -> str:
        """What it was read on."""
        check = self.check
        if check.sucrose_g and check.solution_g:
            return _("%(sugar)s of sugar in %(whole)s") % {
                "sugar": units.grams(check.sucrose_g, 2),
                "whole": units.grams(check.solution_g, 2),
            }
        return str(check.get_kind_display())


@dataclass(frozen=True)
class Errors:
    """points: oldest first; bound: that a pass keeps to; unclear_to: where failing begins, by the newest standard,
    None without one; limits: of the standards' errors by their own scatter, None before there are enough."""

    instrument: Refractometer
    points: tuple[Point, ...]
    bound: float
    unclear_to: float | None
    limits: Chart | None

    @property
    def standards(self) -> list[Point]:
        return [point for point in self.points if point.is_standard]

    @property
    def waters(self) -> list[Point]:
        return [point for point in self.points if not point.is_standard]

    @property
    def newest(self) -> tuple[Point, ...]:
        """The lines of the table, newest first."""
        return self.points[: -NEWEST - 1 : -1]

    @property
    def too_few(self) -> int:
        """How many standards are wanting before limits are drawn; 0 when they are."""
        return max(0, FEWEST_FOR_LIMITS - sum(point.state != "failed" for point in self.standards))

    @property
    def beyond(self) -> list[Point]:
        """Standards beyond the limits of their own scatter."""
        if self.limits is None:
            return []
        at = sorted({signal.index for signal in self.limits.signals if signal.rule == "beyond"})
        return [self.standards[index - 1] for index in at]


def look(instrument: Refractometer, now: datetime) -> Errors:
    """A year of checks up to ``now``. One query."""
    rows = (
        InstrumentCheck.objects.filter(refractometer=instrument, checked_at__range=(now - SHOWN, now))
        .select_related("checked_by")
        .order_by("checked_at", "pk")
    )
    zone = instrument.cafe.zone
    points = tuple(
        Point(
            row,
            row.checked_at.astimezone(zone),
            float(row.read_tds - row.expected_tds),
            None if row.u_tds is None else COVERAGE_K * row.u_tds,
        )
        for row in rows
    )
    standards = [point for point in points if point.is_standard]
    right = [point.error for point in standards if point.state != "failed"]
    bound = float(instruments.allowed_tds(instrument))
    known = next((point.U for point in reversed(standards) if point.U is not None), None)
    return Errors(
        instrument,
        points,
        bound,
        None if known is None else (bound**2 + known**2) ** 0.5,
        _limits([point.error for point in standards], right),
    )


def _limits(errors: list[float], right: list[float]) -> Chart | None:
    """Of all ``errors`` by the scatter of those that did not fail, which says how the instrument is when it is well."""
    if len(right) < FEWEST_FOR_LIMITS:
        return None
    well = individuals(right)
    return individuals(errors, target=well.centre, sigma=well.sigma) if well.sigma else well
