"""What each brew was, less what everything else said it would be: by person and day, and by day.

y = level of the version + wander of the cup + baseline of the person + day + person × day + brew. All but the first
are normal, days, persons × days and brews independent with known spreads, the wander a random walk. Baselines and
levels are learned from nothing (a prior so wide that it says nothing), so that no error depends on what they are.

A person's error on a day is what their brews of the day were, less what all earlier days and the *others'* brews of
that day foretell, over its standard error. The errors of one person are then independent and standard normal, which is
what run lengths of a chart are computed for; `LOOSE` bends that by less than thousands of simulated cafés show. A day
on which nobody else brewed says nothing of a person. A day's error is what its brews have in common, less what earlier
days foretell.

A baseline goes on learning from all brews: one that is held from some brew on sees all of a slow drift, but its own
error stays in every point, and limits as much wider as that takes lose what is gained (shown by simulation in the
tests).

Known changes, such as a batch, give the level a step of any size in what is foretold of people; the day's own errors
know of none, so that a change is seen there for as long as it takes to be called one.

Kalman 1960, A new approach to linear filtering and prediction problems, Journal of Basic Engineering 82:35,
doi:10.1115/1.3662552. Brown, Durbin and Evans 1975, Techniques for testing the constancy of regression relationships
over time, Journal of the Royal Statistical Society B 37:149, doi:10.1111/j.2517-6161.1975.tb01532.x: recursive
residuals are independent. Hawkins 1987, Self-starting CUSUM charts for location and scale, The Statistician 36:299,
doi:10.2307/2348827: charts that learn their centre as they go.
"""

from __future__ import annotations

from collections.abc import Hashable, Iterable, Iterator, Mapping
from dataclasses import dataclass, fields
from typing import Any

import numpy as np
from numpy.typing import ArrayLike, NDArray
from scipy import special

from brewbar.words import gettext as _
from calibration.statistics.crew_days import Cells, CrewDays, Day, Days, Since
from calibration.statistics.rows import Codes, Floats, Labels, finite
from calibration.statistics.spreads import Spreads, spreads_of

WIDE = 300.0  # in standard deviations of a brew: what is not known beforehand
UNKNOWN = 10.0  # and an error as uncertain as that says nothing
# The others of the day are followed as if days scattered twice as much as they do. A day that moved for a reason, by an
# instrument or a batch nobody named, then makes an eighth of the false alarms of people that it does with days as they
# are; a drift is seen half a point later.
LOOSE = 2.0
FEWEST_EARLIER = 5  # brews that a baseline is learned from before it is compared with

Chunk = tuple[Any, ...]

__all__ = [
    "Day",
    "Days",
    "Followed",
    "OfDays",
    "OfPeople",
    "Since",
    "Spreads",
    "follow",
    "spreads_of",
    "walk",
]


@dataclass(frozen=True, slots=True)
class OfPeople:
    """Errors by person and day, in order of days; arrays of shape (m,), error and se in the unit of the values.

    person, day: whose, and when; z: error over its standard error, as a standard normal deviate; error: above what
    was foretold; se; others: how many other people it was compared with; brews: how many of the person's it is the
    mean of; row: of the first of those in the values, from 0; keeps: what a lasting shift of one leaves in the next
    error, the rest having been learned by the baseline; in_reference: False once the person has left it, when nothing
    more is learned.
    """

    person: tuple[Hashable, ...]
    day: tuple[Day, ...]
    z: Floats
    error: Floats
    se: Floats
    others: Codes
    brews: Codes
    row: Codes
    keeps: Floats
    in_reference: NDArray[np.bool_]

    def of(self, person: Hashable) -> OfPeople:
        """Those of one person."""
        kept = [i for i, who in enumerate(self.person) if who == person]
        columns: list[Any] = [getattr(self, field.name) for field in fields(self)]
        chosen: list[Any] = [tuple(c[i] for i in kept) if isinstance(c, tuple) else c[kept] for c in columns]
        return OfPeople(*chosen)

    def people(self) -> tuple[Hashable, ...]:
        """Those who have errors, in the order of their first."""
        return tuple(dict.fromkeys(self.person))


@dataclass(frozen=True, slots=True)
class OfDays:
    """Errors of what a day's brews have in common, in order of days, as `OfPeople`; people, brews: how many."""

    day: tuple[Day, ...]
    z: Floats
    error: Floats
    se: Floats
    people: Codes
    brews: Codes
    row: Codes
    keeps: Floats


@dataclass(frozen=True, slots=True)
class Followed:
    """of_people, of_days: errors; baselines: by person, how far from the mean of all who brewed, its standard error,
    and of how many brews, at the end; reason: why there are none, else ""."""

    of_people: OfPeople
    of_days: OfDays
    baselines: Mapping[Hashable, tuple[float, float, int]]
    reason: str = ""


