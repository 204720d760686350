"""The study command: keys, words, refusals of options, help, and numbers that are hard on arithmetic."""

import json
import os
import subprocess
import sys
from io import StringIO
from itertools import product
from pathlib import Path

import pytest
from django.core.management import CommandError, call_command
from django.core.management.base import CommandParser

from brewbar import bootstrap
from calibration.management.commands import study
from calibration.studies.options import KINDS
from tests.calibration.studies import Ran, refused, told, written

README = (bootstrap.ROOT / "README.md").read_text("utf-8")
SHEET = "staff,day,machine,u,y,z\n" + "".join(
    f"{staff},{day},{'m1' if i % 3 else 'm2'},{0.01 + i % 4 / 100},{1.4 + (i * i) % 7 / 100},{1.41 + (i * i) % 11 / 100}\n"
    for i, (staff, day) in enumerate(product("ABCD", "1112223"))
)
VARIANCE = ("variance", "--value", "y", "--terms", "staff,day,staff:day")
GAUGE = ("gauge", "--value", "y", "--part", "day", "--operator", "staff")
PRECISION = ("precision", "--value", "y", "--lab", "staff", "--level", "day")
SCORES = ("scores", "--value", "y")
AGREEMENT = ("agreement", "--a", "y", "--b", "z")
ANOVA = ("anova", "--value", "y", "--factors", "staff,day")


def chart(kind, *options):
    return ("chart", "--value", "y", "--kind", kind, *options)


STUDIES = {
    "variance": VARIANCE,
    "variance with fixed": (*VARIANCE, "--fixed", "machine,u"),
    "gauge": GAUGE,
    "precision": PRECISION,
    "precision without levels": PRECISION[:-2],
    "imr": chart("imr"),
    "imr with rules": chart("imr", "--rules", "1,2,3,4"),
    "xbar-r": chart("xbar-r", "--group", "day"),
    "xbar-s": chart("xbar-s", "--group", "staff", "--nelson", "1,2,3"),
    "ewma": chart("ewma", "--outer", "4"),
    "cusum": chart("cusum"),
    "scores": SCORES,
    "scores with uncertainties": (*SCORES, "--assigned", "1.4", "--u", "0.01", "--u", "u", "--sigma", "u"),
    "agreement": AGREEMENT,
    "agreement of ratios": (*AGREEMENT, "--ratio"),
    "agreement of repeats": ("agreement", "--a", "y,z", "--b", "z,y"),
    "anova": ANOVA,
    "anova by type 3": (*ANOVA, "--type", "3"),
}


def answer(words, path):
    return told(words[0], path, *words[1:])


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
    two = written(tmp_path, "a,b,c,y\n" + "".join(f"{a},{b},{c},{i * i % 7}\n" for i, (a, b, c) in enumerate(product("xyz", "xy", "pq"))))
    assert list(answer(("variance", "--value", "y", "--terms", "c", "--fixed", "a,b"), two)["fixed"]) == ["a=y", "z", "b=y"]  # fmt: skip


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


@pytest.mark.parametrize("name", STUDIES)
def test_for_people_a_table_and_two_sentences(name, path):
    kind, *options = STUDIES[name]
    text = Ran(kind, path, *options).said
    assert max(map(len, text.splitlines())) <= 100
    assert "None" not in text
    assert "nan" not in text
    parts = text.strip().split("\n\n")
    sentences = next(part for part in parts if part.endswith(".") and not part.startswith("- "))
    assert " ".join(sentences.split()).count(". ") == 1


