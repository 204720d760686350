"""Signals of simulated cafés against what run-length theory says, with spreads that are known.

All errors are linear in the brews, so that their means under a drift are those of the drift alone, and theory gives
the whole distribution of the first signal. Intervals are of 99 %, so that a right program passes.
"""

from functools import cache
from math import sqrt

import numpy as np
from scipy import stats

from calibration.scenario.cast import DRIFTING
from calibration.statistics.watching import delay_of
from tests.statistics.following_cafes import (
    BATCH_FROM,
    DRIFTS_AFTER,
    GAIN_FROM,
    GAIN_TO,
    attendance,
    first_signals,
    path_of,
    scheme_of,
    walked,
)  # fmt: skip

THERE = attendance(np.random.default_rng(11))
SCHEME = scheme_of(THERE)
CREW = sorted(set(THERE.people))
INNOCENT = [person for person in CREW if person != DRIFTING]


@cache
def brews(seed, series):
    return THERE.brews(np.random.default_rng(seed), series)


def by_person(followed, person):
    mine = np.array([who == person for who in followed.of_people.person])
    return followed.of_people.z[mine], np.array(followed.of_people.day)[mine]


def within(found, n, chance):
    """Whether so many of n are what a chance gives."""
    low, high = stats.binom.interval(0.99, n, chance)
    return low <= found <= high


def mean_delay(scheme, means, onset):
    """Points from ``onset`` up to and with the first signal, the path's end at the latest; none before. Mean, sd."""
    seen = np.concatenate(([0.0], delay_of(scheme, means)))
    later = (seen[onset:] - seen[onset]) / (1 - seen[onset])
    chances = np.diff(np.append(later, 1.0))
    points = np.minimum(np.arange(1, len(chances) + 1), len(means) - onset)
    mean = float(chances @ points)
    return mean, sqrt(float(chances @ (points - mean) ** 2))


def test_errors_of_quiet_cafes_are_independent_and_standard_normal():
    found = walked(THERE, brews(1, 300))
    for z in [by_person(found, person)[0] for person in CREW] + [found.of_days.z]:
        n = z.size
        assert abs(z.mean()) < 3 / sqrt(n)
        assert abs(z.var() - 1) < 3 * sqrt(2 / n)
        for lag in (1, 2, 7):
            assert abs((z[lag:] * z[:-lag]).mean()) < 3.3 / sqrt(z[lag:].size)
        assert stats.kstest(z.ravel(), "norm").pvalue > 1e-3


def test_false_alarms_of_three_hundred_quiet_cafes():
    found = walked(THERE, brews(2, 300))
    charts = [by_person(found, person)[0] for person in CREW] + [found.of_days.z]
    chances = [delay_of(SCHEME, np.zeros(len(z)))[-1] for z in charts]
    signalled = [(first_signals(z, SCHEME) < len(z)) for z in charts]
    for flags, chance in zip(signalled, chances, strict=True):
        assert within(flags.sum(), 300, chance)
    # of one café the charts go together a little: their sum by its own scatter
    sums = np.sum(signalled, axis=0)
    assert abs(sums.mean() - sum(chances)) < 2.6 * sums.std() / sqrt(300)


def test_a_drifting_barista_is_signalled_with_the_delay_of_theory():
    series = 100
    found = walked(THERE, brews(3, series) + THERE.drift()[:, None])
    z, days = by_person(found, DRIFTING)
    path = by_person(path_of(THERE, THERE.drift()), DRIFTING)[0][:, 1]
    onset = int((days <= DRIFTS_AFTER).sum())
    first = first_signals(z, SCHEME)
    later = first[first >= onset]
    mean, sd = mean_delay(SCHEME, path, onset)
    delays = np.minimum(later - onset + 1, len(z) - onset)
    assert abs(delays.mean() - mean) < 2.6 * sd / sqrt(len(later))
    chance = delay_of(SCHEME, path)[-1]
    assert within((first < len(z)).sum(), series, chance)
    # before it has come to 0.045 % TDS, one and a half spreads between people
    assert chance > 0.93
    at = days[onset + round(mean) - 1] - DRIFTS_AFTER
    assert 20 <= at <= 32


def test_colleagues_are_hardly_pulled_along():
    found = walked(THERE, brews(3, 100) + THERE.drift()[:, None])
    path = path_of(THERE, THERE.drift())
    more = []
    for person in INNOCENT:
        z = by_person(found, person)[0]
        means = by_person(path, person)[0][:, 1]
        pulled, quiet = delay_of(SCHEME, means)[-1], delay_of(SCHEME, np.zeros(len(means)))[-1]
        assert within((first_signals(z, SCHEME) < len(z)).sum(), 100, pulled)
        assert abs(means).max() < 0.6
        more.append(pulled - quiet)
    # a third of a colleague for each true case if it is never signalled, and less by the time it is
    assert sum(more) < 0.35


