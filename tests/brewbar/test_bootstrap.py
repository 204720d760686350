"""The .venv is built once, heals after a killed install, and says kindly what is in its way."""

import json
import os
import subprocess
import sys
from collections.abc import Callable
from pathlib import Path

import pytest

from brewbar import bootstrap
from brewbar.refusal import Refusal

Build = Callable[..., list[list[str]]]


@pytest.fixture
def requirements(tmp_path: Path) -> Path:
    path = tmp_path / "requirements.txt"
    path.write_text("# nothing is needed from a registry\nfirst==1.0\n    # via this test\n")
    return path


@pytest.fixture
def tools(tmp_path: Path) -> Path:
    path = tmp_path / "requirements-dev.txt"
    path.write_text("first==1.0\nsecond==2.0\n")
    return path


@pytest.fixture
def ran(monkeypatch: pytest.MonkeyPatch) -> list[list[str]]:
    """The programs that would have been run; `venv` makes the file that a real one makes."""
    commands: list[list[str]] = []

    def run(command: list[str], doing: str, mend: str) -> None:
        commands.append(command)
        if "venv" in command:
            python = bootstrap.python_of(Path(command[-1]))
            python.parent.mkdir(parents=True, exist_ok=True)
            python.touch()

    monkeypatch.setattr(bootstrap, "_run", run)
    return commands


