"""Brews for reports: a crew on some days, and the same counted once more, brew by brew. All of it invented."""

from __future__ import annotations

from collections.abc import Iterable
from datetime import UTC, date, datetime, time, timedelta
from decimal import Decimal
from typing import Any

import numpy as np

from calibration import drift, instrument_spans
from calibration.drift import MEASURES
from calibration.models import Reading
from calibration.reporting.build import asked_for
from calibration.reporting.cells import verdict_of
from recipes.aims import aims_at
from tests import factories as make

FIRST, LAST = date(2026, 9, 1), date(2026, 9, 30)
NOW = datetime(2026, 10, 5, 12, tzinfo=UTC)
OPENED = datetime(2026, 6, 1, 6, tzinfo=UTC)


def slot(cafe=None, **fields: Any):
    """A recipe on a board long before the span."""
    return make.live_slot(cafe or make.cafe(), at=OPENED, **fields)


def brew(slot, who, day: date, tds: float = 1.40, **fields: Any):
    """A check brew at eleven; its yield follows from its strength."""
    at = datetime.combine(day, time(11), UTC)
    tds = Decimal(str(round(float(tds), 4)))
    fields.setdefault("ey", float(tds) * 220 / 15)
    return make.reading(slot, who, brewed_at=at, tds=tds, **fields)


def crew(slot, n: int) -> list[Any]:
    return [make.person(cafe=slot.board.cafe) for _ in range(n)]


def month(
    slot, people: Iterable[Any], days: int = 10, seed: int = 1, level: float = 1.40, first: date = FIRST
) -> None:
    """Everybody brews on each of ``days`` days; some cups are off, some too close to call."""
    rng = np.random.default_rng(seed)
    for n in range(days):
        of_day = rng.normal(0, 0.03)
        for who in people:
            brew(
                slot,
                who,
                first + timedelta(days=n),
                level + of_day + rng.normal(0, 0.05),
                brew_time_s=int(165 + rng.normal(0, 9)),
            )


def asked(cafe, first: date = FIRST, last: date = LAST, **fields: Any):
    return asked_for(cafe.company, None, first, last, **fields)


def void(reading, by) -> None:
    Reading.objects.filter(pk=reading.pk).update(voided_at=NOW, voided_by=by, void_reason="spilt")


# --- counted once more, brew by brew


def counted(
    asked_, measure: str = "tds", first: date | None = None, last: date | None = None
) -> list[Reading]:
    """What a measure is told of, by the words of `drift.why_left_out`."""
    known = instrument_spans.spans_of_cafes(asked_.cafes, NOW)
    rows = Reading.objects.filter(
        cafe__in=asked_.cafes,
        kind=Reading.Kind.CHECK,
        business_day__range=(first or asked_.first, last or asked_.last),
    ).select_related("version", "correction", "cafe")
    return [
        row
        for row in rows
        if not drift.why_left_out(row, MEASURES[measure])
        and instrument_spans.state_of(row, known) != "failing"
    ]


def verdicts(rows: Iterable[Reading], measure: str = "tds") -> dict[str, int]:
    found = {"inside": 0, "high": 0, "low": 0, "close": 0}
    for row in rows:
        verdict = verdict_of(row, aims_at(row.cafe, row.version, row.brewed_at), measure)
        if verdict:
            found[verdict] += 1
    return found
