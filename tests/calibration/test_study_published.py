"""Studies at the command line against published cases, read from their data files as they stand."""

import pytest

from tests.calibration.studies import agrees, of_published, told, written
from tests.published.cases import columns, numbers

REML = {
    "reml_dyestuff": ("batch",),
    "reml_dyestuff2": ("batch",),
    "reml_penicillin": ("plate", "sample"),
    "reml_hemmerle_hartley_random": ("a", "b", "a:b"),
    "reml_ep05_1_unbalanced": ("day", "day:run"),
    "reml_synthetic_small": ("staff", "day", "staff:day"),
    "reml_synthetic_zero_interaction": ("staff", "day", "staff:day"),
}
FILES = {"reml_hemmerle_hartley_random": "reml_hemmerle_hartley"}


@pytest.mark.parametrize("ml", [False, True], ids=["REML", "ML"])
@pytest.mark.parametrize("name", REML)
def test_components_of_variance(name, ml):
    terms = REML[name]
    by = ("--ml",) if ml else ()
    found = of_published(
        "variance", f"{FILES.get(name, name)}.csv", "--value", "y", "--terms", ",".join(terms), *by
    )
    how = "ML" if ml else "REML"
    agrees(
        name,
        {f"{how} var({term})": found["components"][term]["variance"] for term in (*terms, "residual")}
        | {
            f"{how} criterion (-2 log L)": found["criterion"],
            f"{how} mean": found["mean"],
            f"{how} SE(mean)": found["se"],
        },
    )


def test_limits_of_components():
    found = of_published("variance", "reml_dyestuff.csv", "--value", "y", "--terms", "batch", "--ml")
    parts = found["components"]
    agrees(
        "reml_dyestuff",
        {
            f"95% profile-likelihood CI (ML) sd({part}) {end}": parts[part][f"sd_{end}"]
            for part in ("batch", "residual")
            for end in ("low", "high")
        },
    )


@pytest.mark.parametrize("ml", [False, True], ids=["REML", "ML"])
def test_a_fixed_column_of_words(tmp_path, ml):
    """Compared with the first of them; the restricted likelihood depends on the coding, by a constant."""
    table = columns("reml_hemmerle_hartley.csv")
    rows = zip(table["a"], table["b"], table["y"], strict=True)
    path = written(tmp_path, "a,b,y\n" + "".join(f"a{a},{b},{y}\n" for a, b, y in rows))
    by = ("--ml",) if ml else ()
    found = told("variance", path, "--value", "y", "--terms", "b,a:b", "--fixed", "a", *by)
    how = "ML" if ml else "REML"
    parts = found["components"]
    agrees(
        "reml_hemmerle_hartley_mixed",
        {
            f"{how} var(b)": parts["b"]["variance"],
            f"{how} var(a:b)": parts["a:b"]["variance"],
            f"{how} var(residual)": parts["residual"]["variance"],
            f"{how} criterion (-2 log L)": found["criterion"],
        },
    )
    assert list(found["fixed"]) == ["a2", "a3"]


def test_gauge_study():
    words = ("--value", "y", "--part", "part", "--operator", "appraiser")
    found = of_published("gauge", "grr_aiag.csv", *words)
    f, parts = found["f"], found["components"]
    agrees(
        "grr_aiag_anova",
        {
            "F appraiser (error MS below)": f["operator"],
            "F part (error MS below)": f["part"],
            "F interaction": f["interaction"],
            "F appraiser (interaction MS below)": f["operator_over_interaction"],
            "F part (interaction MS below)": f["part_over_interaction"],
            "pooled var repeatability": parts["residual"],
            "pooled var appraiser": parts["operator"],
            "pooled var part": parts["part"],
            "% contribution GRR": found["grr_contribution_pct"],
            "% study variation GRR": found["grr_variation_pct"],
            # mean squares times their degrees of freedom
            "SS appraiser": 2 * found["mean_squares"]["operator"],
            "SS part": 9 * found["mean_squares"]["part"],
            "SS appraiser x part": 18 * found["mean_squares"]["interaction"],
            "SS equipment": 60 * found["mean_squares"]["error"],
        },
    )
    assert found["distinct_categories"] == 4
    assert found["interaction_pooled"] is True
    assert parts["interaction"] == 0
    apart = of_published("gauge", "grr_aiag.csv", *words, "--pool-above", "never")
    assert apart["interaction_pooled"] is False
    assert apart["components"]["residual"] == apart["mean_squares"]["error"]


def test_precision_of_glucose():
    levels = of_published(
        "precision", "ils_e691_glucose.csv", "--value", "y", "--lab", "lab", "--level", "material"
    )["levels"]
    agrees(
        "ils_e691_glucose",
        {
            f"{level} {said}": levels[level][key]
            for level in "ABDE"
            for said, key in (("mean", "mean"), ("s_r", "s_r"), ("s_R", "s_R"))
        }
        | {
            "C as typed (148.30) s_r": levels["C"]["s_r"],
            "C as typed s_R": levels["C"]["s_R"],
            "C as typed h lab 4": levels["C"]["h"][3],
            "C as typed k lab 4": levels["C"]["k"][3],
        },
    )


def test_precision_with_unequal_numbers():
    levels = of_published(
        "precision", "ils_iso5725_sulfur_levels_1_3.csv", "--value", "y", "--lab", "lab", "--level", "level"
    )["levels"]
    agrees(
        "ils_iso5725_sulfur_levels_1_3",
        {
            f"level {level} {key}": levels[level][key]
            for level in ("1", "3")
            for key in ("mean", "s_r", "s_R", "s_L")
        },
    )
    assert levels["3"]["r"] == pytest.approx(2.8 * levels["3"]["s_r"])  # ISO 5725-6:1994, 4.1.4


