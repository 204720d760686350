"""The examples of the README run as they stand, against a server that listens."""

import os
import re
import shutil
import subprocess
import sys
from pathlib import Path

import pytest

from brewbar.bootstrap import ROOT
from calibration.models import Reading
from tests import factories as make
from tests.api.bar import Bar

README = (ROOT / "README.md").read_text(encoding="utf-8")
PART = README.split("## Your data")[1].split("\n## ")[0]


@pytest.fixture
def environment(live, transactional_db) -> dict[str, str]:
    bar = Bar.build()
    return os.environ | {"BREWBAR_URL": live, "BREWBAR_KEY": make.access_key(bar.barista)[1]}


def test_the_python_example_enters_a_reading(environment):
    [code] = re.findall(r"```python\n(.*?)```", PART, re.DOTALL)
    done = subprocess.run(
        [sys.executable, "-W", "error", "-c", code],
        env=environment,
        capture_output=True,
        text=True,
        timeout=60,
    )
    assert done.returncode == 0, done.stdout + done.stderr
    row = Reading.objects.get()
    assert done.stdout.startswith(f"{round(row.ey, 2)} [")


def test_every_file_is_written_where_the_user_of_the_service_may_write():
    """`bar` runs as that user in a folder that is root's, so a bare name would be refused."""
    [made] = re.findall(r"^sudo install -d -o brewbar -m 700 (.+)$", README, re.MULTILINE)
    files = re.findall(r"^bar .*?(\S+\.zip)", README, re.MULTILINE)
    assert len(files) == 3
    assert {str(Path(file).parent) for file in files} <= set(made.split())


@pytest.mark.skipif(shutil.which("curl") is None, reason="no curl on this machine")
def test_the_curl_example_shows_the_board(environment):
    [line] = re.findall(r"```\n(curl .*?)\n```", PART)
    done = subprocess.run(["sh", "-c", line], env=environment, capture_output=True, text=True, timeout=60)
    assert '"slots":[{' in done.stdout, done.stdout + done.stderr
