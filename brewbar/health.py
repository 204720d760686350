"""Whether this installation can do its work, in one word. What exactly is wrong is told to the log alone."""

from __future__ import annotations

import logging
import shutil
import tempfile
from pathlib import Path

from django.conf import settings
from django.db import DatabaseError, connection
from django.db.migrations.executor import MigrationExecutor

logger = logging.getLogger(__name__)

FREE_BYTES = 100 * 1000 * 1000
OK = "ok"
_migrated: set[str] = set()
"""Databases that were seen up to date: an update restarts the process, so once is enough."""


def readiness() -> str:
    """ "ok", or what is missing: "database", "migrations", "folder" or "disk"."""
    try:
        if not _is_migrated():
            logger.warning("Not ready: migrations are pending. Run `python3 manage.py migrate`.")
            return "migrations"
    except DatabaseError as error:
        logger.warning("Not ready: the database does not answer (%s).", error)
        return "database"
    folder = Path(settings.DATA_DIR)
    try:
        with tempfile.TemporaryFile(dir=folder):
            pass
        free = shutil.disk_usage(folder).free
    except OSError as error:
        logger.warning("Not ready: nothing can be written in %s (%s).", folder, error.strerror)
        return "folder"
    if free < FREE_BYTES:
        logger.warning("Not ready: %d MB are free in %s.", free // 1_000_000, folder)
        return "disk"
    return OK


def _is_migrated() -> bool:
    name = str(connection.settings_dict["NAME"])
    if name in _migrated:
        with connection.cursor() as cursor:
            # A table of ours: SQLite answers SELECT 1 without looking at its file.
            cursor.execute("SELECT 1 FROM django_migrations LIMIT 1")
        return True
    executor = MigrationExecutor(connection)
    if executor.migration_plan(executor.loader.graph.leaf_nodes()):
        return False
    _migrated.add(name)
    return True
