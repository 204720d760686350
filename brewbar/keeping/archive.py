"""The backup file: a zip of the database, the secret key and a manifest that says what must come out again. PURE.

Names end in the moment the backup was made, in UTC, so that they sort by age.
"""

from __future__ import annotations

import hashlib
import json
import os
import re
import zipfile
import zlib
from collections.abc import Mapping
from dataclasses import asdict, dataclass
from datetime import UTC, datetime
from pathlib import Path
from typing import Any

from brewbar.refusal import Refusal

FORMAT = 1
MANIFEST = "manifest.json"
DATABASE = "database"
KEY = "secret-key"
NAME = re.compile(r"brewbar-\d{4}-\d{2}-\d{2}T\d{6}Z\.zip")
BEING_MADE = ".brewbar-being-made-"
"""How the folder begins in which a backup is made, beside where it will stand."""
LEFT_BEHIND_S = 24 * 60 * 60
CHUNK = 1 << 20
# What the standard library raises for a file that is cut, overwritten, encrypted, or of somebody else.
NOT_ONE_OF_OURS = (
    zipfile.BadZipFile,
    zlib.error,
    AttributeError,
    EOFError,
    KeyError,
    RuntimeError,
    TypeError,
    ValueError,
)


@dataclass(frozen=True)
class Manifest:
    """What a backup holds.

    engine: "sqlite" or "postgresql"; migrations: those applied, as app.name; rows: how many each table has;
    sha256: of each member of the file.
    """

    format: int
    version: str
    made_at: str
    engine: str
    migrations: list[str]
    rows: dict[str, int]
    sha256: dict[str, str]

    @property
    def total(self) -> int:
        return sum(self.rows.values())


def differences(one: Mapping[str, int], other: Mapping[str, int]) -> list[str]:
    """The tables that do not have the same number of rows."""
    return sorted(name for name in one.keys() | other if one.get(name) != other.get(name))


def name_for(at: datetime) -> str:
    return f"brewbar-{at.astimezone(UTC):%Y-%m-%dT%H%M%SZ}.zip"


def pack(target: Path, members: Mapping[str, Path], manifest: Manifest) -> None:
    """Write ``target``, readable by its owner alone; it is on the disk when this returns."""
    descriptor = os.open(target, os.O_RDWR | os.O_CREAT | os.O_TRUNC, 0o600)
    with os.fdopen(descriptor, "w+b") as file:
        with zipfile.ZipFile(file, "w", zipfile.ZIP_DEFLATED) as packed:
            packed.writestr(MANIFEST, json.dumps(asdict(manifest), indent=1))
            for name, path in members.items():
                packed.write(path, name)
        file.flush()
        os.fsync(file.fileno())


def read(source: Path) -> Manifest:
    """The manifest of a backup. Raises Refusal for whatever is not one of ours."""
    try:
        with zipfile.ZipFile(source) as packed:
            said: Any = json.loads(packed.read(MANIFEST))
            if said["format"] != FORMAT:
                raise Refusal(
                    f"{source} has format {said['format']}, and this brewbar reads {FORMAT}: update it first."
                )
            manifest = Manifest(**said)
    except OSError as error:
        raise Refusal(f"{source} cannot be read ({error.strerror}).") from error
    except NOT_ONE_OF_OURS as error:
        raise Refusal(f"{source} is not a backup of brewbar, or is damaged.") from error
    # Names come from the file: anything but the two we write could lead out of a folder.
    if DATABASE not in manifest.sha256 or not manifest.sha256.keys() <= {DATABASE, KEY}:
        raise Refusal(f"{source} is not a backup of brewbar: it holds {sorted(manifest.sha256)}.")
    return manifest


def unpack(source: Path, manifest: Manifest, folder: Path) -> None:
    """All members into ``folder``, each compared with its checksum. Raises Refusal if one differs."""
    try:
        with zipfile.ZipFile(source) as packed:
            for name, expected in manifest.sha256.items():
                _unpack_one(packed, name, folder / name)
                if checksum(folder / name) != expected:
                    raise Refusal(f"{source} is damaged: its {name} is not what was written.")
    except OSError as error:
        raise Refusal(f"{source} cannot be unpacked into {folder} ({error.strerror}).") from error
    except NOT_ONE_OF_OURS as error:
        raise Refusal(f"{source} is damaged and cannot be unpacked.") from error


def _unpack_one(packed: zipfile.ZipFile, name: str, target: Path) -> None:
    descriptor = os.open(target, os.O_WRONLY | os.O_CREAT | os.O_EXCL, 0o600)
    with packed.open(name) as member, os.fdopen(descriptor, "wb") as file:
        while chunk := member.read(CHUNK):
            file.write(chunk)


def checksum(path: Path) -> str:
    with path.open("rb") as file:
        return hashlib.file_digest(file, "sha256").hexdigest()


def older_than_newest(folder: Path, keep: int) -> list[Path]:
    """The backups in ``folder`` beyond the ``keep`` newest: only files named and made as ours are."""
    ours = sorted((path for path in folder.iterdir() if NAME.fullmatch(path.name)), reverse=True)
    return [path for path in ours[keep:] if _is_ours(path)]


def left_behind(folder: Path, now: float) -> list[Path]:
    """Folders in which a backup was being made when it was killed, a day ago or longer."""
    found = [path for path in folder.glob(f"{BEING_MADE}*") if path.is_dir()]
    return [path for path in found if now - path.stat().st_mtime > LEFT_BEHIND_S]


def _is_ours(path: Path) -> bool:
    try:
        read(path)
    except Refusal:
        return False
    return True
