"""Where a rising curve crosses nothing.

Dowell and Jarratt 1971, A modified regula falsi method for computing the root of an equation, BIT 11:168,
doi:10.1007/BF01934364: the Illinois method.
"""

from collections.abc import Callable


def crossing(curve: Callable[[float], float], below: float, above: float, near: float) -> float:
    """Between a place where `curve` is negative and one where it is not, to within `near` of nothing.

    Fast where the curve is nearly a straight line; it need not rise to the right, only from `below` to `above`.
    """
    at_below, at_above = curve(below), curve(above)
    for place, at in ((below, at_below), (above, at_above)):
        if abs(at) < near:
            return place
    found, side = above, 0
    for _round in range(100):
        found = (below * at_above - above * at_below) / (at_above - at_below)
        at = curve(found)
        if abs(at) < near:
            break
        if at > 0:
            above, at_above, at_below, side = found, at, at_below / 2 if side > 0 else at_below, 1
        else:
            below, at_below, at_above, side = found, at, at_above / 2 if side < 0 else at_above, -1
    return found
