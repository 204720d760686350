from itertools import pairwise

import pytest

from recipes.brewing.water import ALTITUDE_MAX_M, ALTITUDE_MIN_M, boiling_point_C


def test_falls_with_altitude():
    boils = [boiling_point_C(altitude) for altitude in range(-430, 5001, 10)]
    assert all(higher < lower for lower, higher in pairwise(boils))


@pytest.mark.parametrize(
    "altitude_m", [ALTITUDE_MIN_M - 0.1, ALTITUDE_MAX_M + 0.1, float("nan"), float("inf")]
)
def test_refuses_altitudes_out_of_range(altitude_m):
    with pytest.raises(ValueError, match="between -430 m and 5000 m"):
        boiling_point_C(altitude_m)


@pytest.mark.parametrize("altitude_m", [ALTITUDE_MIN_M, 0, ALTITUDE_MAX_M])
def test_accepts_the_ends_of_the_range(altitude_m):
    assert 80 < boiling_point_C(altitude_m) < 102
