"""Scores of people or places that measured the same thing: how far from the assigned value, and does it matter.

ISO 13528:2022, Statistical methods for use in proficiency testing by interlaboratory comparison: 7 (assigned value and
its uncertainty), 9.3 to 9.7 (scores), annex B (homogeneity and stability). Algorithm A is in `robust`.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from enum import StrEnum
from math import hypot, isfinite, sqrt
from typing import Literal

import numpy as np
from numpy.typing import ArrayLike

from brewbar.words import gettext as _
from calibration.statistics.robust import Robust, algorithm_a, normalised_iqr, scaled_mad
from calibration.statistics.rows import Floats, finite

ROBUST_U = 1.25  # ISO 13528:2022, 7.7.3: what a robust mean loses against a plain one
NEGLIGIBLE = 0.3  # ISO 13528:2022, 9.2.1 and B.2.3: share of σ_pt


@dataclass(frozen=True, slots=True)
class AssignedValue:
    """What the true value is taken to be. value; u: its standard uncertainty, None if one result cannot tell;
    n: how many results it is from; reason: why u is None, else ""."""

    value: float
    u: float | None
    n: int
    reason: str = ""


def assigned_value(
    values: ArrayLike, how: Literal["algorithm-a", "median", "mean"] = "algorithm-a", exact: bool = False
) -> AssignedValue:
    """From the participants' own results: u = 1.25 s*/√p, 1.25 nIQR/√p, or s/√p; ISO 13528:2022, 7.7."""
    x = finite(values)
    n = len(x)
    if n == 1:
        return AssignedValue(float(x[0]), None, 1, _("One result alone does not show how far it may be off."))
    if how == "algorithm-a":
        found = algorithm_a(x, exact)
        return AssignedValue(found.mean, ROBUST_U * (found.sd or 0.0) / sqrt(n), n)
    if how == "median":
        return AssignedValue(float(np.median(x)), ROBUST_U * normalised_iqr(x, exact) / sqrt(n), n)
    return AssignedValue(float(x[0] + (x - x[0]).mean()), float(x.std(ddof=1)) / sqrt(n), n)


def assigned_by_reference(reference: float, u_reference: float, differences: ArrayLike) -> AssignedValue:
    """Reference + mean difference; u² = u_ref² + s_d²/n: ISO 13528:2022, 7.5, such as from a check standard."""
    d = finite(differences)
    if not (isfinite(reference) and isfinite(u_reference) and u_reference >= 0):
        raise ValueError(_("A reference needs a value, and an uncertainty of 0 or more."))
    value = reference + float(d.mean())
    if len(d) == 1:
        return AssignedValue(value, None, 1, _("One difference alone does not show how far it may be off."))
    return AssignedValue(value, hypot(u_reference, float(d.std(ddof=1)) / sqrt(len(d))), len(d))


class Word(StrEnum):
    """What a score says: ISO 13528:2022, 9.4.2 and 9.7."""

    ACCEPTABLE = "acceptable"
    WARNING = "warning"
    ACTION = "action"
    UNKNOWN = "unknown"


@dataclass(frozen=True, slots=True)
class Score:
    """One result against the assigned value.

    value; difference D = value less assigned; D_percent: of the assigned value; PA_percent: of the largest allowed,
    3σ_pt; z = D/σ_pt; z_prime = D/√(σ_pt² + u_pt²); zeta = D/√(u² + u_pt²); En = D/√(U² + U_pt²), U = k·u; None
    where what it takes is not known. verdict: by the score named in `by`; words: what that means.
    """

    value: float
    difference: float
    D_percent: float | None
    PA_percent: float | None
    z: float | None
    z_prime: float | None
    zeta: float | None
    En: float | None
    verdict: Word
    by: Literal["z", "z'", "zeta", ""]
    words: str


@dataclass(frozen=True, slots=True)
class Scores:
    """Scores of a round. assigned, u_assigned: the value scored against; u None if it is not known;
    robust: Algorithm A of the results; sigma: σ_pt of each result, None without; scores: one a result;
    notes: what to know of them, in sentences."""

    assigned: float
    u_assigned: float | None
    robust: Robust
    sigma: tuple[float, ...] | None
    scores: tuple[Score, ...]
    notes: tuple[str, ...]


