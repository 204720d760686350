"""The entry point, run as people run it."""

import shutil
import subprocess
import sys
from pathlib import Path

import pytest

from brewbar import bootstrap

MANAGE = bootstrap.ROOT / "manage.py"


def test_a_python_that_is_too_old_or_new_is_told_which_ones_fit() -> None:
    for version in ((3, 10), (3, 14)):
        script = (
            f"import sys, runpy; sys.version_info = {version}; sys.argv = ['manage.py', 'demo']\n"
            "runpy.run_path('manage.py', run_name='__main__')"
        )
        done = subprocess.run(
            [sys.executable, "-c", script], cwd=bootstrap.ROOT, capture_output=True, text=True
        )
        assert done.returncode == 1
        assert f"this is Python {version[0]}.{version[1]}" in done.stderr
        assert "for example `python3.13 manage.py demo`" in done.stderr
        assert "Traceback" not in done.stderr


@pytest.mark.skipif(not shutil.which("python2.7"), reason="no Python of that age here")
def test_even_python_2_can_read_the_sentence() -> None:
    done = subprocess.run(["python2.7", MANAGE, "demo"], capture_output=True, text=True)
    assert "this is Python 2.7" in done.stderr or "command not found" in done.stderr


def test_the_entry_point_keeps_to_what_old_pythons_read() -> None:
    source = MANAGE.read_bytes()
    assert source.isascii()
    assert b"->" not in source
    assert b' f"' not in source


def test_before_the_venv_only_the_standard_library_is_imported() -> None:
    done = subprocess.run(
        [sys.executable, "-S", "-c", "import brewbar.address, brewbar.bootstrap, brewbar.refusal"],
        cwd=bootstrap.ROOT,
        env={"PATH": ""},
        capture_output=True,
        text=True,
    )
    assert done.stderr == ""


def test_it_runs_from_another_folder(tmp_path: Path) -> None:
    done = subprocess.run([sys.executable, MANAGE, "version"], cwd=tmp_path, capture_output=True, text=True)
    assert done.returncode == 0, done.stderr
    assert done.stdout.startswith("5.2")