HARD = {
    "two rows": "A,1,m1,1,1.4,1\nA,1,m1,2,1.5,2\n",
    "all equal": "A,1,m1,1,1.4,1\n" * 8,
    "all equal in every cell": "".join(f"{a},{b},m1,1,1.4,1.4\n" for a in "ABC" for b in "123"),
    "zero": "A,1,m1,0,0,0\nB,2,m2,0,0,0\n" * 4,
    "one reading a cell": "".join(f"{a},{i},m{i},1,{i * i % 7},{i}\n" for i, a in enumerate("ABCDEFGH")),
    "staff and day are one": "".join(f"{a},{a},m1,1,{i * i % 7},{i}\n" for i, a in enumerate("ABCABCABC")),
    "nobody meets": "A,1,m1,1,1,1\nA,2,m1,1,3,2\nB,3,m2,1,2,2\nB,4,m2,1,2.5,3\nA,1,m1,2,4,4\nB,4,m1,1,3,1\n",
    "very large": "".join(f"{a},{b},m{i % 2},{1 + i}e26,{i * i % 7}e28,{i}e28\n" for i, (a, b) in enumerate(product("AB", "1212"))),
    "very small": "".join(f"{a},{b},m{i % 2},{1 + i}e-26,{i * i % 7}e-28,{i}e-28\n" for i, (a, b) in enumerate(product("AB", "1212"))),
    "below zero": "".join(f"{a},{b},m{i % 2},{1 + i},{-(i * i % 7)},{-i}\n" for i, (a, b) in enumerate(product("AB", "1212"))),
    "long leading digits": "".join(f"{a},{b},m{i % 2},1,1000000000000.{i % 4},{i}\n" for i, (a, b) in enumerate(product("AB", "1212"))),
    "odd names": "".join(f'"=1+1, ""x"" \x1b[31m {a * 60}",{b},<b>{i % 2},1,{i * i % 7},{i}\n' for i, (a, b) in enumerate(product("äß", "1212"))),
    "more than a hundred": "".join(f"A{i % 13},{i % 7},m{i % 2},{1 + i % 3},{i * 7919 % 101},{i * 7919 % 103}\n" for i in range(150)),
}  # fmt: skip


@pytest.mark.parametrize("sheet", HARD)
@pytest.mark.parametrize("name", STUDIES)
def test_hard_sheets_are_answered_or_refused(name, sheet, tmp_path):
    kind, *options = STUDIES[name]
    path = written(tmp_path, "staff,day,machine,u,y,z\n" + HARD[sheet])
    try:
        text = Ran(kind, path, *options).said
    except CommandError:
        message = refused(kind, path, *options, "--json")
        assert message.startswith(f"{path} does not serve for this study.\n  ")
        return
    assert max(map(len, text.splitlines())) <= 100
    assert "\x1b" not in text
    told(kind, path, *options)


REFUSED = {
    "no kind of chart": (chart("pie"), "invalid choice: 'pie'"),
    "no group": (chart("xbar-r"), "--kind xbar-r needs --group"),
    "another chart's option": (chart("imr", "--lambda", "0.2", "--h", "4"), "--lambda is for ewma, not for imr."),
    "a group for single readings": (chart("ewma", "--group", "day"), "--group is for xbar-r and xbar-s"),
    "both handbooks": (chart("imr", "--rules", "1", "--nelson", "1"), "not both at once"),
    "rule 9": (chart("imr", "--rules", "9"), "Rule 9 is not one of the rules 1 to 4"),
    "rules in words": (chart("imr", "--rules", "all"), "expected numbers of rules"),
    "sigma 0": (chart("imr", "--sigma", "0"), "expected a number above 0"),
    "sigma nan": (chart("imr", "--sigma", "nan"), "expected a number"),
    "lambda 2": (chart("ewma", "--lambda", "2"), "expected a number from 0.001 to 1"),
    "h without end": (chart("cusum", "--h", "1e9"), "expected a number from 0.001 to 100"),
    "a baseline of none": (chart("imr", "--baseline", "0"), "expected a whole number from 1"),
    "a baseline too long": (chart("imr", "--baseline", "99"), "from 1 to 28"),
    "a p of 2": ((*GAUGE, "--pool-above", "2"), "expected a number from 0 to 1"),
    "no such term": ((*VARIANCE[:-1], "staff,dya"), "There is no column dya. Did you mean day?"),
    "an empty term": ((*VARIANCE[:-1], "staff,,day"), "A column name is missing between two commas."),
    "a term twice": ((*VARIANCE[:-1], "staff:day,day:staff"), "are the same term"),
    "a factor twice": ((*ANOVA[:-1], "day,day"), "names one column twice"),
    "three factors": ((*ANOVA[:-1], "day,staff,machine"), "one factor or two"),
    "type 4": ((*ANOVA, "--type", "4"), "invalid choice: 4"),
    "two numbers for u": ((*SCORES, "--u", "1", "--u", "2"), "--u takes one number"),
    "u below 0": ((*SCORES, "--assigned", "1", "--u", "-1"), "An uncertainty is 0 or more."),
    "sigma below 0": ((*SCORES, "--sigma", "-1"), "--sigma must be above 0."),
    "a sigma of words": ((*SCORES, "--sigma", "machine"), 'Row 2, column machine: expected a number, not "m2"'),
    "words for a number": ((*SCORES, "--assigned", "one"), 'expected a number, not "one"'),
    "no value": (("precision", "--lab", "staff"), "the following arguments are required: --value"),
}  # fmt: skip


