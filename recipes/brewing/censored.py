"""The middle of a few measurements, some of which only say 'at least this much'.

Values are normal about a mean, both it and their standard deviation unknown; a value that is only bounded from
below enters with the chance of lying above its bound. The mean is found by maximum likelihood. A handful of
values tells next to nothing about the standard deviation, so a usual one is laid in the scale with the weight of
`USUAL_WEIGHT` values (a scaled inverse chi-squared prior, whose mode is taken).

Without bounds this is the conjugate case, in closed form: the mean has a Student t distribution with
n + USUAL_WEIGHT - 1 degrees of freedom. With bounds the interval comes from the profile of the likelihood, cut
where it would be cut without them.

Dempster, Laird and Rubin 1977, Maximum likelihood from incomplete data via the EM algorithm, J. R. Stat. Soc. B
39:1, doi:10.1111/j.2517-6161.1977.tb01600.x: section 4, censored data.
Gelman et al. 2013, Bayesian Data Analysis, 3rd edition, doi:10.1201/b16018: section 3.3, the conjugate prior.
Abramowitz and Stegun 1964, Handbook of Mathematical Functions, equation 26.7.5: quantiles of Student's t.
"""

from collections.abc import Callable, Sequence
from dataclasses import dataclass
from functools import lru_cache
from math import erfc, exp, fsum, hypot, inf, isfinite, log, log1p, pi, sqrt
from statistics import NormalDist

from recipes.brewing.roots import crossing

USUAL_WEIGHT = 3  # values that the usual standard deviation is worth: engineering estimate, no source
_Z = NormalDist().inv_cdf(0.975)
_ONE_SIDED = 0.05
_FAR = 30.0  # beyond it the tail of the normal is taken from its asymptote


@dataclass(frozen=True, slots=True)
class Middle:
    """Where the values lie, in their own unit.

    mean: their middle, or None where every value is only a bound; u: its standard uncertainty, likewise;
    low, high: its 95 % interval, or the least middle that is not refuted at 5 %, and infinity;
    sd: standard deviation of one value; reach: half-width of the 95 % interval for the next one, or None;
    seen, bounded: how many values of either kind.
    """

    mean: float | None
    u: float | None
    low: float
    high: float
    sd: float
    reach: float | None
    seen: int
    bounded: int


def middle(seen: Sequence[float], at_least: Sequence[float], usual_sd: float) -> Middle:
    """Raises ValueError where there is nothing to go by, or something is not a finite number."""
    if not seen and not at_least:
        raise ValueError("There is nothing to fit.")
    if not all(isfinite(value) for value in (*seen, *at_least)) or not 0 < usual_sd < inf:
        raise ValueError("Only finite numbers can be fitted.")
    # order does not matter, and a kettle's points come again with every plan
    return _middle(tuple(sorted(seen)), tuple(sorted(at_least)), usual_sd)


@lru_cache(maxsize=512)
def _middle(seen: tuple[float, ...], at_least: tuple[float, ...], usual_sd: float) -> Middle:
    if not seen:
        low = _least_not_refuted(at_least, usual_sd)
        return Middle(None, None, low, inf, usual_sd, None, 0, len(at_least))
    weight = len(seen) + len(at_least) + USUAL_WEIGHT
    t = student_95(len(seen) + USUAL_WEIGHT - 1)
    mean, mode = _mode(seen, at_least, usual_sd)
    sd = mode * sqrt(weight / (weight - 1))
    u = sqrt(weight / (weight - 1) / _information(seen, at_least, usual_sd, mean, mode))
    low, high = mean - t * u, mean + t * u
    if at_least:

        def fall(at: float) -> float:
            return best - _log_likelihood(seen, at_least, usual_sd, at, _sd_at(seen, at_least, usual_sd, at))

        best = _log_likelihood(seen, at_least, usual_sd, mean, mode)
        cut = weight * log1p(t * t / (weight - 1)) / 2
        low, high = _crossing(fall, cut, mean, -t * u), _crossing(fall, cut, mean, t * u)
    return Middle(mean, u, low, high, sd, t * hypot(sd, u), len(seen), len(at_least))


def student_95(freedom: int) -> float:
    """Two-sided 95 % point of Student's t: Abramowitz and Stegun 1964, 26.7.5; within 0.8 % from 3 on."""
    z, v = _Z, freedom
    return (
        z
        + (z**3 + z) / (4 * v)
        + (5 * z**5 + 16 * z**3 + 3 * z) / (96 * v**2)
        + (3 * z**7 + 19 * z**5 + 17 * z**3 - 15 * z) / (384 * v**3)
    )


