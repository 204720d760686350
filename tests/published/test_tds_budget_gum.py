"""The uncertainty budget of TDS and what it does to the yield: JCGM 100:2008 (GUM), worked by hand."""

import json
from math import sqrt
from pathlib import Path

import pytest

from calibration.statistics.uncertainty import tds_budget
from recipes.brewing.extraction import yield_budget

ROW = next(
    row
    for row in json.loads((Path(__file__).parents[1] / "data/brewing_checks.json").read_text())["rows"]
    if row["id"] == "C-ubudget"
)


def test_single_drop_budget_and_its_yield():
    # ±0.03 rectangular (0.0173), 0.01 resolution (0.0029), repeatability 0.01, 0.3 K × 0.057 %/K (0.0171)
    budget = tds_budget(1, drop_sd=0.01, resolution=0.01, drift_u=0.0)
    assert budget.u_absolute == pytest.approx(0.0264, abs=1e-4)
    assert budget.u_absolute == pytest.approx(
        sqrt(0.03**2 / 3 + 0.01**2 / 12 + 0.01**2 + (0.3 * 0.057) ** 2), rel=1e-12
    )
    given = ROW["inputs"]
    ey = yield_budget(
        given["TDS_pct"],
        given["beverage_g"],
        given["dose_g"],
        budget.u_absolute,
        given["u_beverage_g"],
        given["u_dose_g"],
    )
    assert ey.u == pytest.approx(ROW["expected"], rel=ROW["tolerance"]["value"])
    assert round(ey.u, 2) == 0.41
    assert round(ey.U, 1) == 0.8
