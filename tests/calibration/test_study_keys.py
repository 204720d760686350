"""The answers of every kind of study for machines: these keys and no other."""

import json
from itertools import product

import pytest

from tests.calibration.studies import (
    AGREEMENT,
    ANOVA,
    GAUGE,
    PRECISION,
    SCORES,
    SHEET,
    STUDIES,
    VARIANCE,
    Ran,
    answer,
    chart,
    refused,
    written,
)


@pytest.fixture
def path(tmp_path):
    return written(tmp_path, SHEET)


def test_variance_has_these_keys(path):
    found = answer(VARIANCE, path)
    assert list(found) == ["n", "mean", "se", "criterion", "components", "notes"]
    assert list(found["components"]) == ["staff", "day", "staff:day", "residual"]
    for part in found["components"].values():
        assert list(part) == ["variance", "sd", "sd_low", "sd_high", "share", "share_low", "share_high"]
    assert found["n"] == 28


def test_fixed_effects_go_by_their_level(path, tmp_path):
    found = answer((*VARIANCE, "--fixed", "machine,u"), path)
    assert list(found["fixed"]) == ["m2", "u"]
    assert all(list(one) == ["estimate", "se"] for one in found["fixed"].values())
    rows = (f"{a},{b},{c},{i * i % 7}\n" for i, (a, b, c) in enumerate(product("xyz", "xy", "pq")))
    two = written(tmp_path, "a,b,c,y\n" + "".join(rows))
    by_both = answer(("variance", "--value", "y", "--terms", "c", "--fixed", "a,b"), two)
    assert list(by_both["fixed"]) == ["a=y", "z", "b=y"]


def test_components_are_joined_only_where_they_must_be(tmp_path):
    def components(second):
        cells = [*product("ABCDE", "123456"), *list(product("ABCDE", "1"))[:second]]
        rows = "".join(f"{staff},{day},{i * i * 7 % 11}\n" for i, (staff, day) in enumerate(cells))
        found = answer(VARIANCE, written(tmp_path, f"staff,day,y\n{rows}"))
        return list(found["components"]), " ".join(found["notes"])

    apart, thin = components(second=2)
    assert apart == ["staff", "day", "staff:day", "residual"]
    assert "Only 6.7 % of the cells of staff:day have a second reading" in thin
    joined, none = components(second=0)
    assert joined == ["staff", "day", "staff:day + residual"]
    assert "No cell of staff:day has a second row" in none
    assert "Only" not in components(second=5)[1]


def test_gauge_has_these_keys(path):
    found = answer(GAUGE, path)
    assert list(found) == [
        "mean_squares", "f", "components", "interaction_pooled", "grr_contribution_pct", "grr_variation_pct",
        "distinct_categories",
    ]  # fmt: skip
    assert list(found["mean_squares"]) == ["part", "operator", "interaction", "error"]
    assert list(found["f"])[:3] == ["part", "operator", "interaction"]
    assert list(found["components"]) == ["part", "operator", "interaction", "residual"]


def test_an_unequal_gauge_study_goes_by_likelihood(path):
    words = (*GAUGE, "--pool-above", "never")
    ran = Ran(words[0], path, *words[1:], "--json")
    found = json.loads(ran.said)
    assert set(found["mean_squares"].values()) == {None}
    assert [key for key, f in found["f"].items() if f is not None] == ["interaction"]
    assert "by restricted likelihood" in ran.notes
    by_fit = answer((*VARIANCE[:-1], "day,staff,day:staff"), path)["components"]
    assert found["components"]["operator"] == pytest.approx(by_fit["staff"]["variance"], abs=1e-9)
    assert found["components"]["residual"] == pytest.approx(by_fit["residual"]["variance"], rel=1e-4)


