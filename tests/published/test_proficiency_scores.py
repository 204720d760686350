"""Algorithm A, assigned values, homogeneity and scores against ISO 13528:2022, annex E, and two others.

ISO 5725-5:1998 (creosote); Venables and Ripley 2002, Modern Applied Statistics with S, 5.5 (copper). Each case's source
and tolerance stands in its file in tests/data/statistics.
"""

import numpy as np
import pytest

from calibration.statistics import scoring
from calibration.statistics.scoring import algorithm_a
from tests.published.cases import case, columns, holds, numbers


def e1(treatment):
    rows = columns("pt_iso13528_e1.csv")
    return [float(x) for x, how in zip(rows["x"], rows["treatment"], strict=True) if how == treatment]


SAMPLES = {
    "pt_iso13528_e1_deleted": e1("deleted"),
    "pt_iso13528_e1_ignored": e1("ignored"),
    "pt_iso13528_e3_alga": numbers("pt_iso13528_e3.csv", "x"),
    "robust_creosote": numbers("robust_creosote_iso5725_5.csv", "x"),
    "robust_chem": numbers("robust_chem.csv", "x"),
}


@pytest.mark.parametrize("name", SAMPLES)
def test_algorithm_a(name):
    x = SAMPLES[name]
    printed, exact = algorithm_a(x), algorithm_a(x, exact=True)
    mad = scoring.scaled_mad(x, exact=True)
    computed = {
        "x* printed": printed.mean,
        "x* converged, constants 1.483 and 1.134": printed.mean,
        "x* converged, exact constants": exact.mean,
        "s* printed": printed.sd,
        "s* converged, constants 1.483 and 1.134": printed.sd,
        "s* converged, exact constants": exact.sd,
        "location with the scale fixed at the MAD (Huber)": algorithm_a(x, sd=mad).mean,
        "MAD (1.4826)": mad,
    }
    listed = [check["statistic"] for check in case(name)["checks"]]
    holds(name, {statistic: computed[statistic] for statistic in listed})


def test_other_estimates_and_their_uncertainties():
    x = SAMPLES["pt_iso13528_e3_alga"]
    mean = scoring.assigned_value(x, "mean")
    holds(
        "pt_iso13528_e3_other",
        {
            "median": scoring.assigned_value(x, "median").value,
            "nIQR": scoring.normalised_iqr(x),
            "MADe": scoring.scaled_mad(x),
            "u(x_pt) Algorithm A": scoring.assigned_value(x).u,
            "u(x_pt) median, nIQR": scoring.assigned_value(x, "median").u,
            "mean": mean.value,
            "sd": mean.u * len(x) ** 0.5,
            "u(mean)": mean.u,
        },
    )


def test_homogeneity_and_stability():
    rows = columns("pt_iso13528_e2.csv")
    pairs = {"homogeneity": [], "stability": []}
    for which, a, b in zip(rows["set"], rows["a"], rows["b"], strict=True):
        pairs[which].append((float(a), float(b)))
    found = scoring.homogeneity(pairs["homogeneity"])
    later = np.ravel(pairs["stability"])
    sigma = 0.15 * found.mean
    holds(
        "pt_iso13528_e2",
        {
            "mean": found.mean,
            "s_x": found.s_x,
            "s_w": found.s_w,
            "s_s": found.s_s,
            "sigma_pt = 0.15 mean": sigma,
            "0.3 sigma_pt": scoring.NEGLIGIBLE * sigma,
            "stability mean": found.mean + found.moved(later),
            "difference": found.moved(later),
        },
    )
    assert found.alike_enough(sigma)
    assert found.steady_enough(later, sigma)


def test_scores_of_21_participants():
    name = "pt_iso13528_e4.csv"
    x, expanded, k = (np.array(numbers(name, column)) for column in ("x", "U", "k"))
    found = scoring.scores(x, assigned=0.044, u_assigned=0.0082 / 2, sigma=0.0066, u=expanded / k, k=k)
    worst = {
        f"largest |{column} - printed|": max(
            abs(getattr(score, column) - printed)
            for score, printed in zip(found.scores, numbers(name, column), strict=True)
        )
        for column in ("D_percent", "PA_percent", "z", "z_prime", "zeta", "En")
    }
    holds("pt_iso13528_e4_scores", worst)
    # u 0.0041 is above 0.3 × 0.0066
    assert {score.by for score in found.scores} == {"z'"}


def test_assigned_by_a_reference_material():
    d = numbers("pt_iso13528_e5.csv", "d")
    found = scoring.assigned_by_reference(21.62, 0.26, d)
    u_d = scoring.assigned_by_reference(21.62, 0.0, d).u
    holds("pt_iso13528_e5", {"x_pt": found.value, "u(x_pt)": found.u, "u_d": u_d})
