"""The .venv and its contents, made with the standard library alone.

A stamp, written last, says what a .venv holds; whatever has no matching stamp is cleared and built anew, so
an install that was killed half-way mends itself at the next start.
"""

import argparse
import hashlib
import importlib.util
import os
import subprocess
import sys
import sysconfig
import threading
import time
from collections import deque
from collections.abc import Iterator, Mapping, Sequence
from contextlib import contextmanager
from pathlib import Path
from typing import NoReturn

from brewbar.refusal import Refusal

ROOT = Path(__file__).resolve().parent.parent
VENV = ROOT / ".venv"
TO_RUN = ROOT / "requirements.txt"
TO_TEST = ROOT / "requirements-dev.txt"

# Each of these would send the packages, or Python's own imports, somewhere else than into the .venv.
# Index and certificate variables are kept: many networks have no other way to a registry.
MISLEADING = (
    "PIP_USER",
    "PIP_TARGET",
    "PIP_PREFIX",
    "PIP_ROOT",
    "PIP_REQUIRE_VIRTUALENV",
    "PYTHONPATH",
    "PYTHONHOME",
    "__PYVENV_LAUNCHER__",
)


def enter(argv: Sequence[str]) -> None:
    """Return inside a .venv that is ready for this command, running the command again there if need be."""
    here = Path(sys.prefix)
    # One that was built beside it, for another Python, must never clear it.
    if here.resolve() != VENV.resolve() and not is_ready(here, [TO_RUN]):
        needed = [TO_RUN, TO_TEST] if argv[1:2] == ["test"] else [TO_RUN]
        prepare(VENV, needed, again=f"python3 {' '.join(argv)}")
        become([str(python_of(VENV)), *argv])


def become(command: Sequence[str], environment: Mapping[str, str] | None = None) -> NoReturn:
    """Hand this process over to another program."""
    child = clean(os.environ if environment is None else environment)
    sys.stdout.flush()
    sys.stderr.flush()
    if sys.platform == "win32":  # exec there starts a second process and gives the terminal back too early
        sys.exit(subprocess.call(command, env=child))
    os.execve(command[0], list(command), child)


def prepare(venv: Path, requirements: Sequence[Path], *, again: str = "this command") -> None:
    """Make sure that `venv` holds these requirements. `again` is the command a refusal says to repeat."""
    if is_ready(venv, requirements):
        return
    if importlib.util.find_spec("ensurepip") is None:
        version = f"{sys.version_info.major}.{sys.version_info.minor}"
        raise Refusal(
            f"This Python has no `ensurepip`, which makes the .venv: run `sudo apt install "
            f"python{version}-venv` (or your system's package of that name), then `{again}` again."
        )
    try:
        with sole_use(venv.with_name(venv.name + ".lock")):
            if not is_ready(venv, requirements):  # another start may have done it while this one waited
                _build(venv, requirements, again)
    except OSError as error:
        raise Refusal(
            f"{venv.parent} cannot be written to ({error.strerror}): make it yours with "
            f"`sudo chown -R $(id -un) {venv.parent}`, or free some room there, then run `{again}` again."
        ) from error


def is_ready(venv: Path, requirements: Sequence[Path]) -> bool:
    try:
        stamp = _stamp(venv).read_text(encoding="utf-8").splitlines()
    except OSError:
        return False
    try:
        is_there = python_of(venv).exists()
    except PermissionError as error:
        raise Refusal(
            f"{venv} was made with a Python that this user may not read ({error.filename}): make it again with one "
            f"that everybody may, for example `rm -r {venv}` and then the same command with /usr/bin/python3."
        ) from error
    return is_there and all(fingerprint(path) in stamp for path in requirements)


def fingerprint(requirements: Path) -> str:
    """Changes with the pins, the Python version, and the machine the .venv is for."""
    digest = hashlib.sha256()
    for part in (sys.implementation.cache_tag, sysconfig.get_platform(), requirements.read_text("utf-8")):
        digest.update(f"{part}\n".encode())
    return f"{requirements.name} {digest.hexdigest()}"


def python_of(venv: Path) -> Path:
    return venv / "Scripts" / "python.exe" if sys.platform == "win32" else venv / "bin" / "python"


def clean(environment: Mapping[str, str]) -> dict[str, str]:
    return {name: value for name, value in environment.items() if name not in MISLEADING}


def _stamp(venv: Path) -> Path:
    return venv / "installed.stamp"


