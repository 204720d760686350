"""Who has a data folder in use: servers together, or one restore alone."""

from __future__ import annotations

import errno
import fcntl
import subprocess
import sys

import pytest

from brewbar import bootstrap
from brewbar.keeping import disk
from brewbar.refusal import Refusal

SERVES = """
import subprocess, sys
from pathlib import Path
from brewbar.keeping import disk
disk.in_use(Path(sys.argv[1]))
child = subprocess.Popen([sys.executable, "-c", "input()"], close_fds=False)
print(child.pid, flush=True)
"""


def test_nothing_starts_while_a_backup_is_restored(tmp_path):
    with disk.sole_use(tmp_path), pytest.raises(Refusal, match="being restored"):
        disk.in_use(tmp_path)
    with disk.sole_use(tmp_path):
        pass


def test_a_folder_is_in_use_until_the_last_process_of_the_server_has_ended(tmp_path):
    server = subprocess.Popen(
        [sys.executable, "-c", SERVES, str(tmp_path)],
        cwd=bootstrap.ROOT,
        stdin=subprocess.PIPE,
        stdout=subprocess.PIPE,
    )
    assert server.stdout.readline().strip().isdigit()
    server.wait()
    with pytest.raises(Refusal, match="`serve` is running"), disk.sole_use(tmp_path):
        pass
    server.stdin.write(b"\n")
    server.stdin.close()
    server.stdout.read()
    server.stdout.close()
    with disk.sole_use(tmp_path):
        pass


def test_a_file_system_without_locks_is_no_hindrance(tmp_path, monkeypatch):
    def refuse(*_):
        raise OSError(errno.ENOTSUP, "not supported")

    monkeypatch.setattr(fcntl, "flock", refuse)
    disk.in_use(tmp_path)
    with disk.sole_use(tmp_path):
        pass
