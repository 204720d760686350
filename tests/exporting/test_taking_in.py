"""A file that is no export, or not as it was written, is refused in words, and nothing of it is taken in."""

from __future__ import annotations

import csv
import io
import json
import struct
from zipfile import ZIP_BZIP2, ZIP_DEFLATED, ZipFile

import pytest
from django.utils import timezone

from brewbar.crew.models import Company, User
from brewbar.refusal import Refusal
from calibration.exporting import FORMAT, MANIFEST, writing
from calibration.models import Reading
from recipes.models import Coffee
from tests.exporting import lived


@pytest.fixture(scope="module")
def packed(kept_rows):
    """An export; the database of the module is empty again."""
    made = lived.exported(lived.build())
    lived.emptied()
    return made


def refused(packed: bytes) -> str:
    with pytest.raises(Refusal) as said:
        lived.taken_in(packed)
    assert not Company.objects.exists()
    assert not User.objects.exists()
    assert "Traceback" not in str(said.value)
    return str(said.value)


def edited(file: str, change):
    """A change of a table's rows, by name of column."""

    def edit(found):
        text = found[file].decode("utf-8-sig")
        head, *rows = csv.reader(io.StringIO(text, newline=""))
        rows = [dict(zip(head, row, strict=True)) for row in rows]
        rows = change(rows) or rows
        out = io.StringIO(newline="")
        sheet = csv.DictWriter(out, list(rows[0]))
        sheet.writeheader()
        sheet.writerows(rows)
        found[file] = out.getvalue().encode()

    return edit


def manifest(**other):
    def change(found):
        found[MANIFEST] = json.dumps(json.loads(found[MANIFEST]) | other).encode()

    return change


def set_cell(column, value, row=0):
    def change(rows):
        rows[row][column] = value

    return change


def test_as_it_was_written_it_is_taken_in(db, packed):
    assert lived.taken_in(packed).rows > 100
    assert Company.objects.count() == 1


def test_zipped_anew_it_is_still_the_same(db, packed):
    assert lived.taken_in(lived.repacked(packed, lambda found: None)).rows > 100


def test_what_holds_no_people_is_for_reading(kept_rows):
    company = lived.build()
    with writing.written(company, timezone.now(), whole=False) as file:
        packed = file.read()
    lived.emptied()
    assert "holds neither people nor results: it is for reading" in refused(packed)


def test_a_brewbar_that_has_a_company_takes_nothing_in(db, packed):
    there = lived.taken_in(packed).company
    readings = Reading.objects.count()
    with pytest.raises(Refusal, match=f"^{there.name} is here already"):
        lived.taken_in(packed)
    assert Reading.objects.count() == readings


def test_a_brewbar_that_has_people_takes_nothing_in(db, packed):
    User.objects.create(username="early", name="Early")
    with pytest.raises(Refusal, match="people here already"):
        lived.taken_in(packed)


@pytest.mark.parametrize("at", [0, 30, 1000, -200, -30, -1])
def test_a_file_that_is_cut_is_refused(db, packed, at):
    assert "not an export" in refused(packed[:at]) or "damaged" in refused(packed[:at])


def test_a_bit_that_fell_over_is_refused(db, packed):
    with ZipFile(io.BytesIO(packed)) as archive:
        at = archive.getinfo("readings.csv").header_offset + 200
    assert "damaged" in refused(packed[:at] + bytes([packed[at] ^ 8]) + packed[at + 1 :])


def test_another_zip_is_refused(db):
    target = io.BytesIO()
    with ZipFile(target, "w") as archive:
        archive.writestr("holiday.txt", "sun")
    assert "has no export.json" in refused(target.getvalue())


@pytest.mark.parametrize(
    "said", [b"", b"[]", b"{}", b"\xff", b'{"format": 1}', b'{"format": 1, "rows": 1}', b"[" * 9999]
)
def test_a_manifest_that_says_nothing_of_ours_is_refused(db, packed, said):
    assert "is not an export" in refused(
        lived.repacked(packed, lambda found: found.update({MANIFEST: said}), sums=False)
    )


def test_a_file_changed_by_hand_is_refused(db, packed):
    change = edited("readings.csv", set_cell("taste", "better"))
    assert "readings.csv is not what was written" in refused(lived.repacked(packed, change, sums=False))


@pytest.mark.parametrize("name", ["coffees.csv", "recipes.json"])
def test_a_file_that_is_missing_is_refused(db, packed, name):
    assert "does not hold the files" in refused(
        lived.repacked(packed, lambda found: found.pop(name), sums=False)
    )


def test_a_file_that_is_not_ours_is_refused_and_written_nowhere(db, packed):
    for name in ("../../evil.csv", "/etc/evil", "evil.csv"):
        said = refused(lived.repacked(packed, lambda found, name=name: found.update({name: b"x"})))
        assert "does not know: update it first" in said


def test_a_file_twice_is_refused(db, packed):
    target = io.BytesIO(packed)
    with pytest.warns(UserWarning, match="Duplicate"), ZipFile(target, "a") as archive:
        archive.writestr("company.csv", "id\r\n1\r\n")
    assert "holds a file twice" in refused(target.getvalue())


def test_a_zip_bomb_is_refused_before_it_is_unpacked(db, packed):
    bomb = lived.repacked(packed, lambda found: found.update({"coffees.csv": b"0" * 50_000_000}))
    assert len(bomb) < 1_000_000
    assert "made to do harm: coffees.csv would be 50,000,000 bytes" in refused(bomb)


