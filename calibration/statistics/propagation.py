"""How the uncertainties of inputs come through a formula.

JCGM 100:2008, Evaluation of measurement data: guide to the expression of uncertainty in measurement (GUM),
doi:10.59161/JCGM100-2008E: equations 10 and 13 (combined standard uncertainty), the note to 5.1.2 (terms of second
order), 5.1.3 (sensitivities by differences), G.2b (Welch and Satterthwaite), G.6.4 (expanded uncertainty).
Welch 1947, The generalization of 'Student's' problem when several different population variances are involved,
Biometrika 34:28, doi:10.1093/biomet/34.1-2.28.
"""

from __future__ import annotations

from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass
from math import floor, fsum, inf, isfinite, sqrt

import numpy as np
from scipy import special

from brewbar.words import gettext as _
from calibration.statistics.rows import level

Model = Callable[..., float]


@dataclass(frozen=True, slots=True)
class Input:
    """One input of a formula. value: its estimate; u: standard uncertainty, in the same unit; df: degrees of freedom
    of u, infinite where u is not an estimate itself."""

    name: str
    value: float
    u: float
    df: float = inf


@dataclass(frozen=True, slots=True)
class Share:
    """What one input brings. sensitivity: c, change of the result for one unit of it; u: |c|·u(x), in the unit of the
    result; percent: of the sum of all u², before correlations."""

    name: str
    sensitivity: float
    u: float
    percent: float | None


@dataclass(frozen=True, slots=True)
class Propagated:
    """value: of the formula at the estimates; u: combined standard uncertainty, first order; df: effective degrees
    of freedom, None where inputs are correlated and reason says so; u_second_order: u with the terms of second order,
    to be compared with u: where they differ the formula bends too much for u, None where inputs are correlated;
    shares: one for each input, in their order."""

    value: float
    u: float
    df: float | None
    u_second_order: float | None
    shares: tuple[Share, ...]
    reason: str


@dataclass(frozen=True, slots=True)
class Expanded:
    """U = k·u, in the unit of u. coverage: 0 to 1; df: whole degrees of freedom that k stands on, or infinite."""

    U: float
    k: float
    coverage: float
    df: float


def propagate(
    model: Model, inputs: Sequence[Input], correlations: Mapping[tuple[str, str], float] | None = None
) -> Propagated:
    """Through ``model``, which is called with the inputs' names as keywords, at a few times u around each estimate.

    correlations: of pairs of inputs that have one, -1 to 1.
    """
    _checked(inputs)
    r = _correlation_matrix(inputs, correlations or {})
    at = {one.name: one.value for one in inputs}

    def f(shifts: Mapping[str, float]) -> float:
        found = float(model(**{name: value + shifts.get(name, 0.0) for name, value in at.items()}))
        if not isfinite(found):
            raise ValueError(_("The formula gives no number near these values."))
        return found

    value = f({})
    c = [_sensitivity(f, one) for one in inputs]
    u = np.array([slope * one.u for slope, one in zip(c, inputs, strict=True)])
    combined = sqrt(max(float(u @ r @ u), 0.0))  # GUM equation 13; equation 10 without correlations
    squares = float(u @ u)
    shares = tuple(
        Share(one.name, slope, abs(part), 100 * part**2 / squares if squares > 0 else None)
        for one, slope, part in zip(inputs, c, u.tolist(), strict=True)
    )
    correlated = bool((r != np.eye(len(inputs))).any())
    if not correlated:
        second = sqrt(max(combined**2 + _second_order(f, inputs, u.tolist(), value), 0.0))
        return Propagated(
            value, combined, effective_df(u.tolist(), [x.df for x in inputs]), second, shares, ""
        )
    if all(one.df == inf for one in inputs):
        return Propagated(value, combined, inf, None, shares, "")
    reason = _("Degrees of freedom are known for inputs that do not move together only.")
    return Propagated(value, combined, None, None, shares, reason)


def effective_df(contributions: Sequence[float], dfs: Sequence[float]) -> float:
    """ν = u⁴ / Σ (uᵢ⁴/νᵢ): GUM, equation G.2b; contributions: cᵢ·u(xᵢ). Infinite if nothing limits it."""
    below = fsum(u**4 / df for u, df in zip(contributions, dfs, strict=True))
    return fsum(u**2 for u in contributions) ** 2 / below if below > 0 else inf


