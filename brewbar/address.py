"""Where the server listens: read and tried out before anything slow begins. Standard library only."""

import argparse
import errno
import ipaddress
import socket
import sys
from collections.abc import Sequence

from brewbar.refusal import Refusal

HOST = "127.0.0.1"
PORT = 8000
PORTS = range(1, 65536)


def add_arguments(parser: argparse.ArgumentParser) -> None:
    parser.add_argument(
        "--host",
        default=HOST,
        help=f"address of this machine to listen on ({HOST} unless told; 0.0.0.0 for every network it is on)",
    )
    parser.add_argument("--port", type=port, default=PORT, help=f"port to listen on ({PORT} unless told)")


def port(text: str) -> int:
    if not (text.isascii() and text.isdecimal()) or int(text) not in PORTS:
        raise argparse.ArgumentTypeError(f"{text!r} is not a port; allowed are {PORTS[0]} to {PORTS[-1]}")
    return int(text)


def read(argv: Sequence[str]) -> tuple[str, int]:
    """The host and port among the arguments of a command."""
    parser = argparse.ArgumentParser(add_help=False, allow_abbrev=False)
    add_arguments(parser)
    known, _ = parser.parse_known_args(argv)
    return known.host, known.port


def refuse_unless_free(host: str, port: int) -> None:
    error = _try_to_listen(host, port)
    if error is None:
        return
    if isinstance(error, socket.gaierror) or error.errno == errno.EADDRNOTAVAIL:
        raise Refusal(
            f"{host} is not an address of this machine: leave `--host` away to serve this machine alone, or "
            f"use `--host 0.0.0.0` to serve every network it is on."
        )
    if error.errno in (errno.EACCES, errno.EPERM):
        raise Refusal(f"Port {port} is reserved for the system's own services: add `--port {PORT}`.")
    free = next((other for other in range(port + 1, PORTS[-1]) if _try_to_listen(host, other) is None), PORT)
    raise Refusal(f"Port {port} is in use by another program: stop that one, or add `--port {free}`.")


def reachable(host: str) -> str:
    """The name by which others reach what listens on `host`."""
    if host not in ("0.0.0.0", "::"):
        return f"[{host}]" if ":" in host else host
    with socket.socket(socket.AF_INET, socket.SOCK_DGRAM) as probe:
        try:
            probe.connect(("192.0.2.1", 9))  # for documentation only; nothing is sent, a route is chosen
        except OSError:
            return HOST
        return str(probe.getsockname()[0])


def is_loopback(host: str) -> bool:
    if host == "localhost":
        return True
    try:
        return ipaddress.ip_address(host.strip("[]")).is_loopback
    except ValueError:
        return False


def _try_to_listen(host: str, port: int) -> OSError | None:
    try:
        family, kind, protocol, _, address = socket.getaddrinfo(
            host, port, type=socket.SOCK_STREAM, flags=socket.AI_PASSIVE
        )[0]
        with socket.socket(family, kind, protocol) as listener:
            if sys.platform != "win32":  # there the option would take over a port in use
                listener.setsockopt(socket.SOL_SOCKET, socket.SO_REUSEADDR, 1)
            listener.bind(address)
            listener.listen(1)
    except OSError as error:
        return error
    return None
