"""The brews of a report, added up where they lie: one pass over the readings, however many there are.

A cell is what one person brewed of one version and batch on one day in one café on one instrument: how many brews, for
each measure their sum and sum of squares, and how many lie inside their target, outside it or too close to call. Sums
are of whole numbers (tenths of thousandths of a per cent, seconds), so that no engine and no order of rows changes a
digit of them.

Whether a brew conforms (JCGM 106:2012, 7.4) is decided by the database. With d = |value - target|, tolerance T,
standard uncertainty u and z = 0.8416, the normal quantile of 80 %:

- outside needs d >= T + z u. At that distance the far limit takes less than 0.000 001 from the chance.
- inside needs T > 2u and d <= T - z u. The chance that the far limit takes is under 0.000 8 for T > 2u and under
  0.000 000 2 for T > 3u, so the distance that answers 80 % exactly lies less than 0.003 u, or 0.000 001 u, nearer.

What lies in between, hardly ever anything, is counted as unsure and read row by row.
"""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from dataclasses import dataclass, fields, replace
from datetime import UTC, date, datetime, time, timedelta
from typing import Any

import numpy as np
from django.db.models import (
    BigIntegerField,
    Case,
    Count,
    F,
    FloatField,
    Func,
    Max,
    Q,
    QuerySet,
    Sum,
    Value,
    When,
)
from django.db.models.functions import Abs, Cast
from django.db.models.lookups import Exact, GreaterThan, GreaterThanOrEqual, IsNull, LessThanOrEqual
from numpy.typing import NDArray

from calibration import instrument_spans, spread
from calibration.drift import MEASURES, Measure
from calibration.instrument_spans import Span
from calibration.models import Reading
from calibration.reporting.result import Asked
from calibration.statistics.sums import Sums
from calibration.statistics.uncertainty import BREW_TIME_U_S, COVERAGE_K, Word, conformity
from recipes.aims import Aims, OwnAims

Z = 0.8416212335729143
"""Quantile of the normal distribution at 80 %."""
SAME = 5e-10
"""Limits are compared to nine decimals."""
HARDLY, A_LITTLE = 1e-6, 0.003
"""In units of u: how far a limit may lie from where the database looks for it."""
U_COLUMN = {"tds": "u_tds_relative", "ey": "u_ey_relative"}
AIMS = {
    "tds": ("tds_target", "tds_tolerance"),
    "ey": ("ey_target", "ey_tolerance"),
    "time": ("brew_time_s", "brew_time_tolerance_s"),
}
STEPS = {"tds": 10_000, "ey": 10_000, "time": 1}
"""In so many parts of its unit a value is added up."""
LABELS = ("cafe", "version", "roast_batch", "barista", "refractometer")
APART = 10_000_000
"""More than a day's ordinal will ever be."""
COLUMNS = ("cafe", "version", "batch", "who", "day", "instrument", "n")
VERDICTS = ("inside", "high", "low")
PLACES = (*VERDICTS, "unsure")
BITS = 15
MOST_A_CELL = 1 << BITS
"""A cell has fewer brews, so that four counts fit into one whole number of a database."""

Whole = NDArray[np.int64]


class InSteps(Func):
    """The nearest whole number to what is not negative, alike on every engine."""

    output_field = BigIntegerField()
    template = "CAST(%(expressions)s + 0.5 AS INTEGER)"

    def as_postgresql(self, compiler: Any, connection: Any, **context: Any) -> Any:
        return self.as_sql(compiler, connection, template="FLOOR(%(expressions)s + 0.5)::bigint", **context)


@dataclass(frozen=True)
class Hits:
    """Of one measure, by cell: n: brews that it is told of; total, squares: in its unit; judged: those with a target;
    inside, high, low: verdicts; the others of the judged are too close to call, or still unsure."""

    n: Whole
    total: NDArray[np.float64]
    squares: NDArray[np.float64]
    judged: Whole
    inside: Whole
    high: Whole
    low: Whole
    unsure: Whole

    @property
    def close(self) -> Whole:
        return self.judged - self.inside - self.high - self.low

    def only(self, chosen: NDArray[Any]) -> Hits:
        return Hits(*(getattr(self, field.name)[chosen] for field in fields(self)))


@dataclass(frozen=True)
class Cells:
    """Columns of the same length: labels are keys of rows, days ordinals; of: by measure."""

    cafe: Whole
    version: Whole
    batch: Whole
    who: Whole
    day: Whole
    instrument: Whole
    n: Whole
    of: Mapping[str, Hits]

    def __len__(self) -> int:
        return len(self.n)

    @property
    def brews(self) -> int:
        return int(self.n.sum())

    def only(self, chosen: NDArray[Any]) -> Cells:
        of = {key: hits.only(chosen) for key, hits in self.of.items()}
        columns = {label: getattr(self, label)[chosen] for label in COLUMNS}
        return Cells(**columns, of=of)

    def between(self, first: date, last: date) -> Cells:
        return self.only((self.day >= first.toordinal()) & (self.day <= last.toordinal()))

    @property
    def cafe_day(self) -> Whole:
        """A day of one café is another day than the same of another; days that follow one another do so here too."""
        place = np.unique(self.cafe, return_inverse=True)[1]
        return np.ravel(place) * APART + self.day

    def sums(self, measure: Measure, level: Whole | None = None) -> Sums:
        """For whoever parts a spread or compares. level: what has a level of its own; a version in a café, if not said
        otherwise. Days of several cafés are told apart."""
        hits = self.of[measure.key]
        told = hits.n > 0
        if level is None:
            level = paired(self.cafe, self.version)
        return Sums.of(
            self.who[told],
            self.cafe_day[told],
            hits.n[told],
            hits.total[told],
            hits.squares[told],
            recipe=level[told],
            lot=self.batch[told],
        )


