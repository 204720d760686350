"""Gauge study: how much of what is measured comes from the parts, from who measures, and from the gauge itself.

For a café, a part is one brew or sample, an operator whoever reads it (a person, a refractometer), and a repeat one
more drop of the same sample.

AIAG 2010, Measurement systems analysis reference manual, 4th edition, chapter III, section B: two-way random model,
interaction pooled when it is not significant, number of distinct categories.
Burdick, Borror and Montgomery 2005, Design and analysis of gauge R&R studies (SIAM), doi:10.1137/1.9780898718379:
components by mean squares and their intervals.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from math import fsum, sqrt
from typing import Any

import numpy as np
from numpy.typing import ArrayLike
from scipy import special

from brewbar.words import gettext as _
from calibration.statistics.anova import Anova, anova
from calibration.statistics.mean_squares import Interval, MeanSquare, combination_interval
from calibration.statistics.rows import Codes, Floats, Labels, codes, finite, level

CATEGORIES_FACTOR = 1.41  # AIAG 2010, chapter II, section D: √2 as printed there
INTERACTION = "part:operator"
COMPONENTS = ("part", "operator", "interaction", "residual")
_SPREADS = {
    "residual": "repeatability",
    "reproducibility": "reproducibility",
    "grr": "grr",
    "part": "part_sd",
}


@dataclass(frozen=True, slots=True)
class Gauge:
    """A gauge study, in the unit of the values; shares in per cent. None where something cannot be told.

    n: values; parts, operators: how many; repeats: in each cell, None if unequal.
    method: "mean squares" or "restricted likelihood".
    sums_of_squares, degrees_of_freedom, mean_squares: of part, operator, interaction and error, before pooling.
    f: part and operator over the interaction's mean square, the interaction over the error's; p: of these.
    f_over_error: part and operator over the error's mean square; f_pooled: over error and interaction taken
    together, empty unless pooled. All five tables are empty where no mean squares were used.
    interaction_pooled: whether the interaction went into the residual.
    components: variances of part, operator, interaction and residual, 0 where an estimate would be negative;
    raw: the same before that cut. repeatability, reproducibility, grr, part_sd, total: standard deviations, of one
    operator's repeats, of operators with their interaction, of both together, of the parts, of everything.
    intervals: of the first four of these by name, where they are known.
    grr_contribution_pct: grr²/total²; grr_variation_pct: grr/total; distinct_categories: how many groups of parts
    the gauge can tell apart, 1.41·part_sd/grr cut to a whole number; categories: before the cut.
    notes: what was left out or could not be told, and why.
    """

    n: int
    parts: int
    operators: int
    repeats: int | None
    method: str
    sums_of_squares: Mapping[str, float]
    degrees_of_freedom: Mapping[str, int]
    mean_squares: Mapping[str, float]
    f: Mapping[str, float]
    p: Mapping[str, float]
    f_over_error: Mapping[str, float]
    f_pooled: Mapping[str, float]
    interaction_pooled: bool
    components: Mapping[str, float | None]
    raw: Mapping[str, float]
    repeatability: float | None
    reproducibility: float | None
    grr: float | None
    part_sd: float | None
    total: float | None
    intervals: Mapping[str, Interval]
    grr_contribution_pct: float | None
    grr_variation_pct: float | None
    distinct_categories: int | None
    categories: float | None
    notes: tuple[str, ...]


def gauge_study(
    values: ArrayLike,
    parts: Labels,
    operators: Labels,
    pool_above: float | None = 0.25,
    coverage: float = 0.95,
) -> Gauge:
    """Two-way random model with repeats.

    values: shape (n,); parts, operators: one for each value. pool_above: the interaction is pooled with the
    residual when its p is above this (0.25 in AIAG 2010, 0.05 in other books); None never pools it.
    """
    y = finite(values, 2)
    level(coverage)
    if pool_above is not None and not 0 <= pool_above <= 1:
        raise ValueError(_("The p above which the interaction is pooled lies from 0 to 1."))
    part, part_names = codes(parts, len(y), "part")
    operator, operator_names = codes(operators, len(y), "operator")
    counts = np.bincount(
        part * len(operator_names) + operator, minlength=len(part_names) * len(operator_names)
    )
    if (counts != counts[0]).any():
        return _by_likelihood(y, part, operator, pool_above, coverage)
    shape = (len(part_names), len(operator_names), int(counts[0]))
    return _by_mean_squares(anova(y, {"part": part, "operator": operator}, 1), shape, pool_above, coverage)


@dataclass(frozen=True, slots=True)
class _Squares:
    """Mean squares and degrees of freedom of one row of the table each; interaction only where it can be told."""

    ms: Mapping[str, float]
    df: Mapping[str, int]

    def over(self, below: Mapping[str, str]) -> dict[str, tuple[float, float]]:
        """F and p of each term over the mean square named for it."""
        found = {}
        for name, other in below.items():
            if name in self.ms and self.ms.get(other, 0.0) > 0:
                f = self.ms[name] / self.ms[other]
                found[name] = (f, float(special.fdtrc(self.df[name], self.df[other], f)))
        return found

    def times(self, name: str, coefficient: float) -> MeanSquare:
        return MeanSquare(coefficient, self.ms[name], self.df[name])


def _by_mean_squares(
    table: Anova, shape: tuple[int, int, int], pool_above: float | None, coverage: float
) -> Gauge:
    rows = {name: (term.ss, term.df) for name, term in table.terms.items() if term.df > 0}
    if INTERACTION in rows:
        rows["interaction"] = rows.pop(INTERACTION)
    if table.residual.df > 0:
        rows["error"] = (table.residual.ss, table.residual.df)
    squares = _Squares(
        {name: ss / df for name, (ss, df) in rows.items()}, {name: df for name, (_ss, df) in rows.items()}
    )
    below = dict.fromkeys(("part", "operator"), "interaction" if "interaction" in rows else "error")
    tested = squares.over({**below, "interaction": "error"})
    pooled = "interaction" in tested and pool_above is not None and tested["interaction"][1] > pool_above
    model = squares
    if pooled:
        ss, df = (rows["error"][i] + rows["interaction"][i] for i in (0, 1))
        kept = {name: ms for name, ms in squares.ms.items() if name != "interaction"}
        model = _Squares({**kept, "error": ss / df}, {**squares.df, "error": int(df)})
    sums = _combinations(model, *shape)
    values = {name: fsum(part.coefficient * part.ms for part in parts) for name, parts in sums.items()}
    return _gauge(
        table.n,
        shape,
        {name: max(values[name], 0.0) for name in COMPONENTS if name in values},
        {name: combination_interval(sums[name], coverage).root() for name in _SPREADS if name in sums},
        "mean squares",
        sums_of_squares={name: ss for name, (ss, _df) in rows.items()},
        degrees_of_freedom=squares.df,
        mean_squares=squares.ms,
        f={name: f for name, (f, _p) in tested.items()},
        p={name: p for name, (_f, p) in tested.items()},
        f_over_error=_f(squares.over(dict.fromkeys(("part", "operator"), "error"))),
        f_pooled=_f(model.over(dict.fromkeys(("part", "operator"), "error"))) if pooled else {},
        interaction_pooled=pooled,
        raw={name: values[name] for name in COMPONENTS if name in values},
        notes=_notes(table, values, shape),
    )


def _combinations(model: _Squares, parts: int, operators: int, repeats: int) -> dict[str, list[MeanSquare]]:
    """Each variance as a sum of mean squares: Burdick, Borror and Montgomery 2005, tables 3.3 and 3.8 (from memory)."""
    found: dict[str, list[MeanSquare]] = {}
    if "error" not in model.ms:
        return found
    found["residual"] = found["grr"] = [model.times("error", 1.0)]
    below = "interaction" if "interaction" in model.ms else "error"
    per_part, per_operator = 1 / (operators * repeats), 1 / (parts * repeats)
    if "part" in model.ms:
        found["part"] = [model.times("part", per_part), model.times(below, -per_part)]
    if "operator" not in model.ms:
        return found
    found["operator"] = [model.times("operator", per_operator), model.times(below, -per_operator)]
    if below == "error":
        found["reproducibility"] = found["operator"]
        found["grr"] = [model.times("operator", per_operator), model.times("error", 1 - per_operator)]
        return found
    found["interaction"] = [model.times("interaction", 1 / repeats), model.times("error", -1 / repeats)]
    between = [model.times("operator", per_operator), model.times("interaction", 1 / repeats - per_operator)]
    found["reproducibility"] = [*between, model.times("error", -1 / repeats)]
    found["grr"] = [*between, model.times("error", 1 - 1 / repeats)]
    return found


def _f(tested: Mapping[str, tuple[float, float]]) -> dict[str, float]:
    return {name: f for name, (f, _p) in tested.items()}


def _notes(table: Anova, values: Mapping[str, float], shape: tuple[int, int, int]) -> tuple[str, ...]:
    parts, operators, repeats = shape
    notes = []
    if repeats == 1 and parts > 1 and operators > 1:
        notes.append(
            _("Nobody measured a part twice, so the interaction cannot be told from the gauge's own repeats.")
        )
    names = {"part": _("parts"), "operator": _("operators"), "interaction": _("interaction")}
    for name, said in names.items():
        if values.get(name, 0.0) < 0:
            notes.append(
                _("The variance of %(name)s came out below 0, which chance can do; it is taken as 0.")
                % {"name": said}
            )
    return tuple(notes)


def _gauge(
    n: int,
    shape: tuple[int, int, int | None],
    sizes: Mapping[str, float],
    intervals: Mapping[str, Interval],
    method: str,
    **rest: Any,
) -> Gauge:
    """What follows from the components, however they were found."""
    parts, operators, repeats = shape
    notes = list(rest.pop("notes"))
    if "residual" not in sizes:
        notes.append(_("No part was measured twice by anybody, so the gauge's own spread cannot be told."))
    if operators == 1:
        notes.append(_("One operator alone says nothing of the spread between operators."))
    if parts == 1:
        notes.append(_("One part alone says nothing of the spread between parts."))
    residual, part = sizes.get("residual"), sizes.get("part")
    between = sizes["operator"] + sizes.get("interaction", 0.0) if "operator" in sizes else None
    grr = None if residual is None else residual + (between or 0.0)
    total = None if grr is None or part is None else grr + part
    categories = None if grr is None or part is None or grr == 0 else CATEGORIES_FACTOR * sqrt(part / grr)
    if grr == 0:
        notes.append(_("All repeats agree to the last digit, so the number of categories has no limit."))
    share = None if grr is None or not total else grr / total
    return Gauge(
        n=n,
        parts=parts,
        operators=operators,
        repeats=repeats,
        method=method,
        components={name: sizes.get(name) for name in COMPONENTS},
        repeatability=_root(residual),
        reproducibility=_root(between),
        grr=_root(grr),
        part_sd=_root(part),
        total=_root(total),
        intervals={_SPREADS[name]: interval for name, interval in intervals.items()},
        grr_contribution_pct=None if share is None else 100 * share,
        grr_variation_pct=None if share is None else 100 * sqrt(share),
        distinct_categories=None if categories is None else int(categories),
        categories=categories,
        notes=tuple(notes),
        **rest,
    )


def _root(variance: float | None) -> float | None:
    return None if variance is None else sqrt(variance)


def _by_likelihood(
    y: Floats, part: Codes, operator: Codes, pool_above: float | None, coverage: float
) -> Gauge:
    raise NotImplementedError
