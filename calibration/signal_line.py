"""The chart that a signal came from, as rows that are drawn and tabled alike."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import date, timedelta

from calibration import check_plans
from calibration.models import Signal
from calibration.signal_charts import Charts, date_of
from calibration.signal_rows import gather

AFTER = timedelta(days=28)
"""What came later says whether it went on; more would be another story."""
POINTS = 60


@dataclass(frozen=True)
class Point:
    """One day's brews of a person, or of all. error, se: above what was foretold, in the unit of the measure; z: their
    ratio; average, limit: of the chart, in standard errors; is_raised: what was signalled; is_since: since it began."""

    day: date
    error: float
    se: float
    z: float
    average: float
    limit: float
    brews: int
    is_raised: bool
    is_since: bool


@dataclass(frozen=True)
class Line:
    """points: in order of days; outer: limit of a single point."""

    points: tuple[Point, ...]
    outer: float | None
    measure: str
    is_of_days: bool


def line_of(signal: Signal, today: date) -> Line | None:
    """None where no chart can be drawn (any more)."""
    if signal.recipe_id is None:
        return None
    upto = min(today, signal.day + AFTER)
    charts = Charts(
        gather(signal.cafe, check_plans.of(signal.cafe), signal.recipe_id, upto).of(signal.measure)
    )
    if not charts.is_known_enough:
        return None
    errors, watched = charts.errors(signal.person_id), charts.watched(signal.person_id)
    points = [
        Point(
            day=date_of(day),
            error=float(errors.error[i]),
            se=float(errors.se[i]),
            z=float(errors.z[i]),
            average=float(watched.average[i]),
            limit=float(watched.limit[i]),
            brews=int(errors.brews[i]),
            is_raised=day == signal.day,
            is_since=bool(signal.since and signal.since <= date_of(day) <= signal.day),
        )
        for i, day in enumerate(errors.day)
    ]
    if not points:
        return None
    return Line(tuple(points[-POINTS:]), watched.scheme.outer, signal.measure, signal.person_id is None)