def paired(one: Whole, other: Whole) -> Whole:
    """A number for every two keys, the same wherever the two occur together."""
    return one * (1 << 31) + other


def parted(pair: int) -> tuple[int, int]:
    """The two keys of a number that `paired` made."""
    return divmod(pair, 1 << 31)


# --- fetched


def fetch(rows: QuerySet[Any], own: OwnAims) -> Cells:
    """Readings as cells. One query, and another of a measure that has unsure verdicts."""
    columns = _columns(own)
    added = rows.values("business_day", *LABELS).annotate(**columns).order_by().values_list(*LABELS, *columns)
    named = dict(zip((*LABELS, *columns), spread.columns_of(added, len(LABELS) + len(columns)), strict=True))
    days = spread.ordinals(named.pop("day"))
    whole = {name: np.asarray(values, dtype=np.int64) for name, values in named.items()}
    # The engine gives rows in an order of its own; ours is the same everywhere.
    order = np.lexsort((*(whole[label] for label in reversed(LABELS)), days))
    whole = {name: values[order] for name, values in whole.items()}
    found = Cells(
        whole["cafe"],
        whole["version"],
        whole["roast_batch"],
        whole["barista"],
        np.asarray(days, dtype=np.int64)[order],
        whole["refractometer"],
        whole["n"],
        {key: _hits(key, whole) for key in MEASURES},
    )
    return _settled(found, rows, own)


def counted(asked: Asked, spans: Iterable[Span]) -> QuerySet[Any]:
    """Every check brew that counts: as `drift.why_left_out` has it, on instruments that were not failing."""
    rows: QuerySet[Any] = (
        in_spans(asked)
        .filter(kind=Reading.Kind.CHECK, voided_at=None)
        .exclude(attempt=Reading.Attempt.REBREW)
        .exclude(pk__in=spread.corrected())
    )
    return instrument_spans.filtered(rows, spans, "passing")  # type: ignore[arg-type]


def put_aside(asked: Asked, spans: Iterable[Span]) -> QuerySet[Any]:
    """Check brews of the span that were voided or are re-brews, and would count otherwise."""
    rows = in_spans(asked).filter(business_day__gte=asked.first, kind=Reading.Kind.CHECK)
    rows = rows.filter(Q(voided_at__isnull=False) | Q(attempt=Reading.Attempt.REBREW))
    return instrument_spans.filtered(rows.exclude(pk__in=spread.corrected()), spans, "passing")  # type: ignore[arg-type]


def in_spans(asked: Asked) -> QuerySet[Any]:
    """All readings of the cafés in the span and in the one before."""
    first, last = asked.before
    days = Q(business_day__range=(asked.first, asked.last)) | Q(business_day__range=(first, last))
    if last + timedelta(days=1) == asked.first:
        days = Q(business_day__range=(first, asked.last))
    return Reading.objects.filter(days, cafe__in=[cafe.pk for cafe in asked.cafes], company=asked.company)


def spans_of(asked: Asked, now: datetime) -> list[Span]:
    """When each instrument was known to read right. Two queries."""
    since = datetime.combine(asked.before[0] - timedelta(days=1), time.min, UTC)
    return instrument_spans.spans_of_cafes(asked.cafes, now, since)


def told_of(key: str) -> Q:
    """Brews that a measure is told of."""
    unjudged = spread.not_judged(MEASURES[key])
    return Q(pk__isnull=False) if unjudged is None else ~unjudged


def _columns(own: OwnAims) -> dict[str, Any]:
    # The day as an aggregate: a column that is declared a date is parsed row by row on SQLite.
    columns: dict[str, Any] = {"day": Max("business_day"), "n": Count("pk")}
    for key in MEASURES:
        told, steps = told_of(key), in_steps(key)
        columns |= {
            f"{key}_n": Count("pk", filter=told),
            f"{key}_total": Sum(steps, filter=told, default=0),
            f"{key}_squares": Sum(steps * steps, filter=told, default=0),
            f"{key}_judged": Count("pk", filter=told & judged(key, own)),
            f"{key}_verdicts": Sum(packed(key, own), filter=told, default=0),
        }
    return columns


def in_steps(key: str) -> Any:
    column = spread.COLUMN[key]
    if STEPS[key] == 1:
        return Cast(F(column), BigIntegerField())
    return InSteps(Cast(F(column), FloatField()) * float(STEPS[key]))