def follow(
    values: ArrayLike,
    people: Labels,
    days: Days,
    spreads: Spreads,
    *,
    versions: Labels | None = None,
    steps: Iterable[Day] = (),
    moves: Iterable[Day] = (),
    leaves: Since | None = None,
    restarts: Since | None = None,
) -> Followed:
    """One row a brew, in any order. Every version has a level of its own.

    steps: days of known changes, which people are not charged with and days are; moves: days from which the level
    is known to have moved, for both; leaves: people whose brews say nothing of others from a day on; restarts:
    people whose baseline is learned anew from a day on, which also ends a leave; one day or several each. Of a day
    that is not among ``days`` the next one is meant.
    """
    y = finite(values, 0)
    crew = CrewDays(len(y), people, days, versions, leaves, restarts)
    if not (spreads.brew and len(y)):
        reason = _("There are too few brews to tell people and days from chance.")
        return Followed(_people(crew, [], 0.0, None), _days(crew, [], 0.0, None), {}, reason)
    return walk(y[:, None], crew, spreads, steps, moves)


def walk(y: Floats, crew: CrewDays, spreads: Spreads, steps: Iterable[Day], moves: Iterable[Day]) -> Followed:
    """As `follow`, for as many series of the same rows as y has columns; of several, z and error are of shape
    (m, series).

    Two filters go side by side, [0] that knows of the steps and [1] that does not. Their state is baselines, levels
    and the wander.
    """
    noise = tuple((sd or 0.0) ** 2 for sd in (spreads.day, spreads.staff_day, spreads.brew))
    wander = (spreads.wander or 0.0) ** 2
    loose = (LOOSE**2 - 1) * noise[0]
    wide = WIDE**2 * sum(noise)
    most = UNKNOWN**2 * sum(noise)  # variance of an error that still says something
    means = np.zeros((len(crew.n), y.shape[1]))
    np.add.at(means, crew.cell, y - y[0])
    means /= crew.n[:, None]

    last = len(crew.people) + len(crew.versions)
    m = np.zeros((2, last + 1, y.shape[1]))
    P = np.zeros((2, last + 1, last + 1))
    P[:, range(last), range(last)] = wide
    stepped, moved = crew.flags(steps), crew.flags(moves)
    earlier = np.zeros(len(crew.people), dtype=np.intp)
    known = np.zeros(len(crew.versions), dtype=np.bool_)
    of_people: list[Chunk] = []
    of_days: list[Chunk] = []
    before = crew.at[0]
    for t, (here, whole) in enumerate(crew.by_day()):
        P[:, last, last] += wander * (crew.at[t] - before)
        before = crew.at[t]
        if t in moved:
            P[:, last, last] += wide
        elif t in stepped:
            P[0, last, last] += wide
        for who in crew.renewed.get(t, ()):
            P[:, who, :] = P[:, :, who] = m[:, who] = 0.0
            P[:, who, who] = wide
            earlier[who] = 0
        if whole is not None and len(here.at):
            of_people += _of_the_gone(t, here, whole, means, m[0], P[0], noise, loose, earlier)
        if not len(here.at):
            continue

        R = here.noise(*noise)
        HP = here.H @ P
        S = HP @ here.H.T + R
        S[0] += loose
        K = np.linalg.inv(S)
        r = means[here.at] - here.H @ m
        Kr = K @ r
        if len(here.people) > 1:
            ready = earlier[here.people] >= FEWEST_EARLIER
            of_people.append(_of_people(t, here, K[0], Kr[0], R + loose, loose, ready, in_reference=True))
        old = known[here.which]
        if old.all():
            of_days.append(_of_day(t, here, K[1], Kr[1], R))
        elif old.any():
            cells, R_old = here.part(old), R[np.ix_(old, old)]
            K_old = np.linalg.inv(cells.H @ P[1] @ cells.H.T + R_old)
            of_days.append(_of_day(t, cells, K_old, K_old @ r[1, old], R_old))
        back = HP.transpose(0, 2, 1)
        m += back @ Kr
        P -= back @ (K @ HP)
        earlier[here.people] += here.brews
        known[here.which] = True
    baselines = _baselines(crew, m[0, :, 0], P[0])
    return Followed(
        _people(crew, of_people, most, spreads.df), _days(crew, of_days, most, spreads.df_days), baselines
    )


