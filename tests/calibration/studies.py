"""Studies at the command line: run on a published data file or on a sheet written for the purpose."""

import json
from collections.abc import Mapping
from io import StringIO
from itertools import product
from pathlib import Path
from typing import Any

import pytest
from django.core.management import CommandError, call_command

from tests.published.cases import DATA, case, tolerance


class Ran:
    """What a study printed, and its notes beside."""

    def __init__(self, *words: str) -> None:
        out, errors = StringIO(), StringIO()
        call_command("study", *words, stdout=out, stderr=errors)
        self.said, self.notes = out.getvalue(), errors.getvalue()


def said(kind: str, file: Path | str, *options: str) -> str:
    return Ran(kind, str(file), *options).said


def told(kind: str, file: Path | str, *options: str) -> Any:
    """The answer for machines; a NaN or an infinity in it is an error."""
    return json.loads(Ran(kind, str(file), *options, "--json").said, parse_constant=pytest.fail)


def of_published(kind: str, file: str, *options: str) -> Any:
    return told(kind, DATA / file, *options)


def agrees(name: str, computed: Mapping[str, float]) -> None:
    """As the published case has it, with its tolerances; of the case's values those that are computed."""
    checks = {check["statistic"]: check for check in case(name)["checks"]}
    assert computed
    for statistic, value in computed.items():
        check = checks[statistic]
        assert value == pytest.approx(check["expected"], **tolerance(check["tolerance"])), (name, statistic)


def refused(kind: str, *words: str) -> str:
    """What is said of a study that ends with status 2; nothing may have been printed."""
    out = StringIO()
    with pytest.raises(CommandError) as error:
        call_command("study", kind, *words, stdout=out)
    assert out.getvalue() == ""
    assert error.value.returncode == 2
    return str(error.value)


def written(folder: Path, text: str | bytes) -> str:
    path = folder / "sheet.csv"
    path.write_bytes(text if isinstance(text, bytes) else text.encode())
    return str(path)


SHEET = "staff,day,machine,u,y,z\n" + "".join(
    f"{staff},{day},{'m1' if i % 3 else 'm2'},0.0{1 + i % 4},{1.4 + i * i % 11 / 100},{1.41 + i * i % 13 / 100}\n"
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


def answer(words: tuple[str, ...], path: str) -> Any:
    return told(words[0], path, *words[1:])
