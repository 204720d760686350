"""Ten times the rows take no more memory."""

import tracemalloc

import pytest

from calibration.importing.reading import open_sheet
from tests.importing.sheets import book_file, lines

ROWS = {"few": 1_000, "many": 10_000}
A_LITTLE = 300_000  # bytes: 33 for each row more, and the emptiest element of XML takes 50


def as_lines(count):
    return lines(*([n, n % 23] for n in range(count)))


def as_workbook(count):
    """Rows say how high they are, as spreadsheets write them."""

    def set_heights(sheet):
        for number in range(1, count + 1):
            sheet.row_dimensions[number].height = 12.8

    return book_file(([n % 23] for n in range(count)), set_heights)


def most_held(file):
    tracemalloc.start()
    try:
        with open_sheet(file) as sheet:
            assert sum(1 for _row in sheet.rows()) == sheet.count
        return tracemalloc.get_traced_memory()[1]
    finally:
        tracemalloc.stop()


@pytest.mark.parametrize("made", [as_lines, as_workbook])
def test_memory_does_not_grow_with_the_rows(made):
    most_held(made(10))  # what is remembered from the first time
    assert most_held(made(ROWS["many"])) < most_held(made(ROWS["few"])) + A_LITTLE
