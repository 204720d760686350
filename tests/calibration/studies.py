"""Studies at the command line: run on a published data file or on a sheet written for the purpose."""

import json
from collections.abc import Mapping
from io import StringIO
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
