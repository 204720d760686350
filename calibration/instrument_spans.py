"""When a refractometer was known to read right: from its checks to spans of time, and which readings lie in them.

A *passing* check holds for the café's window after it. A *failed* one marks back to the last pass, since nobody knows
when between the two it went wrong, and on until the next pass. An *unclear* one neither passes nor fails. Distilled
water cannot see an instrument that reads strong cups wrong: what a failed check standard marks reaches back to the
last standard that passed, and only another standard ends it.

Everybody who asks whether a reading's instrument can be trusted asks here::

    known = instrument_spans.spans(cafe, plan, now)          # once a page: two queries
    counted = instrument_spans.filtered(readings, known, "passing")
    state = instrument_spans.state_of(reading, known)        # "checked", "unchecked" or "failing"
"""

from __future__ import annotations

from bisect import bisect_right
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass
from datetime import UTC, datetime, timedelta
from typing import Literal, NamedTuple

from django.db.models import Q

from brewbar.crew.models import Cafe
from calibration.models import CheckPlan, InstrumentCheck, Reading, Refractometer
from calibration.models.readings import ReadingRows

State = Literal["checked", "unchecked", "failing"]
Which = Literal["checked", "passing", "any"]
"""Readings to keep: with a passing check before them; all but those of a failing instrument; all of them."""

LEFT_OUT: dict[Which, tuple[State, ...]] = {
    "checked": ("unchecked", "failing"),
    "passing": ("failing",),
    "any": (),
}
_EVER = datetime.min.replace(tzinfo=UTC)
_NEVER = datetime.max.replace(tzinfo=UTC)
_FEW = 4


class Known(NamedTuple):
    """Of one check: all that spans are made from."""

    at: datetime
    is_standard: bool
    passed: bool
    unclear: bool = False


@dataclass(frozen=True, slots=True)
class Span:
    """From ``start``, included, to ``end``, not included. None: since ever, and for as long as is known."""

    refractometer_id: int
    start: datetime | None
    end: datetime | None
    state: State

    def covers(self, at: datetime) -> bool:
        return (self.start is None or self.start <= at) and (self.end is None or at < self.end)


def spans(
    of: Cafe | Iterable[Refractometer], plan: CheckPlan | None, now: datetime, since: datetime | None = None
) -> list[Span]:
    """Every instrument's time, without gaps, oldest first, neighbours differing in state; as it was known at ``now``.

    of: a café, for all its instruments, retired ones too, or the instruments themselves; plan: the café's, None for
    the defaults; since: spans that end before it are not wanted. Two queries, or one.
    """
    if isinstance(of, Cafe):
        keys = list(Refractometer.objects.filter(cafe=of).order_by("pk").values_list("pk", flat=True))
    else:
        keys = [row.pk for row in of]
    return _of_instruments(dict.fromkeys(keys, window_of(plan)), now, since)


def spans_of_cafes(cafes: Iterable[Cafe], now: datetime, since: datetime | None = None) -> list[Span]:
    """The same for several cafés, each by its own plan. Two queries, however many there are."""
    places = [cafe.pk for cafe in cafes]
    rows = list(
        Refractometer.objects.filter(cafe__in=places).select_related("cafe__check_plan").order_by("pk")
    )
    plans = {row.cafe_id: row.cafe.check_plan for row in rows if hasattr(row.cafe, "check_plan")}
    return spans_of(rows, plans, now, since)


def spans_of(
    instruments: Iterable[Refractometer],
    plans: Mapping[int, CheckPlan],
    now: datetime,
    since: datetime | None = None,
) -> list[Span]:
    """The same for instruments of several cafés, whose plans are known already, by the café's key. One query."""
    windows = {row.pk: window_of(plans.get(row.cafe_id)) for row in instruments}
    return _of_instruments(windows, now, since)


def window_of(plan: CheckPlan | None) -> timedelta:
    """How long a passing check holds."""
    return timedelta(hours=(plan or CheckPlan()).instrument_window_h)


def _of_instruments(windows: dict[int, timedelta], now: datetime, since: datetime | None) -> list[Span]:
    checks: dict[int, list[Known]] = {pk: [] for pk in windows}
    rows = InstrumentCheck.objects.filter(refractometer__in=windows, checked_at__lte=now)
    for pk, at, kind, passed, unclear in rows.order_by("checked_at", "pk").values_list(
        "refractometer", "checked_at", "kind", "passed", "unclear"
    ):
        checks[pk].append(Known(at, kind == InstrumentCheck.Kind.STANDARD, passed, unclear))
    return [
        Span(pk, start, end, state)
        for pk, window in windows.items()
        for start, end, state in told_apart(checks[pk], window, now)
        if since is None or end is None or end > since
    ]


