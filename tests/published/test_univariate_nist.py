"""Mean and standard deviation against NIST's certified values.

Source: NIST Statistical Reference Datasets, Univariate Summary Statistics: Michelso, Mavro, Lew (lower difficulty)
and NumAcc3 (average). The data files name the dataset in their first line.
"""

from pathlib import Path

import pytest

from calibration.statistics.groups import summarise

DATA = Path(__file__).parent.parent / "data"

CERTIFIED = {
    # name: (mean, standard deviation)
    "michelso": (299.852400000000, 0.0790105478190518),
    "mavro": (2.00185600000000, 0.000429123454003053),
    "lew": (-177.435000000000, 277.332168044316),
    "numacc3": (1000000.2, 0.1),
}
# NumAcc3 carries seven digits before the point, so that doubles keep nine of the difference; the others keep more.
RELATIVE = {"numacc3": 1e-8}


@pytest.mark.parametrize("name", CERTIFIED)
def test_certified_values(name):
    lines = (DATA / f"univ_{name}.csv").read_text().splitlines()
    values = [float(line) for line in lines if line and not line.startswith(("#", "y"))]
    (group,) = summarise(values, ["all"] * len(values))
    mean, sd = CERTIFIED[name]
    assert group.mean == pytest.approx(mean, rel=1e-9)
    assert group.sd == pytest.approx(sd, rel=RELATIVE.get(name, 1e-9))
