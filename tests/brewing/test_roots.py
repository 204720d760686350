from math import cos, exp

import pytest

from recipes.brewing.roots import crossing


def halved(curve, below, above):
    for _round in range(200):
        middle = (below + above) / 2
        below, above = (middle, above) if curve(middle) < 0 else (below, middle)
    return above


@pytest.mark.parametrize(
    ("curve", "below", "above"),
    [
        (lambda x: 3 * x - 1, 0, 5),
        (lambda x: exp(x) - 7, -2, 9),
        (lambda x: x**3 - 2, 0, 40),
        (lambda x: 1 - x, 3, 0),
        (lambda x: x - cos(x), 0, 2),
        (lambda x: min(x - 1, 0.5), -8, 100),
    ],
)
def test_against_halving(curve, below, above):
    assert crossing(curve, below, above, near=1e-9) == pytest.approx(halved(curve, below, above), abs=1e-7)


def test_an_end_may_be_the_crossing():
    assert crossing(lambda x: x, 0.0, 0.0, near=1e-6) == 0
    assert crossing(lambda x: x - 2, 0.0, 2.0, near=1e-6) == 2
