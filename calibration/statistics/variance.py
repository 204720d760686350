"""How much of the spread between readings is people, how much is days, how much is both together, how much chance.

y = Xβ + Σ Z_k u_k + e: crossed or nested random effects u_k ~ N(0, σ_k²) with any imbalance, fitted by residual
maximum likelihood (REML) or maximum likelihood (ML). One row is one brew. Drops of one brew repeat the instrument
and belong in `within_brews`, not among the rows, where they would pass for an interaction.

Patterson and Thompson 1971, Recovery of inter-block information when block sizes are unequal, Biometrika 58:545,
doi:10.1093/biomet/58.3.545: REML.
Bates, Mächler, Bolker and Walker 2015, Fitting linear mixed-effects models using lme4, Journal of Statistical
Software 67(1), doi:10.18637/jss.v067.i01: the criterion, -2 log (restricted) likelihood with its constant.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from math import sqrt

import numpy as np
from numpy.typing import ArrayLike
from scipy.special import chdtri

from brewbar.words import gettext as _
from calibration.statistics.absorbing import Surface
from calibration.statistics.cells import Cells, Column, collapse, collapse_sums
from calibration.statistics.estimability import FEWEST_REPEATED, Model, sort_out
from calibration.statistics.intercepts import intercept
from calibration.statistics.predicting import Prediction, predict
from calibration.statistics.profiling import Limits, Profile, limits, near
from calibration.statistics.rows import Labels, codes, finite, level
from calibration.statistics.searching import Place, lowest_of_all

FEW_LEVELS = 5  # up to so many, a fit says how often its limits hold


# Levels: of 100 limits at 95 %, how many held the true spread, a level's effect, and the mean, in simulated cafés
# with unequal numbers of brews: tests/statistics/test_variance_recovery.py
SEEN_IN_SIMULATION = {3: (93, 97, 92), 5: (94, 96, 95), 8: (94, 96, 94)}

__all__ = [
    "FEWEST_REPEATED",
    "SEEN_IN_SIMULATION",
    "Component",
    "FixedEffect",
    "Prediction",
    "VarianceFit",
    "WithinBrews",
    "fit",
    "fit_sums",
    "how_often_held",
    "within_brews",
]


@dataclass(frozen=True, slots=True)
class Component:
    """One part of the spread, in the unit of the values (variance: squared).

    name: of its term and, where they can't be told apart, of several; levels: how many, None for the residual;
    variance: σ², exactly 0 on the boundary; sd: σ; share: σ² over the sum of all that were estimated; each of
    the two with its limits low and high. What can't be told is None, and reason says why.
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
    residual last; fixed: of the fixed columns; predictions: by name of component; coverage: of all limits;
    settled: whether the search came to its end; notes: what to know before reading on."""

    n: int
    mean: float | None
    se: float | None
    mean_low: float | None
    mean_high: float | None
    criterion: float | None
    ml: bool
    components: Mapping[str, Component]
    fixed: tuple[FixedEffect, ...]
    predictions: Mapping[str, Prediction]
    coverage: float
    settled: bool
    notes: tuple[str, ...]


def fit(
    values: ArrayLike,
    factors: Mapping[str, Labels],
    terms: Sequence[str],
    fixed: Mapping[str, Labels] | None = None,
    ml: bool = False,
    *,
    intervals: bool = True,
    predictions: bool | Sequence[str] = True,
    coverage: float = 0.95,
    merge_below: float = FEWEST_REPEATED,
    residual: str = "residual",
    quick: bool = False,
) -> VarianceFit:
    """The spread of ``values`` by ``terms``, each a factor or several joined by colons, such as "staff:day".

    fixed: a column of numbers is a slope, a column of words is compared with its first level. merge_below: a
    share of cells with a second row under which an interaction of all factors is joined with the residual; 0
    joins it only when it must be. residual: what a row's own part is called, such as "brew". predictions: of all
    terms, of none, or of those that are named. quick: limits from the curvature at the likeliest spreads, and
    predictions at these alone: with some dozens of levels there is no difference, and no hour is spent on it.
    """
    level(coverage)
    asked = collapse(values, factors, terms, fixed)
    return _of_cells(asked, terms, ml, intervals, predictions, coverage, merge_below, residual, quick)


def fit_sums(
    n: ArrayLike,
    sums: ArrayLike,
    squares: ArrayLike,
    factors: Mapping[str, Labels],
    terms: Sequence[str],
    fixed: Mapping[str, Labels] | None = None,
    ml: bool = False,
    *,
    intervals: bool = True,
    predictions: bool | Sequence[str] = True,
    coverage: float = 0.95,
    merge_below: float = FEWEST_REPEATED,
    residual: str = "residual",
    quick: bool = False,
) -> VarianceFit:
    """As `fit`, from groups of rows that a database added up: how many, their sum, their sum of squares."""
    level(coverage)
    asked = collapse_sums(n, sums, squares, factors, terms, fixed)
    return _of_cells(asked, terms, ml, intervals, predictions, coverage, merge_below, residual, quick)


def _of_cells(
    asked: Cells, terms: Sequence[str], ml: bool, intervals: bool, predictions: bool | Sequence[str],
    coverage: float, merge_below: float, residual: str, quick: bool,
) -> VarianceFit:  # fmt: skip
    model = sort_out(asked, merge_below, residual)
    if reason := model.nothing_to_part():
        return _unparted(model, asked, terms, ml, coverage, reason)
    of_means = model.of_means()
    own, model = model.residual, of_means or model

    surface = Surface(model.cells, ml)
    try:
        best = lowest_of_all(surface)
    except np.linalg.LinAlgError:  # so near to an exact fit that no digits are left
        best = None
    if best is None or best.exhausted:
        reason = _("The terms explain every reading exactly, which leaves no spread to measure them by.")
        return _unparted(model, asked, terms, ml, coverage, reason)
    profile = Profile(surface, best)
    wanted = coverage if intervals else None
    parts = _components(profile, model, terms, wanted, quick)
    foretold = _predictions(profile, model, coverage, predictions, quick)
    if profile.lower is not None:  # a profile came upon a lower place than the search had
        profile = Profile(surface, lowest_of_all(surface, profile.lower.variances))
        parts = _components(profile, model, terms, wanted, quick)
        foretold = _predictions(profile, model, coverage, predictions, quick)

    notes = list(model.notes)
    if of_means:
        reason = _("Readings of one cell never differ, so nothing is left for %(residual)s.") % {
            "residual": own
        }
        parts[own] = Component(own, None, 0.0, 0.0, 0.0, reason=reason)
        notes.append(reason)
    sizes = [term.size for term in model.cells.terms]
    if intervals and sizes and min(sizes) <= FEW_LEVELS:
        notes.append(how_often_held(min(sizes)))
    if not profile.best.settled:
        notes.append(_("The search for the likeliest spreads did not come to its end: take them as rough."))
    middle = intercept(surface, profile.best, wanted)
    return VarianceFit(
        asked.rows,
        middle.estimate,
        middle.se,
        middle.low,
        middle.high,
        None if of_means else profile.best.criterion,
        ml,
        parts,
        _fixed(model, asked.columns, profile.best),
        foretold,
        coverage,
        profile.best.settled,
        tuple(notes),
    )


def _components(
    profile: Profile, model: Model, terms: Sequence[str], coverage: float | None, quick: bool
) -> dict[str, Component]:
    variances = profile.best.variances
    total = float(variances.sum())
    fitted = {term.name: place for place, term in enumerate(model.cells.terms)}
    parts: dict[str, Component] = {}

    def component(name: str, levels: int | None, place: int) -> Component:
        variance = float(variances[place])
        sds: Limits = (None, None)
        shares: Limits = (None, None)
        if coverage is not None and quick:
            sds, shares = near(profile.best, place, coverage)
        elif coverage is not None:
            cut = float(chdtri(1, 1 - coverage))
            sds = limits(profile, place, "sd", cut)
            shares = limits(profile, place, "share", cut) if len(variances) > 1 else shares
        return Component(name, levels, variance, sqrt(variance), variance / total, *sds, *shares)

    for term in terms:
        name = model.names.get(term, term)
        if term in model.lost:
            parts[name] = Component(name, None, None, None, None, reason=model.lost[term])
        elif name in fitted and name not in parts:
            parts[name] = component(name, model.cells.terms[fitted[name]].size, fitted[name])
    parts[model.residual] = component(model.residual, None, len(variances) - 1)
    return parts


def _predictions(
    profile: Profile, model: Model, coverage: float, asked: bool | Sequence[str], quick: bool
) -> dict[str, Prediction]:
    wanted = asked if isinstance(asked, bool) else {model.names.get(name, name) for name in asked}
    return {
        term.name: predict(profile, place, coverage, quick)
        for place, term in enumerate(profile.surface.cells.terms)
        if wanted is True or (wanted and term.name in wanted)
    }


def _fixed(model: Model, columns: Sequence[Column], best: Place | None) -> tuple[FixedEffect, ...]:
    found = []
    kept = iter(range(len(columns)))
    for place, column in enumerate(columns):
        lost = model.lost_columns.get(place, "")
        if lost:
            found.append(FixedEffect(column.name, column.level, None, None, lost))
            continue
        j = next(kept)
        if best is None or j == 0:
            continue
        se = sqrt(float(best.point.covariance[j, j] * best.variances[-1]))
        found.append(FixedEffect(column.name, column.level, float(best.point.beta[j]), se))
    return tuple(found)


def _unparted(
    model: Model, asked: Cells, terms: Sequence[str], ml: bool, coverage: float, reason: str
) -> VarianceFit:
    """Readings whose spread can't be parted: the mean where there is one, and why no more."""
    none = model.spread_is_zero()
    parts = {}
    for term in [*terms, model.residual]:
        name = model.names.get(term, term)
        why = model.lost.get(term, reason)
        zero = 0.0 if none and term not in model.lost else None
        parts[name] = Component(name, None, zero, zero, None, reason=why)
    parts[model.residual] = parts.pop(model.residual)
    mean = asked.shift if len(asked.columns) == 1 else None
    return VarianceFit(
        asked.rows,
        mean,
        None,
        None,
        None,
        None,
        ml,
        parts,
        _fixed(model, asked.columns, None),
        {},
        coverage,
        True,
        (*model.notes, reason),
    )


