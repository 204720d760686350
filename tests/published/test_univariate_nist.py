"""Mean, standard deviation and order in time against NIST's certified values.

Source: NIST Statistical Reference Datasets, Univariate Summary Statistics: Michelso, Mavro, Lew (lower difficulty)
and NumAcc3 (average). The data files name the dataset in their first line.
"""

import pytest

from calibration.statistics.groups import summarise
from calibration.statistics.randomness import lag_1, runs
from tests.published.cases import expected, holds, numbers


@pytest.mark.parametrize("name", ["michelso", "mavro", "lew", "numacc3"])
def test_certified_values(name):
    values = numbers(f"../univ_{name}.csv", "y")
    (group,) = summarise(values, ["all"] * len(values))
    computed = {"mean": group.mean, "sd (n-1)": group.sd, "lag-1 autocorrelation": lag_1(values)}
    if name == "lew":
        computed["runs test Z (above/below median)"] = runs(values).z
    holds(f"univ_{name}", computed)
    assert len(expected(f"univ_{name}")) == len(computed)
