"""How each refractometer stands now: its last checks, what is due, and which readings are marked because of it."""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from datetime import datetime

from django.db.models import Count, F, Window
from django.db.models.functions import RowNumber

from calibration import instrument_spans
from calibration.instrument_spans import Span, State
from calibration.models import CheckPlan, InstrumentCheck, Reading, Refractometer
from calibration.models.readings import ReadingRows


@dataclass(frozen=True)
class Standing:
    """Of one instrument at one moment.

    state: as of its spans; since: from when it holds, None since ever; until: when the last pass runs out, None unless
    "checked"; last: its newest check of any kind, as are last_zero and last_standard of theirs; zero_due,
    standard_due: what is to be read today; marked: how many readings its failure marks.
    """

    state: State
    since: datetime | None
    until: datetime | None
    last: InstrumentCheck | None
    last_zero: InstrumentCheck | None
    last_standard: InstrumentCheck | None
    zero_due: bool
    standard_due: bool
    standard_every_days: int
    marked: int = 0

    @property
    def is_due(self) -> bool:
        return self.zero_due or self.standard_due

    @property
    def is_failing(self) -> bool:
        return self.state == "failing"

    @property
    def is_unclear(self) -> bool:
        """Whether the newest check wants another one."""
        return self.last is not None and self.last.unclear

    @property
    def wants_standard(self) -> bool:
        """Whether water alone cannot make it right: a standard failed, or was unclear, and none has passed since."""
        return self.last_standard is not None and not self.last_standard.passed


@dataclass(frozen=True)
class Marked:
    """A time in which the instrument was not known to read right, and how many readings were made in it."""

    span: Span
    n: int


def standings(instruments: Iterable[Refractometer], now: datetime) -> dict[int, Standing]:
    """By the instrument's key; wants rows with their café. Four queries, however many there are."""
    rows = list(instruments)
    plans = {plan.cafe_id: plan for plan in CheckPlan.objects.filter(cafe__in={row.cafe_id for row in rows})}
    newest = _newest(rows)
    spans = instrument_spans.spans_of(rows, plans, now)
    now_in = {span.refractometer_id: span for span in spans if span.end is None}
    failing = [span for span in now_in.values() if span.state == "failing"]
    counts = dict(zip((span.refractometer_id for span in failing), _counts(failing), strict=True))
    return {
        row.pk: _standing(
            row,
            plans.get(row.cafe_id) or CheckPlan(),
            newest.get(row.pk, []),
            now_in[row.pk],
            now,
            counts.get(row.pk, 0),
        )
        for row in rows
    }


def _standing(
    row: Refractometer, plan: CheckPlan, checks: list[InstrumentCheck], span: Span, now: datetime, marked: int
) -> Standing:
    by_kind = {
        kind: _last([check for check in checks if check.kind == kind]) for kind in InstrumentCheck.Kind
    }
    passed = [check for check in checks if check.passed]
    until = None
    if span.state == "checked" and passed:
        until = passed[-1].checked_at + instrument_spans.window_of(plan)
    today = row.cafe.business_day(now)
    standard = _last([check for check in passed if check.kind == InstrumentCheck.Kind.STANDARD])
    return Standing(
        state=span.state,
        since=span.start,
        until=until,
        last=_last(checks),
        last_zero=by_kind[InstrumentCheck.Kind.ZERO],
        last_standard=by_kind[InstrumentCheck.Kind.STANDARD],
        zero_due=until is None or row.cafe.business_day(until) <= today,
        standard_due=standard is None
        or (today - row.cafe.business_day(standard.checked_at)).days >= plan.standard_every_days,
        standard_every_days=plan.standard_every_days,
        marked=marked,
    )


def _last(checks: Sequence[InstrumentCheck]) -> InstrumentCheck | None:
    return checks[-1] if checks else None


def _newest(instruments: Iterable[Refractometer]) -> dict[int, list[InstrumentCheck]]:
    """The newest check of each kind and each verdict, oldest first: what came before them says nothing of now."""
    rows = (
        InstrumentCheck.objects.filter(refractometer__in=[row.pk for row in instruments])
        .annotate(
            place=Window(
                RowNumber(),
                partition_by=[F("refractometer"), F("kind"), F("passed"), F("unclear")],
                order_by=[F("checked_at").desc(), F("pk").desc()],
            )
        )
        .filter(place=1)
        .select_related("checked_by")
    )
    found: dict[int, list[InstrumentCheck]] = {}
    for check in sorted(rows, key=lambda check: (check.checked_at, check.pk)):
        found.setdefault(check.refractometer_id, []).append(check)
    return found


def last_clear_checks(instruments: Iterable[Refractometer]) -> dict[int, InstrumentCheck]:
    """The newest that passed or failed."""
    clear = {pk: [one for one in checks if not one.unclear] for pk, checks in _newest(instruments).items()}
    return {pk: checks[-1] for pk, checks in clear.items() if checks}


def was_wrong(instrument: Refractometer, plan: CheckPlan | None, now: datetime) -> list[Marked]:
    """The times that a failed check marks, newest first, with their standing readings. Two queries."""
    spans = instrument_spans.spans([instrument], plan, now)
    failing = [span for span in reversed(spans) if span.state == "failing"]
    return [Marked(span, n) for span, n in zip(failing, _counts(failing), strict=True)]


def readings_in(span: Span, readings: ReadingRows) -> ReadingRows:
    """The standing ones of ``readings`` that were made on its instrument in its time, newest first."""
    inside = instrument_spans.left_out_by([span], "passing")
    assert inside is not None, "only a time of failing has readings to mark"
    return readings.standing().filter(inside).order_by("-brewed_at", "-pk")


def _counts(spans: Sequence[Span]) -> list[int]:
    """How many standing readings lie in each."""
    if not spans:
        return []
    names = [f"n{place}" for place in range(len(spans))]
    counts = {
        name: Count("pk", filter=instrument_spans.left_out_by([span], "passing"))
        for name, span in zip(names, spans, strict=True)
    }
    found = Reading.objects.standing().aggregate(**counts)
    return [found[name] for name in names]
