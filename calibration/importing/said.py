"""One sentence about one cell."""

from __future__ import annotations

from typing import NamedTuple


class Said(NamedTuple):
    """cell: its address, or the row's number where all of it is meant; field: its key, if there is one; offers: names
    that were perhaps meant."""

    cell: str
    field: str
    says: str
    offers: tuple[str, ...] = ()

    def __str__(self) -> str:
        return self.says if self.cell.isdigit() else f"{self.cell}: {self.says}"
