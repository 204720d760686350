"""How far brews scatter, as `following` needs to know it: by day, by person on a day, by brew, and as the cup wanders.

Days are parted into those that scatter about a level and a level that wanders by the likelihood of a local level:
Harvey 1989, Forecasting, structural time series models and the Kalman filter (from memory), chapter 4.
"""

from __future__ import annotations

from bisect import bisect_right
from collections.abc import Iterable
from dataclasses import dataclass
from itertools import pairwise
from math import hypot, inf, log

import numpy as np
from numpy.typing import ArrayLike, NDArray

from brewbar.words import gettext as _
from calibration.statistics import variance
from calibration.statistics.crew_days import Day, Days, numbered
from calibration.statistics.rows import Codes, Floats, Labels, codes, finite

FEWEST_STAFF = 5
FEWEST_DAYS_TO_WANDER = 20
ROUNDS = 40
SHORTEST_PIECE = 4
WANDERS = 2.71
# shares of the spread of days that are looked at first, of the scatter and of a day's step of the wander
SCATTER = np.array([0.0, 0.25, 0.5, 0.7, 0.85, 1.0, 1.2])
WANDER = np.array([0.0, 0.02, 0.05, 0.1, 0.15, 0.2, 0.3, 0.45, 0.7, 1.0])


@dataclass(frozen=True, slots=True)
class Spreads:
    """Standard deviations in the unit of the values, None where unknown.

    staff: of people's baselines; day; staff_day: of a person on a day, None where it can't be told from chance and
    is in brew; brew: of one brew; wander: of the level's step from one day to the next; df, df_days: degrees of freedom
    that what people, and days, are measured by rests on, None where the spreads are known; notes: what to know.
    """

    staff: float | None
    day: float | None
    staff_day: float | None
    brew: float | None
    wander: float | None = None
    df: int | None = None
    df_days: int | None = None
    notes: tuple[str, ...] = ()


def spreads_of(
    values: ArrayLike,
    people: Labels,
    days: Days,
    *,
    versions: Labels | None = None,
    steps: Iterable[Day] = (),
) -> Spreads:
    """From the readings themselves, pooled over the crew. versions, steps: as `following.follow`; each version and
    each time between two steps has a level of its own."""
    y = finite(values, 0)
    n = len(y)
    who, names = codes(people, n, _("person"))
    when, found = codes(days, n, _("day"))
    at = np.array([numbered(day) for day in found], dtype=np.int64)
    which = codes(versions, n, _("version"))[0] if versions is not None else np.zeros(n, dtype=np.intp)
    changes = sorted(numbered(day) for day in steps)
    period = np.array([bisect_right(changes, int(day)) for day in at], dtype=np.intp)[when]
    level = codes([f"{a} {b}" for a, b in zip(which, period, strict=True)], n, _("level"))[0]
    if n < 3:
        return Spreads(None, None, None, None, notes=(_("There are too few brews to measure their spread."),))
    fixed: dict[str, Labels] | None = {"level": [f"level {one}" for one in level]} if level.any() else None
    fit = variance.fit(
        y, {"staff": who, "day": when}, ("staff", "day", "staff:day"), fixed,
        intervals=False, predictions=False, residual="brew",
    )  # fmt: skip
    parts = fit.components
    sds = {name: part.sd for name, part in parts.items()}
    brew = list(sds.values())[-1]
    staff, day = sds.get("staff"), sds.get("day")
    notes = list(fit.notes)
    if len(names) < FEWEST_STAFF:
        staff = None
        notes.append(
            _("With fewer than %(least)d people, nobody's spread is said.") % {"least": FEWEST_STAFF}
        )
    staff_day = sds.get("staff:day")
    wander: float | None = 0.0
    if day and brew and len(at) >= FEWEST_DAYS_TO_WANDER:
        order = np.argsort(at)
        d, k = _days(y, who, when, level)
        error = (hypot(staff_day or 0.0, brew)) ** 2 / k
        new = np.diff(np.array([period[when == t].max() for t in order]), prepend=0) != 0
        fresh = np.array([frozenset(which[when == t].tolist()) for t in order], dtype=object)
        new |= np.array([i > 0 and fresh[i] != fresh[i - 1] for i in range(len(fresh))])
        d, error, at = d[order], error[order], at[order]
        day, wander = _parted(d, error, at, moved(d, error, new), day)
    # of a two-way table with a row and a column taken off, and of its days; a brew of the same cell adds little
    cells, levels = len(np.unique(when * len(names) + who)), int(level.max()) + 1
    df = max(1, cells - len(names) - len(at) + 1), max(1, len(at) - levels)
    return Spreads(staff, day, staff_day, brew, wander, *df, tuple(notes))


