"""What reports say of the invented company against its written truth: over many draws of it, without a database.

An interval of 95 % may leave out the truth once in twenty; how often so many of them may by chance is the binomial
distribution's. Intervals of one draw share its days, so the bound is that of one kind of claim at a time, where it is
generous, and of what is stated as different.
"""

from collections import Counter
from datetime import date, timedelta

import numpy as np
import pytest
from scipy.stats import binom

from calibration.demo_data import SEED
from calibration.scenario import build
from tests.reporting.invented_truth import Claim, Told, claims

TODAY = date(2026, 6, 17)
SEEDS = [seed for seed in range(40) if seed != SEED][:20]
CHANCE = 0.999
"""That so many of a kind are not passed by chance alone."""


def spans(days):
    """The last so many days, and as many before."""
    first = TODAY - timedelta(days=days - 1)
    return first, TODAY, (first - timedelta(days=days), first - timedelta(days=1))


def claims_of(seeds, lengths):
    """By kind of claim."""
    found: dict[str, list[Claim]] = {}
    for seed in seeds:
        told = Told(build(TODAY, np.random.default_rng(seed)))
        for days in lengths:
            for claim in claims(told, told.asked(*spans(days))):
                found.setdefault(" ".join(claim.what.split()[:2]), []).append(claim)
    return found


def hold(found):
    """No kind of interval leaves out the truth more often than it says, and nothing is stated that is not so."""
    told = Counter()
    for kind, rows in found.items():
        if kind.startswith("step"):
            continue
        missed = sum(not row.holds for row in rows)
        assert missed <= binom.ppf(CHANCE, len(rows), 0.05), (kind, missed, len(rows))
        told["claims"] += len(rows)
        told["missed"] += missed
    differences = [row for kind, rows in found.items() if kind.startswith(("share", "mean")) for row in rows]
    wrong = sum(row.stated and not row.holds for row in differences)
    assert wrong <= binom.ppf(CHANCE, len(differences), 0.05)
    told["stated"], told["wrong"] = sum(row.stated for row in differences), wrong
    return told


def test_no_report_states_what_is_not_so():
    told = hold(claims_of(SEEDS[:2], [35]))
    # it can fail: some things are stated, and there is a truth that a statement could miss
    assert told["stated"] > 0
    assert told["claims"] > 60


def test_wrong_statements_are_found():
    rows = [Claim("share tds everywhere", 0.01, 0.02, 0.0, stated=True)] * 20
    with pytest.raises(AssertionError):
        hold({"share tds": rows})


@pytest.mark.slow
def test_no_report_of_twenty_draws_states_what_is_not_so():
    found = claims_of(SEEDS, [14, 28, 35])
    print(hold(found))
    for kind, rows in sorted(found.items()):
        missed, stated = sum(not row.holds for row in rows), sum(row.stated for row in rows)
        wrong = sum(row.stated and not row.holds for row in rows)
        print(f"{kind}: {len(rows)} intervals, {missed} without the truth; {stated} stated, {wrong} wrongly")
    steps = [row for kind, rows in found.items() if kind.startswith("step") for row in rows]
    # of 100 spans without a change at most 6 are told that something did: three cafés, twenty draws, three spans
    wrong = sum(not row.holds for row in steps)
    assert wrong <= binom.ppf(CHANCE, 3 * len(SEEDS) * 3, 0.06)
