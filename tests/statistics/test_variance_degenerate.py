"""Readings that leave the likelihood nothing to bend, or nothing to measure by."""

from itertools import product

import numpy as np
import pytest

from calibration.statistics.variance import fit

CELLS = list(product("pq", "xyzxyz"))
STAFF, DAY = [staff for staff, _day in CELLS], [day for _staff, day in CELLS]


def test_equal_means_in_every_cell():
    """All of the spread is within cells: 12 readings of 0 and 1 have s² = 3/11."""
    y = [float(i % 2) for i in range(12)]
    found = fit(y, {"staff": STAFF, "day": DAY}, ["staff", "day", "staff:day"], merge_below=0.0).components
    assert [found[term].variance for term in ("staff", "day", "staff:day")] == [0.0, 0.0, 0.0]
    rest = found["residual"]
    assert rest.variance == pytest.approx(3 / 11)
    assert 0 < rest.sd_low < rest.sd < rest.sd_high


@pytest.mark.parametrize("seed", range(20))
def test_fixed_columns_that_explain_everything(seed):
    rng = np.random.default_rng(seed)
    days_off_roast = rng.uniform(0, 30, 12)
    y = 1.3 - 0.037 * days_off_roast + np.array(["xyz".index(day) for day in DAY]) * 0.11
    found = fit(y, {"staff": STAFF}, ["staff"], {"day": DAY, "roast": days_off_roast.tolist()})
    assert "The fixed columns explain every reading exactly" in " ".join(found.notes)
    assert found.components["residual"].variance == 0
