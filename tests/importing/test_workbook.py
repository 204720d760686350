"""Workbooks beside another reader of them, and what such don't tell: formulas, merged and hidden cells."""

import io
from datetime import date, datetime, time, timedelta

import openpyxl
import pytest
import python_calamine

from calibration.importing.raw import Percent, Trouble
from calibration.importing.reading import open_sheet, sheets_in
from tests.importing.sheets import (
    SHEET,
    at,
    book_file,
    cells_of,
    patched,
    rows_of,
    with_parts,
    with_shared_text,
)

DAY = at(2026, 3, 9, 8, 15)
ROWS = [
    ["When", "Text", "Whole", "Decimal", "Day", "Hour", "Yes"],
    [DAY, " Zoë & <Ana> ", 250, 217.4, date(2026, 3, 9), time(14, 5), True],
    [None, None, None, None, None, None, None],
    [
        at(1999, 12, 31, 23, 59, 59),
        "two\nlines",
        -3,
        0.1 + 0.2,
        date(1900, 3, 1),
        time(0, 2, 45),
        False,
    ],
]


def test_beside_another_reader():
    file = book_file(ROWS)
    ours = {(row.number, place): cell for row in rows_of(file) for place, cell in enumerate(row.cells)}
    file.seek(0)
    with python_calamine.CalamineWorkbook.from_filelike(file) as book:
        others = book.get_sheet_by_index(0).to_python(skip_empty_area=False)
    for (number, place), cell in ours.items():
        other = others[number - 1][place]
        if isinstance(other, bool):
            other = str(other).upper()
        elif isinstance(other, str):
            other = other.strip()
        elif isinstance(other, float):
            other = float(f"{other:.15g}")
        if isinstance(other, datetime) and not isinstance(cell, datetime):
            other = other.date()
        assert cell == other
    assert sorted(ours) == [(number, place) for number in (1, 2, 4) for place in range(7)]


def test_a_formula_is_told_and_used_only_with_its_result():
    file = book_file([["Dose", "Water"], [15, "=A2*16"], [15.2, "=A3*16"], ["=1/0", '=""']])
    file = patched(file, SHEET, r"(<f>A2\*16</f>)<v ?/>", r"\1<v>240</v>")
    file = patched(file, SHEET, r'<c r="A4">(<f>1/0</f>)<v ?/>', r'<c r="A4" t="e">\1<v>#DIV/0!</v>')
    file = patched(file, SHEET, r'<c r="B4">(<f>""</f>)<v ?/>', r'<c r="B4" t="str">\1<v></v>')
    rows = rows_of(file)
    assert rows[1].cells == (15, 240)
    assert rows[1].formulas == (1,)
    assert "result isn't in the file" in rows[2].cells[1].says
    assert "#DIV/0!" in rows[3].cells[0].says
    assert len(rows[3].cells) == 1


def test_merged_cells_are_told_with_what_stands_in_them():
    def merge(sheet):
        sheet.merge_cells("A2:A4")
        sheet.merge_cells("B1:C1")

    with open_sheet(
        book_file([["Day", "TDS", None], ["9 March", 1], [None, 2], [None, 3], ["10 March", 4]], merge)
    ) as sheet:
        head, first, second, third, after = (row.cells for row in sheet.rows())
        assert sheet.merged == ("B1:C1", "A2:A4")
        assert any("merged" in note for note in sheet.notes)
    assert (head[2].covers, head[2].value) == ("B1:C1", "TDS")
    assert [first[0], second[0].value, third[0].value, after[0]] == [
        "9 March",
        "9 March",
        "9 March",
        "10 March",
    ]
    assert "Unmerge" in second[0].says


def test_hidden_rows_and_columns_are_told():
    def hide(sheet):
        sheet.row_dimensions[2].hidden = True
        sheet.column_dimensions["B"].hidden = True

    with open_sheet(book_file([["a", "b"], [1, 2], [3, 4]], hide)) as sheet:
        assert [row.hidden for row in sheet.rows()] == [False, True, False]
        assert sheet.hidden_columns == {1}
        assert any("Column B is hidden" in note for note in sheet.notes)


