"""Scores against an assigned value. See `calibration.statistics.scoring`."""

from __future__ import annotations

from collections import Counter
from collections.abc import Mapping
from typing import Any

from calibration.statistics.scoring import Scores, Word, scores
from calibration.studies.answer import Answer, figure, table
from calibration.studies.columns import SMALLEST, Columns, enough, number, picked
from calibration.studies.sheet import Sheet, Unusable, shortened

MOST_ROWS = 40
Spread = float | list[float]


def study(sheet: Sheet, given: Mapping[str, Any]) -> Answer:
    with picked(sheet, 1, "A study of scores") as columns:
        y = columns.numbers(given["value"])
        u_assigned, u = _uncertainties(columns, given["u"])
        sigma = None if given["sigma"] is None else _spread(columns, given["sigma"])
        k = _spread(columns, given["k"])
    if given["assigned"] is None or (sigma is None and u is None):
        enough(len(y), 2, "A study of scores without --assigned and --sigma")
    _refuse_below(sheet, given, {"--u": u, "--sigma": sigma, "--k": k})
    found = scores(y, given["assigned"], u_assigned, sigma, u, k, exact=given["exact_constants"])
    keys = {
        "robust_mean": found.robust.mean,
        "robust_sd": found.robust.sd,
        "u_assigned": found.u_assigned,
        "iterations": found.robust.iterations,
        "scores": [
            {
                "z": one.z,
                "z_prime": one.z_prime,
                "zeta": one.zeta,
                "En": one.En,
                "verdict": str(one.verdict),
            }
            for one in found.scores
        ],
    }
    return Answer(keys, _table(found, sheet), _sentences(found), found.notes)


def _plain(typed: str, columns: Columns) -> float | None:
    """A number, unless a column is named so."""
    if columns.has(typed):
        return None
    try:
        return number(typed)
    except ValueError:
        return None


def _spread(columns: Columns, typed: str) -> Spread:
    plain = _plain(typed, columns)
    return columns.numbers(typed) if plain is None else plain


def _uncertainties(columns: Columns, typed: list[str]) -> tuple[float | None, list[float] | None]:
    """Of the assigned value, and of the results."""
    plain = [value for one in typed if (value := _plain(one, columns)) is not None]
    named = [one for one in typed if _plain(one, columns) is None]
    if len(plain) > 1 or len(named) > 1:
        raise Unusable("--u takes one number, of the assigned value, and one column, of the results.")
    return (plain[0] if plain else None), (columns.numbers(named[0]) if named else None)


def _refuse_below(sheet: Sheet, given: Mapping[str, Any], spreads: Mapping[str, Spread | None]) -> None:
    """What an uncertainty or a standard deviation cannot be, by its row."""
    faults = []
    for option, values in spreads.items():
        wanted, least = ("0 or more", 0.0) if option == "--u" else ("above 0", SMALLEST)
        if isinstance(values, list):
            rows = [row for row, value in zip(sheet.numbers, values, strict=True) if value < least]
            faults += [f"Row {row}: {option} must be {wanted}." for row in rows]
        elif values is not None and values < least:
            faults.append(f"{option} must be {wanted}.")
    if faults:
        raise Unusable(*shortened(faults))


def _table(found: Scores, sheet: Sheet) -> list[str]:
    """All results, or those alone that ask for a second look where they are many."""
    lines = list(zip(sheet.numbers, found.scores, strict=True))
    if len(lines) > MOST_ROWS:
        lines = [(row, one) for row, one in lines if one.verdict is not Word.ACCEPTABLE]
    if not lines:
        return []
    columns: list[tuple[str, list[float | None]]] = [
        ("z", [one.z for _row, one in lines]),
        ("z'", [one.z_prime for _row, one in lines]),
        ("zeta", [one.zeta for _row, one in lines]),
        ("En", [one.En for _row, one in lines]),
    ]
    known = [(head, values) for head, values in columns if any(value is not None for value in values)]
    rows = [
        (str(row), figure(one.value), *(figure(values[i], 3) for _head, values in known), str(one.verdict))
        for i, (row, one) in enumerate(lines)
    ]
    return table(("row", "value", *(head for head, _values in known), "verdict"), rows, MOST_ROWS)


def _sentences(found: Scores) -> list[str]:
    count = Counter(str(one.verdict) for one in found.scores)
    said = ", ".join(f"{count[word]} {word}" for word in map(str, Word) if count[word])
    u = "" if found.u_assigned is None else f" (standard uncertainty {figure(found.u_assigned, 3)})"
    return [
        f"Of {len(found.scores)} results against {figure(found.assigned)}{u}: {said}.",
        "A score beyond 2 asks for another look, one from 3 on for a reason to be found; the robust mean is "
        f"{figure(found.robust.mean)}, the robust standard deviation {figure(found.robust.sd)}.",
    ]
