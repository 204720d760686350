"""Uploads of a test lie in a folder of its own, and what takes long is done at once."""

import pytest

from calibration.bringing_in import uploads, working
from tests.bringing_in import sheets


@pytest.fixture(autouse=True)
def own_folder(tmp_path, settings):
    settings.DATA_DIR = tmp_path
    yield
    for token, *_rest in list(uploads.opened_now):
        uploads.close(token)


@pytest.fixture
def at_once(monkeypatch):
    """A thread has a connection of its own, and sees nothing of a test's open transaction."""
    monkeypatch.setattr(working, "run_soon", lambda run: run())


@pytest.fixture
def bar(db):
    return sheets.bar()
