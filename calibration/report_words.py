"""What page, paper and files say of a report alike, beside what is written in it already."""

from __future__ import annotations

from collections.abc import Iterator
from datetime import datetime
from zoneinfo import ZoneInfo

from django.utils.translation import gettext as _
from django.utils.translation import ngettext

from brewbar import dates, units
from calibration.reporting import words
from calibration.reporting.result import Asked, Report, Sure, Table

OF_DIGEST = 16
"""So many of its figures are enough to tell two reports apart by eye; files have all."""
FEW_LETTERS = 2


def surety(sure: Sure) -> str:
    return {
        Sure.SURE: _("Sure"),
        Sure.LIKELY: _("Likely"),
        Sure.CANNOT_SAY: _("Cannot say"),
    }[sure]


def mark_names() -> dict[str, str]:
    """What the marks of a figure's lines are called."""
    return {
        "": _("this span"),
        "inside": _("inside"),
        "close": _("too close to call"),
        "high": _("high"),
        "low": _("low"),
    }


def written(value: float, decimals: int) -> str:
    """A number with a true minus sign, where it has one."""
    sign = "−" if units.rounded(value, decimals) < 0 else ""
    return f"{sign}{units.fixed(abs(value), decimals)}"


def where(asked: Asked) -> str:
    """Beside the title, which names the café, or the company."""
    if len(asked.cafes) == 1:
        return asked.company.name
    n = len(asked.cafes)
    if asked.is_whole_company:
        return ngettext("the whole company, %(n)d café", "the whole company, %(n)d cafés", n) % {"n": n}
    return ", ".join(cafe.name for cafe in asked.cafes)


def against(asked: Asked) -> str:
    return _("compared with %(span)s") % {"span": words.span(*asked.before)}


def about(report: Report) -> Iterator[tuple[str, str]]:
    """What the numbers rest on, as names and values."""
    cut = report.cut
    yield _("Readings saved in the span"), str(cut.readings)
    yield _("Of these in the numbers"), str(cut.counted)
    yield (
        _("Voided, corrected, brewed again"),
        _("%(voided)d, %(corrected)d, %(rebrewed)d")
        % {"voided": cut.voided, "corrected": cut.corrected, "rebrewed": cut.rebrewed},
    )
    yield _("Newest entered"), _moment(report, cut.last_entered)
    yield _("brewbar"), cut.version
    digest = cut.digest[:OF_DIGEST]
    yield _("Mark of the numbers"), " ".join(digest[n : n + 4] for n in range(0, len(digest), 4))


def _moment(report: Report, at: datetime | None) -> str:
    if at is None:
        return "–"
    zones = {cafe.time_zone for cafe in report.asked.cafes}
    said = dates.moment(at.astimezone(ZoneInfo(zones.pop() if len(zones) == 1 else "UTC")), year=True)
    return _("%(moment)s UTC") % {"moment": said} if zones else said


def are_numbers(table: Table) -> list[bool]:
    """Of each column, whether it is set from the right: its cells are figures with a unit at most. The first is not."""
    columns = list(zip(*table.cells, strict=True)) or [()] * len(table.head)
    return [
        place > 0 and bool(column) and all(map(_is_number, column)) for place, column in enumerate(columns)
    ]


def _is_number(cell: str) -> bool:
    return sum(letter.isalpha() for letter in cell) <= FEW_LETTERS


def as_text(report: Report) -> str:
    """What it says first, for a terminal and for a mail."""
    lines = [report.title, f"{where(report.asked)} · {against(report.asked)}", ""]
    for sentence in report.sentences:
        lines += [sentence.says, f"  {surety(sentence.sure)}. {sentence.how_sure}", ""]
    if report.next:
        lines += [_("What to look at next"), *(f"{n}. {item}" for n, item in enumerate(report.next, 1)), ""]
    lines += [*report.notes, *([""] if report.notes else [])]
    lines += [f"{name}: {value}" for name, value in about(report)]
    return "\n".join(lines) + "\n"