def _of_the_gone(
    t: int, here: Cells, whole: Cells, means: Floats, m: Floats, P: Floats, noise: tuple[float, ...], loose: float,
    earlier: Codes,
) -> Iterator[Chunk]:  # fmt: skip
    """Each of those who have left the reference, beside all of it and none of the others who left."""
    for who in sorted(set(whole.people.tolist()) - set(here.people.tolist())):
        beside = whole.part(np.isin(whole.who, [who, *here.people.tolist()]))
        R = np.asarray(beside.noise(*noise) + loose, dtype=np.float64)
        K: Floats = np.asarray(np.linalg.inv(beside.H @ P @ beside.H.T + R), dtype=np.float64)
        Kr = K @ (means[beside.at] - beside.H @ m)
        ready = (beside.people == who) & (earlier[who] >= FEWEST_EARLIER)
        yield _of_people(t, beside, K, Kr, R, loose, ready, in_reference=False)


def _of_people(
    t: int,
    cells: Cells,
    K: Floats,
    Kr: Floats,
    R: Floats,
    loose: float,
    ready: NDArray[np.bool_],
    in_reference: bool,
) -> Chunk:
    """What each person's brews lie above what those of the others foretell.

    Of a normal vector r with covariance S = K⁻¹, the part p given the rest is off by (K_pp)⁻¹ (K r)_p, with
    covariance (K_pp)⁻¹; what is common to the cells of a person is, by least squares, their sum of K r over that of K.
    That is with days looser than they are by a variance ``loose``, which its variance is then rid of.
    """
    GK = cells.G @ K
    precision = (GK * cells.G).sum(1)
    variance = 1 / precision - loose * (GK.sum(1) / precision) ** 2
    keeps = ((GK @ R) * GK).sum(1) / precision
    count = np.ones_like(cells.people)
    others, here = count * (len(cells.people) - 1), count * in_reference
    error = (cells.G @ Kr) / precision[:, None]
    parts = (cells.people, count * t, error, variance, others, cells.brews, cells.rows, keeps, here)
    return parts if ready.all() else tuple(part[ready] for part in parts)


def _of_day(t: int, cells: Cells, K: Floats, Kr: Floats, R: Floats) -> Chunk:
    """What all cells have in common, by least squares: 1'K r / 1'K 1."""
    along = K.sum(0)
    precision = along.sum()
    keeps = along @ R @ along / precision
    of_cells = len(cells.people), cells.brews.sum(), cells.rows.min()
    return t, Kr.sum(0) / precision, 1 / precision, *of_cells, keeps


def _people(crew: CrewDays, found: list[Chunk], most: float, df: int | None) -> OfPeople:
    if not found:
        return OfPeople((), (), *[np.empty(0)] * 8)  # type: ignore[arg-type]
    who, t, error, variance, others, brews, row, keeps, here = map(np.concatenate, zip(*found, strict=True))
    k = np.flatnonzero(variance < most)
    z, error, se = _standardised(error[k], variance[k], df)
    return OfPeople(
        tuple(crew.people[i] for i in who[k].tolist()), tuple(crew.days[i] for i in t[k].tolist()), z, error, se,
        others[k], brews[k].astype(np.intp), row[k], keeps[k], here[k].astype(np.bool_),
    )  # fmt: skip


def _days(crew: CrewDays, found: list[Chunk], most: float, df: int | None) -> OfDays:
    if not found:
        return OfDays((), *[np.empty(0)] * 7)  # type: ignore[arg-type]
    t, error, variance, people, brews, row, keeps = map(np.array, zip(*found, strict=True))
    k = np.flatnonzero(variance < most)
    z, error, se = _standardised(error[k], variance[k], df)
    days = tuple(crew.days[i] for i in t[k].tolist())
    return OfDays(days, z, error, se, people[k], brews[k].astype(np.intp), row[k], keeps[k])


def _standardised(error: Floats, variance: Floats, df: int | None) -> tuple[Floats, Floats, Floats]:
    """z, error and se; z by Student's t where spreads are estimated, as the normal deviate with as much beyond it."""
    se = np.sqrt(variance)
    if error.shape[1] == 1:
        error = error[:, 0]
    z = error / se.reshape(-1, *[1] * (error.ndim - 1))
    if df is not None:
        z = -np.sign(z) * special.ndtri(special.stdtr(df, -np.abs(z)))
    return z, error, se


def _baselines(crew: CrewDays, mean: Floats, P: Floats) -> dict[Hashable, tuple[float, float, int]]:
    n = len(crew.people)
    centre = np.eye(n) - 1 / n
    away = centre @ mean[:n]
    spread = np.sqrt(np.maximum((centre @ P[:n, :n] @ centre).diagonal(), 0.0))
    brews = np.bincount(crew.who, minlength=n)
    return {who: (float(away[i]), float(spread[i]), int(brews[i])) for i, who in enumerate(crew.people)}
