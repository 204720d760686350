"""Variance components by REML and ML against published and recomputed fits, and the sequential estimates beside them.

Sources stand in each case's file: Davies and Goldsmith 1972, Box and Tiao 1973, Hemmerle and Hartley 1973, CLSI EP05
(as fitted by SAS PROC MIXED), and synthetic crossed designs whose reference values are lme4's. The criterion is -2 log
restricted likelihood, or -2 log likelihood, with its constant.
"""

import numpy as np
import pytest

from calibration.statistics.anova import anova
from calibration.statistics.variance import fit
from tests.published.cases import case, columns, expected, holds, numbers

# case: (terms, fixed columns)
CASES = {
    "reml_dyestuff": (("batch",), ()),
    "reml_dyestuff2": (("batch",), ()),
    "reml_penicillin": (("plate", "sample"), ()),
    "reml_hemmerle_hartley_mixed": (("b", "a:b"), ("a",)),
    "reml_hemmerle_hartley_random": (("a", "b", "a:b"), ()),
    "reml_ep05_1_unbalanced": (("day", "day:run"), ()),
    "reml_synthetic_small": (("staff", "day", "staff:day"), ()),
    "reml_synthetic_zero_interaction": (("staff", "day", "staff:day"), ()),
    "reml_synthetic_year": (("staff", "day", "staff:day"), ()),
}


@pytest.mark.parametrize("name", CASES)
def test_fits(name):
    terms, fixed = CASES[name]
    (path,) = case(name)["data"]
    table = columns(path)
    y = numbers(path, "y")
    computed: dict[str, float] = {}
    asked = expected(name)
    with_limits = any(statistic.startswith("95%") for statistic in asked)
    for method in ("REML", "ML"):
        found = fit(
            y,
            table,
            terms,
            {column: table[column] for column in fixed},
            ml=method == "ML",
            intervals=with_limits and method == "ML",
            predictions=False,
        )
        values = {
            f"{method} criterion (-2 log L)": found.criterion,
            f"{method} mean": found.mean,
            f"{method} SE(mean)": found.se,
            **{f"{method} var({part})": one.variance for part, one in found.components.items()},
        }
        if with_limits and method == "ML":
            limits = "95% profile-likelihood CI (ML)"
            for part, one in found.components.items():
                values |= {f"{limits} sd({part}) low": one.sd_low, f"{limits} sd({part}) high": one.sd_high}
            values |= {f"{limits} mean low": found.mean_low, f"{limits} mean high": found.mean_high}
        # a model with fixed columns has no mean to compare, and a year's ML fit was not recomputed
        computed |= {statistic: value for statistic, value in values.items() if statistic in asked}
    holds(name, computed)


@pytest.mark.parametrize(
    ("name", "term", "ml"),
    [
        ("reml_dyestuff2", "batch", False),
        ("reml_dyestuff2", "batch", True),
        ("reml_hemmerle_hartley_mixed", "a:b", True),
        ("reml_synthetic_zero_interaction", "staff:day", False),
        ("reml_synthetic_zero_interaction", "staff:day", True),
    ],
)
def test_a_spread_on_its_bound_is_exactly_nothing(name, term, ml):
    terms, fixed = CASES[name]
    (path,) = case(name)["data"]
    table = columns(path)
    found = fit(numbers(path, "y"), table, terms, {one: table[one] for one in fixed}, ml, intervals=False)
    assert found.components[term].variance == 0.0
    assert (found.predictions[term].estimate == 0).all()
    assert (found.predictions[term].high > found.predictions[term].low).all()  # never 0 ± 0


def test_sequential_estimates():
    path = "reml_hemmerle_hartley.csv"
    y = np.array(numbers(path, "y"))
    table = columns(path)
    a, b = table["a"], table["b"]
    found = anova(y, {"a": a, "b": b}, kind=1)
    ss = {name: term.ss for name, term in found.terms.items()} | {"error": found.residual.ss}

    # E(SS) of each line under b, a:b and error, from projections on what is in the model before and after it
    both = [one + other for one, other in zip(a, b, strict=True)]
    with_a, with_b, with_ab = (_indicators(labels) for labels in (a, b, both))
    before, middle, after = (_projection(part) for part in (with_a, np.hstack([with_a, with_b]), with_ab))
    lines = {"b": middle - before, "a:b": after - middle, "error": np.eye(len(y)) - after}
    spreads = (with_b @ with_b.T, with_ab @ with_ab.T, np.eye(len(y)))
    matrix = [[np.trace(line @ spread) for spread in spreads] for line in lines.values()]
    var_b, var_ab, var_error = np.linalg.solve(matrix, [ss[line] for line in lines])
    holds(
        "henderson_hemmerle_hartley",
        {
            "SS a": ss["a"],
            "SS b": ss["b"],
            "SS a*b": ss["a:b"],
            "SS error": ss["error"],
            "var(b)": var_b,
            "var(a*b)": var_ab,
            "var(error)": var_error,
        },
    )


def _indicators(labels):
    return np.array([[one == level for level in sorted(set(labels))] for one in labels], dtype=float)


def _projection(matrix):
    return matrix @ np.linalg.pinv(matrix)
