"""What a chart shows, as a table: lines for a page, and the same for a spreadsheet with more figures."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass
from typing import Any

from calibration.drift import Measure


@dataclass(frozen=True)
class Cell:
    """text; state: a shape to stand before it, if any; href: where it leads; is_number: whether it stands right."""

    text: Any
    state: str = ""
    href: str = ""
    is_number: bool = True


@dataclass(frozen=True)
class Table:
    """head: (words, whether numbers stand below); rows: of cells, the first names its line."""

    caption: str
    head: tuple[tuple[str, bool], ...]
    rows: tuple[tuple[Cell, ...], ...]
    csv_head: tuple[str, ...]
    csv_rows: Iterable[tuple[Any, ...]]


def text_cell(text: Any, state: str = "", href: str = "") -> Cell:
    return Cell(text, state, href, is_number=False)


def exact(value: float | None, measure: Measure) -> float | None:
    return None if value is None else round(value, measure.decimals + 2)
