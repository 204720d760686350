"""What stands in README.txt: how an export is to be read, and what is in it and what is not."""

from __future__ import annotations

import textwrap

from django.utils import translation

from calibration.exporting import DICTIONARY, MANIFEST, README, RECIPES
from calibration.exporting.meanings import about
from calibration.exporting.recipe_file import EXPLAINED
from calibration.exporting.tables import LEFT_OUT, TABLES_LEFT_OUT, table_of, tables

WIDTH = 100

HANDLING = (
    "This file holds everything that the company has in brewbar: names of people, what they brewed and how it came "
    "out. Keep it where only those can read it who may, and delete it when it is no longer needed."
)
TABLES = (
    "Every .csv file is a table as RFC 4180 has it: UTF-8 with a mark at its start, columns parted by commas, lines "
    "ended by CR LF, the first line names the columns. What each column is stands in dictionary.csv."
)
READING = (
    "Rows are numbered 1, 2, 3 … in the column id, in the order in which they were made. A column that names a row of "
    "another table holds its number there.",
    "Numbers are written with a point, whoever reads them. Days are YYYY-MM-DD. Moments are in UTC, to the "
    "microsecond, such as 2026-10-31T07:30:00.000000Z; a café's own time zone stands in cafes.csv.",
    "Where dictionary.csv says that a cell may be empty because something is not known, an empty cell says that "
    "(NULL). In any other text column an empty cell is a text without a letter.",
    "Text that begins with = + - @ a tab or a line break has an apostrophe before it, so that no spreadsheet takes it "
    "for a formula; so has text that begins with an apostrophe. Drop the first apostrophe of a text or JSON cell to "
    "have the text as it is. In a text column where NULL may stand, an apostrophe alone is a text without a letter.",
    "JSON cells are written without spaces, their keys in order.",
)
TAKEN_IN = (
    "An empty brewbar takes all of it in: python3 manage.py take_in FILE.zip. Nothing is changed by that; its own "
    f"export has the same files again but for the time in {MANIFEST}. Passwords, PINs and keys are not in the file: "
    "people choose new ones. Only the tables are read for that; README.txt, dictionary.csv and recipes.json are for "
    "you."
)


OF_THE_BAR = (
    "This file holds what the bar works with: recipes, coffees, boards, equipment and the checks of its instruments. "
    "It holds neither people nor their results, but for what somebody typed about somebody into a note."
)
NOT_TAKEN_IN = (
    "It is for reading: brewbar takes in only an export of everything, which python3 manage.py export writes on the "
    "server."
)


def readme(whole: bool = True) -> str:
    """In English whatever language is on: the file is the same for everybody."""
    first, last = (HANDLING, TAKEN_IN) if whole else (OF_THE_BAR, NOT_TAKEN_IN)
    title = "Everything a company has in brewbar" if whole else "What a bar works with, from brewbar"
    with translation.override("en"):
        lines = [title, "=" * len(title), ""]
        for paragraph in (first, TABLES, *READING, last):
            lines += [textwrap.fill(paragraph, WIDTH), ""]
        lines += _listed("The files", _files(whole))
        if whole:
            lines += _listed("What is not in it", _left_out())
        lines += [RECIPES, "-" * len(RECIPES), "", textwrap.fill(EXPLAINED, WIDTH)]
    return "\r\n".join("\r\n".join(one.splitlines()) for one in lines) + "\r\n"


def _files(whole: bool) -> dict[str, str]:
    return {
        MANIFEST: "When and by which brewbar it was made, how many rows each table has, SHA-256 of every other file.",
        README: "This.",
        DICTIONARY: "What every column is.",
        RECIPES: "Recipes once more, to be read more easily.",
        **{table.file: about(table) for table in tables(whole)},
    }


def _left_out() -> dict[str, str]:
    return {
        **{f"{table_of(model).name}.{name}": one.why for (model, name), one in LEFT_OUT.items()},
        **{str(model._meta.verbose_name_plural): why for model, why in TABLES_LEFT_OUT.items()},
        "what people of other companies too set for themselves": "It is theirs; they are here by their names alone.",
    }


def _listed(title: str, said: dict[str, str]) -> list[str]:
    indent = " " * 4
    lines = [title, "-" * len(title), ""]
    for name, words in said.items():
        lines += [name, textwrap.fill(words, WIDTH, initial_indent=indent, subsequent_indent=indent)]
    return [*lines, ""]
