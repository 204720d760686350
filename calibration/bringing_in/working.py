"""What takes longer than a page may: done in a thread of the server, with a connection of its own.

How far it is stands in the cache, which is the server process's own: if that ends, so does the work, and the
transaction with it.
"""

from __future__ import annotations

import contextvars
import logging
from collections.abc import Callable
from dataclasses import dataclass, replace
from threading import Lock, Thread

from django.core.cache import cache
from django.db import connection
from django.utils.translation import gettext as _

from calibration.bringing_in.looking import Tell

KEPT_S = 86_400
SOON_S = 1.5
"""What is done within this time needs no page of its own to wait on."""

logger = logging.getLogger(__name__)
_beginning = Lock()


@dataclass(frozen=True)
class Progress:
    """state: "running", "done" or "failed"; says: why it failed; result: of what is done."""

    what: str
    state: str = "running"
    done: int = 0
    of: int = 0
    says: str = ""
    result: str = ""

    @property
    def is_running(self) -> bool:
        return self.state == "running"

    @property
    def percent(self) -> int:
        return min(100, 100 * self.done // self.of) if self.of else 0


def _key(token: str) -> str:
    return f"bringing-in:{token}"


def progress(token: str) -> Progress | None:
    """None where nothing was begun, or the server was started anew since."""
    found: Progress | None = cache.get(_key(token))
    return found


def start(
    token: str,
    what: str,
    work: Callable[[Tell], str],
    refused: type[Exception] | tuple[type[Exception], ...] = (),
) -> None:
    """Begin ``work``, unless something is under way for this upload. ``refused``: exceptions that say why not."""
    begun = Progress(what)
    with _beginning:
        before = progress(token)
        if before is not None and before.is_running:
            return
        cache.set(_key(token), begun, KEPT_S)

    def tell(done: int, of: int) -> None:
        cache.set(_key(token), replace(begun, done=done, of=of), KEPT_S)

    def run() -> None:
        try:
            ended = replace(begun, state="done", result=work(tell))
        except refused as error:
            ended = replace(begun, state="failed", says=str(error))
        except Exception:
            logger.exception("The work on an upload failed: nothing of it was saved.")
            says = _("Something went wrong, and nothing was brought in. The server's log says more.")
            ended = replace(begun, state="failed", says=says)
        cache.set(_key(token), ended, KEPT_S)

    run_soon(run)


def run_soon(run: Callable[[], None]) -> None:
    """In a thread, with the language and the style of whoever asked; for a moment it is waited for."""

    def with_own_connection() -> None:
        try:
            run()
        finally:
            connection.close()

    context = contextvars.copy_context()
    thread = Thread(target=lambda: context.run(with_own_connection), name="bringing-in", daemon=True)
    thread.start()
    thread.join(SOON_S)