def scores(
    values: ArrayLike,
    assigned: float | None = None,
    u_assigned: float | None = None,
    sigma: ArrayLike | None = None,
    u: ArrayLike | None = None,
    k: ArrayLike = 2.0,
    k_assigned: float = 2.0,
    exact: bool = False,
) -> Scores:
    """z, z′, ζ and En of every result: ISO 13528:2022, 9.4 to 9.7.

    assigned, u_assigned: value and standard uncertainty; the robust mean of the results, and its own, without.
    sigma: σ_pt, one for all or one a result; the robust standard deviation without. u: standard uncertainties of the
    results, one for all or one a result; k, k_assigned: coverage factors, for En.
    """
    x = finite(values)
    n = len(x)
    robust = algorithm_a(x, exact)
    notes = []
    if assigned is None:
        consensus = assigned_value(x, exact=exact)
        assigned, u_assigned = consensus.value, consensus.u if u_assigned is None else u_assigned
        notes.append(_("The assigned value is the robust mean of the results, which each result is part of."))
    for given in (assigned, u_assigned):
        if given is not None and not isfinite(given):
            raise ValueError(_("The assigned value and its uncertainty must be numbers."))
    if u_assigned is not None and u_assigned < 0:
        raise ValueError(_("An uncertainty is 0 or more."))
    if sigma is None and robust.sd:
        sigma = robust.sd
        notes.append(_("The scores are in units of the results' own robust standard deviation."))
    elif sigma is None:
        notes.append(_("The results do not differ, or there is one only: their spread gives no unit for z."))
    spread = None if sigma is None else _column(sigma, n, _("standard deviation"), least=0.0, strictly=True)
    own_u = None if u is None else _column(u, n, _("uncertainty"), least=0.0)
    cover = _column(k, n, _("coverage factor"), least=0.0, strictly=True)
    if spread is not None and u_assigned is not None and (u_assigned > NEGLIGIBLE * spread).any():
        notes.append(
            _(
                "The assigned value is not known well enough to be taken as exact (u is above 0.3 of the standard "
                "deviation): z′ allows for that, and the verdicts go by it."
            )
        )
    found = tuple(
        _score(
            float(x[i]),
            assigned,
            u_assigned,
            None if spread is None else float(spread[i]),
            None if own_u is None else float(own_u[i]),
            float(cover[i]),
            k_assigned,
        )
        for i in range(n)
    )
    held = None if spread is None else tuple(spread.tolist())
    return Scores(assigned, u_assigned, robust, held, found, tuple(notes))


def _score(
    value: float,
    assigned: float,
    u_assigned: float | None,
    sigma: float | None,
    u: float | None,
    k: float,
    k_assigned: float,
) -> Score:
    difference = value - assigned
    z = z_prime = zeta = en = None
    if sigma is not None:
        z = difference / sigma
        if u_assigned is not None:
            z_prime = difference / hypot(sigma, u_assigned)
    if u is not None and u_assigned is not None and (u > 0 or u_assigned > 0):
        zeta = difference / hypot(u, u_assigned)
        en = difference / hypot(k * u, k_assigned * u_assigned)
    by: Literal["z", "z'", "zeta", ""] = ""
    if sigma is not None and u_assigned is not None and u_assigned > NEGLIGIBLE * sigma:
        by, score = "z'", z_prime
    elif sigma is not None:
        by, score = "z", z
    elif zeta is not None:
        by, score = "zeta", zeta
    else:
        score = None
    verdict = _verdict(score)
    return Score(
        value=value,
        difference=difference,
        D_percent=100 * difference / assigned if assigned != 0 else None,
        PA_percent=100 * difference / (3 * sigma) if sigma is not None else None,
        z=z,
        z_prime=z_prime,
        zeta=zeta,
        En=en,
        verdict=verdict,
        by=by,
        words=_words(verdict, difference, en),
    )


def _verdict(score: float | None) -> Word:
    """|score| up to 2 is acceptable, from 3 on asks for action: ISO 13528:2022, 9.4.2."""
    if score is None:
        return Word.UNKNOWN
    # typed decimals: a score of 2 is not a float's breadth above it
    size = round(abs(score), 9)
    return Word.ACCEPTABLE if size <= 2 else Word.WARNING if size < 3 else Word.ACTION


