"""Verdicts laid down beside an upload: counted, shown by the page, and downloaded whole."""

from __future__ import annotations

import csv
import io
import json
from collections.abc import Iterable, Iterator, Sequence
from dataclasses import asdict, dataclass, field
from datetime import date, datetime, time, timedelta
from pathlib import Path
from typing import Any

from django.utils.translation import gettext as _

from brewbar.web.cells import neutral
from calibration.bringing_in.looking import BAD, GOOD, OUT, Looked
from calibration.bringing_in.uploads import Upload, folder, sheet_of, written
from calibration.importing.raw import Cell, Percent, Trouble, letters
from calibration.importing.reading import Sheet
from calibration.importing.said import Said
from calibration.models import Import

FILTERS = ("problems", "doubts", "remarks", "out", "good")


@dataclass
class Summary:
    """Counts of rows. doubtful: good ones with a doubt; unknown: {field: {name: what was perhaps meant}}; notes: about
    the whole sheet; slots: those that will be made."""

    good: int = 0
    bad: int = 0
    out: int = 0
    doubtful: int = 0
    remarked: int = 0
    unknown: dict[str, dict[str, list[str]]] = field(default_factory=dict)
    notes: list[str] = field(default_factory=list)
    slots: list[str] = field(default_factory=list)

    def count_all(self, rows: Iterable[Looked]) -> None:
        for row in rows:
            self.good += row.state == GOOD
            self.bad += row.state == BAD
            self.out += row.state == OUT
            self.doubtful += bool(row.doubts) and row.state == GOOD
            self.remarked += bool(row.remarks)

    @property
    def rows(self) -> int:
        return self.good + self.bad


@dataclass(frozen=True)
class Line:
    number: int
    state: str
    problems: tuple[Said, ...]
    remarks: tuple[Said, ...]
    doubts: tuple[Said, ...]
    left_out: str

    @property
    def word(self) -> str:
        words = {GOOD: _("good"), BAD: _("cannot be brought in"), OUT: _("left out")}
        return _("doubtful") if self.doubts else words[self.state]

    @property
    def says(self) -> list[str]:
        found = [str(one) for one in (*self.problems, *self.doubts, *self.remarks)]
        return [*found, self.left_out] if self.left_out else found

    def is_among(self, which: str) -> bool:
        return {
            "problems": self.state == BAD,
            "doubts": bool(self.doubts),
            "remarks": bool(self.remarks),
            "out": self.state == OUT,
            "good": self.state == GOOD,
        }[which]


def laying_down(upload: Upload, rows: Iterable[Looked]) -> Iterator[Looked]:
    """The rows as they come, their verdicts written down; the file is there once all have come."""
    with written(upload.beside("verdicts")) as file:
        for row in rows:
            kept = (row.number, row.state, row.problems, row.remarks, row.doubts, row.left_out)
            file.write(json.dumps(kept).encode() + b"\n")
            yield row


def keep_summary(upload: Upload, summary: Summary) -> None:
    with written(upload.beside("summary")) as file:
        file.write(json.dumps(asdict(summary)).encode())


def summary_of(upload: Upload) -> Summary | None:
    """None where the sheet was not looked at yet."""
    try:
        return Summary(**json.loads(upload.beside("summary").read_bytes()))
    except FileNotFoundError:
        return None


def lines(upload: Upload) -> Iterator[Line]:
    with upload.beside("verdicts").open("rb") as file:
        for text in file:
            number, state, *told, left_out = json.loads(text)
            problems, remarks, doubts = (tuple(Said(*one) for one in part) for part in told)
            yield Line(number, state, problems, remarks, doubts, left_out)


def filter_words(summary: Summary) -> list[tuple[str, str, int]]:
    """What the rows can be looked through by, how it is called, and how many there are."""
    return [
        ("problems", _("Cannot be brought in"), summary.bad),
        ("doubts", _("Doubtful"), summary.doubtful),
        ("remarks", _("With a remark"), summary.remarked),
        ("out", _("Left out"), summary.out),
        ("good", _("Good"), summary.good),
    ]


def examples(sheet: Sheet, head_row: int) -> dict[int, str]:
    """{place of a column: the first of its cells that hold something}."""
    found: dict[int, list[str]] = {}
    for row in sheet.first(60):
        for place, cell in enumerate(row.cells if row.number > head_row else ()):
            text, told = text_of(cell), found.setdefault(place, [])
            if text and text not in told and len(told) < 3:
                told.append(text[:40])
    return {place: " · ".join(told) for place, told in found.items()}


def verdicts_csv(upload: Upload) -> Iterator[str]:
    """Every row with its verdict."""
    yield "\ufeff" + _csv([_("Row"), _("Verdict"), _("Why")])
    for line in lines(upload):
        yield _csv([line.number, line.word, " ".join(line.says)])


def write_rest(upload: Upload) -> None:
    """Beside the upload what will not be brought in: the cells as they stand in the file, and why. The verdicts must be
    there. Before anything is saved, since the disk may be full."""
    mapping = upload.columns
    with written(upload.beside("rest")) as file, sheet_of(upload) as sheet:
        file.write(b"\xef\xbb\xbf")
        verdicts = lines(upload)
        head: Sequence[Cell] = [letters(place) for place in range(sheet.width)]
        begun = False
        for raw in sheet.rows():
            if raw.number == mapping.head_row:
                head = raw.cells
            if raw.number <= mapping.head_row:
                continue
            if not begun:
                file.write(_csv([*_texts(head, sheet.width), _("Why it was not brought in")]).encode())
                begun = True
            verdict = next(verdicts)
            if verdict.state == BAD:
                why = " ".join(f"{one.cell}: {one.says}" for one in verdict.problems)
                file.write(_csv([*_texts(raw.cells, sheet.width), why]).encode())


def keep_rest(upload: Upload, made: Import) -> None:
    """Once it was brought in: for the page of the import."""
    upload.beside("rest").replace(rest_of(made))


def rest_of(made: Import) -> Path:
    """Named by its file too: a backup that is put back gives the same number to another import."""
    return folder() / f"rest-{made.pk}-{made.sha256[:16]}.csv"


def _texts(cells: Sequence[Cell], width: int) -> list[str]:
    return [*(text_of(cell) for cell in cells), *[""] * (width - len(cells))]


def text_of(cell: Cell) -> str:
    if isinstance(cell, Trouble):
        cell = cell.value
    if cell is None:
        return ""
    if isinstance(cell, Percent):
        return f"{cell.value:g} %"
    if isinstance(cell, datetime | date | time):
        return cell.isoformat()
    if isinstance(cell, timedelta):
        seconds = round(cell.total_seconds())
        return f"{seconds // 3600}:{seconds // 60 % 60:02d}:{seconds % 60:02d}"
    return str(cell)


def _csv(cells: Iterable[Any]) -> str:
    text = io.StringIO()
    csv.writer(text).writerow([neutral(cell) for cell in cells])
    return text.getvalue()
