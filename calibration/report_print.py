"""The report on paper: A4, in black and white, drawn by typst from the same words and numbers as the page.

`report_pdf` draws it. The same report gives the same bytes, since its time is that of its newest reading.
"""

from __future__ import annotations

from datetime import UTC, date, datetime, time
from typing import Any, Literal

from django.utils.translation import get_language
from django.utils.translation import gettext as _

from brewbar import dates
from brewbar.glyphs import FONT_FAMILY, unprintable
from brewbar.typesetting import ROOT, settable, typeset
from calibration import report_axes
from calibration.report_axes import Axis
from calibration.report_words import about, against, are_numbers, mark_names, surety, where, written
from calibration.reporting.result import Bar, Bars, Days, Figure, Point, Report, Section, Table

DRAWING = ROOT / "templates" / "calibration" / "report.typ"
TAGGED: Literal["ua-1"] = "ua-1"
"""PDF/UA-1, ISO 14289-1: what a screen reader needs is in the file, or typst refuses to make it."""
WIDEST = 34
"""Letters of a column before its words take a second line, where a table is too wide for the paper."""
LACKING = "?"
"""Instead of a character that the font has no shape for, which would print as an empty box."""


def report_pdf(report: Report) -> bytes:
    return typeset(DRAWING, said(report), moment_of(report), standard=TAGGED)


def moment_of(report: Report) -> datetime:
    """The time that the file carries: nothing of when it was asked for is in it."""
    return report.cut.last_entered or datetime.combine(report.asked.last, time(), UTC)


def said(report: Report) -> dict[str, Any]:
    """Everything that the paper says, in the order in which it does."""
    asked = report.asked
    job = {
        "title": report.title,
        "company": asked.company.name,
        "where": where(asked),
        "against": against(asked),
        "invented": _("Invented example data") if asked.company.is_invented else "",
        "sentences": [
            {"says": s.says, "how_sure": s.how_sure, "sure": str(s.sure), "word": surety(s.sure)}
            for s in report.sentences
        ],
        "next": list(report.next),
        "sections": [_section(section) for section in report.sections],
        "about": [{"name": name, "value": value} for name, value in about(report)],
        "notes": [*report.notes, report.people_note],
        "words": {
            "next": _("What to look at next"),
            "about": _("What this rests on"),
            "numbers": _("The numbers"),
            "page": _("Page"),
            "marks": _("Changed:"),
        },
    }
    return {
        "font": FONT_FAMILY,
        "language": (get_language() or "en").partition("-")[0],
        **settable(_drawable(job)),
    }


def _section(section: Section) -> dict[str, Any]:
    return {
        "title": section.title,
        "says": list(section.says),
        "figure": _figure(section.figure) if section.figure else None,
        "table": _table(section.table) if section.table else None,
        "notes": list(section.notes),
    }


def _table(table: Table) -> dict[str, Any]:
    return {
        "title": table.title,
        "head": list(table.head),
        "rows": [list(row) for row in table.cells],
        "is_number": are_numbers(table),
        "widths": _widths(table),
    }


def _widths(table: Table) -> list[float]:
    """How wide each column wants to be, in letters: as its longest cell, but words may take several lines."""
    wanted = []
    for head, *cells in zip(table.head, *table.cells, strict=True):
        longest = max((len(cell) for cell in cells), default=0)
        word = max((len(word) for word in head.split()), default=0)
        wanted.append(float(max(min(longest, WIDEST), word, len(head) / 3, 3)))
    return wanted


# --- figures, as places along their axes from 0 to 1


def _figure(figure: Figure) -> dict[str, Any] | None:
    match figure:
        case Bars():
            return _bars(figure)
        case Days():
            return _days(figure)


def _bars(figure: Bars) -> dict[str, Any]:
    axis = report_axes.of_bars(figure)
    marks = [bar.mark for bar in figure.bars if bar.value is not None]
    legend = [(mark, name) for mark, name in mark_names().items() if mark in marks]
    if any(bar.before for bar in figure.bars):
        legend.append(("before", _("the span before")))
    return {
        "kind": "bars",
        "title": figure.title,
        "axis": figure.axis,
        "ticks": _ticks(axis),
        "zero": _at(axis, 0.0) if figure.zero else None,
        "filled": figure.filled,
        "rows": [_bar(figure, bar, axis) for bar in figure.bars],
        "legend": legend if len(legend) > 1 else [],
    }


def _bar(figure: Bars, bar: Bar, axis: Axis) -> dict[str, Any]:
    return {
        "label": bar.label,
        "says": "–" if bar.value is None else written(bar.value, figure.decimals),
        "note": bar.note,
        "mark": bar.mark,
        "now": [_at(axis, value) for value in (bar.value, bar.low, bar.high)],
        "before": [_at(axis, value) for value in bar.before] if bar.before else None,
    }


def _days(figure: Days) -> dict[str, Any] | None:
    if not figure.points:
        return None
    axis = report_axes.of_values(figure)
    first, last, ticks = report_axes.of_days(figure)

    def along(day: date, shift: float = 0.0) -> float:
        return ((day - first).days + 0.5 + shift) / ((last - first).days + 1)

    return {
        "kind": "days",
        "title": figure.title,
        "axis": figure.axis,
        "ticks": _ticks(axis),
        "days": [(along(day), text) for day, text in ticks],
        "points": [_point(point, axis, along(point.day)) for point in figure.points],
        "half": along(first),
        "targets": [
            (along(a, -0.5), along(b, 0.5), _at(axis, low), _at(axis, high))
            for a, b, low, high in figure.targets
        ],
        "marks": [
            {
                "at": along(mark.day),
                "number": str(mark.number),
                "day": dates.day(mark.day),
                "says": mark.says,
            }
            for mark in report_axes.marks_of(figure)
        ],
        "legend": _legend_of_days(figure),
    }


def _legend_of_days(figure: Days) -> list[tuple[str, str]]:
    legend = [("inside", _("a day, with its interval (95 %)"))]
    if any(point.is_outside for point in figure.points):
        legend.append(("outside", _("a day beyond")))
    if any(point.usual_low is not None for point in figure.points):
        legend.append(("usual", _("what days usually do")))
    if figure.targets:
        legend.append(("target", _("target")))
    return legend


def _point(point: Point, axis: Axis, at: float) -> dict[str, Any]:
    return {
        "at": at,
        "value": [_at(axis, value) for value in (point.value, point.low, point.high)],
        "usual": [_at(axis, value) for value in (point.usual_low, point.usual_high)],
        "outside": point.is_outside,
    }


def _ticks(axis: Axis) -> list[tuple[float | None, str]]:
    return [(_at(axis, value), text) for value, text in axis.ticks]


def _at(axis: Axis, value: float | None) -> float | None:
    """Where a value lies along the axis, and at its end where it lies beyond."""
    if value is None:
        return None
    return min(1.0, max(0.0, (value - axis.low) / (axis.high - axis.low)))


# --- letters


def _drawable(value: Any) -> Any:
    """The same with every character that the font lacks replaced."""
    match value:
        case str():
            lacking = set(unprintable(value))
            return "".join(LACKING if letter in lacking else letter for letter in value) if lacking else value
        case list() | tuple():
            return [_drawable(item) for item in value]
        case dict():
            return {key: _drawable(item) for key, item in value.items()}
    return value
