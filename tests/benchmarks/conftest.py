"""Benchmarks are collected only when they are asked for: `python3 manage.py test tests/benchmarks --benchmark-only`.

What a benchmark lays in `speed_table` is printed at the end, as one table for each title, in the
order of the numbers that its lines are laid under.
"""

from __future__ import annotations

from pathlib import Path

import pytest

Tables = dict[str, dict[int, str]]
TABLES = pytest.StashKey[Tables]()


def pytest_collect_file(file_path: Path, parent: pytest.Collector) -> pytest.Module | None:
    asked = parent.config.getoption("benchmark_only", default=False)
    if asked and file_path.name.startswith("bench_") and file_path.suffix == ".py":
        return pytest.Module.from_parent(parent, path=file_path)
    return None


@pytest.fixture
def speed_table(request: pytest.FixtureRequest) -> Tables:
    return request.config.stash.setdefault(TABLES, {})


def pytest_terminal_summary(terminalreporter: pytest.TerminalReporter, config: pytest.Config) -> None:
    for title, lines in config.stash.get(TABLES, {}).items():
        terminalreporter.section(title)
        for _number, line in sorted(lines.items()):
            terminalreporter.write_line(line)
