"""What changed between two spans: of the share inside target, and of a mean; people as they are, days by chance.

Newcombe 1998, Interval estimation for the difference between independent proportions: comparison of eleven methods,
Statistics in Medicine 17:873, doi:10.1002/(SICI)1097-0258(19980430)17:8<873::AID-SIM779>3.0.CO;2-I: method 10, the
hybrid of two of Wilson's intervals. Here each is of as many independent brews as tell as much (`shares`).
Welch 1947, The generalization of Student's problem when several different population variances are involved, Biometrika
34:28, doi:10.1093/biomet/34.1-2.28: difference of two means.

How often 95 % intervals hold, in 150 draws each of 8 designs (3 or 8 people, one of them another in the second span, on
10 or 26 days): in 95 % to 99 % of draws, of shares and of means, as poured and of those in both.
"""

from __future__ import annotations

from dataclasses import dataclass
from math import sqrt

import numpy as np
from scipy import special

from brewbar.words import gettext as _
from calibration.statistics.capability import wilson
from calibration.statistics.cells import counted
from calibration.statistics.crew_means import CrewMean, crew_mean
from calibration.statistics.mean_squares import Interval
from calibration.statistics.rows import Codes, Floats, level
from calibration.statistics.shares import CrewShare, Inside, as_share, effective_of_mean, share_inside
from calibration.statistics.sums import Sums, numbered


@dataclass(frozen=True, slots=True)
class Difference:
    """Now less before, of those in both spans, each with one weight for both: its part of their brews in the two.

    interval: for these people on any days; people: how many are in both; n_now, n_before: brews of theirs.
    """

    difference: float
    interval: Interval
    people: int
    n_now: int
    n_before: int

    @property
    def is_seen(self) -> bool:
        return not self.interval.low <= 0 <= self.interval.high


@dataclass(frozen=True, slots=True)
class ShareDifference:
    """now, before: each span's share. difference: now less before, from -1 to 1, as poured, with its interval for these
    crews; alike: of those who brewed in both, so that who came and went is taken out, None with a note where nobody
    did; same_crew: whether both spans have the same people; notes: what to know."""

    now: CrewShare
    before: CrewShare
    difference: float
    interval: Interval
    alike: Difference | None
    same_crew: bool
    notes: tuple[str, ...]

    @property
    def is_seen(self) -> bool:
        return not self.interval.low <= 0 <= self.interval.high


def newcombe(p1: float, first: Interval, p2: float, second: Interval) -> Interval:
    """Of p1 - p2, from the interval of each: Newcombe 1998, method 10."""
    low = p1 - p2 - sqrt((p1 - first.low) ** 2 + (second.high - p2) ** 2)
    high = p1 - p2 + sqrt((first.high - p1) ** 2 + (p2 - second.low) ** 2)
    return Interval(low, high)


def share_difference(now: Inside, before: Inside, coverage: float = 0.95) -> ShareDifference:
    """Of the share inside target, ``now`` less ``before``: spans without a day in common."""
    later, earlier = share_inside(now, coverage), share_inside(before, coverage)
    people = np.intersect1d(now.people, before.people)
    same = len(people) == later.people == earlier.people
    notes = []
    alike = None
    if len(people):
        kept = [span.only(np.isin(span.who, people)) for span in (now, before)]
        weights = _weights([(numbered(span.who)[1], span.n) for span in kept])
        found = [crew_mean(numbered(span.who)[1], span.day, span.n, span.hits, weights) for span in kept]
        limits = [_wilson(mean, coverage) for mean in found]
        alike = Difference(
            found[0].mean - found[1].mean,
            newcombe(as_share(found[0].mean), limits[0], as_share(found[1].mean), limits[1]),
            len(people),
            kept[0].brews,
            kept[1].brews,
        )
    else:
        notes.append(
            _("Nobody brewed in both spans, so a change of the cup and of the crew cannot be told apart.")
        )
    return ShareDifference(
        later,
        earlier,
        later.share - earlier.share,
        newcombe(later.share, later.crew, earlier.share, earlier.crew),
        alike,
        same,
        tuple(notes),
    )