def test_a_bomb_that_lies_about_its_size_is_refused(db, packed):
    """The size stands in the central directory, 24 bytes after each entry's signature (PKWARE APPNOTE 4.3.12)."""
    bomb = bytearray(lived.repacked(packed, lambda found: found.update({"coffees.csv": b"0" * 50_000_000})))
    at = -1
    while (at := bomb.find(b"PK\x01\x02", at + 1)) >= 0:
        (length,) = struct.unpack_from("<H", bomb, at + 28)
        if bomb[at + 46 : at + 46 + length] == b"coffees.csv":
            struct.pack_into("<I", bomb, at + 24, 1000)
    assert "damaged" in refused(bytes(bomb))


def test_one_endless_line_is_refused(db, packed):
    line = "".join(f"{number:x}" for number in range(1_200_000)).encode()
    said = refused(lived.repacked(packed, lambda found: found.update({"coffees.csv": line})))
    assert "coffees.csv has a line of more than" in said


def test_a_way_of_packing_that_is_not_ours_is_refused(db, packed):
    target = io.BytesIO()
    with ZipFile(target, "w", ZIP_DEFLATED) as archive:
        for name, content in lived.members(packed).items():
            archive.writestr(name, content, ZIP_BZIP2 if name == "drops.csv" else ZIP_DEFLATED)
    assert "drops.csv is packed in a way" in refused(target.getvalue())


# --- formats, older and newer


@pytest.mark.parametrize("form", [0, -1, "1", None, True, 1.0, []])
def test_a_format_that_nobody_writes_is_refused(db, packed, form):
    assert "no brewbar writes the format" in refused(lived.repacked(packed, manifest(format=form)))


def test_a_newer_format_asks_for_an_update(db, packed):
    said = refused(lived.repacked(packed, manifest(format=FORMAT + 1, brewbar="9.9")))
    assert (
        f"has format {FORMAT + 1}, made by brewbar 9.9, and this brewbar reads up to {FORMAT}: update" in said
    )


def test_a_column_that_this_brewbar_does_not_know_asks_for_an_update(db, packed):
    change = edited("coffees.csv", lambda rows: [row | {"altitude": "1"} for row in rows])
    assert "coffees.csv has altitude, which this brewbar does not know" in refused(
        lived.repacked(packed, change)
    )


def without(*columns):
    return lambda rows: [{k: v for k, v in row.items() if k not in columns} for row in rows]


def test_an_older_export_without_a_column_or_table_of_today_is_taken_in(db, packed):
    def older(found):
        edited("coffees.csv", without("density_g_l", "process"))(found)
        edited("readings.csv", without("brew_water", "bypass_g"))(found)
        del found["follow_ups.csv"]

    lived.taken_in(lived.repacked(packed, older))
    assert Coffee.objects.first().process == ""
    assert Reading.objects.first().bypass_g == 0


def test_a_column_without_a_default_must_be_there(db, packed):
    for column in ("name", "id", "company"):
        said = refused(lived.repacked(packed, edited("coffees.csv", without(column))))
        assert f"coffees.csv has no column {column}" in said


# --- what does not fit


@pytest.mark.parametrize(
    ("file", "column", "value", "says"),
    [
        ("coffees.csv", "id", "7", "row 2: id should be 1"),
        ("coffees.csv", "name", "n" * 61, "row 2, name: this should be text of at most 60 characters"),
        ("coffees.csv", "company", "2", "does not fit together"),
        ("readings.csv", "dose_g", "fifteen", "readings.csv, row 2, dose_g: this should be a number"),
        ("readings.csv", "dose_g", "0.0", "does not fit together"),
        ("readings.csv", "dose_g", "", "row 2, dose_g"),
        ("readings.csv", "barista", "999", "does not fit together"),
        ("readings.csv", "void_reason", "for nothing", "does not fit together"),
        ("readings.csv", "kind", "guess", "this should be one of check, practice, served"),
        ("readings.csv", "corrects", "1000", "does not fit together"),
        ("recipe_versions.csv", "tds_tolerance", "0.00", "does not fit together"),
        ("memberships.csv", "role", "barista", "does not fit together"),
    ],
)
def test_a_row_that_cannot_be_is_refused_by_its_place(db, packed, file, column, value, says):
    change = lived.repacked(packed, edited(file, set_cell(column, value)))
    assert says in refused(change)


def test_a_row_twice_is_refused(db, packed):
    def twice(rows):
        rows[1]["name"] = rows[0]["name"]

    assert "does not fit together" in refused(lived.repacked(packed, edited("coffees.csv", twice)))


def test_two_companies_in_a_file_are_refused(db, packed):
    two = edited("company.csv", lambda rows: [rows[0], rows[0] | {"id": "2", "name": "Second"}])
    assert "an export is of one company" in refused(lived.repacked(packed, two))


def test_rows_that_the_manifest_does_not_count_are_refused(db, packed):
    fewer = edited("drops.csv", lambda rows: rows[:-1])
    assert "rows, and the export says otherwise" in refused(lived.repacked(packed, fewer))


def test_a_row_that_is_too_short_is_refused(db, packed):
    def cut(found):
        found["drops.csv"] = found["drops.csv"].rstrip().rpartition(b",")[0] + b"\r\n"

    assert "should have" in refused(lived.repacked(packed, cut))


def test_a_table_that_is_not_in_utf_8_is_refused(db, packed):
    change = lived.repacked(packed, lambda found: found.update({"coffees.csv": b"id,name\r\n1,Caf\xe9\r\n"}))
    assert "coffees.csv is not in UTF-8" in refused(change)
