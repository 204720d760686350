"""Back up, check what was backed up, and restore."""

from __future__ import annotations

import os
import shutil
import tempfile
import time
from dataclasses import dataclass
from datetime import UTC, datetime
from pathlib import Path

from django.conf import settings
from django.db import DatabaseError, connection, connections
from django.db.migrations.loader import MigrationLoader
from django.db.migrations.recorder import MigrationRecorder

from brewbar import __version__
from brewbar.keeping import archive, disk
from brewbar.keeping.archive import Manifest
from brewbar.keeping.engines import Engine, engine_of
from brewbar.refusal import Refusal


@dataclass(frozen=True)
class Made:
    """A finished backup; ``removed`` are the older ones that rotation took away."""

    path: Path
    manifest: Manifest
    is_checked: bool
    removed: tuple[Path, ...]


def back_up(target: Path, now: datetime, keep: int | None = None, check: bool = True) -> Made:
    """Write a backup into the folder ``target``, or to the file of that name, which must not exist.

    With ``check`` it is unpacked and loaded into a scratch database first, and counted there. ``keep`` removes all
    but the newest so many from the folder, once the new one is sound. Raises Refusal; then no file is left, and
    no old one was removed.
    """
    is_folder = target.is_dir()
    if keep is not None and not is_folder:
        raise Refusal(f"--keep counts the backups of a folder, and {target} is none: make it first.")
    final = target / archive.name_for(now) if is_folder else target
    if final.exists():
        raise Refusal(f"{final} is there already; a backup never overwrites.")
    if not final.parent.is_dir():
        raise Refusal(f"There is no folder {final.parent}: make it first.")
    try:
        for left in archive.left_behind(final.parent, time.time()):
            shutil.rmtree(left)
        with tempfile.TemporaryDirectory(dir=final.parent, prefix=archive.BEING_MADE) as folder:
            manifest = _write(Path(folder, final.name), now)
            if check:
                verify(Path(folder, final.name), Path(folder))
            Path(folder, final.name).replace(final)
            disk.flush(final.parent)
        old = archive.older_than_newest(target, max(1, keep)) if keep is not None else []
        for path in old:
            path.unlink()
    except OSError as error:
        raise Refusal(f"{final.parent} cannot be written to ({error.strerror}).") from error
    return Made(final, manifest, check, tuple(old))


def _write(target: Path, now: datetime) -> Manifest:
    engine = _engine()
    database, key = target.with_name(archive.DATABASE), settings.DATA_DIR / "secret-key"
    rows = engine.copy(database)
    members = {archive.DATABASE: database} | ({archive.KEY: key} if key.is_file() else {})
    manifest = Manifest(
        format=archive.FORMAT,
        version=__version__,
        made_at=now.astimezone(UTC).isoformat(timespec="seconds"),
        engine=engine.name,
        migrations=_applied(),
        rows=rows,
        sha256={name: archive.checksum(path) for name, path in members.items()},
    )
    archive.pack(target, members, manifest)
    database.unlink()
    return manifest


def verify(source: Path, scratch: Path | None = None) -> Manifest:
    """Whether a backup holds what it says: unpacked, loaded into a scratch database, counted. Raises Refusal.

    ``scratch`` is a folder with room for it, else the system's own.
    """
    manifest = archive.read(source)
    _fits_here(source, manifest)
    with tempfile.TemporaryDirectory(dir=scratch, prefix="brewbar-check-") as folder:
        archive.unpack(source, manifest, Path(folder))
        found = _engine().try_out(Path(folder, archive.DATABASE))
    if wrong := archive.differences(found, manifest.rows):
        raise Refusal(f"{source} does not hold what it says: the rows of {', '.join(wrong)} differ.")
    return manifest


def _fits_here(source: Path, manifest: Manifest) -> None:
    if manifest.engine != _engine().name:
        raise Refusal(
            f"{source} is of {manifest.engine}, and this installation uses {_engine().name}: "
            "see that DATABASE_URL is as it was then."
        )
    if newer := sorted(set(manifest.migrations) - _known()):
        raise Refusal(
            f"{source} was made by brewbar {manifest.version}, which is newer than this one "
            f"({__version__}, without {newer[-1]}): update brewbar first."
        )


@dataclass(frozen=True)
class Restored:
    """``kept`` says where the database before is, "" if there was none; ``is_older`` that it wants migrating."""

    manifest: Manifest
    kept: str
    is_older: bool


def there_now() -> dict[str, int] | None:
    """Rows a table of the database as it is: empty when nobody has used it yet, None when it is damaged."""
    rows = _engine().rows()
    return rows if rows is None or rows.get("crew_user") or rows.get("crew_company") else {}


def restore(source: Path, now: datetime, overwrite: bool = False) -> Restored:
    """Verify a backup, then put it in the place of the database; the old one is kept beside.

    Raises Refusal when it is not sound, when there is something that ``overwrite`` does not allow to replace, or
    while somebody uses the database.
    """
    manifest = verify(source)
    if there_now() != {} and not overwrite:
        raise Refusal(
            "There is data here already, and it was left as it is. If the backup shall take its place, add "
            "--overwrite: the data of now are kept beside it."
        )
    stamp = f"{now.astimezone(UTC):%Y%m%dT%H%M%SZ}"
    connections.close_all()
    with (
        disk.sole_use(settings.DATA_DIR),
        tempfile.TemporaryDirectory(prefix="brewbar-restore-") as folder,
    ):
        archive.unpack(source, manifest, Path(folder))
        kept = _engine().replace(Path(folder, archive.DATABASE), stamp)
        if archive.KEY in manifest.sha256:
            _bring_key(Path(folder, archive.KEY), stamp)
    return Restored(manifest, kept, bool(_known() - set(manifest.migrations)))


def _bring_key(source: Path, stamp: str) -> None:
    key = settings.DATA_DIR / "secret-key"
    if key.is_file():
        if key.read_bytes() == source.read_bytes():
            return
        key.replace(key.with_name(f"secret-key-before-{stamp}"))
    descriptor = os.open(key, os.O_WRONLY | os.O_CREAT | os.O_EXCL, 0o600)
    with os.fdopen(descriptor, "wb") as file:
        file.write(source.read_bytes())


def _engine() -> Engine:
    return engine_of(connection.settings_dict)


def _applied() -> list[str]:
    try:
        return sorted(f"{app}.{name}" for app, name in MigrationRecorder(connection).applied_migrations())
    except DatabaseError as error:
        raise Refusal("The database does not answer.") from error


def _known() -> set[str]:
    """Every migration that this version has, as app.name."""
    return {f"{app}.{name}" for app, name in MigrationLoader(None).disk_migrations}
