"""Ways in besides a password: links that work once, and tablets that stay signed in as a station."""

from __future__ import annotations

from datetime import datetime
from typing import TYPE_CHECKING, Any, Self

from django.db import models
from django.db.models import F, Q
from django.utils.translation import gettext_lazy as _

if TYPE_CHECKING:
    from brewbar.crew.access import Member
from brewbar.crew.models.companies import Cafe, Company, Station
from brewbar.crew.models.people import Role, User
from brewbar.crew.tenancy import of_cafe, of_company


class LinkRows(models.QuerySet[Any]):
    def for_member(self, member: Member) -> Self:
        """A head barista's are those to a role in the own café; an owner's all of the company's."""
        return self.filter(of_company(member)) if member.is_owner else self.filter(of_cafe(member))

    def open_at(self, now: datetime) -> Self:
        return self.filter(used_at=None, withdrawn_at=None, expires_at__gt=now)


class OneTimeLink(models.Model):
    """Opens once, to join a café or company or to choose a new password. Only the hash of its key is kept."""

    class Kind(models.TextChoices):
        JOIN = "join", _("join")
        PASSWORD = "password", _("new password")

    kind = models.CharField(max_length=8, choices=Kind.choices)
    key_hash = models.CharField(max_length=64, unique=True)
    company = models.ForeignKey(Company, on_delete=models.PROTECT, related_name="+")
    cafe = models.ForeignKey(Cafe, on_delete=models.PROTECT, related_name="+", null=True, blank=True)
    role = models.CharField(max_length=10, choices=Role.choices)
    """Which role it leads to, or which role the person has whose password it renews."""
    in_training = models.BooleanField(_("in training"), default=False)
    name = models.CharField(_("name"), max_length=60, blank=True)
    """Whom it is meant for, as the one who made it called them."""
    for_user = models.ForeignKey(User, on_delete=models.PROTECT, related_name="+", null=True, blank=True)
    """Whose password it renews."""
    made_by = models.ForeignKey(User, on_delete=models.PROTECT, related_name="+", null=True, blank=True)
    """None where it was made on the server's own console."""
    made_at = models.DateTimeField()
    expires_at = models.DateTimeField()
    used_at = models.DateTimeField(null=True, blank=True)
    used_by = models.ForeignKey(User, on_delete=models.PROTECT, related_name="+", null=True, blank=True)
    withdrawn_at = models.DateTimeField(null=True, blank=True)

    objects = LinkRows.as_manager()

    class Meta:
        ordering = ["-made_at", "-pk"]
        constraints = [
            models.CheckConstraint(
                condition=Q(role=Role.OWNER, cafe=None) | (~Q(role=Role.OWNER) & Q(cafe__isnull=False)),
                name="link_owner_of_all_crew_of_one",
            ),
            models.CheckConstraint(
                condition=Q(kind="join", for_user=None) | Q(kind="password", for_user__isnull=False),
                name="link_password_is_somebodys",
            ),
            models.CheckConstraint(condition=Q(expires_at__gt=F("made_at")), name="link_expires_later"),
        ]

    def __str__(self) -> str:
        return f"{self.get_kind_display()}: {self.name or self.for_user or self.get_role_display()}"


class TabletRows(models.QuerySet[Any]):
    def for_member(self, member: Member) -> Self:
        return self.filter(of_cafe(member, "station__cafe"))

    def enrolled(self) -> Self:
        return self.filter(revoked_at=None)


class Tablet(models.Model):
    """A shared device that stays signed in as its station. Only the hash of the key in its cookie is kept."""

    SIGNED_OUT_AFTER_S = 5 * 60
    """Without a touch, whoever is signed in on it."""

    station = models.ForeignKey(Station, on_delete=models.PROTECT, related_name="tablets")
    label = models.CharField(_("which device"), max_length=40, blank=True)
    key_hash = models.CharField(max_length=64, unique=True)
    enrolled_at = models.DateTimeField()
    enrolled_by = models.ForeignKey(User, on_delete=models.PROTECT, related_name="+")
    last_used_at = models.DateTimeField(null=True, blank=True)
    revoked_at = models.DateTimeField(null=True, blank=True)
    revoked_by = models.ForeignKey(User, on_delete=models.PROTECT, related_name="+", null=True, blank=True)

    objects = TabletRows.as_manager()

    class Meta:
        ordering = ["station__position", "station__name", "-enrolled_at"]

    def __str__(self) -> str:
        return f"{self.station} ({self.label})" if self.label else str(self.station)