def how_often_held(levels: int) -> str:
    """How often limits at 95 % held the truth in simulation with about so many levels, in a sentence."""
    nearest = min(SEEN_IN_SIMULATION, key=lambda simulated: abs(simulated - levels))
    spread, effect, mean = SEEN_IN_SIMULATION[nearest]
    return _(
        "With %(levels)d levels, limits meant to hold in 95 of 100 cases held the true spread in %(spread)d, the "
        "effect of a level in %(effect)d and the mean in %(mean)d."
    ) % {"levels": nearest, "spread": spread, "effect": effect, "mean": mean}


@dataclass(frozen=True, slots=True)
class WithinBrews:
    """Spread of the drops of one brew, pooled: variance s² = Σ(d - d̄)² / df, in the unit of the drops squared;
    sd: s; df: drops less brews; brews: how many had a second drop. None when reason says why."""

    variance: float | None
    sd: float | None
    df: int
    brews: int
    reason: str = ""


def within_brews(drops: ArrayLike, brews: Labels) -> WithinBrews:
    """What repeats of the instrument on one brew scatter by, to stand beside the components of a fit of brews."""
    x = finite(drops)
    numbers, found = codes(brews, len(x), _("brew"))
    counts = np.bincount(numbers)
    x = x - x[0]
    squares = float(((x - (np.bincount(numbers, x) / counts)[numbers]) ** 2).sum())
    df, repeated = len(x) - len(found), int((counts > 1).sum())
    if df == 0:
        return WithinBrews(None, None, 0, 0, _("No brew has a second drop."))
    return WithinBrews(squares / df, sqrt(squares / df), df, repeated)
