"""How many check brews it takes to see a shift, and how long a chart takes to see one.

Exact for independent normal readings. Guenther 1981, Sample size formulas for normal theory t tests, The American
Statistician 35:243, doi:10.1080/00031305.1981.10479363: what is approximated there is computed here, from the
noncentral t distribution (Johnson, Kotz and Balakrishnan 1995, Continuous univariate distributions 2, chapter 31).
Readings of one day or one person are more alike than independent ones: σ is then that of days or people, and what
is counted is days or people.
"""

from __future__ import annotations

from dataclasses import dataclass
from math import isfinite, sqrt

import numpy as np
from scipy import optimize, special

from brewbar.words import gettext as _
from calibration.statistics.pieces import gauss_legendre
from calibration.statistics.run_length import average_run_length, signal_by
from calibration.statistics.schemes import Scheme

MOST = 1_000_000
LONGEST_RUN = 20_000


@dataclass(frozen=True, slots=True)
class Plan:
    """How many brews, for a shift in the unit of sigma.

    n: the fewest, None if no number will do; power: chance that n brews show the shift; shift, sigma: asked for;
    alpha: chance that they show one that is not there; reason: why n is None, else "".
    """

    n: int | None
    power: float | None
    shift: float
    sigma: float
    alpha: float
    reason: str = ""


def chance_to_see(
    n: int,
    shift: float,
    sigma: float,
    alpha: float = 0.05,
    sides: int = 2,
    known: bool = False,
    earlier: int | None = None,
) -> float:
    """Power of the test of a mean of n brews against a target, or against ``earlier`` brews before it.

    known: σ is known beforehand (normal test); else it is estimated from the brews themselves (Student's t).
    """
    _check(shift, sigma, alpha, sides, earlier)
    if n < 1:
        raise ValueError(_("Plan for one brew or more."))
    return _power(n, shift / sigma, alpha, sides, known, earlier)


def brews_needed(
    shift: float,
    sigma: float,
    power: float = 0.9,
    alpha: float = 0.05,
    sides: int = 2,
    known: bool = False,
    earlier: int | None = None,
) -> Plan:
    """The fewest brews whose mean shows a shift with the wanted power; arguments as `chance_to_see`."""
    _check(shift, sigma, alpha, sides, earlier)
    if not alpha < power < 1:
        raise ValueError(_("The wanted power lies between the chance of a false alarm and 1, such as 0.9."))

    def seen(n: int) -> float:
        return _power(n, shift / sigma, alpha, sides, known, earlier)

    if shift == 0 or seen(MOST) < power:
        reason = (
            _("A shift of 0 is never seen.")
            if shift == 0
            else _("No number of brews is enough: there are too few earlier ones to compare with.")
            if earlier is not None
            else _("More than a million brews would be needed.")
        )
        return Plan(None, None, shift, sigma, alpha, reason)
    # power rises with n: double, then halve the gap
    high = 1
    while seen(high) < power:
        high *= 2
    low = high // 2
    while high - low > 1:
        middle = (low + high) // 2
        low, high = (low, middle) if seen(middle) >= power else (middle, high)
    return Plan(high, seen(high), shift, sigma, alpha)


def smallest_shift(
    n: int,
    sigma: float,
    power: float = 0.9,
    alpha: float = 0.05,
    sides: int = 2,
    known: bool = False,
    earlier: int | None = None,
) -> float | None:
    """The shift that n brews show with the wanted power; None if they cannot estimate σ."""
    _check(1.0, sigma, alpha, sides, earlier)
    if not alpha < power < 1:
        raise ValueError(_("The wanted power lies between the chance of a false alarm and 1, such as 0.9."))
    if n < 1:
        raise ValueError(_("Plan for one brew or more."))
    if not known and _df(n, earlier) < 1:
        return None
    high = 1.0
    while _power(n, high, alpha, sides, known, earlier) < power:
        high *= 2
    miss = lambda delta: _power(n, delta, alpha, sides, known, earlier) - power  # noqa: E731
    return sigma * float(optimize.brentq(miss, 0.0, high, xtol=1e-10))


