"""Sheets that are hard on arithmetic: every study answers with finite numbers and short lines, or says why not."""

from collections.abc import Callable
from itertools import product

import pytest
from django.core.management import CommandError

from tests.calibration.studies import SHEET, STUDIES, Ran, refused, told, written


def crossed(line: Callable[[str, str, int], str], who: str = "AB") -> str:
    return "".join(line(a, b, i) for i, (a, b) in enumerate(product(who, "1212")))


HARD = {
    "two rows": "A,1,m1,1,1.4,1\nA,1,m1,2,1.5,2\n",
    "all equal": "A,1,m1,1,1.4,1\n" * 8,
    "all equal in every cell": crossed(lambda a, b, i: f"{a},{b},m1,1,1.4,1.4\n", "ABC"),
    "equal means of cells": crossed(lambda a, b, i: f"{a},{b},m{i % 2},{1 + i % 3},{i % 4 // 2},{i % 2}\n"),
    "explained by a column": crossed(lambda a, b, i: f"{a},{b},m1,{1 + i},{1.3 + 0.37 * i},{2 * i}\n"),
    "zero": "A,1,m1,0,0,0\nB,2,m2,0,0,0\n" * 4,
    "one reading a cell": "".join(f"{a},{i},m{i},1,{i * i % 7},{i}\n" for i, a in enumerate("ABCDEFGH")),
    "staff and day are one": "".join(f"{a},{a},m1,1,{i * i % 7},{i}\n" for i, a in enumerate("ABCABCABC")),
    "nobody meets": "A,1,m1,1,1,1\nA,2,m1,1,3,2\nB,3,m2,1,2,2\nB,4,m2,1,2.5,3\nA,1,m1,2,4,4\nB,4,m1,1,3,1\n",
    "very large": crossed(lambda a, b, i: f"{a},{b},m{i % 2},{1 + i}e26,{i * i % 7}e28,{i}e28\n"),
    "very small": crossed(lambda a, b, i: f"{a},{b},m{i % 2},{1 + i}e-26,{i * i % 7}e-28,{i}e-28\n"),
    "below zero": crossed(lambda a, b, i: f"{a},{b},m{i % 2},{1 + i},{-(i * i % 7)},{-i}\n"),
    "long leading digits": crossed(lambda a, b, i: f"{a},{b},m{i % 2},1,1000000000000.{i % 4},{i}\n"),
    "odd names": crossed(lambda a, b, i: f'"=1+1, ""x"" \x1b[31m {a * 60}",{b},<b>{i % 2},1,{i * i % 7},{i}\n', "äß"),
    "more than a hundred": "".join(
        f"A{i % 13},{i % 7},m{i % 2},{1 + i % 3},{i * 7919 % 101},{i * 7919 % 103}\n" for i in range(150)
    ),
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


@pytest.mark.parametrize("name", STUDIES)
def test_for_people_a_table_and_two_sentences(name, tmp_path):
    kind, *options = STUDIES[name]
    path = written(tmp_path, SHEET)
    text = Ran(kind, path, *options).said
    assert max(map(len, text.splitlines())) <= 100
    assert "None" not in text
    assert "nan" not in text
    parts = text.strip().split("\n\n")
    sentences = next(part for part in parts if part.endswith(".") and not part.startswith("- "))
    assert " ".join(sentences.split()).count(". ") == 1