def _mode(seen: Sequence[float], at_least: Sequence[float], usual_sd: float) -> tuple[float, float]:
    """Mean and standard deviation by expectation and maximisation: Dempster, Laird and Rubin 1977."""
    mean, sd = fsum((*seen, *at_least)) / (len(seen) + len(at_least)), usual_sd
    for _round in range(5000):
        likely = [at + sd * _hazard((mean - at) / sd) + (mean - at) for at in at_least]
        new = fsum((*seen, *likely)) / (len(seen) + len(likely))
        step = new - mean
        squares = [(value - new) ** 2 for value in seen]
        for at, expected in zip(at_least, likely, strict=True):
            z = (mean - at) / sd
            squares.append(sd * sd * (1 - z * _hazard(z)) - 2 * step * (expected - mean) + step * step)
        was, mean = sd, new
        sd = _pooled(squares, usual_sd)
        if abs(step) + abs(sd - was) < 1e-10 * sd:
            break
    return mean, sd


def _sd_at(seen: Sequence[float], at_least: Sequence[float], usual_sd: float, mean: float) -> float:
    """The likeliest standard deviation where the mean is given."""
    known = [(value - mean) ** 2 for value in seen]
    sd = _pooled([*known, *(max(0.0, at - mean) ** 2 for at in at_least)], usual_sd)
    for _round in range(5000):
        hidden = [sd * sd * (1 - z * _hazard(z)) for z in ((mean - at) / sd for at in at_least)]
        was, sd = sd, _pooled([*known, *hidden], usual_sd)
        if abs(sd - was) < 1e-10 * sd:
            break
    return sd


def _pooled(squares: Sequence[float], usual_sd: float) -> float:
    return sqrt((fsum(squares) + USUAL_WEIGHT * usual_sd**2) / (len(squares) + USUAL_WEIGHT))


def _log_likelihood(
    seen: Sequence[float], at_least: Sequence[float], usual_sd: float, mean: float, sd: float
) -> float:
    squares = fsum((value - mean) ** 2 for value in seen) + USUAL_WEIGHT * usual_sd**2
    bounds = fsum(_log_chance((mean - at) / sd) for at in at_least)
    return bounds - (len(seen) + USUAL_WEIGHT) * log(sd) - squares / (2 * sd * sd)


def _information(
    seen: Sequence[float], at_least: Sequence[float], usual_sd: float, mean: float, sd: float
) -> float:
    """Observed information about the mean, the standard deviation being unknown too."""
    squares = fsum((value - mean) ** 2 for value in seen) + USUAL_WEIGHT * usual_sd**2
    of_mean = len(seen) / sd**2
    both = 2 * fsum(value - mean for value in seen) / sd**2
    of_sd = 2 * squares / sd**2  # of its logarithm
    for at in at_least:
        z = (mean - at) / sd
        hazard = _hazard(z)
        bend = hazard * (z + hazard)
        of_mean += bend / sd**2
        both += (hazard - bend * z) / sd
        of_sd += bend * z * z - hazard * z
    return of_mean - both * both / of_sd


def _least_not_refuted(at_least: Sequence[float], sd: float) -> float:
    """The mean for which as many values above their bounds would be seen once in twenty times."""

    def chance(mean: float) -> float:
        return fsum(_log_chance((mean - at) / sd) for at in at_least)

    low, high = min(at_least) - 40 * sd, max(at_least) + 40 * sd
    for _round in range(60):
        between = (low + high) / 2
        low, high = (between, high) if chance(between) < log(_ONE_SIDED) else (low, between)
    return high


def _crossing(fall: Callable[[float], float], cut: float, mean: float, step: float) -> float:
    """Where the likelihood has fallen by `cut`, on the side of the mean that `step` points to."""

    def short(by: float) -> float:  # the root of the fall is nearly a straight line
        return sqrt(max(0.0, fall(mean + by))) - sqrt(cut)

    inside, outside = 0.0, step
    while short(outside) < 0:
        inside, outside = outside, 2 * outside
    return mean + crossing(short, inside, outside, near=1e-6)


def _hazard(z: float) -> float:
    """Density over cumulative distribution of the standard normal."""
    if z < -_FAR:
        return -z
    return exp(-z * z / 2) / sqrt(2 * pi) / (erfc(-z / sqrt(2)) / 2)


def _log_chance(z: float) -> float:
    if z < -_FAR:
        return -z * z / 2 - log(-z * sqrt(2 * pi))
    return log(erfc(-z / sqrt(2)) / 2)
