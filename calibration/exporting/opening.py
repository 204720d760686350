"""An export as a file that somebody brings: looked through before a word of it is believed.

It may be damaged, changed by hand, made by a later brewbar, or made to do harm: nothing is unpacked to the disk, and
what is read is bounded.
"""

from __future__ import annotations

import codecs
import csv
import hashlib
import io
import json
import zlib
from collections.abc import Iterator
from contextlib import contextmanager
from dataclasses import dataclass
from pathlib import Path
from typing import IO, Any
from zipfile import ZIP_DEFLATED, ZIP_STORED, BadZipFile, ZipFile

from brewbar.refusal import Refusal
from calibration.exporting import DICTIONARY, FORMAT, MANIFEST, README, RECIPES
from calibration.exporting.tables import tables

LARGEST_MANIFEST = 1 << 20
LONGEST_LINE = 1 << 22
"""Characters of a row, and of a cell."""
DENSEST = 200
"""Times that a member may be larger than it is packed: tables of ours are at most twenty times."""
SMALL = 1 << 20
CHUNK = 1 << 20
NOT_ONE_OF_OURS = (
    BadZipFile,
    zlib.error,
    EOFError,
    KeyError,
    RuntimeError,
    TypeError,
    ValueError,
    AttributeError,
)
"""What the standard library raises for a file that is cut, overwritten, encrypted, or of somebody else."""


@dataclass(frozen=True)
class Manifest:
    format: int
    brewbar: str
    made_at: str
    company: str
    rows: dict[str, int]
    sha256: dict[str, str]


class Export:
    """An export that is open, and whose sums have been found right."""

    def __init__(self, archive: ZipFile, manifest: Manifest) -> None:
        self._archive = archive
        self.manifest = manifest

    def has(self, file: str) -> bool:
        return file in self.manifest.sha256

    @contextmanager
    def lines(self, file: str) -> Iterator[Iterator[list[str]]]:
        """The rows of a table, the first of which names the columns."""
        before = csv.field_size_limit(LONGEST_LINE)
        try:
            with self._archive.open(file) as raw, io.TextIOWrapper(raw, "utf-8-sig", newline="") as text:
                yield csv.reader(_bounded(text, file), strict=True)
        except UnicodeDecodeError:
            raise Refusal(f"{file} is not in UTF-8.") from None
        except csv.Error as error:
            raise Refusal(f"{file} is no table that can be read: {error}.") from error
        finally:
            csv.field_size_limit(before)


def _bounded(text: IO[str], file: str) -> Iterator[str]:
    while line := text.readline(LONGEST_LINE):
        if len(line) == LONGEST_LINE:
            raise Refusal(f"{file} has a line of more than {LONGEST_LINE:,} characters.")
        yield line


@contextmanager
def opened(path: Path) -> Iterator[Export]:
    """The export in ``path``. Raises Refusal for whatever is none, or not as it was written."""
    try:
        archive = ZipFile(path)
    except OSError as error:
        raise Refusal(f"{path} cannot be read ({error.strerror}).") from error
    except NOT_ONE_OF_OURS as error:
        raise Refusal(f"{path} is not an export of brewbar, or is damaged.") from error
    with archive:
        try:
            export = Export(archive, _looked_through(path, archive))
        except NOT_ONE_OF_OURS as error:
            raise Refusal(f"{path} is not an export of brewbar, or is damaged.") from error
        yield export


def _looked_through(path: Path, archive: ZipFile) -> Manifest:
    entries = archive.infolist()
    names = [entry.filename for entry in entries]
    if MANIFEST not in names:
        raise Refusal(f"{path} is not an export of brewbar: it has no {MANIFEST}.")
    known = {MANIFEST, README, DICTIONARY, RECIPES, *(table.file for table in tables())}
    if len(set(names)) != len(names):
        raise Refusal(f"{path} was changed: it holds a file twice.")
    for entry in entries:
        if entry.compress_type not in (ZIP_STORED, ZIP_DEFLATED) or entry.flag_bits & 0x1:
            raise Refusal(
                f"{path} was changed: {entry.filename} is packed in a way that brewbar does not use."
            )
        if entry.file_size > max(SMALL, DENSEST * entry.compress_size):
            raise Refusal(
                f"{path} was made to do harm: {entry.filename} would be {entry.file_size:,} bytes once unpacked."
            )
    manifest = _manifest(path, archive)
    if unknown := sorted(set(names) - known):
        raise Refusal(
            f"{path} holds {', '.join(unknown)}, which this brewbar does not know: update it first."
        )
    if set(names) != {MANIFEST, *manifest.sha256}:
        raise Refusal(f"{path} was changed: it does not hold the files that its {MANIFEST} names.")
    for name, expected in manifest.sha256.items():
        if _sum(archive, name) != expected:
            raise Refusal(f"{path} is damaged or was changed: {name} is not what was written.")
    return manifest


def _manifest(path: Path, archive: ZipFile) -> Manifest:
    if archive.getinfo(MANIFEST).file_size > LARGEST_MANIFEST:
        raise Refusal(f"{path} is not an export of brewbar: its {MANIFEST} is too large.")
    said: Any = json.loads(codecs.decode(archive.read(MANIFEST), "utf-8"))
    form = said["format"]
    if type(form) is not int or form < 1:
        raise Refusal(f"{path} is not an export of brewbar: no brewbar writes the format {form!r}.")
    if form > FORMAT:
        raise Refusal(
            f"{path} has format {form}, made by brewbar {said.get('brewbar')}, and this brewbar reads up to {FORMAT}: "
            "update it first."
        )
    if said.get("whole", True) is not True:
        raise Refusal(
            f"{path} holds neither people nor results: it is for reading. What is taken in is an export of "
            "everything, which python3 manage.py export writes."
        )
    rows, sums = said["rows"], said["sha256"]
    if not all(type(number) is int for number in rows.values()) or not all(map(_is_text, sums.values())):
        raise ValueError(MANIFEST)
    return Manifest(form, str(said["brewbar"]), str(said["made_at"]), str(said["company"]), rows, sums)


def _is_text(value: Any) -> bool:
    return isinstance(value, str)


def _sum(archive: ZipFile, name: str) -> str:
    summed = hashlib.sha256()
    with archive.open(name) as member:
        while piece := member.read(CHUNK):
            summed.update(piece)
    return summed.hexdigest()