def test_clocks_and_per_cent_as_they_are_shown():
    def show(sheet):
        for cell, shown in (("A1", "[h]:mm:ss"), ("B1", "mm:ss"), ("C1", "0.00%"), ("D1", "h:mm")):
            sheet[cell].number_format = shown

    (cells,) = cells_of(book_file([[25 / 24, 165 / 86_400, 0.0138, 0.114583333333333]], show))
    assert cells == (timedelta(hours=25), timedelta(seconds=165), Percent(1.38), time(2, 45))


def test_days_of_a_workbook_that_counts_from_1904():
    file = book_file([[date(2026, 3, 9)]])
    file = patched(file, "xl/workbook.xml", r"<workbookPr ?/>", '<workbookPr date1904="1"/>')
    assert cells_of(file) == [(date(2030, 3, 10),)]


def test_shared_and_rich_texts_without_their_phonetic_hints():
    file = book_file([["plain"]])
    rich = (
        '<is><r><t xml:space="preserve">two </t></r><r><rPr><b/></rPr><t>words</t></r>'
        '<rPh sb="0" eb="1"><t>hint</t></rPh><phoneticPr fontId="1"/></is>'
    )
    inline = patched(file, SHEET, r'<c r="A1"[^>]*>.*?</c>', f'<c r="A1" t="inlineStr">{rich}</c>')
    assert cells_of(inline) == [("two words",)]
    shared = with_shared_text(file, "A1", rich.replace("is>", "si>").replace("words", "_x0041_&amp;"))
    assert cells_of(shared) == [("two A&",)]


def test_a_sheet_whose_names_have_a_prefix():
    file = patched(book_file([["a", 1], ["b", 2]]), SHEET, r"<(/?)(?=[a-zA-Z])", r"<\1x:")
    assert cells_of(patched(file, SHEET, "xmlns=", "xmlns:x=")) == [("a", 1), ("b", 2)]


def test_cells_without_an_address_follow_each_other():
    file = patched(book_file([["a", 1], ["b", 2]]), SHEET, r' r="[A-Z]*\d+"', "")
    assert cells_of(file) == [("a", 1), ("b", 2)]


@pytest.mark.parametrize("said", ['<dimension ref="A1"/>', '<dimension ref="B2:XFD1048576"/>', ""])
def test_what_a_sheet_says_of_its_size_is_not_believed(said):
    file = patched(book_file([["a", 1], [None, None], ["b", 2]]), SHEET, "<dimension[^>]*/>", said)
    assert [(row.number, row.cells) for row in rows_of(file)] == [(1, ("a", 1)), (3, ("b", 2))]


def test_a_style_that_is_not_told_shows_a_number():
    assert cells_of(patched(book_file([[0.25]]), SHEET, '<c r="A1"', '<c r="A1" s="99"')) == [(0.25,)]


def test_the_first_sheet_that_is_shown_or_the_one_named():
    book = openpyxl.Workbook()
    book.active.title = "Notes"
    book.active["A1"] = "hidden"
    book.active.sheet_state = "hidden"
    book.create_sheet("Brews")["B2"] = "here"
    book.create_sheet("Lots")["A1"] = "lots"
    file = io.BytesIO()
    book.save(file)
    assert [(one.name, one.hidden) for one in sheets_in(file)] == [
        ("Notes", True),
        ("Brews", False),
        ("Lots", False),
    ]
    with open_sheet(file) as sheet:
        assert (sheet.name, [tuple(row)[:2] for row in sheet.rows()]) == ("Brews", [(2, (None, "here"))])
        assert any("Notes, Lots" in note for note in sheet.notes)
    assert cells_of(file) != [row.cells for row in rows_of(file, "Lots")] == [("lots",)]


def test_macros_are_not_run_and_that_is_said():
    with open_sheet(with_parts(book_file([["a", 1]]), **{"xl/vbaProject.bin": b"anything"})) as sheet:
        assert "The workbook has macros. They were not run." in sheet.notes


def test_troubles_are_the_same_if_they_say_the_same():
    assert Trouble("a") == Trouble("a") != Trouble("b")
