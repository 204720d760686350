"""The report on A4: the same words and numbers as the page, whole in black and white, and the same bytes again."""

from __future__ import annotations

import io
import json
import re
from dataclasses import replace
from functools import cache

import numpy as np
import pypdf
import pytest
import typst
from PIL import Image, ImageChops

from brewbar.glyphs import FONT_DIR, as_drawn
from brewbar.typesetting import ROOT
from calibration.report_print import DRAWING, report_pdf, said
from calibration.reporting.result import Section, Table
from tests.reporting import sample

A4_PT = (595, 842)


@cache
def pages_of(report=None):
    return pypdf.PdfReader(io.BytesIO(report_pdf(report or sample.report()))).pages


def words_of(pages):
    """What is read, without the places where a long word may break."""
    return as_drawn(" ".join(page.extract_text() for page in pages))


def squeezed(text):
    return re.sub(r"\s+", "", as_drawn(text))


def test_it_is_a4_on_several_pages_each_with_its_number_and_whose_it_is():
    pages = pages_of()
    assert len(pages) > 3
    for number, page in enumerate(pages, start=1):
        assert (round(page.mediabox.width), round(page.mediabox.height)) == A4_PT
        text = as_drawn(page.extract_text())
        assert f"Page {number} / {len(pages)}" in text
        assert "October 2026, the whole company" in text
        assert "Invented example data" in text


def test_the_first_page_says_the_three_sentences_how_sure_and_what_to_do():
    report = sample.report()
    first = squeezed(pages_of()[0].extract_text())
    for sentence in report.sentences:
        assert squeezed(sentence.says) in first
        assert squeezed(sentence.how_sure) in first
    for item in report.next:
        assert squeezed(item) in first
    assert all(word in first for word in ("Sure.", "Likely.", "Cannotsay."))


def test_every_sentence_note_and_cell_of_the_report_is_on_paper():
    report = sample.report()
    text = squeezed(words_of(pages_of()))
    for section in report.sections:
        for words in (section.title, *section.says, *section.notes):
            assert squeezed(words) in text, words
    for table in report.tables:
        for row in table.cells:
            assert all(squeezed(cell) in text for cell in row), row
    assert squeezed(report.people_note) in text
    assert "3f9a3f9a3f9a3f9a" in text


def test_a_table_that_goes_on_repeats_its_head():
    pages = [squeezed(page.extract_text()) for page in pages_of()]
    with_recipes = [page for page in pages if "Recipe12,washed" in page or "Recipe40,washed" in page]
    tables = [page for page in with_recipes if "WhatNow" in page]
    assert tables
    long = replace(sample.report(recipes=120))
    pages = [squeezed(page.extract_text()) for page in pages_of(long)]
    rows = [page for page in pages if re.search(r"Recipe\d+,washed.*–", page) and "Interval" in page]
    assert len(rows) > 1
    assert all("WhatNowInterval(95%)BeforeVerdict" in page for page in rows)


def test_the_same_report_gives_the_same_bytes_and_another_number_others():
    report = sample.report()
    assert report_pdf(report) == report_pdf(sample.report())
    other = replace(report, title="October 2026, another")
    assert report_pdf(other) != report_pdf(report)


def test_a_report_of_nothing_is_a_page_too():
    empty = replace(sample.report(), sentences=(), next=(), sections=(), notes=(), people_note="")
    empty = replace(empty, cut=replace(empty.cut, last_entered=None, readings=0, counted=0))
    assert len(pages_of(empty)) == 1


def test_it_tells_a_screen_reader_its_language_title_headings_and_tables():
    reader = pypdf.PdfReader(io.BytesIO(report_pdf(sample.report())))
    root = reader.trailer["/Root"]
    assert root["/MarkInfo"]["/Marked"]
    assert str(root["/Lang"]).startswith("en")
    assert reader.metadata.title == "October 2026, the whole company"
    assert reader.xmp_metadata is not None
    assert b"pdfuaid" in root["/Metadata"].get_data()
    outline = [entry.title for entry in _flat(reader.outline)]
    assert outline[:3] == ["October 2026, the whole company", "What to look at next", "Inside target"]


def _flat(entries):
    for entry in entries:
        yield from _flat(entry) if isinstance(entry, list) else [entry]


def test_there_is_no_colour_on_any_page():
    for picture in _pictures():
        red, green, blue = picture.split()
        assert ImageChops.difference(red, green).getbbox() is None
        assert ImageChops.difference(green, blue).getbbox() is None


def test_how_sure_a_sentence_is_has_three_shapes():
    """A full disc, a half one, an empty one: so much of each is dark, left of the sentences."""
    dark = (np.asarray(_pictures()[0].convert("L"))[128:235, 52:71] < 128).sum(axis=1)
    ends = np.flatnonzero(np.diff((dark > 0).astype(int), prepend=0, append=0))
    rows = [dark[start:end].sum() for start, end in ends.reshape(-1, 2)]
    whole = max(rows)
    assert whole == rows[0] > 150
    assert 0.4 * whole < rows[1] < 0.8 * whole
    assert sum(rows[2:]) < 0.4 * whole


def test_what_the_font_lacks_is_a_question_mark_and_what_steers_a_line_is_gone():
    table = Table(
        "t", "T", ("What",), (("Kettle \N{TEAPOT}\N{RIGHT-TO-LEFT OVERRIDE}",),), ("what",), (("x",),)
    )
    report = replace(sample.report(), sections=(Section("t", "T", (), None, table),))
    text = words_of(pages_of(report))
    assert "Kettle ?" in text
    assert "\N{TEAPOT}" not in text


@pytest.mark.parametrize(
    "typed", ['#read("/etc/passwd")', "$x^2$", "@ref", "= Title", "\\ #pagebreak()", "*b* _i_"]
)
def test_nothing_typed_is_read_as_a_drawing(typed):
    report = replace(sample.report(), title=typed, next=(typed,), sections=())
    assert squeezed(typed) in squeezed(words_of(pages_of(report)[:1]))


@pytest.mark.parametrize("length", [60, 300])
def test_long_words_stay_on_the_paper(length):
    word = "Ü" * length
    table = Table("t", word, (word, "n"), ((word, "1"),), ("a", "b"), ((word, 1),))
    report = replace(
        sample.report(), title=word, next=(word,), sections=(Section("t", word, (word,), None, table),)
    )
    for picture in _pictures(report):
        margin = picture.convert("L").crop((picture.width - 50, 0, picture.width, picture.height))
        assert margin.getextrema()[0] > 200, "something reaches into the margin"


@cache
def _pictures(report=None):
    made = typst.compile(
        DRAWING,
        root=ROOT,
        font_paths=[str(FONT_DIR)],
        ignore_system_fonts=True,
        format="png",
        ppi=72,
        sys_inputs={"job": json.dumps(said(report or sample.report()))},
    )
    pages = made if isinstance(made, list) else [made]
    return [Image.open(io.BytesIO(page)).convert("RGB") for page in pages]
