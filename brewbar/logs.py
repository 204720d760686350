"""What is logged: JSON lines for a machine, plain text for a terminal; each with the request that it belongs to.

Who it was is told by number alone. What would open a door to whoever reads the log stays out of it: addresses lose
their query and the keys in them, and a database's account of a refused row is cut off.
"""

from __future__ import annotations

import json
import logging
import re
import secrets
from collections.abc import Iterator
from contextlib import contextmanager
from contextvars import ContextVar
from datetime import UTC, datetime
from typing import Any
from urllib.parse import quote

KEYS = re.compile(r"(/join/)[^/\s\"'<>]+")
"""Of an address that opens once. Django repeats addresses in messages of its own, so text is masked as a whole."""
QUERIES = re.compile(r"(https?://[^\s?\"'<>]*|(?<=\s)/[^\s?\"'<>]*)\?[^\s\"'<>]+")
ROWS = re.compile(r"(DETAIL:).*?(?=\n\nThe above exception|\n\nDuring handling|\Z)", re.DOTALL)
"""PostgreSQL tells the whole row that a constraint refused, hashes of passwords and PINs with it."""
CONTROLS = re.compile(r"[\x00-\x08\x0b-\x1f\x7f-\x9f\u2028-\u202e\u2066-\u2069]")
LONGEST_PATH = 200

_request: ContextVar[dict[str, str]] = ContextVar("request", default={})  # noqa: B039 (never written to)


def new_reference() -> str:
    """Eight characters, made here: one from outside could be chosen to confuse."""
    return secrets.token_hex(4)


def masked(text: str) -> str:
    return ROWS.sub(r"\1 ...", QUERIES.sub(r"\1?...", KEYS.sub(r"\1...", text)))


@contextmanager
def of_request(reference: str, method: str, path: str) -> Iterator[str]:
    """Whatever is logged inside belongs to this request. Yields how it is called in a message."""
    about = {"request": reference, "method": method[:10], "path": masked(quote(path)[:LONGEST_PATH])}
    token = _request.set(about)
    try:
        yield f"{about['method']} {about['path']}"
    finally:
        _request.reset(token)


class JsonLines(logging.Formatter):
    """One object a line, in ASCII: nothing typed elsewhere can end the line or turn its direction."""

    def format(self, record: logging.LogRecord) -> str:
        line: dict[str, Any] = {
            "time": datetime.fromtimestamp(record.created, UTC).isoformat(timespec="milliseconds"),
            "level": record.levelname,
            "logger": record.name,
            "message": masked(record.getMessage()),
            **_request.get(),
            **getattr(record, "figures", {}),
        }
        if trace := traceback_of(self, record):
            line["exception"] = trace
        return json.dumps(line)


class Plain(logging.Formatter):
    """For reading along in a terminal."""

    def format(self, record: logging.LogRecord) -> str:
        reference = _request.get().get("request", "")
        head = f"{self.formatTime(record)} {record.levelname} {record.name}:"
        line = " ".join(part for part in (head, reference, masked(record.getMessage())) if part)
        trace = traceback_of(self, record)
        # Indented, so that nothing typed elsewhere can pass for a line of its own.
        return CONTROLS.sub("?", (f"{line}\n{trace}" if trace else line).replace("\n", "\n    "))


def traceback_of(formatter: logging.Formatter, record: logging.LogRecord) -> str:
    """Where it broke. A request that was refused did not break anything: its message says enough."""
    if not record.exc_info or was_refused(record):
        return ""
    return masked(formatter.formatException(record.exc_info))


def was_refused(record: logging.LogRecord) -> bool:
    """Whether Django logs this of an answer that says the request was wrong, not the server."""
    status: int = getattr(record, "status_code", 500)
    return status < 500


class News(logging.Filter):
    """Of Django's lines on requests, those that say more than our own: a page not found does not, a traceback does."""

    def filter(self, record: logging.LogRecord) -> bool:
        return bool(record.exc_info) and not was_refused(record)


def settings_for(kind: str) -> dict[str, Any]:
    """LOGGING of Django, for `kind` "json" or "plain"."""
    return {
        "version": 1,
        "disable_existing_loggers": False,
        "formatters": {"json": {"()": JsonLines}, "plain": {"()": Plain}},
        "filters": {"news": {"()": News}},
        "handlers": {"console": {"class": "logging.StreamHandler", "formatter": kind}},
        "root": {"handlers": ["console"], "level": "WARNING"},
        "loggers": {
            "brewbar": {"level": "INFO"},
            # Django's own handlers would print a second time, and only while debugging.
            "django": {"handlers": [], "level": "INFO"},
            "django.request": {"filters": ["news"]},
            # It repeats what was typed as a sign-in name, which may be a password in the wrong field. Refused
            # sign-ins are in the record of changes.
            "axes": {"handlers": [], "level": "ERROR"},
            # The server's own, which would otherwise write in a form of its own.
            "_granian": {"handlers": [], "propagate": True},
        },
    }