def judged(key: str, own: OwnAims) -> Any:
    return Q(IsNull(_aim(AIMS[key][0], own), False))


def packed(key: str, own: OwnAims) -> Case:
    """A brew's verdict as 1 in its place of a number, so that a cell's verdicts are one sum: see `MOST_A_CELL`."""
    target, tolerance = (_aim(name, own) for name in AIMS[key])
    u: Any = F(U_COLUMN[key]) if key in U_COLUMN else Value(BREW_TIME_U_S, FloatField())
    value = Cast(F(spread.COLUMN[key]), FloatField())
    beyond = Abs(value - target) - tolerance
    nothing, room = Value(0.0, FloatField()), Value(SAME, FloatField())
    far = Q(GreaterThan(beyond, room))
    fine = Q(GreaterThan(tolerance - COVERAGE_K * u, room))
    # Only close to 2u does the far limit take anything from the chance.
    near = Case(When(GreaterThan(tolerance - 3.0 * u, nothing), then=u * HARDLY), default=u * A_LITTLE)
    inside, outside = beyond + Z * u, beyond - Z * u
    unsure = (fine & Q(LessThanOrEqual(inside - u * HARDLY, room))) | (
        far & Q(GreaterThanOrEqual(outside + u * HARDLY, nothing))
    )
    return Case(
        When(fine & Q(LessThanOrEqual(inside + near, room)), then=place("inside")),
        When(
            far & Q(GreaterThanOrEqual(outside - u * HARDLY, nothing)),
            then=Case(When(GreaterThan(value, target), then=place("high")), default=place("low")),
        ),
        When(unsure, then=place("unsure")),
        default=Value(0),
        output_field=BigIntegerField(),
    )


def place(verdict: str) -> Value:
    return Value(MOST_A_CELL ** PLACES.index(verdict), BigIntegerField())


def _aim(name: str, own: OwnAims) -> Any:
    """What a version says, or what its café said instead when it was brewed."""
    said = Cast(F(f"version__{name}"), FloatField())
    instead = [
        When(
            Q(cafe=cafe, version__recipe=recipe, brewed_at__gte=row.set_at)
            & (Q() if row.ended_at is None else Q(brewed_at__lt=row.ended_at)),
            then=Value(float(getattr(row, name)), FloatField()),
        )
        for (cafe, recipe), rows in own.rows.items()
        for row in rows
        if getattr(row, name) is not None
    ]
    return Case(*instead, default=said, output_field=FloatField()) if instead else said


def _hits(key: str, whole: Mapping[str, Whole]) -> Hits:
    told = {name: whole[f"{key}_{name}"] for name in ("n", "total", "squares", "judged", "verdicts")}
    if told["n"].max(initial=0) >= MOST_A_CELL:
        raise OverflowError("More brews of one person on one day than there are seconds for.")
    of = {name: (told["verdicts"] >> (BITS * at)) & (MOST_A_CELL - 1) for at, name in enumerate(PLACES)}
    steps = STEPS[key]
    return Hits(
        told["n"], told["total"] / steps, told["squares"] / steps**2, told["judged"],
        of["inside"], of["high"], of["low"], of["unsure"],
    )  # fmt: skip


# --- what the database could not decide


def _settled(cells: Cells, rows: QuerySet[Any], own: OwnAims) -> Cells:
    """With the verdicts that the database left unsure, made one by one. A query for each measure that has any."""
    labels = (cells.day, cells.cafe, cells.version, cells.batch, cells.who, cells.instrument)
    at: dict[tuple[int, ...], int] = {}
    found = dict(cells.of)
    for key, hits in cells.of.items():
        if not hits.unsure.any():
            continue
        at = at or {label: n for n, label in enumerate(zip(*(each.tolist() for each in labels), strict=True))}
        told = {verdict: getattr(hits, verdict).copy() for verdict in VERDICTS}
        unsure = rows.filter(told_of(key), judged(key, own), Exact(packed(key, own), place("unsure")))
        for reading in unsure.select_related("version"):
            verdict = verdict_of(reading, own.at(reading.cafe_id, reading.version, reading.brewed_at), key)
            day = reading.business_day.toordinal()
            if verdict in told:
                told[verdict][at[day, *(getattr(reading, f"{label}_id") for label in LABELS)]] += 1
        found[key] = replace(hits, unsure=np.zeros_like(hits.unsure), **told)
    return replace(cells, of=found)


def verdict_of(reading: Reading, aims: Aims, key: str) -> str:
    """ "inside", "high", "low" or "close"; "" without a target."""
    target, tolerance = (getattr(aims, name) for name in AIMS[key])
    if target is None:
        return ""
    u = getattr(reading, U_COLUMN[key]) if key in U_COLUMN else BREW_TIME_U_S
    found = conformity(float(getattr(reading, spread.COLUMN[key])), u, float(target), float(tolerance))
    return {Word.INSIDE: "inside", Word.OUTSIDE: found.side}.get(found.word, "close")
