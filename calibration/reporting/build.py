"""The front door: from what is asked for to a whole report."""

from __future__ import annotations

from calendar import monthrange
from collections.abc import Iterable, Iterator
from datetime import date, datetime, timedelta

from django.utils import dateformat
from django.utils.translation import gettext as _

from brewbar.crew.models import Cafe, Company
from calibration.reporting import cafes as cafes_beside
from calibration.reporting import (
    changed,
    checks_done,
    coffees,
    costs,
    cut,
    instruments_health,
    monday,
    people,
    sentences,
    shares,
    signals_done,
    spreads,
    words,
)
from calibration.reporting.ground import Ground, gather
from calibration.reporting.parts import Parts
from calibration.reporting.result import Asked, Report, Section


def asked_for(
    company: Company,
    cafes: Iterable[Cafe] | None,
    first: date,
    last: date,
    *,
    for_owner: bool = True,
    before: tuple[date, date] | None = None,
) -> Asked:
    """What is asked for; without ``cafes``, of all the company's. ValueError for a span that ends before it begins.

    before: another span to compare with than the one of the same length that ends the day before, or the months before.
    """
    if last < first:
        raise ValueError(_("The last day lies before the first."))
    everywhere = list(company.cafes.order_by("name", "pk"))
    chosen = everywhere if cafes is None else sorted(cafes, key=lambda cafe: (cafe.name, cafe.pk))
    return Asked(
        company,
        tuple(chosen),
        first,
        last,
        before or span_before(first, last),
        is_whole_company=len(everywhere) > 1 and len(chosen) == len(everywhere),
        for_owner=for_owner,
    )


def span_before(first: date, last: date) -> tuple[date, date]:
    """Whole months are compared with as many months before; other spans with as many days."""
    ends = first - timedelta(days=1)
    if first.day == 1 and (last + timedelta(days=1)).day == 1:
        months = 12 * (last.year - first.year) + last.month - first.month + 1
        back = 12 * first.year + first.month - 1 - months
        return date(back // 12, back % 12 + 1, 1), ends
    return first - (last - first) - timedelta(days=1), ends


def build(asked: Asked, now: datetime) -> Report:
    parts = Parts(gather(asked, now))
    return cut.sealed(
        Report(
            asked=asked,
            title=title_of(asked),
            sentences=sentences.of(parts),
            next=monday.of(parts),
            sections=tuple(sections_of(parts)),
            cut=cut.counts(parts.ground),
            people_note=people.note(parts.people),
            notes=_notes(parts.ground),
        ),
    )


def sections_of(parts: Parts) -> Iterator[Section]:
    """What is asked first comes first."""
    yield shares.section(parts.shares)
    yield shares.of_recipes(parts.shares)
    yield changed.section(parts.moved)
    yield from changed.of_days(parts.moved)
    yield spreads.section(parts.spreads)
    yield spreads.precision(parts.spreads)
    beside = cafes_beside.section(parts.cafes)
    if beside is not None:
        yield beside
    yield coffees.section(parts.coffees)
    yield signals_done.section(parts.signals)
    yield checks_done.section(parts.checks)
    yield instruments_health.section(parts.instruments)
    yield people.section(parts.people)
    yield costs.section(parts.costs)


def title_of(asked: Asked) -> str:
    where = asked.cafes[0].name if len(asked.cafes) == 1 else asked.company.name
    span = words.span(asked.first, asked.last)
    if asked.first.day == 1 and asked.last == asked.first + timedelta(
        monthrange(*asked.first.timetuple()[:2])[1] - 1
    ):
        span = dateformat.format(asked.first, "F Y")
    return _("%(where)s, %(span)s") % {"where": where, "span": span}


def _notes(ground: Ground) -> tuple[str, ...]:
    if not ground.is_running:
        return ()
    return (_("This span is not over yet: its numbers will still change."),)