def test_precision_has_these_keys(path, tmp_path):
    levels = answer(PRECISION, path)["levels"]
    assert list(levels) == ["1", "2", "3"]
    for level in levels.values():
        assert list(level) == ["mean", "s_r", "s_R", "s_L", "r", "R", "h", "k"]
        assert len(level["h"]) == len(level["k"]) == 4
    assert list(answer(PRECISION[:-2], path)["levels"]) == ["all"]
    rest = "".join(line + "\n" for line in SHEET.splitlines() if not line.startswith("B,2"))
    without = answer(PRECISION, written(tmp_path, rest))["levels"]["2"]
    assert without["h"][1] is without["k"][1] is None
    assert None not in (without["h"][0], without["h"][2], without["h"][3])


@pytest.mark.parametrize(
    ("kind", "own"),
    [
        ("imr", ["within"]),
        ("xbar-r", ["within"]),
        ("xbar-s", ["within"]),
        ("ewma", []),
        ("cusum", ["high_side", "low_side"]),
    ],
)
def test_chart_has_these_keys(kind, own, path):
    found = answer(chart(kind, *(["--group", "staff"] if "xbar" in kind else [])), path)
    assert list(found) == ["centre", "low", "high", "points", *own, "signals"]
    if "within" in own:
        assert list(found["within"]) == ["centre", "low", "high"]
    if kind == "cusum":
        assert len(found["high_side"]) == len(found["low_side"]) == len(found["points"])


def test_signals_count_from_one_and_name_their_rule(tmp_path):
    path = written(tmp_path, "y\n" + "".join(f"{y}\n" for y in [0, 0.1, 0.2, 0.1, 1.2, 1.1, 1.3, 1.2, -9]))
    words = chart("imr", "--target", "0", "--sigma", "1", "--rules", "1,3")
    assert answer(words, path)["signals"] == [
        {"index": 8, "rule": "western-electric 3"},
        {"index": 9, "rule": "beyond"},
        {"index": 9, "rule": "within"},
    ]


def test_scores_have_these_keys(path):
    found = answer(SCORES, path)
    assert list(found) == ["robust_mean", "robust_sd", "u_assigned", "iterations", "scores"]
    assert all(list(one) == ["z", "z_prime", "zeta", "En", "verdict"] for one in found["scores"])
    assert len(found["scores"]) == 28
    with_u = answer(STUDIES["scores with uncertainties"], path)
    assert with_u["u_assigned"] == 0.01
    assert None not in with_u["scores"][0].values()


def test_agreement_has_these_keys(path):
    found = answer(AGREEMENT, path)
    assert list(found) == [
        "bias", "sd", "low", "high", "bias_interval", "low_interval", "high_interval", "slope", "slope_interval"
    ]  # fmt: skip
    assert all(list(found[key]) == ["low", "high"] for key in found if key.endswith("interval"))


def test_a_repeat_may_be_missing_but_not_all(tmp_path):
    words = ("agreement", "--a", "a1,a2", "--b", "b")
    sheet = "a1,a2,b\n1.1,1.2,1\n1.4,,1.3\n,1.6,1.5\n"
    assert answer(words, written(tmp_path, sheet))["bias"] == pytest.approx((0.15 + 0.1 + 0.1) / 3)
    said = refused(words[0], written(tmp_path, sheet + ",,1.2\n"), *words[1:])
    assert "Row 5, --a: there is no reading." in said
    assert "Row 2, --b: a ratio needs" in refused(
        "agreement", written(tmp_path, "a,b\n1,0\n1,2\n"), "--a", "a", "--b", "b", "--ratio"
    )


def test_anova_has_these_keys(path):
    found = answer(ANOVA, path)
    assert list(found) == ["terms", "residual"]
    assert list(found["terms"]) == ["staff", "day", "staff:day"]
    assert all(list(term) == ["ss", "df", "ms", "f", "p"] for term in found["terms"].values())
    assert list(found["residual"]) == ["ss", "df", "ms", "sd"]
    assert list(answer((*ANOVA[:-1], "staff"), path)["terms"]) == ["staff"]
