"""People, and the roles they have in cafés and companies."""

from __future__ import annotations

from typing import TYPE_CHECKING

from django.contrib.auth.models import AbstractBaseUser, BaseUserManager
from django.core.exceptions import ValidationError
from django.db import models
from django.db.models import Q
from django.utils.translation import gettext_lazy as _

from brewbar.crew.models.companies import Cafe, Company, DateOrder, DecimalMark, TemperatureUnit
from brewbar.crew.tenancy import of_company

if TYPE_CHECKING:
    from brewbar.crew.access import Member


class Role(models.TextChoices):
    BARISTA = "barista", _("barista")
    HEAD = "head", _("head barista")
    OWNER = "owner", _("owner")


class UserManager(BaseUserManager["User"]):
    def create_user(self, username: str, name: str, password: str | None = None) -> User:
        user = self.model(username=self.model.normalize_username(username).lower(), name=name)
        user.set_password(password)
        user.save(using=self._db)
        return user

    def get_by_natural_key(self, username: str | None) -> User:
        return self.get(username=(username or "").lower())


class User(AbstractBaseUser):
    """A person. What they may do comes from their memberships alone; there is no superuser and no admin site."""

    username = models.CharField(_("sign-in name"), max_length=60, unique=True)
    name = models.CharField(_("name"), max_length=60)
    email = models.EmailField(_("e-mail"), blank=True)
    decimal_mark = models.CharField(_("decimal mark"), max_length=1, choices=DecimalMark.choices, blank=True)
    temperature_unit = models.CharField(
        _("temperatures in"), max_length=1, choices=TemperatureUnit.choices, blank=True
    )
    date_order = models.CharField(_("dates"), max_length=3, choices=DateOrder.choices, blank=True)
    """Blank is as the company has it."""
    is_active = models.BooleanField(default=True)
    forgotten_at = models.DateTimeField(null=True, blank=True)
    """When the name of somebody who left gave way to a pseudonym."""
    created_at = models.DateTimeField(auto_now_add=True)

    objects = UserManager()

    USERNAME_FIELD = "username"
    EMAIL_FIELD = "email"
    REQUIRED_FIELDS = ["name"]

    class Meta:
        ordering = ["name"]

    def __str__(self) -> str:
        return self.name

    @property
    def initials(self) -> str:
        return "".join(word[0] for word in self.name.split()[:3]).upper()


class MembershipQuerySet(models.QuerySet["Membership"]):
    def for_member(self, member: Member) -> MembershipQuerySet:
        """A crew's own café; all of the company, its owners too, for an owner."""
        return self.filter(of_company(member)) if member.is_owner else self.filter(cafe=member.cafe)

    def active(self) -> MembershipQuerySet:
        return self.filter(ended_at=None, user__is_active=True)


class Membership(models.Model):
    """One person's role: in one café, or, for an owner, over the whole company."""

    user = models.ForeignKey(User, on_delete=models.PROTECT, related_name="memberships")
    company = models.ForeignKey(Company, on_delete=models.PROTECT, related_name="memberships")
    cafe = models.ForeignKey(
        Cafe, on_delete=models.PROTECT, related_name="memberships", null=True, blank=True
    )
    role = models.CharField(max_length=10, choices=Role.choices)
    in_training = models.BooleanField(_("in training"), default=False)
    started_at = models.DateTimeField(auto_now_add=True)
    ended_at = models.DateTimeField(null=True, blank=True)
    pin_hash = models.CharField(max_length=128, blank=True)
    """Of the PIN that its owner chose for the café's tablets; blank while there is none."""
    pin_set_at = models.DateTimeField(null=True, blank=True)

    objects = MembershipQuerySet.as_manager()

    class Meta:
        ordering = ["company", "cafe__name", "user__name"]
        constraints = [
            models.CheckConstraint(
                condition=(Q(role=Role.OWNER, cafe=None) | (~Q(role=Role.OWNER) & Q(cafe__isnull=False))),
                name="membership_owner_of_all_crew_of_one",
            ),
            models.CheckConstraint(condition=Q(role__in=Role.values), name="membership_role_known"),
            models.UniqueConstraint(
                fields=["user", "cafe"],
                condition=Q(ended_at=None, cafe__isnull=False),
                name="membership_once_a_cafe",
            ),
            models.UniqueConstraint(
                fields=["user", "company"],
                condition=Q(ended_at=None, cafe=None),
                name="membership_owner_once",
            ),
        ]

    def __str__(self) -> str:
        return f"{self.user}, {self.get_role_display()}, {self.cafe or self.company}"

    def clean(self) -> None:
        if self.cafe and self.cafe.company_id != self.company_id:
            raise ValidationError({"cafe": _("This café belongs to another company.")})
