"""Who brewed which version on which day, in the order of days, apart from what came of it."""

from __future__ import annotations

from bisect import bisect_left
from collections.abc import Hashable, Iterable, Mapping, Sequence
from dataclasses import dataclass
from datetime import date
from math import inf
from typing import Any

import numpy as np
from numpy.typing import NDArray

from brewbar.words import gettext as _
from calibration.statistics.rows import Codes, Floats, Labels, codes

Day = date | int
Days = Sequence[Day] | NDArray[Any]
Since = Mapping[Any, Day | Sequence[Day]]


@dataclass(frozen=True, slots=True)
class Cells:
    """Brews of one day, those of one person and version as one.

    at: places among all cells; who, which: person and version; n: brews; first: row of the first, all of shape
    (cells,); H: state to cell, shape (cells, people + versions + 1); people: who is there; G: cell to person, shape
    (people, cells); brews, rows: n and first by person.
    """

    at: Codes
    who: Codes
    which: Codes
    n: Codes
    first: Codes
    H: Floats
    people: Codes
    G: Floats
    brews: Codes
    rows: Codes

    @classmethod
    def cut(
        cls,
        at: Codes,
        who: Codes,
        which: Codes,
        n: Codes,
        first: Codes,
        H: Floats,
        of: slice | NDArray[np.bool_],
    ) -> Cells:
        at, who, which, n, first, H = at[of], who[of], which[of], n[of], first[of], H[of]
        order = who.tolist()
        people = sorted(set(order))
        if people == order:
            return cls(at, who, which, n, first, H, who, np.eye(len(who)), n, first)
        crowd = np.array(people, dtype=np.intp)
        mine = crowd[:, None] == who
        rows = np.where(mine, first, first.max()).min(1)
        return cls(at, who, which, n, first, H, crowd, mine.astype(np.float64), mine @ n, rows)

    def noise(self, day: float, staff_day: float, brew: float) -> Floats:
        """Covariance of what no earlier day tells, from the three variances."""
        R = staff_day * (self.G.T @ self.G) + day
        R.flat[:: len(R) + 1] += brew / self.n
        return np.asarray(R, dtype=np.float64)

    def part(self, chosen: NDArray[np.bool_]) -> Cells:
        return self.cut(self.at, self.who, self.which, self.n, self.first, self.H, chosen)


class CrewDays:
    """Rows by their day, sorted. people, versions, days: labels; at: days as whole numbers; first, n: of each cell,
    its first row and how many; cell: of each row."""

    def __init__(
        self,
        n: int,
        people: Labels,
        days: Days,
        versions: Labels | None,
        leaves: Since | None,
        restarts: Since | None,
    ) -> None:
        self.who, self.people = codes(people, n, _("person"))
        day_codes, labels = codes(days, n, _("day"))
        self.which, self.versions = (
            codes(versions, n, _("version"))
            if versions is not None
            else (np.zeros(n, dtype=np.intp), (None,))
        )
        numbers = np.array([numbered(day) for day in labels], dtype=np.intp)
        order = np.argsort(numbers)
        self.days: tuple[Day, ...] = tuple(labels[i] for i in order)
        self.at: list[int] = numbers[order].tolist()
        place = np.empty_like(order)
        place[order] = np.arange(len(order))
        when = place[day_codes]
        key = (when * len(self.people) + self.who) * len(self.versions) + self.which
        _key, self.first, self.cell, self.n = np.unique(
            key, return_index=True, return_inverse=True, return_counts=True
        )
        self._day_of = when[self.first]
        self._away = self._leaves(leaves or {}, restarts or {})
        self.renewed: dict[int, list[int]] = {}
        for who, label in enumerate(self.people):
            for day in listed((restarts or {}).get(label)):
                self.renewed.setdefault(bisect_left(self.at, day), []).append(who)

    def _leaves(self, leaves: Since, restarts: Since) -> dict[int, list[tuple[int, float]]]:
        """By person, spans of days."""
        spans: dict[int, list[tuple[int, float]]] = {}
        for who, label in enumerate(self.people):
            back = listed(restarts.get(label))
            for day in listed(leaves.get(label)):
                spans.setdefault(who, []).append((day, next((end for end in back if end > day), inf)))
        return spans

    def flags(self, days: Iterable[Day]) -> set[int]:
        """Places among the days of the first at or after each."""
        return {bisect_left(self.at, numbered(day)) for day in days}

    def by_day(self) -> list[tuple[Cells, Cells | None]]:
        """The cells of the reference and, where some of the day have left it, all."""
        crew, width = len(self.people), len(self.people) + len(self.versions) + 1
        who, which = self.who[self.first], self.which[self.first]
        count = np.arange(len(who))
        H = np.zeros((len(who), width))
        H[count, who] = H[count, crew + which] = H[:, -1] = 1.0
        bounds = np.searchsorted(self._day_of, np.arange(len(self.days) + 1)).tolist()
        found: list[tuple[Cells, Cells | None]] = []
        for t, day in enumerate(self.at):
            cut = slice(bounds[t], bounds[t + 1])
            whole = Cells.cut(count, who, which, self.n, self.first, H, cut)
            gone = self.gone(whole.who, day) if self._away else np.zeros(1, dtype=np.bool_)
            found.append((whole.part(~gone), whole) if gone.any() else (whole, None))
        return found

    def gone(self, people: Codes, day: int) -> NDArray[np.bool_]:
        return np.array(
            [any(start <= day < end for start, end in self._away.get(one, ())) for one in people.tolist()],
            dtype=np.bool_,
        )


def numbered(day: Day | Hashable) -> int:
    """The whole number of a date, or the number itself."""
    return day.toordinal() if isinstance(day, date) else int(day)  # type: ignore[call-overload]


def listed(days: Day | Sequence[Day] | None) -> list[int]:
    if days is None:
        return []
    if isinstance(days, date | int | np.integer):
        return [numbered(days)]
    return sorted(numbered(day) for day in days)
