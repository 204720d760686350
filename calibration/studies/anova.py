"""Analysis of variance. See `calibration.statistics.anova`."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any

from calibration.statistics.anova import Anova, anova
from calibration.studies.answer import Answer, chance, figure, listed, name, table
from calibration.studies.columns import picked
from calibration.studies.sheet import Sheet, Unusable


def study(sheet: Sheet, given: Mapping[str, Any]) -> Answer:
    with picked(sheet, 2, "An analysis of variance") as columns:
        y = columns.numbers(given["value"])
        names = columns.names(given["factors"])
        if len(set(names)) < len(names):
            raise Unusable("--factors names one column twice.")
        factors = {column: columns.labels(column) for column in names}
    found = anova(y, factors, given["type"])
    rest = found.residual
    keys = {
        "terms": {
            term: {"ss": line.ss, "df": line.df, "ms": line.ms, "f": line.f, "p": line.p}
            for term, line in found.terms.items()
        },
        "residual": {"ss": rest.ss, "df": rest.df, "ms": rest.ms, "sd": rest.sd},
    }
    return Answer(keys, _table(found), _sentences(found), found.notes)


def _table(found: Anova) -> list[str]:
    rows = [
        (name(term), figure(line.ss), str(line.df), figure(line.ms), figure(line.f), chance(line.p))
        for term, line in found.terms.items()
    ]
    rest = found.residual
    rows.append(("residual", figure(rest.ss), str(rest.df), figure(rest.ms), "", ""))
    return table(("term", "sum of squares", "df", "mean square", "F", "p"), rows)


def _sentences(found: Anova) -> list[str]:
    told = {name(term): line.p for term, line in found.terms.items() if line.p is not None}
    if not told:
        return [
            f"{found.n} readings with a mean of {figure(found.mean)}.",
            "Whether the terms matter cannot be told: nothing is left to measure chance by.",
        ]
    matter = [term for term, p in told.items() if p < 0.05]
    first = (
        f"More than chance explains (p under 0.05): {listed(matter)}."
        if matter
        else "Nothing differs by more than chance explains (p 0.05 or more for every term)."
    )
    return [
        f"p is the chance of an F as large if a term did nothing; what the terms leave scatters by "
        f"{figure(found.residual.sd)} (standard deviation).",
        first,
    ]