def test_a_real_venv_is_built_once_and_a_package_that_is_not_found_is_named(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    nothing, unknown = tmp_path / "requirements.txt", tmp_path / "requirements-dev.txt"
    nothing.write_text("# nothing is needed\n")
    unknown.write_text("no-such-package-anywhere==1.0\n")
    venv = tmp_path / ".venv"
    bootstrap.prepare(venv, [nothing])
    script = "import sys; print(sys.prefix)"
    inside = subprocess.run([bootstrap.python_of(venv), "-c", script], capture_output=True, text=True)
    assert Path(inside.stdout.strip()) == venv
    assert bootstrap.is_ready(venv, [nothing])

    for name, value in (("NO_INDEX", "1"), ("FIND_LINKS", str(tmp_path)), ("CONFIG_FILE", os.devnull)):
        monkeypatch.setenv(f"PIP_{name}", value)
    with pytest.raises(Refusal, match=r"no-such-package-anywhere(.|\n)*Check the network"):
        bootstrap.prepare(venv, [nothing, unknown])
    assert not bootstrap.is_ready(venv, [nothing])


def test_nothing_is_run_when_the_stamp_fits(tmp_path: Path, requirements: Path, ran: list[list[str]]) -> None:
    bootstrap.prepare(tmp_path / ".venv", [requirements])
    assert len(ran) == 2
    bootstrap.prepare(tmp_path / ".venv", [requirements])
    assert len(ran) == 2


@pytest.mark.parametrize("change", ["pins", "python", "machine", "no python", "killed"])
def test_it_is_cleared_and_built_anew_when(
    change: str, tmp_path: Path, requirements: Path, ran: list[list[str]], monkeypatch: pytest.MonkeyPatch
) -> None:
    venv = tmp_path / ".venv"
    bootstrap.prepare(venv, [requirements])
    ran.clear()
    if change == "pins":
        requirements.write_text("first==1.1\n")
    elif change == "python":
        monkeypatch.setattr(sys.implementation, "cache_tag", "another")
    elif change == "machine":
        monkeypatch.setattr(bootstrap.sysconfig, "get_platform", lambda: "elsewhere")
    elif change == "no python":
        bootstrap.python_of(venv).unlink()
    else:
        (venv / "installed.stamp").unlink()
    bootstrap.prepare(venv, [requirements])
    assert "--clear" in ran[0]
    assert ran[1][1:4] == ["-m", "pip", "install"]


def test_a_failed_install_leaves_no_stamp(
    tmp_path: Path, requirements: Path, ran: list[list[str]], monkeypatch: pytest.MonkeyPatch
) -> None:
    venv = tmp_path / ".venv"
    bootstrap.prepare(venv, [requirements])
    requirements.write_text("first==1.1\n")

    def fail(command: list[str], doing: str, mend: str) -> None:
        raise KeyboardInterrupt

    monkeypatch.setattr(bootstrap, "_run", fail)
    with pytest.raises(KeyboardInterrupt):
        bootstrap.prepare(venv, [requirements])
    assert not bootstrap.is_ready(venv, [requirements])


def test_a_python_that_belongs_to_somebody_else_is_told_in_words(
    tmp_path: Path, requirements: Path, ran: list[list[str]], monkeypatch: pytest.MonkeyPatch
) -> None:
    venv = tmp_path / ".venv"
    bootstrap.prepare(venv, [requirements])

    def may_not(path: Path) -> bool:
        raise PermissionError(13, "Permission denied", str(path))

    monkeypatch.setattr(Path, "exists", may_not)
    with pytest.raises(Refusal, match=r"this user may not read .*rm -r"):
        bootstrap.is_ready(venv, [requirements])


def test_tools_are_added_to_what_is_there(
    tmp_path: Path, requirements: Path, tools: Path, ran: list[list[str]]
) -> None:
    venv = tmp_path / ".venv"
    bootstrap.prepare(venv, [requirements])
    ran.clear()
    bootstrap.prepare(venv, [requirements, tools])
    assert len(ran) == 1
    assert str(tools) in ran[0]
    assert str(requirements) not in ran[0]
    assert bootstrap.is_ready(venv, [requirements])


def test_new_pins_clear_the_tools_too(
    tmp_path: Path, requirements: Path, tools: Path, ran: list[list[str]]
) -> None:
    venv = tmp_path / ".venv"
    bootstrap.prepare(venv, [requirements, tools])
    requirements.write_text("first==1.1\n")
    bootstrap.prepare(venv, [requirements])
    assert not bootstrap.is_ready(venv, [requirements, tools])


def test_without_ensurepip_the_command_that_brings_it_is_named(
    tmp_path: Path, requirements: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(bootstrap.importlib.util, "find_spec", lambda name: None)
    with pytest.raises(Refusal, match=r"ensurepip.*sudo apt install python3\.\d+-venv.*manage.py demo"):
        bootstrap.prepare(tmp_path / ".venv", [requirements], again="python3 manage.py demo")


def test_a_folder_that_cannot_be_written_is_named(tmp_path: Path, requirements: Path) -> None:
    blocked = tmp_path / "a file"
    blocked.touch()
    with pytest.raises(Refusal, match=r"a file cannot be written to.*chown"):
        bootstrap.prepare(blocked / ".venv", [requirements])


def test_a_failing_program_is_quoted_and_mended(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    script = "print('Collecting first'); print('ERROR: no such package'); raise SystemExit(1)"
    with pytest.raises(
        Refusal, match=r"ERROR: no such package\nInstalling 1 did not succeed.*\. Look again\."
    ):
        bootstrap._run([sys.executable, "-c", script], "Installing 1", "Look again.")


@pytest.mark.skipif(sys.platform == "win32", reason="locks differently")
def test_a_second_builder_waits_for_the_first(tmp_path: Path) -> None:
    lock = tmp_path / ".venv.lock"
    script = (
        "import sys; from pathlib import Path; from brewbar.bootstrap import sole_use\n"
        "with sole_use(Path(sys.argv[1])): print('in', flush=True)"
    )
    with bootstrap.sole_use(lock):
        other = subprocess.Popen(
            [sys.executable, "-c", script, str(lock)],
            cwd=bootstrap.ROOT,
            stdout=subprocess.PIPE,
            text=True,
        )
        assert other.stdout is not None
        assert other.stdout.readline().startswith("Another start is installing")
        assert other.poll() is None
    said, _ = other.communicate(timeout=60)
    assert said == "in\n"
    assert other.returncode == 0


def test_the_child_sees_no_variable_that_misleads_it() -> None:
    kept = {"PATH": "/bin", "PIP_INDEX_URL": "https://index", "PIP_CERT": "/cert", "SSL_CERT_FILE": "/cert"}
    assert bootstrap.clean(kept | dict.fromkeys(bootstrap.MISLEADING, "x")) == kept


def test_inside_the_venv_nothing_is_built(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(bootstrap, "VENV", Path(sys.prefix))
    monkeypatch.setattr(bootstrap, "prepare", lambda *_, **__: pytest.fail("built from inside"))
    bootstrap.enter(["manage.py", "demo"])


def test_a_ready_one_beside_it_is_used_as_it_is(
    tmp_path: Path, requirements: Path, ran: list[list[str]], monkeypatch: pytest.MonkeyPatch
) -> None:
    beside = tmp_path / ".venv-3.13"
    bootstrap.prepare(beside, [requirements])
    ran.clear()
    monkeypatch.setattr(bootstrap, "TO_RUN", requirements)
    monkeypatch.setattr(bootstrap, "VENV", tmp_path / ".venv")
    monkeypatch.setattr(sys, "prefix", str(beside))
    bootstrap.enter(["manage.py", "demo"])
    assert ran == []


@pytest.mark.parametrize(("command", "files"), [("demo", ["requirements.txt"]), ("test", None)])
def test_only_the_tests_install_the_tools(
    command: str, files: list[str] | None, monkeypatch: pytest.MonkeyPatch, tmp_path: Path
) -> None:
    seen: dict[str, list[str]] = {}
    monkeypatch.setattr(bootstrap, "VENV", tmp_path / ".venv")
    monkeypatch.setattr(sys, "prefix", str(tmp_path / "elsewhere"))
    monkeypatch.setattr(bootstrap, "prepare", lambda venv, wanted, again: seen.update(wanted=wanted))
    monkeypatch.setattr(bootstrap, "become", lambda words: seen.update(words=words))
    bootstrap.enter(["manage.py", command, "--port", "8001"])
    assert [path.name for path in seen["wanted"]] == (files or ["requirements.txt", "requirements-dev.txt"])
    assert seen["words"] == [str(bootstrap.python_of(bootstrap.VENV)), "manage.py", command, "--port", "8001"]


def test_becoming_another_program_keeps_arguments_and_status(tmp_path: Path) -> None:
    script = (
        "import sys, os, json; print(json.dumps([sys.argv[1:], os.environ.get('PYTHONPATH')])); sys.exit(3)"
    )
    outer = (
        f"import sys; from brewbar.bootstrap import become; become([sys.executable, '-c', {script!r}, 'a b'])"
    )
    done = subprocess.run(
        [sys.executable, "-c", outer],
        cwd=bootstrap.ROOT,
        env=os.environ | {"PYTHONPATH": str(bootstrap.ROOT)},
        capture_output=True,
        text=True,
    )
    assert json.loads(done.stdout) == [["a b"], None]
    assert done.returncode == 3
