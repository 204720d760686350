"""Saturation temperature against IAPWS, and pressure against the ISO 2533 standard atmosphere."""

import json
from pathlib import Path

import pytest

from recipes.brewing.water import pressure_Pa, saturation_temperature_K

DATA = Path(__file__).parents[1] / "data"
SATURATION = json.loads((DATA / "iapws_if97_saturation.json").read_text())["rows"]


@pytest.mark.parametrize("row", SATURATION, ids=lambda row: str(row["p_MPa"]))
def test_saturation_temperature(row):
    # nine figures are printed, so half of the last
    assert saturation_temperature_K(row["p_MPa"]) == pytest.approx(row["T_K"], abs=5.1e-7)


def test_pressure_of_the_standard_atmosphere():
    # ISO 2533:1975, pressures by geopotential altitude, from memory: 1013.25, 898.746 and 540.199 hPa;
    # the constants have six figures, and 2 Pa is 0.001 °C of boiling point
    assert pressure_Pa(0) == 101325
    assert pressure_Pa(1000) == pytest.approx(89874.6, abs=2)
    assert pressure_Pa(5000) == pytest.approx(54019.9, abs=2)
