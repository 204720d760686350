"""What a study comes to, for machines and for people, and how it is laid out for a terminal."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from math import floor, isfinite, log10
from textwrap import wrap
from typing import Any

from brewbar.units import fixed
from calibration.studies.sheet import shown

WIDTH = 100
UNKNOWN = "–"
_SIGNIFICANT = 4
_LONGEST_NAME = 24


@dataclass(frozen=True, slots=True)
class Answer:
    """keys: for machines, finite or null; table, sentences: for people; notes: what to know before relying on it.
    Machines find the notes among the keys, or beside the answer where it has no key for them."""

    keys: Mapping[str, Any]
    table: Sequence[str]
    sentences: Sequence[str]
    notes: Sequence[str] = ()

    @property
    def for_machines(self) -> Any:
        return finite(self.keys)

    @property
    def text(self) -> str:
        said = [line for sentence in self.sentences for line in wrap(sentence, WIDTH)]
        notes = [line for note in self.notes for line in wrap(f"- {note}", WIDTH, subsequent_indent="  ")]
        return "\n\n".join("\n".join(part) for part in (self.table, said, notes) if part)


def finite(value: Any) -> Any:
    """The same with null for whatever JSON has no number for."""
    if isinstance(value, Mapping):
        return {str(key): finite(one) for key, one in value.items()}
    if isinstance(value, list | tuple):
        return [finite(one) for one in value]
    if isinstance(value, float):
        return value if isfinite(value) else None
    return value


def figure(value: float | None, significant: int = _SIGNIFICANT) -> str:
    """So many significant figures, and every figure before the point."""
    if value is None or not isfinite(value):
        return UNKNOWN
    if value == 0:
        return "0"
    size = floor(log10(abs(value)))
    if not -6 <= size < 9:
        return f"{value:.{significant - 1}e}"
    return fixed(value, max(0, significant - 1 - size))


def span(low: float | None, high: float | None, times: float = 1.0) -> str:
    """Between two limits, to three figures."""
    if low is None and high is None:
        return UNKNOWN
    ends = [figure(None if end is None else times * end, 3) for end in (low, high)]
    return f"{ends[0]} to {ends[1]}"


def share(part: float | None) -> str:
    return UNKNOWN if part is None else f"{fixed(100 * part, 1)} %"


def chance(p: float | None) -> str:
    if p is None:
        return UNKNOWN
    return "under 0.0001" if p < 1e-4 else fixed(p, 4)


def name(given: object) -> str:
    """A label from a file, short enough for a table."""
    said = shown(str(given))
    return said if len(said) <= _LONGEST_NAME else f"{said[: _LONGEST_NAME - 1]}…"


def table(heads: Sequence[str], rows: Sequence[Sequence[str]], most: int | None = None) -> list[str]:
    """The first column is names, the others stand to the right; after ``most`` rows it says how many more."""
    kept = rows[:most]
    widths = [max(map(len, column)) for column in zip(heads, *kept, strict=True)]
    lines = [
        "  ".join(
            [
                row[0].ljust(widths[0]),
                *(cell.rjust(width) for cell, width in zip(row[1:], widths[1:], strict=True)),
            ]
        ).rstrip()
        for row in (heads, *kept)
    ]
    return [*lines, f"and {len(rows) - len(kept)} more"] if len(rows) > len(kept) else lines


def listed(names: Sequence[str]) -> str:
    return names[0] if len(names) == 1 else f"{', '.join(names[:-1])} and {names[-1]}"