def _wilson(found: CrewMean, coverage: float) -> Interval:
    share = as_share(found.mean)
    effective, _notes = effective_of_mean(found, coverage)
    return wilson(share * effective, effective, coverage)


def _weights(spans: list[tuple[Codes, Floats]]) -> Floats:
    size = max(int(code.max()) for code, _n in spans) + 1
    whole = np.zeros(size)
    for code, n in spans:
        whole += counted(code, n, size)
    return whole / float(whole.sum())


@dataclass(frozen=True, slots=True)
class MeanDifference:
    """now, before: mean of each span's brews, in the unit of the values; difference: now less before, as poured, with
    its interval for these crews and df degrees of freedom, None where a span has one day. alike: of what both spans
    brewed: by person and recipe, with the same weights, None with a note where there is no such thing or too little of
    it. n_now, n_before: brews; days_now, days_before; notes: what could not be told, and why."""

    now: float
    before: float
    difference: float
    interval: Interval | None
    df: float | None
    alike: Difference | None
    n_now: int
    n_before: int
    days_now: int
    days_before: int
    notes: tuple[str, ...]

    @property
    def is_seen(self) -> bool:
        return self.interval is not None and not self.interval.low <= 0 <= self.interval.high


def mean_difference(now: Sums, before: Sums, coverage: float = 0.95) -> MeanDifference:
    """Of the mean of all brews, ``now`` less ``before``: spans without a day in common."""
    level(coverage)
    if not (len(now) and len(before)):
        raise ValueError(_("A difference needs brews in both spans."))
    keys = _strata(now, before)
    found = [
        crew_mean(numbered(key)[1], span.day, span.n, span.total)
        for key, span in zip(keys, (now, before), strict=True)
    ]
    interval, df = _welch(found[0], found[1], coverage)
    notes = []
    if interval is None:
        notes.append(_("A span in which nobody brewed on two days does not show how days differ."))
    shared = np.intersect1d(keys[0], keys[1])
    alike = None
    if len(shared):
        masks = [np.isin(key, shared) for key in keys]
        kept = [span.only(mask) for span, mask in zip((now, before), masks, strict=True)]
        codes = [numbered(key[mask])[1] for key, mask in zip(keys, masks, strict=True)]
        weights = _weights([(code, span.n) for code, span in zip(codes, kept, strict=True)])
        means = [
            crew_mean(code, span.day, span.n, span.total, weights)
            for code, span in zip(codes, kept, strict=True)
        ]
        within, _df = _welch(means[0], means[1], coverage)
        if within is not None:
            alike = Difference(
                means[0].mean - means[1].mean, within, len(kept[0].people), kept[0].brews, kept[1].brews
            )
    if alike is None:
        notes.append(
            _("Too little was brewed by the same people and recipes in both spans to compare like with like.")
        )
    return MeanDifference(
        now=found[0].mean,
        before=found[1].mean,
        difference=found[0].mean - found[1].mean,
        interval=interval,
        df=df,
        alike=alike,
        n_now=now.brews,
        n_before=before.brews,
        days_now=found[0].days,
        days_before=found[1].days,
        notes=tuple(notes),
    )


def _strata(now: Sums, before: Sums) -> tuple[Codes, Codes]:
    """Of each row a number for its person and recipe, the same in both spans."""
    who = numbered(np.concatenate([now.who, before.who]))[1]
    recipes, recipe = numbered(np.concatenate([now.recipe, before.recipe]))
    key = who * len(recipes) + recipe
    return key[: len(now)], key[len(now) :]


def _welch(now: CrewMean, before: CrewMean, coverage: float) -> tuple[Interval | None, float | None]:
    if now.variance is None or before.variance is None:
        return None, None
    variance = now.variance + before.variance
    difference = now.mean - before.mean
    if variance == 0:
        return Interval(difference, difference), None
    df = variance**2 / (now.variance**2 / now.df + before.variance**2 / before.df)
    reach = float(special.stdtrit(df, (1 + coverage) / 2)) * sqrt(variance)
    return Interval(difference - reach, difference + reach), df
