"""Whether the refractometers were known to read right: their checks, and the days they were used without one."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import date, datetime
from functools import cached_property
from typing import Any

from django.db.models import Count
from django.utils.translation import gettext as _
from django.utils.translation import ngettext

from brewbar import dates
from brewbar.crew.models import Cafe
from calibration import instrument_spans
from calibration.models import InstrumentCheck, Reading, Refractometer
from calibration.reporting import cells, words
from calibration.reporting.ground import Ground
from calibration.reporting.result import Section, Table

Kind = InstrumentCheck.Kind


@dataclass(frozen=True)
class Health:
    """Of one instrument that was in use, as of the end of the span. last_zero, last_standard: days of the last that
    passed, None for none on record; passed, failed, unclear: checks of the span; standards: of those that passed, on a
    check standard; used: days on which check brews were read with it; unchecked: of those without any check; left_out:
    check brews read while it was failing; since_standard: days since the last that passed."""

    instrument: Refractometer
    cafe: Cafe
    last_zero: date | None
    last_standard: date | None
    last_failed: bool
    passed: int
    failed: int
    unclear: int
    standards: int
    used: int
    unchecked: int
    left_out: int
    since_standard: int | None
    every_days: int

    @property
    def wants_standard(self) -> bool:
        return self.since_standard is None or self.since_standard > self.every_days

    @property
    def is_trusted(self) -> bool:
        """Whether cups read with it may be held against those of another."""
        return self.standards > 0 and not self.last_failed


@dataclass(frozen=True)
class Instruments:
    ground: Ground

    @cached_property
    def all(self) -> tuple[Health, ...]:
        """In order of café and name; those never used in the span and retired are left out. Three queries."""
        used = self._used
        found = []
        for instrument in self.ground.instruments:
            days = used.get(instrument.pk, {})
            if days or instrument.retired_at is None:
                found.append(self._health(instrument, days))
        return tuple(found)

    def of_cafe(self, cafe: int) -> list[Health]:
        return [one for one in self.all if one.cafe.pk == cafe and one.used]

    @cached_property
    def _checks(self) -> dict[int, list[InstrumentCheck]]:
        found: dict[int, list[InstrumentCheck]] = {}
        instruments = {row.pk: self.ground.cafes[row.cafe_id] for row in self.ground.instruments}
        ends = {pk: self.ground.end_of(cafe) for pk, cafe in instruments.items()}
        rows = InstrumentCheck.objects.filter(
            refractometer__in=list(instruments), checked_at__lte=max(ends.values(), default=self.ground.now)
        )
        for check in rows.order_by("checked_at", "pk"):
            if check.checked_at < ends[check.refractometer_id]:
                found.setdefault(check.refractometer_id, []).append(check)
        return found

    @cached_property
    def _used(self) -> dict[int, dict[date, int]]:
        """By instrument and day of the span how many check brews were read."""
        asked = self.ground.asked
        rows = (
            cells.in_spans(asked)
            .filter(business_day__gte=asked.first, kind=Reading.Kind.CHECK, voided_at=None)
            .order_by()
            .values_list("refractometer", "business_day")
            .annotate(n=Count("pk"))
        )
        found: dict[int, dict[date, int]] = {}
        for instrument, day, n in rows:
            found.setdefault(instrument, {})[day] = n
        return found

    @cached_property
    def _left_out(self) -> dict[int, int]:
        failing = instrument_spans.left_out_by(self.ground.spans, "passing")
        if failing is None:
            return {}
        asked = self.ground.asked
        rows = cells.in_spans(asked).filter(
            failing, business_day__gte=asked.first, kind=Reading.Kind.CHECK, voided_at=None
        )
        return dict(rows.order_by().values_list("refractometer").annotate(n=Count("pk")))

    def _health(self, instrument: Refractometer, used: dict[date, int]) -> Health:
        cafe = self.ground.cafes[instrument.cafe_id]
        day = cafe.business_day
        checks = self._checks.get(instrument.pk, [])
        own = [check for check in checks if day(check.checked_at) >= self.ground.asked.first]
        clear = [check for check in checks if not check.unclear]
        checked_on = {day(check.checked_at) for check in own}
        last_standard = _last(checks, cafe, Kind.STANDARD)
        return Health(
            instrument,
            cafe,
            _last(checks, cafe, Kind.ZERO),
            last_standard,
            bool(clear) and not clear[-1].passed,
            sum(check.passed for check in own),
            sum(not check.passed and not check.unclear for check in own),
            sum(check.unclear for check in own),
            sum(check.passed and check.kind == Kind.STANDARD for check in own),
            len(used),
            len(set(used) - checked_on),
            self._left_out.get(instrument.pk, 0),
            None if last_standard is None else (self.ground.last_day(cafe) - last_standard).days,
            self.ground.plan_of(cafe.pk).standard_every_days,
        )


def _last(checks: list[InstrumentCheck], cafe: Cafe, kind: str) -> date | None:
    days: list[datetime] = [check.checked_at for check in checks if check.passed and check.kind == kind]
    return cafe.business_day(days[-1]) if days else None


def section(instruments: Instruments) -> Section:
    title = _("Instruments")
    found = instruments.all
    if not found:
        return Section("instruments", title, (), notes=(_("No refractometer is known here."),))
    return Section("instruments", title, _says(found), table=_table(title, found), notes=_notes(found))


def _says(found: tuple[Health, ...]) -> tuple[str, ...]:
    said = []
    for one in found:
        if one.last_failed:
            said.append(_("%(name)s did not pass its last check.") % {"name": named(one)})
        elif one.last_standard is None:
            text = _(
                "No check standard is on record that %(name)s passed: water alone cannot see all that is wrong."
            )
            said.append(text % {"name": named(one)})
        elif one.wants_standard:
            text = _("%(name)s passed its last check standard %(days)s before the span ended, on %(day)s.")
            said.append(
                text
                % {
                    "name": named(one),
                    "days": words.days(one.since_standard or 0),
                    "day": dates.day(one.last_standard, weekday=True),
                }
            )
        if one.failed and not one.last_failed:
            text = ngettext(
                "%(name)s failed %(n)s check and has passed since: what was read meanwhile counts nowhere.",
                "%(name)s failed %(n)s checks and has passed since: what was read meanwhile counts nowhere.",
                one.failed,
            )
            said.append(text % {"name": named(one), "n": words.number(one.failed)})
    if not said:
        return (_("Every refractometer passed a check standard as often as was asked for."),)
    return tuple(said)


def named(one: Health) -> str:
    return f"{one.instrument.name} ({one.cafe.name})"


def _notes(found: tuple[Health, ...]) -> tuple[str, ...]:
    left_out = sum(one.left_out for one in found)
    if not left_out:
        return ()
    said = ngettext(
        "%(n)s check brew was read with an instrument that was failing, and is in none of the numbers.",
        "%(n)s check brews were read with an instrument that was failing, and are in none of the numbers.",
        left_out,
    )
    return (said % {"n": words.number(left_out)},)


def _table(title: str, found: tuple[Health, ...]) -> Table:
    cells_: list[tuple[str, ...]] = []
    numbers: list[tuple[Any, ...]] = []
    for one in found:
        cells_.append(
            (
                one.cafe.name, one.instrument.name, _day(one.last_zero), _day(one.last_standard),
                *map(words.number, (one.passed, one.failed, one.unclear, one.used, one.unchecked, one.left_out)),
            )
        )  # fmt: skip
        numbers.append(
            (
                one.cafe.name, one.instrument.name, _iso(one.last_zero), _iso(one.last_standard), one.passed,
                one.failed, one.unclear, one.standards, one.used, one.unchecked, one.left_out,
            )
        )  # fmt: skip
    head = (
        _("Café"), _("Refractometer"), _("Last on water"), _("Last on a standard"), _("Passed"), _("Failed"),
        _("Unclear"), _("Days used"), _("Of those unchecked"), _("Brews left out"),
    )  # fmt: skip
    csv_head = (
        "cafe", "refractometer", "last_zero_passed", "last_standard_passed", "passed", "failed", "unclear",
        "standards_passed", "days_used", "days_used_unchecked", "brews_left_out",
    )  # fmt: skip
    return Table("instruments", title, head, tuple(cells_), csv_head, tuple(numbers))


def _day(when: date | None) -> str:
    return _("never") if when is None else dates.day(when, year=True)


def _iso(when: date | None) -> str | None:
    return None if when is None else when.isoformat()
