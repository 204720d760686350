"""Spans that have a name: a month, a quarter."""

from __future__ import annotations

from datetime import date, timedelta

SPANS = ("running", "month", "quarter")


def span_named(name: str, today: date) -> tuple[date, date]:
    """The first and the last day of this month so far, of the last whole month, or of the last whole quarter."""
    if name == "running":
        return today.replace(day=1), today
    if name == "month":
        last = today.replace(day=1) - timedelta(days=1)
        return last.replace(day=1), last
    if name == "quarter":
        last = date(today.year, 3 * ((today.month - 1) // 3) + 1, 1) - timedelta(days=1)
        return date(last.year, last.month - 2, 1), last
    raise ValueError(f"{name} is no span; there are {', '.join(SPANS)}.")
