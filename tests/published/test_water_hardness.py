"""German degrees and mg/L as CaCO3, against figures that handbooks and the standard of the degree give."""

import pytest

from recipes.brewing.hardness import CACO3_MG_L_PER_DEGREE as DEGREE


def test_a_degree_as_the_standard_gives_it():
    """DIN 38409-6, from memory: 1 °dH is 0.1783 mmol/L; four figures, so to 0.03 %. CaCO3 weighs 100.09 g/mol."""
    assert pytest.approx(0.1783 * 100.09, rel=3e-4) == DEGREE


def test_hard_water_begins_where_the_tables_have_it():
    """Handbook tables, from memory: 14 °dH, where water is called hard, is 2.5 mmol/L, to its two figures."""
    assert pytest.approx(2.5, abs=0.05) == 14 * DEGREE / 100.09
