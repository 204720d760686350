"""The test command: what it counts, what it finds on the machine, and when it fails."""

import sys
from pathlib import Path

import pytest

from brewbar import testing
from brewbar.testing import Stage

SUITE = '<testsuite name="pytest" errors="{}" failures="{}" skipped="{}" tests="{}"/>'


def write_program(folder: Path, name: str, script: str) -> Path:
    folder.mkdir(exist_ok=True)
    program = folder / name
    program.write_text(f"#!/bin/sh\n{script}\n")
    program.chmod(0o755)
    return program


def test_passed_and_failed_are_counted_from_the_report(tmp_path: Path) -> None:
    report = tmp_path / "report.xml"
    report.write_text(f"<testsuites>{SUITE.format(1, 2, 3, 20)}{SUITE.format(0, 0, 0, 5)}</testsuites>")
    assert testing.counts(report) == (14 + 5, 3)


@pytest.mark.parametrize("text", [None, "", "<testsuites>"])
def test_a_run_without_a_report_has_failed(tmp_path: Path, text: str | None) -> None:
    report = tmp_path / "report.xml"
    if text is not None:
        report.write_text(text)
    assert testing.counts(report) == (0, 1)


def test_the_last_line_sums_every_run(capsys: pytest.CaptureFixture[str]) -> None:
    stages = [Stage("ruff", True, 1.0), Stage("one", True, 2.5, 10, 0), Stage("two", True, 3.0, 7, 0)]
    assert testing.report(stages) == 0
    lines = capsys.readouterr().out.splitlines()
    assert lines[-1] == "17 passed, 0 failed"
    assert "2.5 s  10 passed, 0 failed" in lines[-3]


@pytest.mark.parametrize("wrong", [Stage("ruff", False, 1.0), Stage("one", False, 1.0, 3, 2)])
def test_any_stage_that_fails_fails_the_command(wrong: Stage, capsys: pytest.CaptureFixture[str]) -> None:
    assert testing.report([Stage("two", True, 1.0, 7, 0), wrong]) == 1
    assert f"FAILED  {wrong.name}" in capsys.readouterr().out


def test_tests_never_see_real_data(tmp_path: Path) -> None:
    given = {"PATH": "/bin", "DATABASE_URL": "x", "BREWBAR_URL": "x", "BREWBAR_DATA": "x", "CI": "true"}
    found = testing.test_environment(given, tmp_path)
    assert found["BREWBAR_DATA"] == str(tmp_path / "data")
    assert found["CI"] == "true"
    assert not {"DATABASE_URL", "BREWBAR_URL"} & set(found)


def test_bytecode_is_kept_beside_the_sources_or_in_the_scratch_folder(tmp_path: Path) -> None:
    assert "PYTHONPYCACHEPREFIX" not in testing.test_environment({}, tmp_path)
    found = testing.test_environment({"PYTHONDONTWRITEBYTECODE": "1"}, tmp_path)
    assert "PYTHONDONTWRITEBYTECODE" not in found
    assert found["PYTHONPYCACHEPREFIX"] == str(tmp_path / "bytecode")
    assert testing.test_environment(found, tmp_path / "inner") == found | {
        "BREWBAR_DATA": str(tmp_path / "inner" / "data"),
        "TMPDIR": str(tmp_path / "inner"),
    }


@pytest.mark.skipif(sys.platform == "win32", reason="shell scripts")
def test_a_second_python_is_taken_only_if_it_runs(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(testing.sys, "version_info", (3, 11, 9))
    write_program(tmp_path / "pointer", "python3.13", "echo not installed >&2; exit 127")
    real = write_program(tmp_path / "real", "python3.13", "exit 0")
    pointer_only = str(tmp_path / "pointer")
    assert testing.find_second_python(pointer_only) is None
    assert testing.find_second_python(f"{pointer_only}:{tmp_path}:{real.parent}") == str(real)
    monkeypatch.setattr(testing.sys, "version_info", (3, 13, 0))
    assert testing.find_second_python(str(real.parent)) is None


@pytest.mark.skipif(sys.platform == "win32", reason="shell scripts")
def test_a_browser_is_found_by_any_of_its_names(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setenv("PATH", str(tmp_path))
    assert testing.find_browser() is None
    program = write_program(tmp_path, "google-chrome", "")
    assert testing.find_browser() == str(program)


@pytest.mark.parametrize(("ci", "ok"), [("true", False), ("", True)])
def test_without_a_browser_it_says_loudly_what_was_not_run(
    ci: str, ok: bool, tmp_path: Path, monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    monkeypatch.setattr(testing, "find_browser", lambda: None)
    stage = testing._browser_stage(tmp_path, {"CI": ci})
    assert stage.ok is ok
    assert "NOT RUN: the browser tests" in capsys.readouterr().out


def test_a_named_database_server_is_used_as_it_is(tmp_path: Path) -> None:
    with testing.postgresql(tmp_path, {"TEST_DATABASE_URL": "postgresql://me@db/tests"}) as (url, _):
        assert url == "postgresql://me@db/tests"
    assert not list(tmp_path.iterdir())


def test_a_quiet_stage_speaks_only_of_what_it_found(capsys: pytest.CaptureFixture[str]) -> None:
    for status in (0, 3):
        command = [sys.executable, "-c", f"print('found it'); raise SystemExit({status})"]
        assert testing._tool("a stage", command, {}).ok is (status == 0)
        assert ("found it" in capsys.readouterr().out) is (status != 0)


def test_arguments_mean_pytest_alone(monkeypatch: pytest.MonkeyPatch) -> None:
    seen: list[list[str]] = []

    def call(command: list[str], **options: object) -> int:
        seen.append(command[1:])
        return 5

    monkeypatch.setattr(testing.subprocess, "call", call)
    monkeypatch.setattr(testing.signal, "signal", lambda *_: None)
    monkeypatch.setenv("DATABASE_URL", "postgresql://me@db/real")
    assert testing.main(["-k", "yield", "tests/units"]) == 5
    assert seen == [["-m", "pytest", "-k", "yield", "tests/units"]]


class TestMarks:
    """A test is marked by what it asks for."""

    @pytest.fixture
    def marks(self, request: pytest.FixtureRequest) -> set[str]:
        return {mark.name for mark in request.node.iter_markers()} & {"db", "browser"}

    def test_asking_for_nothing(self, marks: set[str]) -> None:
        assert marks == set()

    @pytest.mark.usefixtures("db")
    def test_asking_for_the_database(self, marks: set[str]) -> None:
        assert marks == {"db"}

    @pytest.mark.django_db
    def test_marked_as_django_has_it(self, marks: set[str]) -> None:
        assert marks == {"db"}

    @pytest.mark.usefixtures("page", "live")
    def test_asking_for_a_page_of_a_live_server(self, marks: set[str]) -> None:
        assert marks == {"db", "browser"}
