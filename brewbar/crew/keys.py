"""Keys that let other programs in as the member who made them.

A key is 32 random bytes, shown once. What is kept is its beginning, to tell it from others, and the SHA-256 of all of
it: there is nothing in so many random bits for a slow hash to protect.
"""

from __future__ import annotations

import base64
import secrets
from collections.abc import Iterable
from datetime import datetime, timedelta
from hashlib import sha256
from hmac import compare_digest

from django.db import transaction
from django.utils.translation import gettext as _

from brewbar.crew import record
from brewbar.crew.access import Member
from brewbar.crew.models import Cafe, Change, Key, Membership, Role, Scope, User

PREFIX = "bar_"
"""So that a key lost in a file is known for one."""
START = 12
"""So many characters of a key stay visible: 48 of its 256 bits."""
USED_EVERY = timedelta(minutes=1)
"""Last use is for people to read; more often it would be a write with every request."""
LASTS_DAYS = (30, 90, 365)


def scopes_for(member: Member) -> list[Scope]:
    """What a key of this member may be for: owners enter no readings."""
    return [scope for scope in Scope if member.may_brew or scope != Scope.READINGS]


@transaction.atomic
def make(member: Member, name: str, scopes: Iterable[str], days: int, now: datetime) -> tuple[Key, str]:
    """A new key of ``member``, and what its program has to send: nothing else knows it."""
    secret = PREFIX + base64.urlsafe_b64encode(secrets.token_bytes(32)).decode().rstrip("=")
    key = Key.objects.create(
        membership=member.membership,
        name=name,
        start=secret[:START],
        key_hash=_hashed(secret),
        scopes=[scope.value for scope in scopes_for(member) if scope in set(scopes)],
        made_at=now,
        expires_at=now + timedelta(days=days),
    )
    after = {
        _("may"): "; ".join(key.says),
        _("until"): f"{key.expires_at:%Y-%m-%d}",
    }
    _note(key, _("key for another program made"), member.user, after)
    return key, secret


@transaction.atomic
def revoke(key: Key, by: User, now: datetime, why: str = "") -> bool:
    """From now on the key opens nothing; False where it was revoked before."""
    if not Key.objects.filter(pk=key.pk, revoked_at=None).update(revoked_at=now, revoked_by=by):
        return False
    _note(key, _("key for another program revoked"), by, why=why)
    return True


def found(secret: str, now: datetime) -> Key | None:
    """The key that a program shows, if it still opens anything."""
    rows = Key.objects.working_at(now).select_related(
        "membership__user", "membership__company", "membership__cafe__company"
    )
    key: Key | None = rows.filter(start=secret[:START]).first() if secret.isascii() else None
    if key is None or not compare_digest(key.key_hash, _hashed(secret)):
        return None
    return key


def member_of(key: Key) -> Member | None:
    """Whom a key acts as now; an owner at the first of their cafés. None for an owner of none."""
    membership: Membership = key.membership
    cafe = membership.cafe
    if cafe is None:
        cafe = Cafe.objects.filter(company=membership.company_id).select_related("company").first()
    if cafe is None:
        return None
    return Member(
        role=Role(membership.role),
        company=membership.company,
        cafe=cafe,
        user=membership.user,
        membership=membership,
    )


def mark_used(key: Key, now: datetime) -> None:
    """Write when the key was used, if that was not written lately."""
    if key.last_used_at is None or now - key.last_used_at >= USED_EVERY:
        Key.objects.filter(pk=key.pk).update(last_used_at=now)


def _hashed(secret: str) -> str:
    return sha256(secret.encode()).hexdigest()


def _note(key: Key, what: str, by: User, after: dict[str, str] | None = None, why: str = "") -> None:
    membership = key.membership
    record.note(
        company=membership.company,
        cafe=membership.cafe,
        about=Change.About.SIGN_IN,
        what=what,
        subject=f"{key} ({key.start}…)",
        row=key,
        by=by,
        after=after,
        why=why,
    )