def _check(shift: float, sigma: float, alpha: float, sides: int, earlier: int | None) -> None:
    if not isfinite(shift):
        raise ValueError(_("A shift must be a number."))
    if not (isfinite(sigma) and sigma > 0):
        raise ValueError(_("The standard deviation must be a number above 0."))
    if not 0 < alpha < 0.5:
        raise ValueError(_("The chance of a false alarm lies between 0 and 0.5, such as 0.05."))
    if sides not in {1, 2}:
        raise ValueError(_("A test looks to one side or to two."))
    if earlier is not None and earlier < 1:
        raise ValueError(_("There must be one earlier brew or more to compare with."))


def _df(n: int, earlier: int | None) -> int:
    return n - 1 if earlier is None else n + earlier - 2


def _power(n: int, delta: float, alpha: float, sides: int, known: bool, earlier: int | None) -> float:
    """P(|T| > t) of a noncentral t with δ√n, or δ/√(1/n + 1/m) beside m earlier brews; normal if σ is known."""
    away = abs(delta) * (sqrt(n) if earlier is None else 1 / sqrt(1 / n + 1 / earlier))
    tail = alpha / sides
    if known:
        z = float(-special.ndtri(tail))
        return float(special.ndtr(away - z) + (special.ndtr(-away - z) if sides == 2 else 0.0))
    df = _df(n, earlier)
    if df < 1:
        return 0.0
    t = float(-special.stdtrit(df, tail))
    return _above(df, away, t) + (_above(df, -away, t) if sides == 2 else 0.0)


def _above(df: int, away: float, t: float) -> float:
    """P(T > t) of a noncentral t: P(Z + away > t·S) over S² ~ χ²/df, integrated over the chances of S."""
    nodes, weights = gauss_legendre(200)
    # the middle of the distribution of df·S², to where next to nothing is left
    low, high = special.chdtri(df, 1 - 1e-16) if df > 1 else 0.0, special.chdtri(df, 1e-16)
    s_low, s_high = sqrt(low / df), sqrt(high / df)
    s = (s_low + s_high) / 2 + (s_high - s_low) / 2 * nodes
    half = df / 2
    log_density = (
        np.log(2.0) + half * np.log(half) - special.gammaln(half) + (df - 1) * np.log(s) - half * s * s
    )
    return float((s_high - s_low) / 2 * weights @ (np.exp(log_density) * special.ndtr(away - t * s)))


@dataclass(frozen=True, slots=True)
class Sighting:
    """How long a chart takes to see a shift that is there from the first reading, in readings (groups for means).

    n: by when it has signalled with the wanted power, None if not within `LONGEST_RUN`; power: the chance by then;
    mean: on average, `average_run_length`; median; quiet_mean: on average without any shift, between false alarms;
    reason: why n is None, else "".
    """

    n: int | None
    power: float | None
    mean: float
    median: int | None
    quiet_mean: float
    reason: str = ""


def checks_to_see(scheme: Scheme, shift: float, power: float = 0.9) -> Sighting:
    """How long a chart takes to see a shift of so many σ, by the exact distribution of its run length."""
    if not isfinite(shift):
        raise ValueError(_("A shift must be a number."))
    if not 0 < power < 1:
        raise ValueError(_("The wanted power lies between 0 and 1, such as 0.9."))
    mean, quiet = average_run_length(scheme, shift), average_run_length(scheme)
    upto = 64
    chances = signal_by(scheme, upto, shift)
    while chances[-1] < max(power, 0.5) and upto < LONGEST_RUN:
        upto = min(4 * upto, LONGEST_RUN)
        chances = signal_by(scheme, upto, shift)
    median = int(np.searchsorted(chances, 0.5)) + 1 if chances[-1] >= 0.5 else None
    if chances[-1] < power:
        reason = _("The chart may take more than %(longest)d readings.") % {"longest": LONGEST_RUN}
        return Sighting(None, None, mean, median, quiet, reason)
    n = int(np.searchsorted(chances, power)) + 1
    return Sighting(n, float(chances[n - 1]), mean, median, quiet)
