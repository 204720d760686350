"""What a report says, apart from how it is drawn: a page, a printed sheet and files of numbers are made of it.

Every number that is shown stands in a table as well; figures hold numbers, words are written already.
"""

from __future__ import annotations

from dataclasses import dataclass
from datetime import date, datetime
from enum import StrEnum
from typing import Any

from brewbar.crew.models import Cafe, Company


@dataclass(frozen=True)
class Asked:
    """A company, or some of its cafés, from the first day to the last, both included.

    cafes: in order of name; before: the span that it is compared with; is_whole_company: whether these are all of its
    cafés and the reader may see them beside one another; for_owner: whether people are shown as the company has set
    for owners, and not by name as for a head barista.
    """

    company: Company
    cafes: tuple[Cafe, ...]
    first: date
    last: date
    before: tuple[date, date]
    is_whole_company: bool
    for_owner: bool = True


class Sure(StrEnum):
    """How sure a sentence is: the numbers leave no doubt; they point that way; they cannot say."""

    SURE = "sure"
    LIKELY = "likely"
    CANNOT_SAY = "cannot-say"


@dataclass(frozen=True)
class Sentence:
    """key: "consistent", "changed" or "done"; says: the sentence; how_sure: another, with its numbers."""

    key: str
    says: str
    how_sure: str
    sure: Sure


@dataclass(frozen=True)
class Table:
    """cells: as shown, a row each; numbers: the same rows unrounded, for files, under csv_head."""

    key: str
    title: str
    head: tuple[str, ...]
    cells: tuple[tuple[str, ...], ...]
    csv_head: tuple[str, ...]
    numbers: tuple[tuple[Any, ...], ...]


@dataclass(frozen=True)
class Bar:
    """One line of `Bars`. low, high: its interval, None where there is none; before: the same three of the span before;
    mark: "inside", "high", "low", "close" or "" for a state that a shape tells; note: a few words behind the line."""

    label: str
    value: float | None
    low: float | None = None
    high: float | None = None
    before: tuple[float, float | None, float | None] | None = None
    mark: str = ""
    note: str = ""


@dataclass(frozen=True)
class Bars:
    """Lines with an interval each, on one axis. decimals: of its numbers; span: of the axis, None to fit; filled: a bar
    from zero, not a dot; zero: whether zero is a line of its own, as for differences."""

    key: str
    title: str
    axis: str
    decimals: int
    bars: tuple[Bar, ...]
    span: tuple[float, float] | None = None
    filled: bool = False
    zero: bool = False


@dataclass(frozen=True)
class Point:
    """One day of `Days`; usual_low, usual_high: between which such a day usually lies."""

    day: date
    value: float
    low: float
    high: float
    usual_low: float | None
    usual_high: float | None
    is_outside: bool


@dataclass(frozen=True)
class Days:
    """Days on a time axis. targets: (first, last, low, high) of each band; marks: (day, what was changed)."""

    key: str
    title: str
    axis: str
    decimals: int
    is_time: bool
    points: tuple[Point, ...]
    targets: tuple[tuple[date, date, float, float], ...]
    marks: tuple[tuple[date, str], ...]


Figure = Bars | Days


@dataclass(frozen=True)
class Section:
    """One part of the report. says: in sentences; notes: what to know about its numbers, or why it cannot be told."""

    key: str
    title: str
    says: tuple[str, ...]
    figure: Figure | None = None
    table: Table | None = None
    notes: tuple[str, ...] = ()


@dataclass(frozen=True)
class Cut:
    """Which data the numbers rest on. readings: saved in the span; counted: that entered the numbers; voided,
    corrected, rebrewed: of those saved; last_entered: when the newest was; digest: SHA-256 of all numbers."""

    readings: int
    counted: int
    voided: int
    corrected: int
    rebrewed: int
    last_entered: datetime | None
    version: str
    digest: str


@dataclass(frozen=True)
class Report:
    """sentences: the three, as many as there are data for; next: what to look at, most pressing first; sections in
    order; people_note: how people appear in it, and what to tell them."""

    asked: Asked
    title: str
    sentences: tuple[Sentence, ...]
    next: tuple[str, ...]
    sections: tuple[Section, ...]
    cut: Cut
    people_note: str
    notes: tuple[str, ...] = ()

    @property
    def tables(self) -> tuple[Table, ...]:
        return tuple(section.table for section in self.sections if section.table is not None)
