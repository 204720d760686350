"""The signing key is made once and kept from other eyes."""

import os
from pathlib import Path

import pytest

from brewbar import secret
from brewbar.refusal import Refusal


def test_it_is_made_once_for_its_owner_alone(tmp_path: Path) -> None:
    path = tmp_path / "secret-key"
    old = os.umask(0)
    try:
        key = secret.read_or_make(path)
    finally:
        os.umask(old)
    assert len(key) >= 64
    assert path.stat().st_mode & 0o777 == 0o600
    assert secret.read_or_make(path) == key
    assert secret.read_or_make(tmp_path / "another") != key


@pytest.mark.skipif(os.name != "posix", reason="no modes there")
@pytest.mark.parametrize("mode", [0o640, 0o604, 0o666])
def test_one_that_others_can_read_is_refused(tmp_path: Path, mode: int) -> None:
    path = tmp_path / "secret-key"
    secret.read_or_make(path)
    path.chmod(mode)
    with pytest.raises(Refusal, match=f"run `chmod 600 {path}`"):
        secret.read_or_make(path)


@pytest.mark.parametrize("held", ["", "short"])
def test_one_too_short_to_sign_with_is_refused(tmp_path: Path, held: str) -> None:
    path = tmp_path / "secret-key"
    path.write_text(held)
    path.chmod(0o600)
    with pytest.raises(Refusal, match=f"holds {len(held)} characters.*run `rm {path}`"):
        secret.read_or_make(path)
