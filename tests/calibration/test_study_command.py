"""The study command: refusals of options, help, the README's example, and a process of its own."""

import json
import os
import subprocess
import sys
from io import StringIO
from pathlib import Path

import pytest
from django.core.management import CommandError, call_command
from django.core.management.base import CommandParser

from brewbar import bootstrap
from calibration.management.commands import study
from calibration.studies.options import KINDS
from tests.calibration.studies import ANOVA, GAUGE, SCORES, SHEET, VARIANCE, Ran, chart, refused, written

README = (bootstrap.ROOT / "README.md").read_text("utf-8")


@pytest.fixture
def path(tmp_path):
    return written(tmp_path, SHEET)


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
    for options in (("--kind", "cusum", "--h", "100"), ("--kind", "ewma", "--lambda", "1", "--width", "20")):
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
    for option in (
        "--value",
        "--terms",
        "--fixed",
        "--ml",
        "--pool-above",
        "--lab",
        "--level",
        "--steady",
        "--u",
    ):
        assert option in everything
    assert "lines starting with # are" in everything
    assert "as AIAG's table prints" in everything


def readme_blocks():
    section = README.split("\n## Statistics of a spreadsheet", 1)[1].split("\n## ", 1)[0]
    return section.split("```")[1::2]


def test_the_example_of_the_readme_is_true(tmp_path, monkeypatch):
    sheet, run = readme_blocks()
    monkeypatch.chdir(tmp_path)
    Path("brews.csv").write_text(sheet.strip("\n"), "utf-8")
    command, said = run.strip("\n").split("\n", 1)
    words = command.split("manage.py study ")[1].split()
    assert Ran(*words).said.startswith(said.removesuffix("\n…"))


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
    for words in (("variance", path, "--value", "x", "--terms", "staff"), ("variance",)):
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
