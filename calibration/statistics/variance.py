"""How much of the spread between readings is people, how much is days, how much is both together, how much chance.

y = Xβ + Σ Z_k u_k + e: crossed or nested random effects u_k ~ N(0, σ_k²) with any imbalance, fitted by residual
maximum likelihood (REML) or maximum likelihood (ML). One row is one brew. Drops of one brew repeat the instrument
and belong in `within_brews`, not among the rows, where they would pass for an interaction.

Patterson and Thompson 1971, Recovery of inter-block information when block sizes are unequal, Biometrika 58:545,
doi:10.1093/biomet/58.3.545: REML.
Bates, Mächler, Bolker and Walker 2015, Fitting linear mixed-effects models using lme4, Journal of Statistical
Software 67(1), doi:10.18637/jss.v067.i01: the criterion, -2 log (restricted) likelihood with its constant.
Satterthwaite 1946, An approximate distribution of estimates of variance components, Biometrics Bulletin 2:110,
doi:10.2307/3002019: degrees of freedom of the mean's interval in REML.
"""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass
from math import inf, log, pi, sqrt

import numpy as np
from numpy.typing import ArrayLike
from scipy.special import chdtri, stdtrit

from brewbar.words import gettext as _
from calibration.statistics.absorbing import Surface
from calibration.statistics.cells import Cells, Column, collapse
from calibration.statistics.estimability import Model, sort_out
from calibration.statistics.profiling import Profile, limits
from calibration.statistics.rows import Floats, Labels, codes, finite, level
from calibration.statistics.searching import Place, lowest

FEWEST_REPEATED = 0.15  # engineering estimate, no source: below it, an interaction and a row's own are one


@dataclass(frozen=True, slots=True)
class Component:
    """One part of the spread, in the unit of the values (variance: squared).

    name: of its terms and, where they can't be told apart, of several; levels: how many, None for the residual;
    variance: σ², 0 on the boundary; sd: σ; share: σ² over the sum of all that were estimated; each with its
    limits low and high; None what can't be told, and then reason says why.
    """

    name: str
    levels: int | None
    variance: float | None
    sd: float | None
    share: float | None
    sd_low: float | None = None
    sd_high: float | None = None
    share_low: float | None = None
    share_high: float | None = None
    reason: str = ""


@dataclass(frozen=True, slots=True)
class FixedEffect:
    """column: its name; level: which is compared with the first of them, None for a slope; estimate and its
    standard error se, in units of the values (a slope: by unit of the column), None when reason says why."""

    column: str
    level: str | None
    estimate: float | None
    se: float | None
    reason: str = ""


@dataclass(frozen=True, slots=True)
class VarianceFit:
    """n: rows; mean: the intercept β0, with its standard error se and limits, None where they can't be told;
    criterion: -2 log likelihood, restricted unless ml; components: by name, in the order of the terms, the
    residual last; fixed: of the fixed columns; coverage: of all limits; notes: what to know before reading on."""

    n: int
    mean: float
    se: float | None
    mean_low: float | None
    mean_high: float | None
    criterion: float | None
    ml: bool
    components: Mapping[str, Component]
    fixed: tuple[FixedEffect, ...]
    coverage: float
    notes: tuple[str, ...]


def fit(
    values: ArrayLike,
    factors: Mapping[str, Labels],
    terms: Sequence[str],
    fixed: Mapping[str, Labels] | None = None,
    ml: bool = False,
    *,
    intervals: bool = True,
    coverage: float = 0.95,
    merge_below: float = FEWEST_REPEATED,
    residual: str = "residual",
) -> VarianceFit:
    """The spread of ``values`` by ``terms``, each a factor or several joined by colons.

    fixed: columns of numbers are slopes, columns of words are compared with their first level. merge_below: a
    share of cells with a second row under which an interaction of all factors is joined with the residual; 0
    joins it only when it must be. residual: what a row's own part is called, such as "brew".
    """
    level(coverage)
    model = sort_out(collapse(values, factors, terms, fixed), merge_below, residual)
    surface = Surface(model.cells, ml)
    best = best_place(surface)
    profile = Profile(surface, best)
    parts = _components(profile, model, terms, coverage if intervals else None)
    if profile.lower is not None:
        profile = Profile(surface, lowest(surface, profile.lower.variances))
        parts = _components(profile, model, terms, coverage if intervals else None)
    return _result(profile.best, surface, model, parts, coverage, ml)


def best_place(surface: Surface) -> Place:
    """The lowest place, from another start as well where a first search met a bend or a bound."""
    k = len(surface.cells.terms)
    start = surface.first_guess()
    best = lowest(surface, start, within=1e-10)
    if best.bent or (best.variances[:k] == 0).any():
        total = float(best.variances.sum())
        for share in (0.5, 0.02):
            other = lowest(surface, np.append(np.full(k, share * total), total), within=1e-10)
            if other.criterion < best.criterion - 1e-9:
                best = other
    return best


def _components(
    profile: Profile, model: Model, terms: Sequence[str], coverage: float | None
) -> dict[str, Component]:
    variances = profile.best.variances
    total = float(variances.sum())
    fitted = {term.name: place for place, term in enumerate(model.cells.terms)}
    parts: dict[str, Component] = {}
    for term in terms:
        name = model.names.get(term, term)
        if term in model.lost:
            parts[name] = Component(name, None, None, None, None, reason=model.lost[term])
        elif name in fitted and name not in parts:
            place = fitted[name]
            levels = model.cells.terms[place].size
            parts[name] = _component(profile, name, levels, place, total, coverage)
    parts[model.residual] = _component(profile, model.residual, None, len(variances) - 1, total, coverage)
    return parts


def _component(
    profile: Profile, name: str, levels: int | None, place: int, total: float, coverage: float | None
) -> Component:
    variance = float(profile.best.variances[place])
    bounds: tuple[float | None, ...] = (None,) * 4
    if coverage is not None:
        cut = float(chdtri(1, 1 - coverage))
        alone = len(profile.best.variances) == 1
        shares = (None, None) if alone else limits(profile, place, "share", cut)
        bounds = (*limits(profile, place, "sd", cut), *shares)
    return Component(name, levels, variance, sqrt(variance), variance / total, *bounds)


def _result(
    best: Place, surface: Surface, model: Model, parts: Mapping[str, Component], coverage: float, ml: bool
) -> VarianceFit:
    cells = model.cells
    residual = float(best.variances[-1])
    covariance = best.point.covariance * residual
    toward = np.array([1.0, *(-column.middle for column in cells.columns[1:])])
    mean = float(toward @ best.point.beta) + cells.shift
    se = sqrt(float(toward @ covariance @ toward))
    return VarianceFit(
        cells.rows, mean, se, None, None, best.criterion, ml, parts, (), coverage, model.notes
    )
