"""Run rules on sequences with known signals, and average run lengths against printed tables.

Champ and Woodall 1987, Technometrics 29:393, table 1; Montgomery 2013, tables 9.3 and 9.11, after Lucas and Saccucci
1990, Technometrics 32:1. Each case's source and tolerance stands in its file in tests/data/statistics.
"""

import json

import pytest

from calibration.statistics import charts, watching
from tests.published.cases import DATA, case, holds

SEQUENCES = json.loads((DATA / "run_rules.json").read_text())["sequences"]


@pytest.mark.parametrize("name", SEQUENCES)
def test_exactly_the_listed_readings_signal(name):
    sequence = SEQUENCES[name]
    for found, listed in (
        (charts.nelson(sequence["z"]), sequence["nelson"]),
        (charts.western_electric(sequence["z"]), sequence["western_electric"]),
    ):
        assert {str(number): list(at) for number, at in found.items()} == listed


def test_number_of_signals():
    holds(
        "run_rules_shared",
        {
            f"{name}: number of Nelson signals": sum(map(len, charts.nelson(sequence["z"]).values()))
            for name, sequence in SEQUENCES.items()
        },
    )


def test_run_rules():
    computed = {}
    for check in case("arl_weco")["checks"]:
        said, numbers = check["statistic"].split(" rules ")
        shift = 1.0 if "1 sigma" in said else 0.0
        rules = charts.Rules(tuple(int(number) for number in numbers))
        computed[check["statistic"]] = charts.average_run_length(rules, shift)
    holds("arl_weco", computed)


@pytest.mark.parametrize(
    ("name", "scheme"),
    [("arl_cusum_h4", charts.Cusum(k=0.5, h=4)), ("arl_ewma_02", charts.Ewma(lambda_=0.2, width=2.962))],
)
def test_cusum_and_ewma(name, scheme):
    holds(
        name,
        {
            check["statistic"]: charts.average_run_length(scheme, float(check["statistic"].split()[-1]))
            for check in case(name)["checks"]
        },
    )


# Montgomery 2013, table 9.11 (from memory): λ and width for 500 readings between false alarms, to three decimals that
# give 500 to the nearest whole number
@pytest.mark.parametrize(
    ("weight", "width"), [(0.4, 3.054), (0.25, 2.998), (0.2, 2.962), (0.1, 2.814), (0.05, 2.615)]
)
def test_widths_for_five_hundred(weight, width):
    assert charts.width_for(500, weight).width == pytest.approx(width, abs=2e-3)


# Lucas and Saccucci 1990, as in Montgomery 2013, table 9.11 (from memory), rounded to three figures: readings until a
# signal after a shift, here added up from the chance of none yet by each reading
@pytest.mark.parametrize(
    ("shift", "readings"),
    [(0.25, 106), (0.5, 31.3), (0.75, 15.9), (1, 10.3), (1.5, 6.09), (2, 4.36), (2.5, 3.44), (3, 2.87)],
)
def test_a_path_of_means_that_is_level(shift, readings):
    seen = watching.delay_of(charts.Ewma(lambda_=0.1, width=2.814), [shift] * 1_500)
    assert 1 + (1 - seen).sum() == pytest.approx(readings, rel=5e-3)


# Hawkins 1993, Cumulative sum control charting: an underutilized SPC tool, as in Montgomery 2013, table 9.4 (from
# memory): k and h for the 370 readings of a three-sigma chart
@pytest.mark.parametrize(
    ("k", "h"), [(0.25, 8.01), (0.5, 4.77), (0.75, 3.34), (1.0, 2.52), (1.25, 1.99), (1.5, 1.61)]
)
def test_heights_for_the_rate_of_a_three_sigma_chart(k, h):
    assert charts.height_for(370.4, k) == pytest.approx(h, abs=6e-3)
