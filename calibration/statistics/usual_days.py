"""What days usually do, and whether the cup moved at some point for good.

Days resemble their neighbours: a coffee ages, a burr wears, a grind is set in the morning and left. A chart whose
limits come from differences of neighbours then calls every second day unusual. Here a day's deviation from the
centre is sₜ + eₜ: sₜ with spread σ and correlation ρ^gap over a gap of so many days, eₜ the known error of a day with
few brews. σ and ρ are those of the highest restricted likelihood; unusual days do not widen what is usual.

Limits of a day: centre ± k·√(σ² + var eₜ + var centre), k the quantile of Student's t that stands for three standard
deviations, with as many degrees of freedom as independent days would have that tell as much, and no fewer than
`FEWEST_FREE`.

A step is looked for at every day, with σ and ρ fitted anew beside it, and said only where the likelihood gains so much
that spans without a step rarely do: `SURE`, by simulation in tests/statistics/test_between_days.py.

Harvey 1989, Forecasting, structural time series models and the Kalman filter (from memory), chapter 3. Alwan and
Roberts 1988, Time-series modeling for statistical process control, Journal of Business and Economic Statistics 6:87,
doi:10.2307/1391421. Bartlett 1946, On the theoretical specification and sampling properties of autocorrelated
time-series, Supplement to the Journal of the Royal Statistical Society 8:27, doi:10.2307/2983611: how many days count.
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass
from math import sqrt

import numpy as np
from numpy.typing import NDArray
from scipy import special

from brewbar.words import gettext as _
from calibration.statistics.between import DayEffects
from calibration.statistics.rows import Codes, Floats, level

FEWEST_DAYS = 8  # engineering estimate, no source: from fewer, what is usual can't be said
# shares of the spread of the effects, and no more: what was never seen is not usual
SPREADS = np.array([0.0, 0.15, 0.3, 0.45, 0.6, 0.75, 0.85, 0.95, 1.0])
ALIKE = np.array([0.0, 0.15, 0.3, 0.45, 0.6, 0.75, 0.85, 0.93])
TAIL = 0.00135  # beyond three standard deviations on one side
MOST_UNUSUAL = 0.2  # of the days: more are what is usual here
ROUNDS = 4
AT_LEAST = 3  # days on either side of a step
MOST_PLACES = 120
SURE = 14.0  # gain in -2 log likelihood
WORTH_A_WORD = 8.0  # and from so much on a step may be, which is said as no more than that
FEWEST_FREE = 8.0  # engineering estimate: with fewer degrees of freedom limits would hold whatever there is
STILL_LIKELY = 3.84  # chi-squared of one degree of freedom, 95 %


@dataclass(frozen=True, slots=True)
class Step:
    """From ``day`` on the cup lies ``size`` higher than before, with its limits. first, last: days between which it
    began; gain: in -2 log likelihood; sure: whether that is more than chance often gives."""

    day: int
    first: int
    last: int
    size: float
    low: float
    high: float
    gain: float

    @property
    def sure(self) -> bool:
        return self.gain >= SURE

    def may_be(self, smallest: float = 0.0) -> bool:
        """Whether it is worth a word although it is not sure: not by chance too often, and not less than matters."""
        return self.gain >= WORTH_A_WORD and abs(self.size) >= smallest


@dataclass(frozen=True, slots=True)
class Usual:
    """centre, low, high: of each day's effect, arrays of shape (t,), nan where reason says why there are none; outside:
    which days lie beyond; sd: spread of days apart from the error of each; alike: correlation of neighbouring days;
    k: how many standard deviations the limits are away; step: the likeliest, sure or not."""

    centre: Floats
    low: Floats
    high: Floats
    outside: NDArray[np.bool_]
    sd: float | None
    alike: float | None
    k: float | None
    step: Step | None
    reason: str = ""


def usual(effects: DayEffects, coverage: float = 0.95) -> Usual:
    """Centre and limits of the days, and the likeliest step among them."""
    T = len(effects)
    if T < FEWEST_DAYS:
        none = np.full(T, np.nan)
        reason = _("What days usually do can be told from %(least)d days on.") % {"least": FEWEST_DAYS}
        return Usual(none, none, none, np.zeros(T, dtype=np.bool_), None, None, None, None, reason)
    step = likeliest_step(effects, coverage)
    after = (effects.day >= step.day).astype(float) if step is not None and step.sure else None
    kept = ~_far(effects.effect if after is None or step is None else effects.effect - step.size * after)
    fitted = _fitted(effects, after, kept)
    for _round in range(ROUNDS):
        outside = (effects.effect < fitted[1]) | (effects.effect > fitted[2])
        if outside.mean() > MOST_UNUSUAL:
            fitted = _fitted(effects, after, np.ones(T, dtype=np.bool_))
            break
        if (outside == ~kept).all():
            break
        kept = ~outside
        fitted = _fitted(effects, after, kept)
    centre, low, high, sd, alike, k = fitted
    outside = (effects.effect < low) | (effects.effect > high)
    return Usual(centre, low, high, outside, sd, alike, k, step)


def _far(effect: Floats) -> NDArray[np.bool_]:
    away = np.abs(effect - np.median(effect))
    scale = 1.4826 * float(np.median(away))
    far = away > 3 * scale if scale > 0 else np.zeros(len(effect), dtype=np.bool_)
    return far if far.mean() <= MOST_UNUSUAL else np.zeros(len(effect), dtype=np.bool_)


def _fitted(
    effects: DayEffects, after: Floats | None, kept: NDArray[np.bool_]
) -> tuple[Floats, Floats, Floats, float, float, float]:
    T = len(effects)
    columns = np.column_stack([effects.effect, np.ones(T), *([after] if after is not None else [])])
    scale = float(effects.effect[kept].std())
    if scale == 0 and not effects.se.any():
        level_of = float(effects.effect[kept].mean())
        flat = np.full(T, level_of)
        return flat, flat, flat, 0.0, 0.0, 0.0
    noise = np.maximum(effects.se**2, 1e-9 * max(scale**2, float((effects.se**2).mean())))
    sds, alike = scale * SPREADS, ALIKE
    for _pass in range(2):
        grid = [each.ravel() for each in np.meshgrid(sds, alike, indexing="ij")]
        logs, grams = _filtered(columns, noise, effects.day, grid[0] ** 2, grid[1], kept)
        X = grams[:, 1:, 1:]
        beta = np.linalg.solve(X, grams[:, 1:, :1])[:, :, 0]
        rss = grams[:, 0, 0] - (beta * grams[:, 1:, 0]).sum(1)
        best = int((logs + rss + np.linalg.slogdet(X)[1]).argmin())
        i, j = divmod(best, len(alike))
        found = float(grid[0][best]), float(grid[1][best])
        covariance = np.linalg.inv(X[best])
        coefficients = beta[best]
        sds = np.linspace(sds[max(i - 1, 0)], sds[min(i + 1, len(sds) - 1)], 9)
        alike = np.linspace(alike[max(j - 1, 0)], alike[min(j + 1, len(alike) - 1)], 7)
    sd, rho = found
    design = columns[:, 1:]
    centre = design @ coefficients
    of_centre = ((design @ covariance) * design).sum(1)
    # Bartlett 1946: so many independent days tell as much of a spread
    counts = int(kept.sum()) * (1 - rho**2) / (1 + rho**2)
    k = float(special.stdtrit(max(FEWEST_FREE, counts - design.shape[1]), 1 - TAIL))
    reach = k * np.sqrt(sd**2 + effects.se**2 + of_centre)
    return centre, centre - reach, centre + reach, sd, rho, k


def likeliest_step(effects: DayEffects, coverage: float = 0.95) -> Step | None:
    """Where a step makes the days likeliest; None where there are too few of them, or nothing moves at all."""
    T = len(effects)
    scale = float(effects.effect.std())
    if T < FEWEST_DAYS or scale == 0:
        return None
    places = np.unique(
        np.linspace(AT_LEAST, T - AT_LEAST, min(MOST_PLACES, T - 2 * AT_LEAST + 1)).astype(int)
    )
    steps = (np.arange(T)[:, None] >= places).astype(float)
    columns = np.column_stack([effects.effect, np.ones(T), steps])
    noise = np.maximum(effects.se**2, 1e-9 * scale**2)
    sds, alike = np.meshgrid(scale * SPREADS[::2], ALIKE[::2], indexing="ij")
    everything = np.ones(T, dtype=np.bool_)
    logs, yy, y1, ys, one, one_s, ss = _filtered_steps(
        columns, noise, effects.day, sds.ravel() ** 2, alike.ravel(), everything
    )
    plain = logs + yy - y1**2 / one
    of_step = ss - one_s**2 / one[:, None]
    pull = ys - one_s * (y1 / one)[:, None]
    gained = pull**2 / of_step
    beside = plain[:, None] - gained
    lowest = beside.min(0)
    gains = float(plain.min()) - lowest
    at = int(gains.argmax())
    node = int(beside[:, at].argmin())
    size, se = float(pull[node, at] / of_step[node, at]), sqrt(1 / float(of_step[node, at]))
    likely = places[gains > gains[at] - STILL_LIKELY]
    reach = float(special.stdtrit(max(3, T - 4), (1 + level(coverage)) / 2)) * se
    day = effects.day
    return Step(
        int(day[places[at]]), int(day[likely.min()]), int(day[likely.max()]), size, size - reach, size + reach,
        float(gains[at]),
    )  # fmt: skip


def _filtered(
    columns: Floats, noise: Floats, day: Codes, variance: Floats, alike: Floats, kept: NDArray[np.bool_]
) -> tuple[Floats, Floats]:
    """For each σ² and ρ: Σ log F, and the products of all columns weighted by V⁻¹, shape (g, c, c)."""
    logs = np.zeros(len(variance))
    grams = np.zeros((len(variance), columns.shape[1], columns.shape[1]))
    for v, F in _innovations(columns, noise, day, variance, alike, kept):
        logs += np.log(F)
        grams += v[:, :, None] * (v / F[:, None])[:, None, :]
    return logs, grams


def _filtered_steps(
    columns: Floats, noise: Floats, day: Codes, variance: Floats, alike: Floats, kept: NDArray[np.bool_]
) -> tuple[Floats, ...]:
    """The same for values, a constant and many steps, of whose products only those with the first two are wanted."""
    g, steps = len(variance), columns.shape[1] - 2
    logs, yy, y1, one = (np.zeros(g) for _each in range(4))
    ys, one_s, ss = (np.zeros((g, steps)) for _each in range(3))
    for v, F in _innovations(columns, noise, day, variance, alike, kept):
        y, constant, s = v[:, 0], v[:, 1], v[:, 2:]
        logs += np.log(F)
        yy += y * y / F
        y1 += y * constant / F
        one += constant * constant / F
        weighted = s / F[:, None]
        ys += y[:, None] * weighted
        one_s += constant[:, None] * weighted
        ss += s * weighted
    return logs, yy, y1, ys, one, one_s, ss


def _innovations(
    columns: Floats, noise: Floats, day: Codes, variance: Floats, alike: Floats, kept: NDArray[np.bool_]
) -> Iterator[tuple[Floats, Floats]]:
    """What each day adds to those before, of every column, and its variance F."""
    state = np.zeros((len(variance), columns.shape[1]))
    P = variance.copy()
    gaps = np.diff(day, prepend=day[0])
    for t in range(len(noise)):
        if t:
            phi = alike ** float(gaps[t])
            state = state * phi[:, None]
            P = phi**2 * P + variance * (1 - phi**2)
        if not kept[t]:
            continue
        F = P + noise[t]
        v = columns[t] - state
        yield v, F
        gain = P / F
        state = state + gain[:, None] * v
        P = P * (1 - gain)
