"""Rows that are ready, laid aside until all of them are known to be: memory holds a few hundred, however many come."""

from __future__ import annotations

import pickle
import tempfile
from collections.abc import Iterator
from typing import Any, Self


class Spool:
    def __init__(self) -> None:
        self._file = tempfile.TemporaryFile()  # noqa: SIM115 - closed with the spool
        self.count = 0

    def add(self, batch: list[Any]) -> None:
        pickle.dump(batch, self._file, protocol=5)
        self.count += len(batch)

    def batches(self) -> Iterator[list[Any]]:
        self._file.seek(0)
        while True:
            try:
                yield pickle.load(self._file)
            except EOFError:
                return

    def __enter__(self) -> Self:
        return self

    def __exit__(self, *_error: object) -> None:
        self._file.close()
