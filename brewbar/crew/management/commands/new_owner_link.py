"""Prints a link for an owner who lost the way in, or for a new owner."""

from __future__ import annotations

from typing import Any

from django.conf import settings
from django.core.management.base import BaseCommand, CommandParser
from django.utils import timezone

from brewbar import dates
from brewbar.crew import joining
from brewbar.crew.founding import sign_in_name
from brewbar.crew.models import Membership, Role
from brewbar.crew.which_company import which_company
from brewbar.refusal import Refusal


class Command(BaseCommand):
    help = (
        "Print a link that opens once: for an owner to choose a new password (--for), "
        "or without that for somebody new to become an owner."
    )

    def add_arguments(self, parser: CommandParser) -> None:
        parser.add_argument("--company", help="the company's name, where there are several")
        parser.add_argument("--for", dest="username", help="the sign-in name of the owner")

    def handle(self, *args: Any, **given: Any) -> None:
        now = timezone.now()
        if given["username"]:
            owner = _owner(given["username"], given["company"])
            link, key = joining.offer_new_password(owner, None, now)
            told = f"With this link {owner.user} chooses a new password."
        else:
            company = which_company(given["company"])
            link, key = joining.invite(company=company, cafe=None, role=Role.OWNER, by=None, now=now)
            told = f"Whoever opens this link becomes an owner of {company}."
        cafe = link.company.cafes.first()
        until = dates.moment(link.expires_at.astimezone(cafe.zone if cafe else None), year=True)
        where = f" at {cafe}" if cafe else ""
        if not settings.DEPLOYMENT.is_configured:
            self.stderr.write(
                "BREWBAR_URL is not set, so the link opens on this machine alone: set it as for serve."
            )
        self.stdout.write(f"{told} It opens once, until {until}{where}:\n{joining.address_of(key)}")


def _owner(username: str, company: str | None) -> Membership:
    owners = Membership.objects.active().filter(role=Role.OWNER).select_related("user", "company")
    if company is not None:
        owners = owners.filter(company=which_company(company))
    found = list(owners.filter(user__username=sign_in_name(username)))
    if len(found) == 1:
        return found[0]
    if found:
        theirs = ", ".join(one.company.name for one in found)
        raise Refusal(f"{username} owns several companies. Say --company with one of: {theirs}.")
    known = ", ".join(f"{one.user.username} ({one.user}, {one.company})" for one in owners) or "none"
    raise Refusal(f"No owner signs in as {username}. Owners: {known}.")
