"""Companies, their cafés and stations, and the people who work there."""

from __future__ import annotations

import zoneinfo
from datetime import date, datetime, timedelta
from typing import TYPE_CHECKING

from django.contrib.auth.models import AbstractBaseUser, BaseUserManager
from django.core.exceptions import ValidationError
from django.core.validators import MaxValueValidator, MinValueValidator
from django.db import models
from django.db.models import Q
from django.utils.translation import gettext_lazy as _

from brewbar.crew.tenancy import CafeRows, Retirable

if TYPE_CHECKING:
    from brewbar.crew.access import Member


def check_time_zone(name: str) -> None:
    """Raise ValidationError unless ``name`` is in the time zone database."""
    if name not in zoneinfo.available_timezones():
        raise ValidationError(
            _("%(name)s is no time zone we know; one looks like Europe/Lisbon."), params={"name": name}
        )


class Role(models.TextChoices):
    BARISTA = "barista", _("barista")
    HEAD = "head", _("head barista")
    OWNER = "owner", _("owner")


class Naming(models.TextChoices):
    """How results about people reach an owner."""

    UNNAMED = "unnamed", _("unnamed")
    INITIALS = "initials", _("initials")
    NAMES = "names", _("names")


class Company(models.Model):
    name = models.CharField(_("name"), max_length=80, unique=True)
    people_shown_to_owners = models.CharField(
        _("people in an owner's reports"), max_length=10, choices=Naming.choices, default=Naming.UNNAMED
    )
    is_invented = models.BooleanField(default=False)
    """True for the demo scenario: every page says that its data are invented."""
    invented_on = models.DateField(null=True, blank=True)

    def __str__(self) -> str:
        return self.name


class CafeQuerySet(models.QuerySet["Cafe"]):
    def for_member(self, member: Member) -> CafeQuerySet:
        """The cafés a member may read: a crew's own café, all of the company for an owner."""
        return self.filter(company=member.company) if member.is_owner else self.filter(pk=member.cafe.pk)


class Cafe(models.Model):
    company = models.ForeignKey(Company, on_delete=models.PROTECT, related_name="cafes")
    name = models.CharField(_("name"), max_length=60)
    time_zone = models.CharField(_("time zone"), max_length=60, default="UTC", validators=[check_time_zone])
    altitude_m = models.SmallIntegerField(
        _("altitude"), default=0, validators=[MinValueValidator(-430), MaxValueValidator(5000)]
    )
    day_turns_at = models.PositiveSmallIntegerField(
        _("hour at which the business day turns"), default=4, validators=[MaxValueValidator(11)]
    )

    objects = CafeQuerySet.as_manager()

    class Meta:
        ordering = ["name"]
        constraints = [
            models.UniqueConstraint(fields=["company", "name"], name="cafe_name_once_a_company"),
            models.CheckConstraint(condition=Q(day_turns_at__lte=11), name="cafe_day_turns_before_noon"),
        ]

    def __str__(self) -> str:
        return self.name

    @property
    def zone(self) -> zoneinfo.ZoneInfo:
        return zoneinfo.ZoneInfo(self.time_zone)

    def business_day(self, at: datetime) -> date:
        """The café's business day that the moment ``at`` (aware) belongs to.

        The wall clock decides, so that a night shift and a change of clocks stay on the day a crew would say.
        """
        wall = at.astimezone(self.zone).replace(tzinfo=None)
        return (wall - timedelta(hours=self.day_turns_at)).date()


class Station(Retirable):
    cafe = models.ForeignKey(Cafe, on_delete=models.PROTECT, related_name="stations")
    name = models.CharField(_("name"), max_length=40)
    position = models.PositiveSmallIntegerField(default=0)

    objects = CafeRows.as_manager()

    class Meta:
        ordering = ["position", "name"]
        constraints = [models.UniqueConstraint(fields=["cafe", "name"], name="station_name_once_a_cafe")]

    def __str__(self) -> str:
        return self.name


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
    is_active = models.BooleanField(default=True)
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