def test_a_batch_is_seen_in_days_and_not_in_people():
    series = 100
    quiet = walked(THERE, brews(4, series), (BATCH_FROM,))
    found = walked(THERE, brews(4, series) + THERE.batch()[:, None], (BATCH_FROM,))
    np.testing.assert_allclose(found.of_people.z, quiet.of_people.z, atol=1e-3)
    means = path_of(THERE, THERE.batch(), (BATCH_FROM,)).of_days.z[:, 1]
    days = np.array(found.of_days.day)
    onset = int((days < BATCH_FROM).sum())
    first = first_signals(found.of_days.z, SCHEME)
    later = first[first >= onset]
    mean, sd = mean_delay(SCHEME, means, onset)
    assert abs((np.minimum(later, len(days) - 1) - onset + 1).mean() - mean) < 2.6 * sd / sqrt(len(later))
    assert mean < 5
    assert (later < onset + 12).mean() > 0.97


def test_an_instrument_is_seen_in_days_and_not_in_people():
    series = 100
    found = walked(THERE, brews(5, series) + THERE.gain()[:, None])
    path = path_of(THERE, THERE.gain())
    days = np.array(found.of_days.day)
    onset, until = int((days < GAIN_FROM).sum()), int((days <= GAIN_TO).sum())
    means = path.of_days.z[:, 1]
    seen = delay_of(SCHEME, means[:until])
    chance = (seen[-1] - seen[onset - 1]) / (1 - seen[onset - 1])
    first = first_signals(found.of_days.z, SCHEME)
    assert within(((first >= onset) & (first < until)).sum(), (first >= onset).sum(), chance)
    assert chance > 0.5
    more = []
    for person in CREW:
        z = by_person(found, person)[0]
        means = by_person(path, person)[0][:, 1]
        pulled, quiet = delay_of(SCHEME, means)[-1], delay_of(SCHEME, np.zeros(len(means)))[-1]
        assert within((first_signals(z, SCHEME) < len(z)).sum(), series, pulled)
        more.append(pulled - quiet)
    assert sum(more) < 0.05


def test_a_batch_that_nobody_named_pulls_few_along_before_days_tell():
    """Until days have signalled, within the week: from then on people are not charged with it either."""
    path = path_of(THERE, THERE.batch())
    more = []
    for person in CREW:
        z, days = by_person(path, person)
        means = z[days < BATCH_FROM + 7, 1]
        more.append(delay_of(SCHEME, means)[-1] - delay_of(SCHEME, 0 * means)[-1])
    assert 0 < sum(more) < 0.25


def test_learning_from_all_brews_finds_a_drift_as_soon_as_a_baseline_that_is_held():
    """A baseline held after some brews sees all of a drift, but its own error stays in every point: for as few false
    alarms its limits must be a fifth wider, and what is gained is lost. Errors of one that goes on learning are
    independent, and the limits of theory hold."""
    rng = np.random.default_rng(6)
    quiet = rng.normal(size=(60, 4_000))
    drifting = quiet + (np.maximum(np.arange(60) - 19, 0) * A_POINT)[:, None]

    def errors(x, most):
        sums = np.cumsum(x, axis=0)
        k = np.minimum(np.arange(5, 60), most)
        return (x[5:] - sums[k - 1] / k[:, None]) / np.sqrt(1 + 1 / k)[:, None]

    said = {}
    for most in (10, 20, 10**6):
        z = errors(quiet, most)
        low, high = 1.0, 2.0
        while high - low > 0.002:
            middle = (low + high) / 2
            share = (first_signals(z, Widened(middle)) < 55).mean()
            low, high = (middle, high) if share > QUIET else (low, middle)
        first = first_signals(errors(drifting, most), Widened(high))
        said[most] = (high, (np.minimum(first[first >= 15], 54) - 14).mean())
    assert said[10**6][0] < 1.03
    assert said[20][0] > 1.1
    assert said[10][0] > 1.2
    assert said[10**6][1] < said[10][1]
    assert said[10**6][1] < said[20][1] * 1.03


A_POINT = 0.0015 * 7 / 5 / 0.029  # of a spread of a brew and person × day, five points a week
QUIET = delay_of(SCHEME, np.zeros(55))[-1]


class Widened:
    """The scheme with its average's limits so many times as wide."""

    lambda_, outer = SCHEME.lambda_, SCHEME.outer

    def __init__(self, times):
        self.limit = SCHEME.limit * times
