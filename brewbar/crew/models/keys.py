"""Keys of the interface for other programs, and what was answered to a request that may come twice."""

from __future__ import annotations

from datetime import datetime, timedelta
from typing import TYPE_CHECKING, Any, Self

from django.db import models
from django.db.models import F, Q
from django.utils.translation import gettext_lazy as _

if TYPE_CHECKING:
    from brewbar.crew.access import Member
from brewbar.crew.models.people import Membership, User
from brewbar.crew.tenancy import of_cafe, of_company


class Scope(models.TextChoices):
    """What a key may do; never more than whoever made it."""

    RECIPES = "recipes", _("read boards, cards and recipes")
    READINGS = "readings", _("add readings and instrument checks")
    RESULTS = "results", _("read readings and results")


ANSWERS_KEPT = timedelta(days=7)


class KeyRows(models.QuerySet[Any]):
    def for_member(self, member: Member) -> Self:
        """All of the company's for an owner; a crew's own, and for a head barista those of the café."""
        rows = self.filter(of_company(member, "membership__company"))
        if member.is_owner:
            return rows
        if member.is_head:
            return rows.filter(of_cafe(member, "membership__cafe"))
        return rows.filter(membership=member.membership)

    def working_at(self, now: datetime) -> Self:
        return self.filter(
            revoked_at=None,
            expires_at__gt=now,
            membership__ended_at=None,
            membership__user__is_active=True,
        )


class Key(models.Model):
    """Lets one device or program in as the member who made it. Only the hash of it is kept."""

    membership = models.ForeignKey(Membership, on_delete=models.PROTECT, related_name="keys")
    name = models.CharField(_("what it is for"), max_length=60)
    start = models.CharField(max_length=12, unique=True)
    """The beginning of the key, by which it is known again."""
    key_hash = models.CharField(max_length=64)
    scopes = models.JSONField(default=list)
    made_at = models.DateTimeField()
    expires_at = models.DateTimeField()
    last_used_at = models.DateTimeField(null=True, blank=True)
    revoked_at = models.DateTimeField(null=True, blank=True)
    revoked_by = models.ForeignKey(User, on_delete=models.PROTECT, related_name="+", null=True, blank=True)

    objects = KeyRows.as_manager()

    class Meta:
        ordering = ["-made_at", "-pk"]
        constraints = [
            models.CheckConstraint(condition=Q(expires_at__gt=F("made_at")), name="key_expires_later"),
        ]

    def __str__(self) -> str:
        return self.name

    @property
    def says(self) -> list[str]:
        """What it may do, in words."""
        return [str(Scope(scope).label) for scope in self.scopes]


class AnsweredRows(models.QuerySet[Any]):
    def drop_old(self, now: datetime) -> None:
        self.filter(at__lt=now - ANSWERS_KEPT).delete()


class Answered(models.Model):
    """What a request with an Idempotency-Key was answered, so that the same again changes nothing twice."""

    key = models.ForeignKey(Key, on_delete=models.CASCADE, related_name="+")
    said = models.CharField(max_length=255)
    """The Idempotency-Key."""
    fingerprint = models.CharField(max_length=64)
    """Hash of method, address and body."""
    status = models.PositiveSmallIntegerField()
    body = models.TextField()
    at = models.DateTimeField()

    objects = AnsweredRows.as_manager()

    class Meta:
        constraints = [models.UniqueConstraint(fields=["key", "said"], name="answered_once_a_key")]
        indexes = [models.Index(fields=["at"], name="answered_at")]

    def __str__(self) -> str:
        return f"{self.status} {self.said}"
