"""Where the server listens is tried out first, and a refusal names what would work."""

import argparse
import socket
from collections.abc import Iterator

import pytest

from brewbar import address
from brewbar.refusal import Refusal


@pytest.fixture
def taken() -> Iterator[int]:
    with socket.socket() as listener:
        listener.bind(("127.0.0.1", 0))
        listener.listen(1)
        yield listener.getsockname()[1]


def free_port() -> int:
    with socket.socket() as probe:
        probe.bind(("127.0.0.1", 0))
        return int(probe.getsockname()[1])


def test_a_free_port_is_let_through_and_stays_free() -> None:
    port = free_port()
    address.refuse_unless_free("127.0.0.1", port)
    address.refuse_unless_free("127.0.0.1", port)


def test_a_port_in_use_is_refused_with_one_that_is_free(taken: int) -> None:
    with pytest.raises(Refusal, match=rf"Port {taken} is in use.*`--port \d+`") as refused:
        address.refuse_unless_free("127.0.0.1", taken)
    offered = int(str(refused.value).rpartition("--port ")[2].strip("`."))
    assert offered > taken
    address.refuse_unless_free("127.0.0.1", offered)


def test_the_neighbour_of_the_usual_port_is_offered(monkeypatch: pytest.MonkeyPatch) -> None:
    in_use = OSError(address.errno.EADDRINUSE, "in use")
    monkeypatch.setattr(address, "_try_to_listen", lambda host, port: in_use if port == 8000 else None)
    with pytest.raises(Refusal, match="`--port 8001`"):
        address.refuse_unless_free("127.0.0.1", 8000)


@pytest.mark.parametrize("host", ["192.0.2.1", "no-such-host.invalid"])
def test_a_host_that_is_not_this_machine_is_refused(host: str) -> None:
    with pytest.raises(Refusal, match=rf"{host} is not an address of this machine.*--host 0\.0\.0\.0"):
        address.refuse_unless_free(host, free_port())


def test_a_port_of_the_system_is_refused(monkeypatch: pytest.MonkeyPatch) -> None:
    denied = PermissionError(address.errno.EACCES, "denied")
    monkeypatch.setattr(address, "_try_to_listen", lambda host, port: denied)
    with pytest.raises(Refusal, match=r"Port 80 is reserved.*`--port 8000`"):
        address.refuse_unless_free("127.0.0.1", 80)


def test_host_and_port_are_read_among_other_arguments() -> None:
    assert address.read([]) == ("127.0.0.1", 8000)
    assert address.read(["--verbosity", "2", "--port=8001", "--host", "0.0.0.0", "more"]) == ("0.0.0.0", 8001)


@pytest.mark.parametrize("text", ["0", "65536", "-1", "80a", "", "٨٠"])
def test_what_is_no_port_is_refused(text: str) -> None:
    with pytest.raises(argparse.ArgumentTypeError, match="allowed are 1 to 65535"):
        address.port(text)


def test_others_reach_it_by_a_name_that_means_something_to_them() -> None:
    assert address.reachable("127.0.0.1") == "127.0.0.1"
    assert address.reachable("::1") == "[::1]"
    assert address.reachable("0.0.0.0") not in ("0.0.0.0", "")


@pytest.mark.parametrize(
    ("host", "expected"),
    [
        ("127.0.0.1", True),
        ("localhost", True),
        ("[::1]", True),
        ("192.168.1.5", False),
        ("brew.example", False),
    ],
)
def test_loopback(host: str, expected: bool) -> None:
    assert address.is_loopback(host) is expected
