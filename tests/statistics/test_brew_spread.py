"""The residual spread of person + day against the textbook's two-way layout, and where there is too little."""

from __future__ import annotations

import numpy as np
import pytest

from calibration.statistics.brew_spread import FEWEST_DF, brew_spread


def test_a_balanced_layout_by_its_closed_form():
    """One brew per cell: the residual is y − row mean − column mean + grand mean, on (a − 1)(b − 1) degrees of freedom
    (Searle 1971, Linear models, 7.1)."""
    a, b = 4, 6
    y = np.random.default_rng(3).normal(1.4, 0.03, (a, b)) + np.arange(a)[:, None] * 0.1 + np.arange(b) * 0.05
    left = y - y.mean(1, keepdims=True) - y.mean(0) + y.mean()
    found = brew_spread(
        y.ravel().tolist(), np.repeat(np.arange(a), b).tolist(), np.tile(np.arange(b), a).tolist()
    )
    assert found is not None
    assert found.df == (a - 1) * (b - 1)
    assert found.sd == pytest.approx(np.sqrt((left**2).sum() / found.df), rel=1e-9)


def test_two_brews_of_one_person_a_day_by_their_differences():
    """Alone on each day, and twice: what is left is half of each difference, and a degree of freedom a day."""
    pairs = np.random.default_rng(5).normal(0, 0.03, (15, 2))
    found = brew_spread(pairs.ravel().tolist(), [1] * 30, np.repeat(np.arange(15), 2).tolist())
    assert found is not None
    assert found.df == 15
    assert found.sd == pytest.approx(np.sqrt(((pairs[:, 0] - pairs[:, 1]) ** 2).sum() / 2 / 15), rel=1e-9)


def test_people_who_never_meet_leave_no_freedom_to_spare():
    """Everybody alone on days of their own, once: nothing is left, and nothing is claimed."""
    assert brew_spread(list(range(20)), list(range(20)), list(range(20))) is None


@pytest.mark.parametrize("n", [0, 1, FEWEST_DF])
def test_too_few(n):
    assert brew_spread([1.0] * n, [1] * n, list(range(n))) is None


def test_all_alike_has_no_spread():
    found = brew_spread([1.4] * 24, [n % 3 for n in range(24)], [n // 3 for n in range(24)])
    assert found is not None
    assert found.sd == pytest.approx(0, abs=1e-12)
