"""Intermediate precision against the closed forms of ISO 5725-3:1994 for balanced designs (clauses from memory).

Crossed, people by days by brews: mean squares and what they are expected to be, as ISO 5725-3, 8, and any text on the
analysis of variance has them. Fully nested, people, their days, brews: annex C, table C.1, and C.2 for three factors.
"""

from math import sqrt

import numpy as np
import pytest

from calibration.statistics.intermediate import process_precision
from calibration.statistics.sums import Sums, parted

REML = 2e-4  # relative: where a likelihood's search stops


def of(who, day, value):
    value = value.ravel()
    sums = Sums.of(who.ravel(), day.ravel(), np.ones(value.size), value, value**2).by("who", "day")
    return process_precision(parted(sums, intervals=True))


def test_crossed():
    rng = np.random.default_rng(11)
    a, b, n = 8, 10, 3  # people, days, brews
    value = (
        1.4
        + rng.normal(0, 0.03, (a, 1, 1))
        + rng.normal(0, 0.03, (1, b, 1))
        + rng.normal(0, 0.02, (a, b, 1))
        + rng.normal(0, 0.025, (a, b, n))
    )
    cell, person, day = value.mean(2), value.mean((1, 2)), value.mean((0, 2))
    both = cell - person[:, None] - day + value.mean()
    MS_brew = ((value - cell[:, :, None]) ** 2).sum() / (a * b * (n - 1))
    MS_both = n * (both**2).sum() / ((a - 1) * (b - 1))
    MS_person = b * n * person.var(ddof=1)
    MS_day = a * n * day.var(ddof=1)
    s_both, s_person, s_day = (
        (MS_both - MS_brew) / n,
        (MS_person - MS_both) / (b * n),
        (MS_day - MS_both) / (a * n),
    )
    assert min(s_both, s_person, s_day) > 0  # where none is negative, restricted likelihood gives these
    found = of(*np.indices(value.shape)[:2], value)
    assert found.same_hands.sd == pytest.approx(sqrt(s_day + s_both + MS_brew), rel=REML)
    assert found.any_hands.sd == pytest.approx(sqrt(s_person + s_day + s_both + MS_brew), rel=REML)
    assert found.any_hands.limit == pytest.approx(2.8 * found.any_hands.sd)


def test_fully_nested():
    rng = np.random.default_rng(12)
    p = 12  # people, two days of their own each, two brews each
    value = (
        1.4 + rng.normal(0, 0.04, (p, 1, 1)) + rng.normal(0, 0.03, (p, 2, 1)) + rng.normal(0, 0.02, (p, 2, 2))
    )
    day, person = value.mean(2), value.mean((1, 2))
    # table C.1: ranges within, between days, between people
    MS_r = ((value[:, :, 0] - value[:, :, 1]) ** 2).sum() / 2 / (2 * p)
    MS_1 = ((day[:, 0] - day[:, 1]) ** 2).sum() / p
    MS_0 = 4 * person.var(ddof=1)
    s_1, s_0 = (MS_1 - MS_r) / 2, (MS_0 - MS_1) / 4
    assert min(s_1, s_0) > 0
    who, when = np.indices(value.shape)[:2]
    found = of(who, 2 * who + when, value)
    # one person on another day: s_I(1)² = s_r² + s_(1)²; anybody: with s_(0)² as well
    assert found.same_hands.sd == pytest.approx(sqrt(MS_r + s_1), rel=REML)
    assert found.any_hands.sd == pytest.approx(sqrt(MS_r + s_1 + s_0), rel=REML)
