"""The lowest point of a variance surface, with none of the variances below 0, or with one of them held.

Newton steps on the average information, each the solution of a quadratic problem bounded at 0, so that a variance
that belongs on its bound is exactly 0 there.

Gilmour, Thompson and Cullis 1995, Average information REML, Biometrics 51:1440, doi:10.2307/2533274.
Nocedal and Wright 2006, Numerical optimization, 2nd edition: sufficient decrease, 3.6a.
"""

from __future__ import annotations

from dataclasses import dataclass, replace
from math import log, pi

import numpy as np
from scipy.linalg import LinAlgError, lapack
from scipy.optimize import nnls

from calibration.statistics.absorbing import Point, Surface
from calibration.statistics.moments import first_guess
from calibration.statistics.rows import Floats

STEPS, HALVINGS = 200, 40
FASTEST = 1e-3  # of what a step gained, the next: no pace is trusted beyond
FINELY = 1e-9  # of the criterion, for what is reported
SUFFICIENT = 1e-4  # Nocedal and Wright 2006, page 33
ROUNDING = 1e-14
NO_RESIDUAL = 1e-10  # of the sum of all: an exact fit, whose likelihood has no bound
LEAST_RESIDUAL = 0.1  # of what it was: no single step takes the residual variance nearer to 0


@dataclass(frozen=True, slots=True)
class Held:
    """v_place = amount + ratio·(sum of the other variances). place: as in `Place.variances`, the residual last.

    A variance is held with ratio 0; a share s of the whole with amount 0 and ratio s/(1 - s).
    """

    place: int
    amount: float = 0.0
    ratio: float = 0.0


@dataclass(frozen=True, slots=True)
class Place:
    """variances: of each term and, last, the residual, shape (k + 1,); criterion: -2 log likelihood there;
    slope and curvature: its derivatives by the variances, the second by average information; point: as the
    surface gave it; settled: whether the search came to its end; steps: how many it took; bent: whether the
    surface curved otherwise than around a lowest point on the way."""

    variances: Floats
    criterion: float
    slope: Floats
    curvature: Floats
    point: Point
    settled: bool = True
    steps: int = 0
    bent: bool = False

    @property
    def exhausted(self) -> bool:
        """Whether the residual has run out, as it does where the terms explain every row exactly: what is left
        of y'Py, which is above 0, is then rounding."""
        return bool(self.point.ypy <= 0 or self.variances[-1] < NO_RESIDUAL * self.variances.sum())


def stand(surface: Surface, variances: Floats, free_scale: bool) -> Place:
    """The surface at these variances, or at the best multiple of them."""
    residual = float(variances[-1])
    ratios = variances[:-1] / residual
    point = surface.at(ratios)
    df = surface.df
    if free_scale:
        residual = max(point.ypy / df, surface.cells.noise / df, 1e-300)
    criterion = df * log(2 * pi * residual) + point.log_det + point.ypy / residual
    k = len(ratios)
    slope = np.empty(k + 1)
    slope[:k] = point.traces - point.squares / residual
    # Euler: the derivatives, times the variances, add up to df - y'Py/σ²
    slope[k] = df - point.ypy / residual - ratios @ slope[:k]
    curvature = np.empty((k + 1, k + 1))
    curvature[:k, :k] = point.information
    curvature[k, :k] = curvature[:k, k] = beside = point.squares - point.information @ ratios
    own = point.ypy - ratios @ (point.squares + beside)
    curvature[k, k] = max(float(own), ROUNDING * point.ypy)  # y'PPPy, whose digits cancel where γ is large
    there = variances * (residual / variances[-1])
    return Place(there, criterion, slope / residual, curvature / residual**3, point)