@pytest.mark.parametrize("exact", [False, True], ids=["printed", "exact"])
@pytest.mark.parametrize(
    ("name", "file"),
    [("pt_iso13528_e3_alga", "pt_iso13528_e3.csv"), ("robust_creosote", "robust_creosote_iso5725_5.csv")],
)
def test_robust_mean(name, file, exact):
    found = of_published("scores", file, "--value", "x", *(["--exact-constants"] if exact else []))
    constants = "exact constants" if exact else "constants 1.483 and 1.134"
    agrees(
        name,
        {
            f"x* converged, {constants}": found["robust_mean"],
            f"s* converged, {constants}": found["robust_sd"],
        },
    )
    if name == "pt_iso13528_e3_alga" and not exact:
        agrees("pt_iso13528_e3_other", {"u(x_pt) Algorithm A": found["u_assigned"]})


def test_scores(tmp_path):
    """U of the assigned value is 0.0082 with k = 2; the participants have U and k of their own."""
    table = columns("pt_iso13528_e4.csv")
    rows = zip(table["x"], table["U"], table["k"], strict=True)
    path = written(tmp_path, "x;u;k\n" + "".join(f"{x};{float(U) / float(k)!r};{k}\n" for x, U, k in rows))
    found = told(
        "scores", path, "--value", "x", "--assigned", "0.044", "--u", "0.0041", "--u", "u",
        "--sigma", "0.0066", "--k", "k",
    )["scores"]  # fmt: skip
    printed = {key: numbers("pt_iso13528_e4.csv", key) for key in ("z", "z_prime", "zeta", "En")}
    agrees(
        "pt_iso13528_e4_scores",
        {
            f"largest |{key} - printed|": max(
                abs(one[key] - value) for one, value in zip(found, printed[key], strict=True)
            )
            for key in printed
        },
    )
    # ISO 13528:2022, 9.2.1 and 9.5: u is above 0.3 sigma, so z' judges; 9.4.2: up to 2, to 3, beyond
    for one, value in zip(found, printed["z_prime"], strict=True):
        size = abs(value)
        assert one["verdict"] == ("acceptable" if size <= 2 else "warning" if size < 3 else "action")


def test_agreement():
    found = of_published("agreement", "agreement_pefr.csv", "--a", "wright1", "--b", "mini1")
    doubled = of_published(
        "agreement", "agreement_pefr.csv", "--a", "wright1", "--b", "mini1", "--multiplier", "2"
    )
    agrees(
        "agreement_pefr",
        {
            "mean difference": found["bias"],
            "SD of differences": found["sd"],
            "lower limit, 1.96 SD": found["low"],
            "upper limit, 1.96 SD": found["high"],
            "lower limit (mean - 2 SD)": doubled["low"],
            "upper limit (mean + 2 SD)": doubled["high"],
        },
    )
    repeats = of_published("agreement", "agreement_pefr.csv", "--a", "wright1,wright2", "--b", "mini1, mini2")
    table = {name: numbers("agreement_pefr.csv", name) for name in ("wright1", "wright2", "mini1", "mini2")}
    of_means = [
        (w1 + w2 - m1 - m2) / 2
        for w1, w2, m1, m2 in zip(*table.values(), strict=True)
    ]  # fmt: skip
    assert repeats["bias"] == pytest.approx(sum(of_means) / len(of_means))


def test_agreement_of_ratios():
    found = of_published("agreement", "agreement_plvol.csv", "--a", "nadler", "--b", "hurley", "--ratio")
    doubled = of_published(
        "agreement", "agreement_plvol.csv", "--a", "nadler", "--b", "hurley", "--ratio", "--multiplier=2"
    )
    agrees(
        "agreement_plvol",
        {
            "SD of log differences": found["sd"],
            "ratio lower limit": doubled["low"],
            "ratio upper limit": doubled["high"],
        },
    )


@pytest.mark.parametrize("name", ["anova1_sirstv", "anova1_gear"])
def test_one_way_anova(name):
    table = columns(f"{name}.csv")
    value = next(column for column in table if column in {"y", "diameter"})
    group = next(column for column in table if column != value)
    found = of_published("anova", f"{name}.csv", "--value", value, "--factors", group)
    computed = {"F": found["terms"][group]["f"]}
    if name == "anova1_sirstv":
        computed |= {
            "SS between": found["terms"][group]["ss"],
            "SS within": found["residual"]["ss"],
            "residual SD": found["residual"]["sd"],
        }
    agrees(name, computed)


def test_two_way_anova():
    words = ("--value", "conformity", "--factors", "fcategory,partner_status")
    by_2 = of_published("anova", "anova2_moore.csv", *words)
    by_3 = of_published("anova", "anova2_moore.csv", *words, "--type", "3")
    by_1 = of_published("anova", "anova2_moore.csv", *words, "--type", "1")
    agrees(
        "anova2_moore",
        {
            "Type II SS fcategory": by_2["terms"]["fcategory"]["ss"],
            "Type II SS partner_status": by_2["terms"]["partner_status"]["ss"],
            "SS interaction": by_2["terms"]["fcategory:partner_status"]["ss"],
            "SS residual": by_2["residual"]["ss"],
            "Type III SS fcategory": by_3["terms"]["fcategory"]["ss"],
            "Type III SS partner_status": by_3["terms"]["partner_status"]["ss"],
            "Type I SS fcategory (first)": by_1["terms"]["fcategory"]["ss"],
        },
    )
