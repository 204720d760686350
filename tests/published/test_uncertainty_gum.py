"""Uncertainty through a formula against examples H.1 and H.2 of JCGM 100:2008 (GUM)."""

from math import cos, inf, sin

import pytest

from calibration.statistics.uncertainty import Input, expanded_uncertainty, propagate
from tests.published.cases import columns, holds

PATH = "uncertainty_gum_h1.csv"


def length(
    l_s_nm, dbar_nm, d_random_nm, d_systematic_nm, alpha_s, delta_alpha, theta_bar, Delta, delta_theta
):
    """H.1.2: end gauge against a standard, both warm; written out as in the data file."""
    standard = l_s_nm * (1 + alpha_s * (theta_bar + Delta + delta_theta))
    return (standard + dbar_nm + d_random_nm + d_systematic_nm) / (
        1 + (alpha_s + delta_alpha) * (theta_bar + Delta)
    )


def gauge():
    table = columns(PATH)
    rows = zip(*(table[name] for name in ("quantity", "x", "u", "df")), strict=True)
    return propagate(length, [Input(name, float(x), float(u), float(df)) for name, x, u, df in rows])


def test_end_gauge_h1():
    found = gauge()
    whole = expanded_uncertainty(found.u, found.df, 0.99)
    assert whole.df == 16
    computed = {
        "length (nm)": found.value,
        "u_c (nm)": found.u,
        "nu_eff (truncated 16)": found.df,
        "k99": whole.k,
        "U99 (nm)": whole.U,
    }
    holds("uncertainty_gum_h1", computed)


def test_end_gauge_terms_of_second_order():
    # H.1.7: they raise the uncertainty from 32 nm to 34 nm (from memory)
    assert round(gauge().u_second_order) == 34


@pytest.mark.parametrize(
    ("formula", "value", "u"),
    [
        # H.2.4, table H.3 (from memory): resistance, reactance and impedance in ohm
        (lambda V, current, phi: V * cos(phi) / current, 127.732, 0.071),
        (lambda V, current, phi: V * sin(phi) / current, 219.847, 0.295),
        (lambda V, current, phi: V / current + 0 * phi, 254.260, 0.236),
    ],
)
def test_correlated_inputs_h2(formula, value, u):
    # table H.2 (from memory): means of five sets of readings, and their correlations
    inputs = [
        Input("V", 4.9990, 0.0032, 4),
        Input("current", 19.6610e-3, 0.0095e-3, 4),
        Input("phi", 1.04446, 0.00075, 4),
    ]
    together = {("V", "current"): -0.36, ("V", "phi"): 0.86, ("current", "phi"): -0.65}
    found = propagate(formula, inputs, together)
    assert found.value == pytest.approx(value, abs=0.005)
    # the inputs are printed with two figures
    assert found.u == pytest.approx(u, rel=0.03)
    assert found.df is None
    assert "move together" in found.reason


@pytest.mark.parametrize(
    ("df", "coverage", "t"),
    # table G.2 (from memory)
    [
        (1, 0.95, 12.71),
        (10, 0.95, 2.23),
        (16, 0.99, 2.92),
        (50, 0.99, 2.68),
        (inf, 0.95, 1.960),
        (inf, 0.9973, 3.000),
    ],
)
def test_coverage_factors_g2(df, coverage, t):
    assert expanded_uncertainty(1.0, df, coverage).k == pytest.approx(t, abs=0.006)
