"""What a column's cells are watched for, and what came of it: the parts that `settling` is put together from."""

from __future__ import annotations

from dataclasses import dataclass

from calibration.importing.fields import Field
from calibration.importing.mapping import Chosen
from calibration.importing.raw import Cell, Trouble, address

MIXED = "mixed"
"""A column in which two marks or two orders stand: each cell for itself."""
OPEN = "open"
"""A column whose question nobody has answered yet."""
_REMEMBERED = 50_000


@dataclass(frozen=True, slots=True)
class Question:
    """about: the part of `Chosen` that answers it; choices: what can be answered, and how to say so."""

    place: int
    about: str
    says: str
    choices: tuple[tuple[str, str], ...]


@dataclass(frozen=True, slots=True)
class Decision:
    """What the cells decided, and why, in a sentence."""

    place: int
    about: str
    value: str
    says: str


@dataclass(frozen=True, slots=True)
class Column:
    """A chosen column with all that is needed to read its cells. unit: OPEN, if nobody knows; mark: ".", ",", MIXED
    or OPEN, empty where it doesn't matter; order: of day and month, the same; turned: "yes", "no" or OPEN."""

    place: int
    field: Field
    unit: str = ""
    mark: str = ""
    order: str = ""
    turned: str = "no"


class Watcher:
    """Looks at each different cell of one column once."""

    def __init__(self, chosen: Chosen, field: Field) -> None:
        self.chosen, self.field = chosen, field
        self.said: list[Decision | Question] = []
        self._seen: set[Cell] = set()

    def see(self, cell: Cell, row: int) -> None:
        if cell in self._seen:
            return
        if len(self._seen) >= _REMEMBERED:
            self._seen.clear()
        self._seen.add(cell)
        self.look(cell.value if isinstance(cell, Trouble) else cell, row)

    def look(self, cell: Cell, row: int) -> None:
        """One cell that was not seen before."""

    def column(self) -> Column:
        """Once all were seen; decisions and questions are then in ``said``."""
        return Column(self.chosen.place, self.field, self.chosen.unit)

    def at(self, row: int, text: object) -> str:
        return f"{address(row, self.chosen.place)} ({text})"

    def decide(self, about: str, value: str, says: str) -> str:
        self.said.append(Decision(self.chosen.place, about, value, says))
        return value

    def ask(self, about: str, says: str, *choices: tuple[str, str]) -> str:
        self.said.append(Question(self.chosen.place, about, says, choices))
        return OPEN
