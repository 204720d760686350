"""Sign-ins refused, in the record of the companies they were meant for. PINs refused are noted where they are tried.

What was typed is kept only where it is somebody's name: a password typed into the wrong field must not stand in a
record for others to read.
"""

from __future__ import annotations

from datetime import timedelta
from typing import Any

from django.conf import settings
from django.db import transaction
from django.utils import timezone
from django.utils.translation import gettext as _

from brewbar.crew import record
from brewbar.crew.founding import sign_in_name
from brewbar.crew.models import Change, Company, Membership

NOBODY_EVERY = timedelta(minutes=10)
"""Names that nobody has can be made up without end."""


def note_refused(sender: object, credentials: dict[str, Any], request: Any = None, **more: Any) -> None:
    """Receives Django's ``user_login_failed``, after django-axes has counted the try."""
    if getattr(request, "pin_name", ""):
        return
    tries = getattr(request, "axes_failures_since_start", None) or 0
    if tries > settings.AXES_FAILURE_LIMIT:
        # Said already, when it was locked.
        return
    is_locked = tries == settings.AXES_FAILURE_LIMIT
    typed = sign_in_name(str(credentials.get("username") or ""))
    theirs = Membership.objects.active().filter(user__username=typed)
    memberships = list(theirs.select_related("user", "company", "cafe"))
    with transaction.atomic():
        if memberships:
            _note_somebody(memberships, is_locked)
        else:
            _note_nobody()


def _note_somebody(memberships: list[Membership], is_locked: bool) -> None:
    for company in {one.company for one in memberships}:
        cafes = {one.cafe for one in memberships if one.company == company}
        user = memberships[0].user
        record.note(
            company=company,
            cafe=cafes.pop() if len(cafes) == 1 else None,
            about=Change.About.SIGN_IN,
            what=_("password refused, and locked") if is_locked else _("password refused"),
            subject=user,
            by=None,
            by_name=user.name,
        )


def _note_nobody() -> None:
    real = list(Company.objects.filter(is_invented=False)[:2])
    if len(real) != 1:
        return
    what, since = _("sign-in refused"), timezone.now() - NOBODY_EVERY
    if Change.objects.filter(company=real[0], what=what, row="", at__gte=since).exists():
        return
    record.note(
        company=real[0],
        about=Change.About.SIGN_IN,
        what=what,
        subject=_("a sign-in name that nobody has"),
        by=None,
        by_name=_("somebody unknown"),
    )