def _days(y: Floats, who: Codes, when: Codes, level: Codes) -> tuple[Floats, Floats]:
    """Each day's mean with people's own means taken off, by turns until both stand still; and its people."""
    staff, day = np.zeros(who.max() + 1), np.zeros(when.max() + 1)
    of_staff, of_day = np.bincount(who), np.bincount(when)
    for _round in range(ROUNDS):
        day = np.bincount(when, y - staff[who]) / of_day
        staff = np.bincount(who, y - day[when]) / of_staff
        staff -= staff.mean()
    pairs = np.unique(when * len(staff) + who) // len(staff)
    return day, np.bincount(pairs).astype(np.float64)


def moved(mean: Floats, error: Floats, new: NDArray[np.bool_]) -> NDArray[np.bool_]:
    """Where the level of the days has changed for good, known changes and others that days can't be told without:
    least squares within pieces of `SHORTEST_PIECE` days or more, 3 log n for each change, the criterion of Zhang and
    Siegmund 2007, A modified Bayes information criterion, Biometrics 63:22, doi:10.1111/j.1541-0420.2006.00662.x, with
    its largest term alone. Else one batch that nobody named would pass for a level that wanders, and hide itself."""
    step = np.diff(mean)[~new[1:]]
    if not len(step):
        return new
    scatter = max(0.0, float((step**2).mean() / 2 - error.mean()))
    weight = 1 / (scatter + error)
    found = new.copy()
    bounds = sorted({0, *(np.flatnonzero(new).tolist()), len(mean)})
    for begin, end in pairwise(bounds):
        for place in _pieces(mean[begin:end], weight[begin:end], 3 * log(len(mean))):
            found[begin + place] = True
    return found


def _pieces(mean: Floats, weight: Floats, price: float) -> list[int]:
    """Starts of all pieces but the first, by the least sum of squares and prices: the best cut before each place
    follows from the best cuts of what lies before it."""
    n = len(mean)
    w, wx, wxx = (np.concatenate(([0.0], np.cumsum(weight * mean**power))) for power in (0, 1, 2))
    best = np.full(n + 1, inf)
    best[0] = -price
    back = np.zeros(n + 1, dtype=np.intp)
    for end in range(SHORTEST_PIECE, n + 1):
        start = np.arange(0, end - SHORTEST_PIECE + 1)
        squares = wxx[end] - wxx[start] - (wx[end] - wx[start]) ** 2 / (w[end] - w[start])
        total = best[start] + squares + price
        back[end] = int(total.argmin())
        best[end] = total[back[end]]
    cuts, end = [], n
    while n >= SHORTEST_PIECE and back[end] > 0:
        end = int(back[end])
        cuts.append(end)
    return cuts


def _parted(
    mean: Floats, error: Floats, at: NDArray[np.int64], new: NDArray[np.bool_], spread: float
) -> tuple[float, float]:
    """The scatter of days and the step of the wander that are likeliest together, on two grids, the second finer.

    No wander unless it is likelier by what chance alone gives once in twenty times: where it may be 0, that is half
    of a χ² of one degree (Self and Liang 1987, Asymptotic properties of maximum likelihood estimators, Journal of the
    American Statistical Association 82:605, doi:10.1080/01621459.1987.10478472, case 5). A wander that is none lets
    the level forget, and hides what lasts for a week.
    """
    still = _likeliest(mean, error, at, new, spread * SCATTER, np.zeros(1))
    wandering = _likeliest(mean, error, at, new, spread * SCATTER, spread * WANDER)
    return (wandering if 2 * (wandering[2] - still[2]) > WANDERS else still)[:2]


def _likeliest(
    mean: Floats,
    error: Floats,
    at: NDArray[np.int64],
    new: NDArray[np.bool_],
    scatter: Floats,
    wander: Floats,
) -> tuple[float, float, float]:
    for _pass in range(2):
        likely = _log_likelihood(mean, error, at, new, scatter[:, None] ** 2, wander**2)
        i, j = divmod(int(likely.argmax()), len(wander))
        best = float(scatter[i]), float(wander[j]), float(likely[i, j])
        scatter, wander = _finer(scatter, i), _finer(wander, j)
    return best


def _finer(grid: Floats, place: int) -> Floats:
    if len(grid) == 1:
        return grid
    return np.linspace(grid[max(place - 1, 0)], grid[min(place + 1, len(grid) - 1)], 9)


def _log_likelihood(
    mean: Floats,
    error: Floats,
    at: NDArray[np.int64],
    new: NDArray[np.bool_],
    scatter: Floats,
    wander: Floats,
) -> Floats:
    """Of a local level, which starts anew where `new` says so."""
    scatter, wander = np.broadcast_arrays(scatter, wander)
    level, P = np.full_like(scatter, mean[0]), scatter + error[0]
    total = np.zeros_like(scatter)
    for t in range(1, len(mean)):
        F = P + wander * float(at[t] - at[t - 1]) + scatter + error[t]
        if new[t]:
            level, P = np.full_like(scatter, mean[t]), scatter + error[t]
            continue
        miss = mean[t] - level
        total -= (np.log(F) + miss * miss / F) / 2
        gain = 1 - (scatter + error[t]) / F
        level, P = level + gain * miss, gain * (scatter + error[t])
    return total
