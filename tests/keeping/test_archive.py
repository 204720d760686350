"""The backup file: what it is called, what it refuses, what rotation takes away."""

from __future__ import annotations

import os
import stat
import zipfile
from datetime import UTC, datetime, timedelta, timezone
from pathlib import Path

import pytest

from brewbar.keeping import archive
from brewbar.refusal import Refusal

AT = datetime(2026, 3, 1, 9, 30, tzinfo=UTC)


def packed(folder: Path, at: datetime = AT, **said) -> Path:
    database = folder / "db"
    database.write_bytes(b"all that is kept" * 1000)
    given = {
        "format": archive.FORMAT,
        "version": "1",
        "made_at": at.isoformat(),
        "engine": "sqlite",
        "migrations": [],
        "rows": {"a": 1},
        "sha256": {archive.DATABASE: archive.checksum(database)},
    }
    target = folder / archive.name_for(at)
    archive.pack(target, {archive.DATABASE: database}, archive.Manifest(**given | said))
    database.unlink()
    return target


def test_names_are_in_utc_and_sort_by_age():
    earlier = datetime(2026, 3, 1, 10, 0, tzinfo=timezone(timedelta(hours=2)))
    assert archive.name_for(earlier) == "brewbar-2026-03-01T080000Z.zip"
    assert archive.name_for(earlier) < archive.name_for(AT)


def test_only_its_owner_can_read_it(tmp_path):
    assert stat.S_IMODE(packed(tmp_path).stat().st_mode) == 0o600


def test_what_went_in_comes_out(tmp_path):
    backup = packed(tmp_path)
    out = tmp_path / "out"
    out.mkdir()
    archive.unpack(backup, archive.read(backup), out)
    assert (out / archive.DATABASE).read_bytes() == b"all that is kept" * 1000


@pytest.mark.parametrize("content", [b"", b"PK", b"not a zip at all" * 50])
def test_what_is_no_backup_is_refused(tmp_path, content):
    file = tmp_path / "x.zip"
    file.write_bytes(content)
    with pytest.raises(Refusal, match="not a backup of brewbar"):
        archive.read(file)


def test_a_zip_of_something_else_is_refused(tmp_path):
    with zipfile.ZipFile(tmp_path / "x.zip", "w") as other:
        other.writestr("photo.txt", "x")
    with pytest.raises(Refusal, match="not a backup"):
        archive.read(tmp_path / "x.zip")


def test_one_changed_byte_is_found(tmp_path):
    backup = packed(tmp_path)
    wrong = archive.Manifest(**archive.read(backup).__dict__ | {"sha256": {archive.DATABASE: "0" * 64}})
    with pytest.raises(Refusal, match="damaged"):
        archive.unpack(backup, wrong, tmp_path)


@pytest.mark.parametrize("at", [0.1, 0.5, 0.9])
def test_a_file_cut_or_overwritten_anywhere_is_refused(tmp_path, at):
    backup = packed(tmp_path)
    content = bytearray(backup.read_bytes())
    place = int(len(content) * at)
    content[place : place + 40] = b"?" * 40
    backup.write_bytes(content)
    out = tmp_path / "out"
    out.mkdir()
    with pytest.raises(Refusal):
        archive.unpack(backup, archive.read(backup), out)


@pytest.mark.parametrize("members", [{}, {"database": "0" * 64, "../elsewhere": "0" * 64}])
def test_members_that_are_missing_or_lead_out_of_the_folder_are_refused(tmp_path, members):
    with pytest.raises(Refusal, match="not a backup"):
        archive.read(packed(tmp_path, sha256=members))


def test_a_folder_without_room_is_not_called_a_damaged_backup(tmp_path):
    backup = packed(tmp_path)
    with pytest.raises(Refusal, match="cannot be unpacked into"):
        archive.unpack(backup, archive.read(backup), tmp_path / "nowhere")


def test_rotation_takes_the_oldest_of_ours_and_nothing_else(tmp_path):
    made = [packed(tmp_path, AT + timedelta(days=day)) for day in range(4)]
    foreign = tmp_path / "brewbar-2020-01-01T000000Z.zip"
    foreign.write_text("not ours, for all its name")
    (tmp_path / "holiday.zip").write_text("x")
    assert archive.older_than_newest(tmp_path, 2) == [made[1], made[0]]


def test_only_what_was_left_behind_a_day_ago_is_cleared_away(tmp_path):
    old, new = tmp_path / f"{archive.BEING_MADE}old", tmp_path / f"{archive.BEING_MADE}new"
    old.mkdir()
    new.mkdir()
    now = new.stat().st_mtime
    os.utime(old, (now - 2 * archive.LEFT_BEHIND_S,) * 2)
    assert archive.left_behind(tmp_path, now) == [old]