def told_apart(
    checks: Sequence[Known], window: timedelta, now: datetime
) -> list[tuple[datetime | None, datetime | None, State]]:
    """One instrument's time by its checks up to ``now``, which come in the order in which they were made."""
    failing = _merged(_failing(checks))
    checked = _merged([(check.at, check.at + window) for check in checks if check.passed])
    edges = sorted({_EVER, *(at for span in (*failing, *checked) for at in span if at <= now)})
    found: list[tuple[datetime, State]] = []
    for at in edges:
        state: State = (
            "failing" if _within(at, failing) else "checked" if _within(at, checked) else "unchecked"
        )
        if not found or found[-1][1] != state:
            found.append((at, state))
    ends = [at for at, _state in found[1:]] + [_NEVER]
    return [
        (None if start == _EVER else start, None if end == _NEVER else end, state)
        for (start, state), end in zip(found, ends, strict=True)
    ]


def _failing(checks: Sequence[Known]) -> list[tuple[datetime, datetime]]:
    """By what kind of check it was found: water is content with any pass, a standard with a standard's alone."""
    found = []
    last_pass = {False: _EVER, True: _EVER}
    since: dict[bool, datetime] = {}
    for check in checks:
        if check.passed:
            for is_standard in (False, True) if check.is_standard else (False,):
                if is_standard in since:
                    found.append((since.pop(is_standard), check.at))
                last_pass[is_standard] = check.at
        elif not check.unclear:
            since.setdefault(check.is_standard, last_pass[check.is_standard])
    return found + [(start, _NEVER) for start in since.values()]


def _merged(ranges: list[tuple[datetime, datetime]]) -> list[tuple[datetime, datetime]]:
    found: list[tuple[datetime, datetime]] = []
    for start, end in sorted(ranges):
        if found and start <= found[-1][1]:
            found[-1] = (found[-1][0], max(found[-1][1], end))
        elif start < end:
            found.append((start, end))
    return found


def _within(at: datetime, ranges: Sequence[tuple[datetime, datetime]]) -> bool:
    place = bisect_right(ranges, (at, _NEVER)) - 1
    return place >= 0 and at < ranges[place][1]


# --- which readings


def filtered(readings: ReadingRows, known: Iterable[Span], which: Which) -> ReadingRows:
    """``readings`` without those whose instrument's state ``which`` leaves out. Instruments without spans stay in."""
    left_out = left_out_by(known, which)
    return readings if left_out is None else readings.exclude(left_out)


def left_out_by(known: Iterable[Span], which: Which) -> Q | None:
    """Readings that ``which`` leaves out, as a condition on ``refractometer`` and ``brewed_at``; None if none are.

    Only bad spans are told, neighbours as one. Many of them, of an instrument that is checked seldom, become a tree of
    halves, so that the database compares a reading with a few and no engine's limit of depth is met.
    """
    ranges: dict[int, list[tuple[datetime, datetime]]] = {}
    for span in known:
        if span.state in LEFT_OUT[which]:
            ranges.setdefault(span.refractometer_id, []).append((span.start or _EVER, span.end or _NEVER))
    found: Q | None = None
    for pk, bad in sorted(ranges.items()):
        own = Q(refractometer=pk) & _brewed_in(_merged(bad))
        found = own if found is None else found | own
    return found


def _brewed_in(ranges: list[tuple[datetime, datetime]]) -> Q:
    if len(ranges) > _FEW:
        half = len(ranges) // 2
        turn = ranges[half][0]
        early, late = _brewed_in(ranges[:half]), _brewed_in(ranges[half:])
        return (Q(brewed_at__lt=turn) & early) | (Q(brewed_at__gte=turn) & late)
    found = Q()
    for start, end in ranges:
        one = Q() if start == _EVER else Q(brewed_at__gte=start)
        if end != _NEVER:
            one &= Q(brewed_at__lt=end)
        if not one:
            return Q(brewed_at__isnull=False)  # since ever and still: every reading
        found |= one
    return found


def state_of(reading: Reading, known: Iterable[Span]) -> State:
    """Whether the instrument of ``reading`` was known to read right when it was brewed."""
    return states_of([reading], known)[0]


def states_of(readings: Iterable[Reading], known: Iterable[Span]) -> list[State]:
    """The same for many, in their order."""
    by_instrument: dict[int, list[Span]] = {}
    for span in known:
        by_instrument.setdefault(span.refractometer_id, []).append(span)
    starts = {pk: [span.start or _EVER for span in own] for pk, own in by_instrument.items()}
    found: list[State] = []
    for reading in readings:
        own = by_instrument.get(reading.refractometer_id, [])
        place = bisect_right(starts[reading.refractometer_id], reading.brewed_at) - 1 if own else -1
        found.append(own[place].state if place >= 0 else "unchecked")
    return found