def expanded_uncertainty(u: float, df: float = inf, coverage: float = 0.95) -> Expanded:
    """k is Student's t for ``coverage``, at degrees of freedom cut to a whole number: GUM, G.4.1 and G.6.4."""
    if not 0 <= u < inf:
        raise ValueError(_("An uncertainty is 0 or more."))
    if not df >= 1:
        raise ValueError(_("An uncertainty has one degree of freedom or more."))
    whole = df if df == inf else floor(df + 1e-9)
    beyond = (1 + level(coverage)) / 2
    k = float(special.ndtri(beyond) if whole == inf else special.stdtrit(whole, beyond))
    return Expanded(k * u, k, coverage, whole)


def _checked(inputs: Sequence[Input]) -> None:
    if not inputs:
        raise ValueError(_("A formula has at least one input."))
    if len({one.name for one in inputs}) < len(inputs):
        raise ValueError(_("Every input needs a name of its own."))
    for one in inputs:
        name = {"name": one.name}
        if not isfinite(one.value):
            raise ValueError(_("The value of %(name)s is not a number.") % name)
        if not 0 <= one.u < inf:
            raise ValueError(_("The uncertainty of %(name)s is 0 or more.") % name)
        if not one.df >= 1:
            raise ValueError(_("The uncertainty of %(name)s has one degree of freedom or more.") % name)


def _correlation_matrix(inputs: Sequence[Input], correlations: Mapping[tuple[str, str], float]) -> np.ndarray:
    place = {one.name: number for number, one in enumerate(inputs)}
    r = np.eye(len(inputs))
    for (one, other), value in correlations.items():
        if one not in place or other not in place or one == other:
            raise ValueError(
                _("%(one)s and %(other)s are not two of the inputs.") % {"one": one, "other": other}
            )
        if not -1 <= value <= 1:
            raise ValueError(_("A correlation lies from -1 to 1."))
        r[place[one], place[other]] = r[place[other], place[one]] = value
    if np.linalg.eigvalsh(r)[0] < -1e-9:
        raise ValueError(_("These correlations cannot hold together."))
    return r


def _sensitivity(f: Callable[[Mapping[str, float]], float], one: Input) -> float:
    """∂f/∂x by differences over ±u and ±u/2 (GUM, 5.1.3, note 2), taken together so that a cubic costs nothing."""
    # without uncertainty nothing says how far to look; half the digits are left then
    step = one.u or 1e-4 * max(abs(one.value), 1e-4)

    def slope(h: float) -> float:
        return (f({one.name: h}) - f({one.name: -h})) / (2 * h)

    return (4 * slope(step / 2) - slope(step)) / 3


def _second_order(
    f: Callable[[Mapping[str, float]], float], inputs: Sequence[Input], u: Sequence[float], value: float
) -> float:
    """Σᵢⱼ (½ fᵢⱼ² + fᵢ fᵢⱼⱼ) uᵢ² uⱼ², normal inputs: GUM, note to 5.1.2. Derivatives by differences; u: fᵢ uᵢ."""
    terms = []
    for i, one in enumerate(inputs):
        a = one.u
        up, down = f({one.name: a}), f({one.name: -a})
        bend = up - 2 * value + down
        third = (f({one.name: 2 * a}) - 2 * up + 2 * down - f({one.name: -2 * a})) / 2
        terms.append(bend**2 / 2 + u[i] * third)
        for other in (*inputs[:i], *inputs[i + 1 :]):
            b = other.u
            corners = {(s, t): f({one.name: s * a, other.name: t * b}) for s in (1, -1) for t in (1, -1)}
            twist = (corners[1, 1] - corners[1, -1] - corners[-1, 1] + corners[-1, -1]) / 4
            slope_moves = (corners[1, 1] + corners[1, -1] - corners[-1, 1] - corners[-1, -1]) / 2 - (
                up - down
            )
            terms.append(twist**2 / 2 + u[i] * slope_moves)
    return fsum(terms)