def _build(venv: Path, requirements: Sequence[Path], again: str) -> None:
    # With the run's own pins in place only the tools are added; they are pinned against the same versions.
    keep = is_ready(venv, requirements[:1])
    missing = requirements[1:] if keep else requirements
    stamp = _stamp(venv)
    stamp.unlink(missing_ok=True)
    if not keep:
        _run(
            [sys.executable, "-m", "venv", "--clear", str(venv)],
            f"Making {venv.name}",
            f"Remove what is there with `rm -rf {venv}`, then run `{again}` again.",
        )
    count = len({pin for path in missing for pin in _pinned(path)})
    options = ["--disable-pip-version-check", "--no-input", "--no-compile"]
    files = [word for path in missing for word in ("-r", str(path))]
    _run(
        [str(python_of(venv)), "-m", "pip", "install", *options, *files],
        f"Installing {count} packages",
        f"Check the network (and the proxy or index that pip is set to), then run `{again}` again.",
    )
    unfinished = stamp.with_suffix(".part")
    unfinished.write_text("\n".join(fingerprint(path) for path in requirements) + "\n", encoding="utf-8")
    unfinished.replace(stamp)


def _pinned(requirements: Path) -> list[str]:
    lines = requirements.read_text(encoding="utf-8").splitlines()
    return [line.split("==")[0] for line in lines if line[:1].isalnum()]


def _run(command: Sequence[str], doing: str, mend: str) -> None:
    """Run quietly, telling what is done and for how long; on failure show the end of what it said."""
    started = time.monotonic()
    process = subprocess.Popen(
        command,
        env=clean(os.environ),
        stdin=subprocess.DEVNULL,
        stdout=subprocess.PIPE,
        stderr=subprocess.STDOUT,
        text=True,
        encoding="utf-8",
        errors="replace",
    )
    said: deque[str] = deque(maxlen=40)
    listener = threading.Thread(target=_listen, args=(process, said), daemon=True)
    listener.start()
    try:
        _tell_progress(process, doing, said, started)
    except BaseException:
        process.kill()
        process.wait()
        raise
    listener.join()
    assert process.stdout is not None
    process.stdout.close()
    if process.returncode != 0:
        reasons = [line for line in said if line.lower().startswith("error")] or list(said)[-3:]
        raise Refusal("\n".join([*reasons[-3:], f"{doing} did not succeed, for the reason above. {mend}"]))


def _listen(process: subprocess.Popen[str], said: deque[str]) -> None:
    assert process.stdout is not None
    said.extend(line.rstrip() for line in process.stdout if line.strip())


def _tell_progress(process: subprocess.Popen[str], doing: str, said: deque[str], started: float) -> None:
    """On a terminal one line that keeps itself current, elsewhere a new line every ten seconds."""
    live = sys.stdout.isatty()
    print(f"{doing} …", end="" if live else "\n", flush=True)
    told = 0
    while process.poll() is None:
        try:
            process.wait(timeout=1)
        except subprocess.TimeoutExpired:
            seconds = round(time.monotonic() - started)
            if live:
                print(f"\r\033[K{doing} … {seconds} s  {_step(said)}", end="", flush=True)
            elif seconds // 10 > told:
                told = seconds // 10
                print(f"  {seconds} s so far  {_step(said)}".rstrip(), flush=True)
    done = f"{doing}: {time.monotonic() - started:.0f} s"
    print(f"\r\033[K{done}" if live else f"  {time.monotonic() - started:.0f} s", flush=True)


def _step(said: deque[str]) -> str:
    """What pip is at, without its addresses, sizes and long lists."""
    words = said[-1].split() if said else []
    return (
        " ".join(words[:2])[:50] if words and words[0] in ("Collecting", "Downloading", "Installing") else ""
    )


@contextmanager
def sole_use(lock: Path) -> Iterator[None]:
    """One builder at a time; the others wait, and find the work done."""
    with lock.open("a+") as handle:
        _lock(handle.fileno())
        yield


if sys.platform == "win32":
    import msvcrt

    def _lock(descriptor: int) -> None:
        while True:
            try:  # gives up by itself after ten tries, a second apart; freed when the file is closed
                return msvcrt.locking(descriptor, msvcrt.LK_LOCK, 1)
            except OSError:
                print("Another start is installing; waiting for it.", flush=True)

else:
    import fcntl

    def _lock(descriptor: int) -> None:
        try:
            fcntl.flock(descriptor, fcntl.LOCK_EX | fcntl.LOCK_NB)
        except BlockingIOError:
            print("Another start is installing; waiting for it.", flush=True)
            fcntl.flock(descriptor, fcntl.LOCK_EX)
        except OSError:
            return  # a file system without locks: two starts at once are then on their own


def main() -> None:
    """Build a .venv for the Python that runs this: `python3.13 -m brewbar.bootstrap .venv-3.13 FILE…`."""
    parser = argparse.ArgumentParser(description=main.__doc__)
    parser.add_argument("venv", type=Path)
    parser.add_argument("requirements", type=Path, nargs="+")
    options = parser.parse_args()
    try:
        prepare(options.venv, options.requirements)
    except Refusal as refusal:
        sys.exit(str(refusal))


if __name__ == "__main__":
    main()
