"""Run rules: word for word beside the fast way, mirrored and scaled, and how many states they need."""

from itertools import pairwise

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from calibration.statistics.rule_chain import rule_chain
from calibration.statistics.run_rules import Handbook, Rules, nelson, western_electric, words

# half steps, so that readings on a line, ties and zeros come up
readings = st.lists(st.integers(-7, 7).map(lambda half: half / 2), min_size=1, max_size=40)


def k_of_m(z, i, k, m, line):
    window = z[max(0, i - m + 1) : i + 1]
    return any(side * z[i] > line and sum(side * value > line for value in window) >= k for side in (1, -1))


def last(z, i, m):
    return z[i - m + 1 : i + 1] if i + 1 >= m else None


def mixture(z, i):
    window = last(z, i, 8)
    return window is not None and all(abs(v) > 1 for v in window) and min(window) < 0 < max(window)


def hugging(z, i):
    window = last(z, i, 15)
    return window is not None and all(abs(v) < 1 for v in window)


def trend(z, i):
    window = last(z, i, 6)
    return window is not None and (
        all(a < b for a, b in pairwise(window)) or all(a > b for a, b in pairwise(window))
    )


def saw(z, i):
    window = last(z, i, 14)
    if window is None:
        return False
    steps = [b - a for a, b in pairwise(window)]
    return all(a * b < 0 for a, b in pairwise(steps))


WESTERN = {
    1: lambda z, i: abs(z[i]) > 3,
    2: lambda z, i: k_of_m(z, i, 2, 3, 2),
    3: lambda z, i: k_of_m(z, i, 4, 5, 1),
    4: lambda z, i: k_of_m(z, i, 8, 8, 0),
}
NELSON = {
    1: WESTERN[1],
    2: lambda z, i: k_of_m(z, i, 9, 9, 0),
    3: trend,
    4: saw,
    5: WESTERN[2],
    6: WESTERN[3],
    7: hugging,
    8: mixture,
}


@settings(derandomize=True, deadline=None, max_examples=150)
@given(readings)
def test_word_for_word(z):
    for found, rules in ((western_electric(z), WESTERN), (nelson(z), NELSON)):
        assert found == {
            number: tuple(i + 1 for i in range(len(z)) if rule(z, i)) for number, rule in rules.items()
        }


@pytest.mark.parametrize(
    "z",
    [
        [0.1, -0.1] * 20,
        [0.5] * 20,
        [1.5, -1.5] * 6,
        list(np.linspace(-2, 2, 9)),
        [0.2, -0.3, 0.4, -0.5, 0.6, -0.7, 0.8, -0.85, 0.9, -0.92, 0.93, -0.94, 0.95, -0.96, 0.97],
    ],
)
def test_long_patterns_word_for_word(z):
    found = nelson(z)
    assert any(found.values())
    for number, rule in NELSON.items():
        assert found[number] == tuple(i + 1 for i in range(len(z)) if rule(z, i))


def test_upside_down_signals_alike():
    z = np.random.default_rng(4).normal(0.4, 1.4, 300)
    assert nelson(z) == nelson(-z)
    assert western_electric(z) == western_electric(-z)
    assert sum(map(bool, nelson(z).values())) >= 6


# States that lead on alike are merged, the zones told apart by an odd shift; a state once told apart stays so. Left are
# the start and two times 107, one for each side: Champ and Woodall 1987 count 107 (from memory).
@pytest.mark.parametrize(("shift", "states"), [(0.1234, 1 + 2 * 107), (0.0, 1 + 107)])
def test_states_that_are_needed(shift, states):
    moves = rule_chain(Rules(), shift).moves.toarray()
    block = np.zeros(len(moves), dtype=int)
    while True:
        into = np.stack([moves[:, block == b].sum(axis=1) for b in range(block.max() + 1)], axis=1)
        finer = np.unique(np.column_stack([block, np.round(into, 11)]), axis=0, return_inverse=True)[1]
        if finer.max() == block.max():
            break
        block = finer
    assert block.max() + 1 == states


@pytest.mark.parametrize("number", [3, 4])
def test_trends_have_no_chain(number):
    with pytest.raises(ValueError, match="leave out"):
        rule_chain(Rules((1, number), Handbook.NELSON), 0.0)


def test_refuses_unknown_rules():
    with pytest.raises(ValueError, match="Rule 5 is not one of the rules 1 to 4"):
        western_electric([0.0], (5,))
    with pytest.raises(ValueError, match="at least one rule"):
        Rules(())
    with pytest.raises(ValueError, match="row 2"):
        nelson([0.0, float("nan")])


def test_rules_in_words():
    assert words("western-electric 2") == "2 of 3 readings in a row beyond 2 σ on one side"
    assert words("western-electric 4") == "8 readings in a row on one side of the centre"
    assert words("nelson 1") == "a reading beyond 3 σ"
    assert len({words(f"nelson {number}") for number in range(1, 9)}) == 8