def _words(verdict: Word, difference: float, en: float | None) -> str:
    if verdict is Word.UNKNOWN:
        return _("There is nothing to judge the difference by: give a standard deviation or uncertainties.")
    if verdict is Word.ACCEPTABLE:
        said = _("As close to the assigned value as should be.")
    elif verdict is Word.WARNING:
        said = (
            _("High: by chance about one result in twenty lies this far out. Look again next time.")
            if difference > 0
            else _("Low: by chance about one result in twenty lies this far out. Look again next time.")
        )
    else:
        said = (
            _("Too high to be chance: find out why before the next readings count.")
            if difference > 0
            else _("Too low to be chance: find out why before the next readings count.")
        )
    if en is not None and round(abs(en), 9) >= 1:
        said += " " + _("The difference is larger than the stated uncertainties allow.")
    return said


def _column(given: ArrayLike, n: int, name: str, least: float, strictly: bool = False) -> Floats:
    """One number for all rows, or one a row."""
    column = np.asarray(given, dtype=float)
    rows = np.full(n, float(column)) if column.ndim == 0 else column
    if rows.shape != (n,):
        raise ValueError(
            _("Every value needs its %(column)s: there are %(n)d values and %(found)d of %(column)s.")
            % {"column": name, "n": n, "found": rows.size}
        )
    wrong = ~np.isfinite(rows) | (rows <= least if strictly else rows < least)
    if wrong.any():
        needs = _("a number above 0") if strictly else _("a number of 0 or more")
        raise ValueError(
            _("The %(column)s in row %(row)d must be %(needs)s.")
            % {"column": name, "row": int(wrong.argmax()) + 1, "needs": needs}
        )
    return rows


@dataclass(frozen=True, slots=True)
class Homogeneity:
    """Whether portions of one batch are alike enough to be shared out: ISO 13528:2022, B.3.

    portions, replicates: how many, and readings of each; mean; s_x: standard deviation of the portions' means;
    s_w: within portions; s_s: between portions, s_s² = s_x² − s_w²/m, 0 where that is below 0.
    """

    portions: int
    replicates: int
    mean: float
    s_x: float
    s_w: float
    s_s: float

    def alike_enough(self, sigma: float) -> bool:
        """s_s ≤ 0.3 σ_pt: ISO 13528:2022, B.2.3."""
        return self.s_s <= NEGLIGIBLE * sigma

    def moved(self, later: ArrayLike) -> float:
        """How far the mean of later readings of the same batch lies from theirs."""
        return float(finite(later).mean()) - self.mean

    def steady_enough(self, later: ArrayLike, sigma: float) -> bool:
        """At most 0.3 σ_pt: ISO 13528:2022, B.5.1."""
        return abs(self.moved(later)) <= NEGLIGIBLE * sigma


def homogeneity(portions: Sequence[ArrayLike]) -> Homogeneity:
    """From the same number of readings, two or more, of each of two portions or more."""
    rows = [finite(portion, 2) for portion in portions]
    if len(rows) < 2:
        raise ValueError(_("At least two portions are needed."))
    for row, portion in enumerate(rows, 1):
        if len(portion) != len(rows[0]):
            raise ValueError(
                _("Portion %(row)d has another number of readings than the first.") % {"row": row}
            )
    x = np.stack(rows)
    d = x - x[0, 0]
    means = d.mean(axis=1)
    m = x.shape[1]
    s_x, within = float(means.std(ddof=1)), float(d.var(axis=1, ddof=1).mean())
    between = s_x**2 - within / m
    s_s = sqrt(between) if between > 0 else 0.0
    return Homogeneity(len(rows), m, float(x[0, 0] + means.mean()), s_x, sqrt(within), s_s)


__all__ = [
    "AssignedValue", "Homogeneity", "Robust", "Score", "Scores", "Word", "algorithm_a", "assigned_by_reference",
    "assigned_value", "homogeneity", "normalised_iqr", "scaled_mad", "scores",
]  # fmt: skip
