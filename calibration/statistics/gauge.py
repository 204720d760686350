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
from math import fsum

import numpy as np
from numpy.typing import ArrayLike
from scipy import special

from brewbar.words import gettext as _
from calibration.statistics.anova import Anova, anova
from calibration.statistics.gauge_result import COMPONENTS, SPREADS, Gauge, gauge_of
from calibration.statistics.mean_squares import Interval, MeanSquare, combination_interval
from calibration.statistics.rows import Codes, Floats, Labels, codes, finite, level
from calibration.statistics.variance import fit

INTERACTION = "part:operator"


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
    part, part_names = codes(parts, len(y), _("part"))
    operator, operator_names = codes(operators, len(y), _("operator"))
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
    return gauge_of(
        table.n,
        shape,
        {name: max(values[name], 0.0) for name in COMPONENTS if name in values},
        {name: combination_interval(sums[name], coverage).root() for name in SPREADS if name in sums},
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
        notes.append(_no_second())
    names = {"part": _("parts"), "operator": _("operators"), "interaction": _("interaction")}
    for name, said in names.items():
        if values.get(name, 0.0) < 0:
            notes.append(
                _("The variance of %(name)s came out below 0, which chance can do; it is taken as 0.")
                % {"name": said}
            )
    return tuple(notes)


def _by_likelihood(
    y: Floats, part: Codes, operator: Codes, pool_above: float | None, coverage: float
) -> Gauge:
    """Unequal cells: the same model by restricted likelihood, the interaction by its F after both factors."""
    parts, operators = int(part.max()) + 1, int(operator.max()) + 1
    columns = {"part": part, "operator": operator}
    table = anova(y, columns, 2)
    both = table.terms.get(INTERACTION)
    pooled = pool_above is not None and both is not None and both.p is not None and both.p > pool_above
    terms = [name for name, levels in (("part", parts), ("operator", operators)) if levels > 1]
    if both is not None and not pooled:
        terms.append(INTERACTION)
    fitted = fit(
        y,
        {name: columns[name] for name in columns if name in terms},
        terms,
        predictions=False,
        coverage=coverage,
        merge_below=0.0,
    )
    found = {name.replace(INTERACTION, "interaction"): one for name, one in fitted.components.items()}
    sizes = {
        name: one.variance for name, one in found.items() if one.variance is not None and name in COMPONENTS
    }
    # operators and their interaction together have no profile of their own
    named = {"residual": "residual", "part": "part"} | (
        {} if INTERACTION in terms else {"operator": "reproducibility"}
    )
    intervals = {
        named[name]: Interval(one.sd_low, one.sd_high)
        for name, one in found.items()
        if name in named and one.sd_low is not None and one.sd_high is not None
    }
    notes = list(fitted.notes)
    if both is None and parts > 1 and operators > 1:
        notes.append(_no_second())
    return gauge_of(
        len(y),
        (parts, operators, None),
        sizes,
        intervals,
        "restricted likelihood",
        sums_of_squares={},
        degrees_of_freedom={},
        mean_squares={},
        f={} if both is None or both.f is None else {"interaction": both.f},
        p={} if both is None or both.p is None else {"interaction": both.p},
        f_over_error={},
        f_pooled={},
        interaction_pooled=pooled,
        raw={},
        notes=notes,
    )


def _no_second() -> str:
    return _("Nobody measured a part twice, so the interaction cannot be told from the gauge's own repeats.")