def lowest(surface: Surface, start: Floats, held: Held | None = None, within: float = 1e-8) -> Place:
    """The lowest place that can be walked to from ``start``; ``within``: of its criterion, about."""
    free_scale = held is None or held.amount == 0
    here = stand(surface, _fulfil(start, held), free_scale)
    if len(here.variances) == 1 and held is not None:
        return here
    before, bent = 0.0, False
    for step in range(STEPS):
        if held is None and here.exhausted:
            break
        slope, curvature = _reduced(here, held)
        z = _free(here.variances, held)
        target = _newton(z, slope, curvature)
        move = _kept_positive(z, target - z, held, len(here.variances) - 1)
        expected = -float(slope @ move)
        pace = max(expected / before, FASTEST) if before > max(expected, 0.0) else 1.0
        if expected * pace < within:  # a step after this one would gain no more: it is taken without looking
            last = _filled(z + move, held)
            point = here.point.fixed_at(last[:-1] / last[-1])
            criterion = here.criterion - expected + float(move @ curvature @ move) / 2
            return replace(here, variances=last, criterion=criterion, point=point, steps=step, bent=bent)
        length = 1.0
        for _halving in range(HALVINGS):
            allowed = here.criterion - SUFFICIENT * length * expected + 1e-12 * abs(here.criterion)
            try:
                there = stand(surface, _filled(z + length * move, held), free_scale)
            except LinAlgError:  # too near to an exact fit for the digits there are
                length *= 0.5
                continue
            if there.criterion <= allowed:
                break
            length *= 0.5
            bent = True
        else:
            return replace(here, settled=expected < 1e-5, steps=step, bent=True)
        here, before = there, expected
    return replace(here, settled=False, steps=STEPS, bent=True)


def lowest_of_all(surface: Surface, start: Floats | None = None) -> Place:
    """The lowest place, looked for from elsewhere too where a first search met a bend or a bound."""
    best = lowest(surface, first_guess(surface.cells) if start is None else start, within=FINELY)
    k = len(surface.cells.terms)
    if best.exhausted or not (best.bent or (best.variances[:k] == 0).any()):
        return best
    total = float(best.variances.sum())
    for share in (0.5, 0.02):
        other = lowest(surface, np.append(np.full(k, share * total), total), within=FINELY)
        if other.criterion < best.criterion - FINELY:
            best = other
    return best


def _free(variances: Floats, held: Held | None) -> Floats:
    return variances if held is None else np.delete(variances, held.place)


def _filled(free: Floats, held: Held | None) -> Floats:
    return free if held is None else np.insert(free, held.place, held.amount + held.ratio * free.sum())


def _fulfil(variances: Floats, held: Held | None) -> Floats:
    return _filled(_free(variances, held), held)


def _reduced(place: Place, held: Held | None) -> tuple[Floats, Floats]:
    """Slope and curvature by the variances that are free."""
    if held is None:
        return place.slope, place.curvature
    j, r = held.place, held.ratio
    slope = np.delete(place.slope, j) + r * place.slope[j]
    beside = np.delete(place.curvature[j], j)
    inner = np.delete(np.delete(place.curvature, j, 0), j, 1)
    return slope, inner + r * (beside[:, None] + beside) + r * r * place.curvature[j, j]


def _newton(z: Floats, slope: Floats, curvature: Floats) -> Floats:
    """argmin of slope·(x - z) + ½(x - z)'C(x - z) over x ≥ 0."""
    diagonal = curvature.diagonal()
    if not (diagonal > 0).any():  # no level's mean differs: nothing bends the surface, and downhill is 0
        return np.asarray(np.where(slope > 0, 0.0, z))
    raised = np.maximum((1 + 1e-10) * diagonal, 1e-12 * max(float(diagonal.max()), 1e-300))
    root, step, failed = lapack.dposv(curvature + np.diag(raised - diagonal), slope, lower=1)
    if failed:
        root, step = np.diag(np.sqrt(raised)), slope / raised
    target: Floats = z - step
    if (target < 0).any():
        root, scale = np.tril(root), 1.0 / np.sqrt(raised)
        scaled, _norm = nnls(root.T * scale, root.T @ z - np.linalg.solve(root, slope))
        target = scaled * scale
    return target


def _kept_positive(z: Floats, move: Floats, held: Held | None, last: int) -> Floats:
    """A shorter move if it would take the residual variance, where it is free, near 0."""
    if held is not None and held.place == last:
        return move
    left = z[-1] + move[-1]
    if left >= LEAST_RESIDUAL * z[-1]:
        return move
    return move * float((1 - LEAST_RESIDUAL) * z[-1] / -move[-1])
