"""Intervals from the profile of the criterion that was fitted: how far a spread, or its share, can be moved until
the best that everything else can do has become unlikely.

Venzon and Moolgavkar 1988, A method for computing profile-likelihood-based confidence intervals, Applied Statistics
37:87, doi:10.2307/2347496.
Bates, Mächler, Bolker and Walker 2015, doi:10.18637/jss.v067.i01, section 5.1.
"""

from __future__ import annotations

from dataclasses import dataclass
from math import exp, inf, log, sqrt
from typing import Literal

import numpy as np
from scipy.special import ndtri

from calibration.statistics.absorbing import Surface
from calibration.statistics.rows import Floats
from calibration.statistics.searching import Held, Place, lowest, stand

CLOSE = 1e-4  # of the criterion, at a limit
WITHIN = 1e-5  # of the criterion, along the profile
LONGEST_STEP = 2.0  # of a logarithm
TRIES = 60

Kind = Literal["sd", "share"]
Limits = tuple[float | None, float | None]


@dataclass(slots=True)
class Profile:
    """How much the criterion rises while one spread is held. surface: whose; best: its lowest place;
    lower: a place that turned out lower still, which a search from several starts had missed."""

    surface: Surface
    best: Place
    lower: Place | None = None

    def held(self, place: int, kind: Kind, x: float, start: Floats) -> Place:
        """The best with log variance, or log odds of the share, x. -inf is 0."""
        size = 0.0 if x == -inf else exp(x)
        held = Held(place, amount=size) if kind == "sd" else Held(place, ratio=size)
        found = lowest(self.surface, start, held, WITHIN)
        if found.criterion < self.best.criterion - CLOSE and (
            self.lower is None or found.criterion < self.lower.criterion
        ):
            self.lower = found
        return found

    def rise(self, place: Place) -> float:
        return place.criterion - self.best.criterion


def limits(profile: Profile, place: int, kind: Kind, cut: float) -> tuple[float | None, float | None]:
    """Lower and upper limit of a standard deviation or of a share, where the criterion has risen by ``cut``.

    A lower limit of 0 means that nothing speaks against 0 at that level; None that no limit was found.
    """
    best = profile.best.variances
    own, residual = float(best[place]), place == len(best) - 1
    low: float | None = 0.0
    high: float | None = 1.0
    if residual or (own > 0 and profile.rise(profile.held(place, kind, -inf, best)) > cut):
        low = _crossing(profile, place, kind, cut, -1)
    if not (residual and kind == "share" and profile.rise(_alone(profile)) <= cut):
        high = _crossing(profile, place, kind, cut, +1)
    return low, high


def near(best: Place, place: int, coverage: float) -> tuple[Limits, Limits]:
    """Limits of a standard deviation and of its share as the curvature at the lowest place has them, by the logarithm
    of the variance and of the odds of the share. A variance on its bound has none."""
    free = np.flatnonzero(best.variances > 0)
    own = float(best.variances[place])
    if own <= 0:
        return (None, None), (None, None)
    try:
        # the criterion is -2 log likelihood: its curvature is twice the information
        covariance = 2 * np.linalg.inv(best.curvature[np.ix_(free, free)])
    except np.linalg.LinAlgError:
        return (None, None), (None, None)
    here = free == place
    z = float(ndtri((1 + coverage) / 2))
    reach = z * sqrt(float(covariance[here, here][0])) / own / 2
    sd = sqrt(own)
    sds = (sd * exp(-reach), sd * exp(reach))
    others = float(best.variances.sum()) - own
    if others <= 0:
        return sds, (None, None)
    odds = own / others
    by = np.where(here, 1 / own, -1 / others)
    reach = z * sqrt(float(by @ covariance @ by))
    low, high = odds * exp(-reach), odds * exp(reach)
    return sds, (low / (1 + low), high / (1 + high))


def _alone(profile: Profile) -> Place:
    """Where the residual is all there is."""
    nothing_else = np.zeros_like(profile.best.variances)
    nothing_else[-1] = 1.0
    return stand(profile.surface, nothing_else, free_scale=True)


def _crossing(profile: Profile, place: int, kind: Kind, cut: float, direction: int) -> float | None:
    """Where the criterion has risen by ``cut``: a Newton search on the root of the rise, kept between brackets.

    By a limit's log, the rise falls off like that of a scaled chi-squared, whose root is nearly straight.
    """
    x, start = _first_guess(profile, place, kind, cut, direction)
    near, far = -direction * inf, direction * inf
    walked: list[tuple[float, Floats]] = []
    for _try in range(TRIES):
        found = profile.held(place, kind, x, ahead(walked, x) if walked else start)
        rise = max(profile.rise(found), 0.0)
        if abs(rise - cut) < CLOSE:
            return sqrt(exp(x)) if kind == "sd" else 1.0 / (1.0 + exp(-x))
        near, far = (x, far) if rise < cut else (near, x)
        walked.append((x, found.variances))
        # the envelope: only what is held moves the criterion, d/d log v = v·d/dv
        gradient = float(found.slope[place] * found.variances[place]) / (2 * sqrt(rise)) if rise else 0.0
        step = (sqrt(cut) - sqrt(rise)) / gradient if gradient * direction > 0 else inf
        if abs(step) > LONGEST_STEP:
            step = direction * LONGEST_STEP * (1 if rise < cut else -1)
        x += step
        low, high = min(near, far), max(near, far)
        if not low < x < high:
            x = (low + high) / 2
    return None


def ahead(walked: list[tuple[float, Floats]], x: float) -> Floats:
    """Where the other variances will be at x, by a straight line through the logs of the last two places."""
    x_last, last = walked[-1]
    if len(walked) == 1 or not np.isfinite(walked[-2][0]) or not np.isfinite(x_last):
        return last
    x_before, before = walked[-2]
    part = min(max((x - x_last) / (x_last - x_before), -2.0), 2.0)
    moving = (last > 0) & (before > 0)
    change = np.ones_like(last)
    change[moving] = np.clip((last[moving] / before[moving]) ** part, 0.1, 10.0)
    return last * change


def _first_guess(
    profile: Profile, place: int, kind: Kind, cut: float, direction: int
) -> tuple[float, Floats]:
    """Where to look first, and with which other variances, from slope and curvature at the lowest place."""
    best = profile.best
    variances = best.variances
    reach = np.sqrt(2 * cut / np.maximum(best.curvature.diagonal(), 1e-300))
    reach = np.minimum(reach, cut / np.maximum(best.slope, 1e-300))
    guess = np.where(variances > 0, variances, np.minimum(reach, variances.sum()))
    others = float(variances.sum() - variances[place])
    if others == 0:
        others = float(guess.sum() - guess[place])
        variances = guess
    x = log(guess[place] if kind == "sd" else guess[place] / others)
    if best.variances[place] > 0 and best.variances.sum() > best.variances[place]:
        x += direction * min(max(float(reach[place] / guess[place]), 0.1), 1.0)
    return x, variances