@pytest.mark.parametrize("name", REFUSED)
def test_options_that_do_not_serve(name, path):
    (kind, *options), says = REFUSED[name]
    out = StringIO()
    with pytest.raises(CommandError) as error:
        call_command("study", kind, path, *options, stdout=out)
    assert says in str(error.value)
    assert out.getvalue() == ""
    # argparse ends the process with status 2 by itself, and only raises where a program has called
    assert error.value.returncode == 2 or "argument" in str(error.value)


@pytest.mark.parametrize(
    ("options", "says"),
    [
        (("--kind", "cusum", "--lambda", "0.2"), "--lambda is for ewma, not for cusum."),
        (("--kind", "rules", "--rules", "1,1"), "names one rule twice"),
        (("--kind", "rules", "--rules", "5"), "Rule 5 is not one of the rules 1 to 4"),
    ],
)
def test_run_lengths_that_cannot_be(options, says):
    assert says in refused("runlength", *options)


def test_a_run_without_end_has_no_number():
    for options in (("--kind", "cusum", "--h", "100"), ("--kind", "ewma", "--width", "20")):
        assert json.loads(Ran("runlength", *options, "--json").said) == {"arl": None}
        assert "over a million million" in Ran("runlength", *options).said


def test_help_names_every_option_and_key():
    parser = CommandParser(prog="study")
    study.Command().add_arguments(parser)
    everything = parser.format_help()
    for kind in KINDS:
        assert kind.does in " ".join(everything.split())
        for key in kind.keys.splitlines():
            assert key in everything
            assert len(key) <= 100
    for option in ("--value", "--terms", "--fixed", "--ml", "--pool-above", "--lab", "--level", "--steady", "--u"):
        assert option in everything
    assert "lines starting with # are" in everything
    assert "as AIAG's table prints" in everything


def readme_blocks():
    section = README.split("### Statistics of a spreadsheet", 1)[1].split("\n## ", 1)[0]
    return section.split("```")[1::2]


def test_the_example_of_the_readme_is_true(tmp_path, monkeypatch):
    sheet, run = readme_blocks()[:2]
    monkeypatch.chdir(tmp_path)
    Path("brews.csv").write_text(sheet.strip("\n"), "utf-8")
    command, said = run.strip("\n").split("\n", 1)
    words = command.split("manage.py study ")[1].split()
    assert Ran(*words).said.strip("\n") == said


def test_in_a_process_of_its_own_without_a_database(tmp_path):
    path = written(tmp_path, SHEET)
    environment = os.environ | {
        "DATABASE_URL": "postgresql://nobody@127.0.0.1:1/nothing",
        "BREWBAR_DATA": str(tmp_path / "data"),
    }

    def ran(*words):
        return subprocess.run(
            [sys.executable, Path("manage.py"), "study", *words],
            cwd=bootstrap.ROOT,
            env=environment,
            capture_output=True,
            text=True,
        )

    done = ran("variance", path, *VARIANCE[1:], "--json")
    assert (done.returncode, done.stderr) == (0, "")
    assert json.loads(done.stdout)["n"] == 28
    for words in (("variance", path, "--value", "x", "--terms", "staff"), ("variance",), (), ("pie", path)):
        done = ran(*words)
        assert (done.returncode, done.stdout) == (2, "")
        assert "Traceback" not in done.stderr


def test_help_loads_no_statistics():
    found = subprocess.run(
        [sys.executable, "-c", "import sys, calibration.management.commands.study; print(*sys.modules)"],
        cwd=bootstrap.ROOT,
        capture_output=True,
        text=True,
        check=True,
    )
    assert not {"numpy", "scipy", "calibration.studies.variance"} & set(found.stdout.split())
