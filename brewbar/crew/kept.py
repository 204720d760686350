"""What was typed into a form that arrived after its sender had been signed out on a shared tablet.

It waits in the tablet's session, so that it is in no page, and only for the person who typed it. What signing in is
about never waits: neither passwords nor PINs.
"""

from __future__ import annotations

import json
import re
from dataclasses import dataclass
from datetime import UTC, datetime, timedelta
from typing import Any

from django.contrib import messages
from django.contrib.auth import logout
from django.contrib.sessions.backends.base import SessionBase
from django.utils import timezone
from django.utils.translation import gettext as _

KEY = "kept"
KEPT_FOR = timedelta(hours=1)
LARGEST = 20_000
"""Characters: twice a long recipe with all its pours."""
LEFT = "left_by_itself"
"""A form that the page sends by itself, because nobody touched it for too long, says so in this field."""
SECRET = re.compile(rf"(^|_)(password|pin)\d*(_|$)|^csrf|^{LEFT}$")


@dataclass(frozen=True)
class Kept:
    """One sent form: its address and its (name, value) pairs in their order."""

    path: str
    fields: tuple[tuple[str, str], ...]
    at: datetime

    @property
    def shown(self) -> list[tuple[str, str]]:
        return [(name.replace("_", " "), value) for name, value in self.fields if value and name != "uuid"]


def keep(request: Any, user_pk: int) -> None:
    """Keep what ``request`` sent for the person ``user_pk``, and say so."""
    fields = [
        (name, value)
        for name in request.POST
        if not SECRET.search(name)
        for value in request.POST.getlist(name)
    ]
    if not fields:
        return
    one = {"path": request.get_full_path(), "fields": fields, "at": int(timezone.now().timestamp())}
    if len(json.dumps(one)) > LARGEST:
        messages.warning(request, _("You were signed out. What was typed is too long to be kept."))
        return
    request.session[KEY] = request.session.get(KEY, {}) | {str(user_pk): one}
    said = _("You were signed out, since nobody touched the tablet for five minutes. What you typed is kept.")
    messages.info(request, said)


def of(session: SessionBase, user_pk: int, now: datetime) -> Kept | None:
    one = session.get(KEY, {}).get(str(user_pk))
    if one is None:
        return None
    at = datetime.fromtimestamp(one["at"], UTC)
    fields = tuple((name, value) for name, value in one["fields"])
    return Kept(one["path"], fields, at) if now - at < KEPT_FOR else None


def waiting(session: SessionBase, now: datetime) -> set[int]:
    """Whom something is kept for."""
    return {int(pk) for pk in session.get(KEY, {}) if of(session, int(pk), now)}


def forget(session: SessionBase, user_pk: int) -> None:
    left = {pk: one for pk, one in session.get(KEY, {}).items() if pk != str(user_pk)}
    session[KEY] = left


def sign_out(request: Any) -> None:
    """Sign out as Django does; what waits for somebody goes on waiting."""
    everything = request.session.get(KEY)
    logout(request)
    if everything:
        request.session[KEY] = everything
