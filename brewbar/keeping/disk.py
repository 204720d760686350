"""Files that are on the disk when a line returns, and folders that somebody has in use."""

from __future__ import annotations

import os
import sys
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path

from brewbar.refusal import Refusal

LOCK = "in-use.lock"


def flush(path: Path) -> None:
    """Of a file its contents, of a folder the names in it: a file's own do not cover its name."""
    if sys.platform == "win32":
        return
    descriptor = os.open(path, os.O_RDONLY)
    try:
        os.fsync(descriptor)
    finally:
        os.close(descriptor)


if sys.platform == "win32":  # the database's own locks are all there is

    def in_use(folder: Path) -> None: ...

    @contextmanager
    def sole_use(folder: Path) -> Iterator[None]:
        yield

else:
    import fcntl

    def in_use(folder: Path) -> None:
        """Says that a server uses this folder, until it and what it becomes have ended."""
        lock = _opened(folder)
        os.set_inheritable(lock, True)
        try:
            fcntl.flock(lock, fcntl.LOCK_SH | fcntl.LOCK_NB)
        except BlockingIOError as error:
            os.close(lock)
            raise Refusal("A backup is being restored here: start again when that is done.") from error

    @contextmanager
    def sole_use(folder: Path) -> Iterator[None]:
        """Refused while a server uses this folder; none starts in the meantime."""
        lock = _opened(folder)
        try:
            fcntl.flock(lock, fcntl.LOCK_EX | fcntl.LOCK_NB)
            yield
        except BlockingIOError as error:
            raise Refusal(
                f"`serve` is running on {folder}, so it was left as it is: stop it, then restore again."
            ) from error
        finally:
            os.close(lock)

    def _opened(folder: Path) -> int:
        return os.open(folder / LOCK, os.O_RDWR | os.O_CREAT, 0o600)
