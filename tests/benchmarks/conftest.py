"""Benchmarks are collected only when they are asked for: `python3 manage.py test tests/benchmarks --benchmark-only`.

What a benchmark lays in `speed_table` is printed at the end, as one table for each title, in the
order of the numbers that its lines are laid under.
"""

from __future__ import annotations

import pytest

Tables = dict[str, dict[int, str]]
TABLES = pytest.StashKey[Tables]()


def pytest_configure(config: pytest.Config) -> None:
    if config.getoption("benchmark_only", default=False):
        config.addinivalue_line("python_files", "bench_*.py")


@pytest.fixture
def speed_table(request: pytest.FixtureRequest) -> Tables:
    return request.config.stash.setdefault(TABLES, {})


def pytest_terminal_summary(terminalreporter: pytest.TerminalReporter, config: pytest.Config) -> None:
    for title, lines in config.stash.get(TABLES, {}).items():
        terminalreporter.section(title)
        for _number, line in sorted(lines.items()):
            terminalreporter.write_line(line)
