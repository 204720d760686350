"""Repeatability and reproducibility. See `calibration.statistics.precision`."""

from __future__ import annotations

from collections.abc import Iterator, Mapping, Sequence
from typing import Any

from calibration.statistics.precision import Laboratory, Precision, h_limit, k_limit, precision
from calibration.studies.answer import Answer, figure, listed, name, table
from calibration.studies.columns import picked
from calibration.studies.sheet import Sheet

MOST_LEVELS = 40
MOST_NAMED = 8


def study(sheet: Sheet, given: Mapping[str, Any]) -> Answer:
    with picked(sheet, 2, "A study of precision") as columns:
        y = columns.numbers(given["value"])
        labs = columns.labels(given["lab"])
        levels = None if given["level"] is None else columns.labels(given["level"])
    found = precision(y, labs, levels)
    everybody = list(dict.fromkeys(labs))
    keys = {"levels": {str(one.level): _level(one, everybody) for one in found}}
    notes = [note if levels is None else f"{name(one.level)}: {note}" for one in found for note in one.notes]
    return Answer(keys, _table(found), _sentences(found), notes)


def _level(one: Precision, everybody: Sequence[str]) -> dict[str, Any]:
    by_name: dict[Any, Laboratory] = {lab.name: lab for lab in one.laboratories}
    present = [by_name.get(lab) for lab in everybody]
    return {
        "mean": one.mean,
        "s_r": one.s_r,
        "s_R": one.s_R,
        "s_L": one.s_L,
        "r": one.r,
        "R": one.R,
        "h": [None if lab is None else lab.h for lab in present],
        "k": [None if lab is None else lab.k for lab in present],
    }


def _table(found: Sequence[Precision]) -> list[str]:
    rows = [
        (
            name(one.level),
            str(len(one.laboratories)),
            str(one.n),
            *(figure(value) for value in (one.mean, one.s_r, one.s_L, one.s_R, one.r, one.R)),
        )
        for one in found
    ]
    return table(("level", "labs", "results", "mean", "s_r", "s_L", "s_R", "r", "R"), rows, MOST_LEVELS)


def _sentences(found: Sequence[Precision]) -> list[str]:
    apart = list(_apart(found))
    shown = [*apart[:MOST_NAMED], *([f"{len(apart) - MOST_NAMED} more"] if len(apart) > MOST_NAMED else [])]
    return [
        "In 95 of 100 pairs, two results of one laboratory differ by no more than r, and two of different "
        "laboratories by no more than R.",
        f"Further out than 1 chance in 100 explains: {listed(shown)}."
        if shown
        else "By Mandel's h and k no laboratory stands out (1 chance in 100).",
    ]


def _apart(found: Sequence[Precision]) -> Iterator[str]:
    """Laboratories beyond the limits of h, and of k for so many results as most have."""
    for one in found:
        labs = one.laboratories
        if len(labs) < 3:
            continue
        where = "" if len(found) == 1 else f" at {name(one.level)}"
        beyond_h = h_limit(len(labs))
        for lab in labs:
            if lab.h is not None and abs(lab.h) > beyond_h:
                yield f"{name(lab.name)}{where} (h {figure(lab.h, 3)})"
            if lab.k is not None and lab.k > k_limit(len(labs), lab.n):
                yield f"{name(lab.name)}{where} (k {figure(lab.k, 3)})"
