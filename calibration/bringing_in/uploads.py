"""A spreadsheet between one page and the next: the file, and what was answered about it so far.

Files lie in the data folder under random names, for nobody but the server to read, until they were brought in or
thrown away, a week at the longest: they can hold more about people than brewbar wants to know.
"""

from __future__ import annotations

import hashlib
import json
import os
import re
import secrets
import time
from collections.abc import Iterator
from contextlib import contextmanager, suppress
from dataclasses import asdict, dataclass, field
from pathlib import Path
from threading import Lock
from typing import Any, BinaryIO

from django.conf import settings
from django.core.files.base import File
from django.utils.translation import get_language

from brewbar.crew.models import Cafe, User
from calibration.importing import columns, reading
from calibration.importing.fields import Kind
from calibration.importing.mapping import Mapping
from calibration.importing.raw import LIMITS
from calibration.importing.reading import Sheet

KEPT_DAYS = 7
MOST_BYTES = LIMITS.bytes
_TOKEN = re.compile(r"[0-9a-f]{32}")
_OPEN = 2


@dataclass
class Upload:
    """token: its name in addresses; sheet: of a workbook, "" for the first; mapping: `Mapping` as JSON; given: what
    the file doesn't say, by the key of the field; names: {field: {as typed: the key of the row that it means}}."""

    token: str
    cafe: int
    by: int
    filename: str
    sha256: str
    kind: str
    sheet: str = ""
    mapping: str = ""
    given: dict[str, str] = field(default_factory=dict)
    names: dict[str, dict[str, str]] = field(default_factory=dict)

    @property
    def path(self) -> Path:
        return _path(self.token, "file")

    @property
    def columns(self) -> Mapping:
        return Mapping.from_json(self.mapping)

    def save(self) -> None:
        with written(_path(self.token, "json")) as file:
            file.write(json.dumps(asdict(self)).encode())

    def beside(self, what: str) -> Path:
        """Another file about this one, such as its verdicts."""
        return _path(self.token, what)


def folder() -> Path:
    made = Path(settings.DATA_DIR) / "imports"
    made.mkdir(mode=0o700, parents=True, exist_ok=True)
    return made


@contextmanager
def written(path: Path) -> Iterator[BinaryIO]:
    """A file that nobody else can read, there once it is whole."""
    half = path.with_name(f"{path.name}.{secrets.token_hex(4)}.half")
    try:
        with os.fdopen(os.open(half, os.O_WRONLY | os.O_CREAT | os.O_EXCL, 0o600), "wb") as file:
            yield file
        half.replace(path)
    finally:
        half.unlink(missing_ok=True)


def keep(file: File[bytes], cafe: Cafe, by: User, kind: Kind) -> Upload:
    """Keep an uploaded spreadsheet. Raises Unreadable, and then keeps nothing."""
    sweep()
    token, digest = secrets.token_hex(16), hashlib.sha256()
    with written(_path(token, "file")) as kept:
        for chunk in file.chunks():
            digest.update(chunk)
            kept.write(chunk)
    name = Path(file.name or "").name[:200]
    upload = Upload(token, cafe.pk, by.pk, name, digest.hexdigest(), kind.value)
    try:
        with upload.path.open("rb") as opened:
            names = reading.sheets_in(opened)
        shown = [one for one in names if not one.hidden] or list(names)
        upload.sheet = shown[0].name if shown else ""
        start_over(upload)
    except BaseException:
        forget(upload)
        raise
    return upload


def start_over(upload: Upload, sheet: str | None = None, head_row: int | None = None) -> columns.Guessed:
    """Guess the columns of another sheet, or below another row. Raises Unreadable."""
    upload.sheet = upload.sheet if sheet is None else sheet
    with sheet_of(upload) as opened:
        guessed = columns.guess(opened, Kind(upload.kind), head_row)
    upload.mapping = guessed.mapping.to_json()
    upload.save()
    return guessed


def find(cafe: Cafe, token: str) -> Upload | None:
    """An upload of this café."""
    if not _TOKEN.fullmatch(token):
        return None
    try:
        said: dict[str, Any] = json.loads(_path(token, "json").read_bytes())
    except FileNotFoundError:
        return None
    upload = Upload(**said)
    return upload if upload.cafe == cafe.pk and upload.path.exists() else None


def waiting(cafe: Cafe) -> list[Upload]:
    """What was uploaded and not brought in yet, newest first."""
    sweep()
    paths = sorted(folder().glob("*.json"), key=lambda path: -path.stat().st_mtime)
    found = (find(cafe, path.stem) for path in paths)
    return [upload for upload in found if upload]


def forget(upload: Upload) -> None:
    close(upload.token)
    for path in folder().glob(f"{upload.token}.*"):
        path.unlink(missing_ok=True)


def sweep() -> None:
    """Delete what is older than a week."""
    oldest = time.time() - KEPT_DAYS * 86_400
    for path in folder().iterdir():
        with suppress(FileNotFoundError):  # others write and sweep too
            if path.stat().st_mtime < oldest:
                path.unlink()


def _path(token: str, what: str) -> Path:
    return folder() / f"{token}.{what}"


# --- sheets taken apart, which takes long: the last ones stay open


@dataclass(eq=False)
class Opened:
    """sheet: None until whoever holds the lock has taken it apart."""

    lock: Lock = field(default_factory=Lock)
    sheet: Sheet | None = None


opened_now: dict[tuple[str, str, str | None], Opened] = {}
"""By token, name of the sheet and language, since a sheet says what was seen in it."""
_changing = Lock()


@contextmanager
def sheet_of(upload: Upload) -> Iterator[Sheet]:
    """The sheet, for one at a time; others' can be had while it is waited for. Raises Unreadable."""
    key = (upload.token, upload.sheet, get_language())
    while True:
        with _changing:
            found = opened_now.get(key) or _room_for(key)
        with found.lock:
            if opened_now.get(key) is not found:
                continue  # it was let go meanwhile
            try:
                if found.sheet is None:
                    found.sheet = _taken_apart(upload)
                yield found.sheet
            finally:
                if found.sheet is None:
                    opened_now.pop(key, None)
                elif opened_now.get(key) is not found:
                    found.sheet.close()
            return


def _room_for(key: tuple[str, str, str | None]) -> Opened:
    for other in [other for other, one in opened_now.items() if not one.lock.locked()]:
        if len(opened_now) >= _OPEN:
            _let_go(other)
    opened_now[key] = Opened()
    return opened_now[key]


def _taken_apart(upload: Upload) -> Sheet:
    with upload.path.open("rb") as file:
        return reading.open_sheet(file, upload.sheet)


def close(token: str) -> None:
    """Let go of the sheets of an upload."""
    with _changing:
        for key in [key for key in opened_now if key[0] == token]:
            _let_go(key)


def _let_go(key: tuple[str, str, str | None]) -> None:
    """One that is being read is closed by whoever reads it."""
    one = opened_now.pop(key)
    if one.lock.acquire(blocking=False):
        if one.sheet is not None:
            one.sheet.close()
        one.lock.release()
