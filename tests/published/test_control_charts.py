"""Control charts against the NIST/SEMATECH e-Handbook, 6.3.2, and Montgomery 2013, example 6.1.

Each case's source, and why its tolerance is what it is, stands in its file in tests/data/statistics.
"""

import numpy as np
import pytest

from calibration.statistics import charts
from tests.published.cases import columns, holds, numbers


def test_individuals():
    x = numbers("chart_imr_nist_flowrate.csv", "x")
    printed, exact = charts.individuals(x, printed=True), charts.individuals(x)
    holds(
        "chart_imr_nist",
        {
            "centre": printed.centre,
            "MR bar": exact.within.centre,
            "UCL with d2 = 1.128": printed.high,
            "LCL with d2 = 1.128": printed.low,
            "UCL with exact d2": exact.high,
            "LCL with exact d2": exact.low,
            "MR UCL with 3.267": printed.within.high,
        },
    )
    assert exact.signals == ()


def test_ewma():
    x = numbers("chart_ewma_nist.csv", "x")
    chart = charts.ewma(x, charts.Ewma(0.3, 3), target=50, sigma=2.0539)
    printed = np.array(numbers("chart_ewma_nist.csv", "ewma_printed"))
    holds(
        "chart_ewma_nist",
        {
            "UCL": chart.high,
            "LCL": chart.low,
            "largest |z - printed z| over 20 points": float(np.abs(chart.points - printed).max()),
            "z_20": chart.points[19],
            "points out of control": len(chart.signals),
        },
    )


def test_cusum():
    name = "chart_cusum_nist.csv"
    chart = charts.cusum(numbers(name, "x"), charts.Cusum(k=0.3175, h=4.1959), target=325, sigma=1)
    off = [
        np.abs(np.array(side) - numbers(name, column)).max()
        for side, column in ((chart.high_side, "s_hi_printed"), (chart.low_side, "s_lo_printed"))
    ]
    holds(
        "chart_cusum_nist",
        {
            "largest |S - printed S| over 40 values": max(off),
            "S_hi at 20": chart.high_side[19],
            "S_lo at 8": chart.low_side[7],
            "first signal at group": chart.signals[0].index,
        },
    )
    assert (chart.low, chart.high, chart.signals[0].rule) == (-4.1959, 4.1959, "high")


def test_averages_with_ranges_and_with_standard_deviations():
    name = "chart_xbar_montgomery_hardbake.csv"
    y, groups = numbers(name, "y"), columns(name)["subgroup"]
    by_range, by_sd = (charts.averages(y, groups, spread=spread) for spread in "RS")
    # the tolerances 1.0 and 2.0 of the example, for Cp and Cpk of the chart's own σ
    nearer = min(2.0 - by_range.centre, by_range.centre - 1.0)
    holds(
        "chart_xbar_hardbake",
        {
            "grand mean": by_range.centre,
            "R bar": by_range.within.centre,
            "X-bar UCL (R)": by_range.high,
            "X-bar LCL (R)": by_range.low,
            "R UCL": by_range.within.high,
            "S bar": by_sd.within.centre,
            "X-bar UCL (S)": by_sd.high,
            "X-bar LCL (S)": by_sd.low,
            "S UCL": by_sd.within.high,
            "sigma-hat = Rbar/d2": by_range.sigma,
            "Cp (LSL 1.0, USL 2.0)": 1.0 / (6 * by_range.sigma),
            "Cpk": nearer / (3 * by_range.sigma),
        },
    )
    assert by_range.signals == by_sd.signals == ()


NAMES = ("d2", "d3", "c4", "A2", "A3", "B3", "B4", "D3", "D4", "E2")


@pytest.mark.parametrize("n", range(2, 26))
def test_constants(n):
    table = columns("control_chart_constants.csv")
    row = table["n"].index(str(n))
    exact, printed = charts.constants(n), charts.constants(n, printed=True)
    for name in NAMES:
        # six decimals in the file
        assert getattr(exact, name) == pytest.approx(float(table[name][row]), abs=6e-7), name
        said = table[f"{name}_tab"][row]
        if said not in {"", "n/a"}:
            # to the last printed figure, the entries that are not the rounded exact value among them
            assert getattr(printed, name) == pytest.approx(float(said), abs=1e-9), name
