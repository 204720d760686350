"""Charts and run lengths at the command line against published cases."""

import json
from io import StringIO

import pytest
from django.core.management import call_command

from tests.calibration.studies import agrees, of_published
from tests.published.cases import numbers


def test_individuals():
    words = ("--value", "x", "--kind", "imr")
    exact = of_published("chart", "chart_imr_nist_flowrate.csv", *words)
    printed = of_published("chart", "chart_imr_nist_flowrate.csv", *words, "--printed")
    agrees(
        "chart_imr_nist",
        {
            "centre": exact["centre"],
            "MR bar": exact["within"]["centre"],
            "UCL with exact d2": exact["high"],
            "LCL with exact d2": exact["low"],
            "UCL with d2 = 1.128": printed["high"],
            "LCL with d2 = 1.128": printed["low"],
            "MR UCL with 3.267": printed["within"]["high"],
        },
    )
    assert exact["signals"] == []


def test_averages():
    words = ("--value", "y", "--group", "subgroup", "--kind")
    by_r = of_published("chart", "chart_xbar_montgomery_hardbake.csv", *words, "xbar-r")
    by_s = of_published("chart", "chart_xbar_montgomery_hardbake.csv", *words, "xbar-s")
    agrees(
        "chart_xbar_hardbake",
        {
            "grand mean": by_r["centre"],
            "R bar": by_r["within"]["centre"],
            "R UCL": by_r["within"]["high"],
            "X-bar UCL (R)": by_r["high"],
            "X-bar LCL (R)": by_r["low"],
            "S bar": by_s["within"]["centre"],
            "S UCL": by_s["within"]["high"],
            "X-bar UCL (S)": by_s["high"],
            "X-bar LCL (S)": by_s["low"],
        },
    )


def test_ewma():
    words = ("--value", "x", "--kind", "ewma", "--lambda", "0.3", "--target", "50", "--sigma", "2.0539")
    steady = of_published("chart", "chart_ewma_nist.csv", *words, "--width", "3", "--steady")
    printed = numbers("chart_ewma_nist.csv", "ewma_printed")
    agrees(
        "chart_ewma_nist",
        {
            "UCL": steady["high"],
            "LCL": steady["low"],
            "z_20": steady["points"][19],
            "largest |z - printed z| over 20 points": max(
                abs(z - p) for z, p in zip(steady["points"], printed, strict=True)
            ),
            "points out of control": len(steady["signals"]),
        },
    )
    widening = of_published("chart", "chart_ewma_nist.csv", *words, "--width", "3")
    assert len(widening["high"]) == 20
    assert widening["high"][0] < widening["high"][-1] == pytest.approx(steady["high"], abs=1e-5)


def test_cusum():
    found = of_published(
        "chart", "chart_cusum_nist.csv", "--value", "x", "--kind", "cusum",
        "--target", "325", "--sigma", "1", "--k", "0.3175", "--h", "4.1959",
    )  # fmt: skip
    pairs = [
        *zip(found["high_side"], numbers("chart_cusum_nist.csv", "s_hi_printed"), strict=True),
        *zip(found["low_side"], numbers("chart_cusum_nist.csv", "s_lo_printed"), strict=True),
    ]
    agrees(
        "chart_cusum_nist",
        {
            "largest |S - printed S| over 40 values": max(abs(s - printed) for s, printed in pairs),
            "S_hi at 20": found["high_side"][19],
            "S_lo at 8": found["low_side"][7],
            "first signal at group": found["signals"][0]["index"],
        },
    )


def arl(*options):
    out = StringIO()
    call_command("study", "runlength", *options, "--json", stdout=out)
    answer = json.loads(out.getvalue())
    assert list(answer) == ["arl"]
    return answer["arl"]


SHIFTS = ("0", "0.25", "0.5", "0.75", "1", "1.5", "2", "2.5", "3", "4")


@pytest.mark.parametrize("shift", SHIFTS)
def test_run_lengths_of_cusum_and_ewma(shift):
    statistic = f"ARL at shift {shift}"
    agrees("arl_cusum_h4", {statistic: arl("--kind", "cusum", "--k", "0.5", "--h", "4", "--shift", shift)})
    ewma = arl("--kind", "ewma", "--lambda", "0.2", "--width", "2.962", "--shift", shift)
    agrees("arl_ewma_02", {statistic: ewma})


@pytest.mark.parametrize("rules", ["1", "12", "14", "1234"])
def test_run_lengths_of_rules(rules):
    agrees("arl_weco", {f"ARL(0) rules {rules}": arl("--kind", "rules", "--rules", ",".join(rules))})


def test_run_lengths_of_rules_after_a_shift():
    agrees("arl_weco", {"ARL(1 sigma) rules 1234": arl("--kind", "rules", "--shift", "1")})
