"""A command of ours in a process of its own, and questions to it over HTTP."""

import socket
import subprocess
import sys
import time
from collections.abc import Iterator, Mapping
from contextlib import closing, contextmanager
from dataclasses import dataclass
from http.client import HTTPConnection, HTTPMessage
from pathlib import Path

import pytest

from brewbar import bootstrap


@dataclass(frozen=True)
class Answer:
    status: int
    headers: HTTPMessage
    body: str


@dataclass
class Running:
    """`said` is what it printed until it was ready; `logged` what it wrote to the error stream until its end."""

    port: int
    said: str
    logged: str = ""

    def ask(self, path: str, method: str = "GET", body: str | None = None, **headers: str) -> Answer:
        named = {name.replace("_", "-"): value for name, value in headers.items()}
        with closing(HTTPConnection("127.0.0.1", self.port, timeout=30)) as connection:
            connection.request(method, path, body, named)
            answer = connection.getresponse()
            return Answer(answer.status, answer.headers, answer.read().decode(errors="replace"))


def free_port() -> int:
    with socket.socket() as probe:
        probe.bind(("127.0.0.1", 0))
        return int(probe.getsockname()[1])


def start(
    words: list[str], environment: Mapping[str, str], root: Path = bootstrap.ROOT
) -> subprocess.Popen[str]:
    return subprocess.Popen(
        [sys.executable, "-u", "manage.py", *words],
        cwd=root,
        env=environment,
        stdout=subprocess.PIPE,
        stderr=subprocess.PIPE,
        text=True,
    )


@contextmanager
def running(
    words: list[str], port: int, environment: Mapping[str, str], root: Path = bootstrap.ROOT
) -> Iterator[Running]:
    process = start([*words, "--port", str(port)], environment, root)
    assert process.stdout is not None
    said = ""
    for line in process.stdout:
        said += line
        if "Ctrl-C stops it" in line:
            break
    _wait_until_it_listens(process, port)
    server = Running(port, said)
    try:
        yield server
    finally:
        process.terminate()
        _, server.logged = process.communicate(timeout=60)
    assert process.returncode == 0


def refused(words: list[str], environment: Mapping[str, str]) -> str:
    """What a command that must not start says instead, in one sentence rather than a traceback."""
    process = start(words, environment)
    _, said = process.communicate(timeout=60)
    assert process.returncode == 1
    assert "Traceback" not in said
    return said


def _wait_until_it_listens(process: subprocess.Popen[str], port: int) -> None:
    deadline = time.monotonic() + 60
    while process.poll() is None and time.monotonic() < deadline:
        try:
            socket.create_connection(("127.0.0.1", port), timeout=1).close()
            return
        except OSError:
            time.sleep(0.05)
    process.kill()
    pytest.fail("\n".join(process.communicate()))
