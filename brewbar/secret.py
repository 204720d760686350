"""The key that signs sessions and links: made once, readable by its owner alone."""

import os
import secrets
import stat
from pathlib import Path

from brewbar.refusal import Refusal

CHARACTERS = 64


def read_or_make(path: Path) -> str:
    try:
        descriptor = os.open(path, os.O_WRONLY | os.O_CREAT | os.O_EXCL, 0o600)
    except FileExistsError:
        return _read(path)
    with os.fdopen(descriptor, "w", encoding="ascii") as file:
        file.write(secrets.token_urlsafe(CHARACTERS))
    return _read(path)


def _read(path: Path) -> str:
    if os.name == "posix" and stat.S_IMODE(path.stat().st_mode) & 0o077:
        raise Refusal(f"{path} can be read by others on this machine: run `chmod 600 {path}`.")
    key = path.read_text(encoding="ascii").strip()
    if len(key) < CHARACTERS:
        raise Refusal(
            f"{path} holds {len(key)} characters, where at least {CHARACTERS} are needed: run `rm {path}` "
            "and a new one is made; everyone then signs in again."
        )
    return key
