"""Who is asking, from which café, and which views their role opens.

Every view carries exactly one gate. A gate refuses a wrong role with 403, except that a tablet nobody is signed in
on is led to the names of the crew. What belongs to somebody else is never found at all, since every query starts
from ``for_member(request.member)``.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass
from functools import wraps
from typing import Any
from urllib.parse import urlencode

from django.core.exceptions import PermissionDenied
from django.http import HttpRequest, HttpResponse, HttpResponseRedirect
from django.urls import reverse
from django.utils.translation import gettext as _
from django.views.decorators.http import require_http_methods

from brewbar.crew import kept
from brewbar.crew.models import Cafe, Company, Membership, Role, Tablet, User

PLACE_KEY = "place"
STATION = "station"
"""What a tablet may do that nobody is signed in on. Not a role: no person has it."""

View = Callable[..., HttpResponse]


@dataclass(frozen=True, kw_only=True)
class Place:
    """Where a request comes from, and which role it has there. By itself it is a tablet with nobody signed in."""

    role: str
    company: Company
    cafe: Cafe
    tablet: Tablet | None = None
    """The shared tablet, where that alone or a PIN typed on it opened this place."""

    @classmethod
    def of(cls, tablet: Tablet) -> Place:
        cafe = tablet.station.cafe
        return Place(role=STATION, company=cafe.company, cafe=cafe, tablet=tablet)

    @property
    def is_station(self) -> bool:
        return self.role == STATION

    @property
    def is_barista(self) -> bool:
        return self.role == Role.BARISTA

    @property
    def is_head(self) -> bool:
        return self.role == Role.HEAD

    @property
    def is_owner(self) -> bool:
        return self.role == Role.OWNER

    @property
    def may_brew(self) -> bool:
        """Whether this member enters readings."""
        return self.is_barista or self.is_head

    @property
    def by_pin(self) -> bool:
        return False


@dataclass(frozen=True, kw_only=True)
class Member(Place):
    """A signed-in person at one place: which role they have there decides what they may do."""

    user: User
    membership: Membership

    @property
    def key(self) -> str:
        return f"{self.membership.pk}-{self.cafe.pk}"

    @property
    def label(self) -> str:
        return f"{self.cafe.name} · {Role(self.role).label}"

    @property
    def by_pin(self) -> bool:
        """Whether only a PIN was asked for, on a shared tablet."""
        return self.tablet is not None


def places_of(user: User) -> list[Member]:
    """Every place where ``user`` has a role now: a crew's cafés, and each café of a company for its owner."""
    memberships = list(user.memberships.active().select_related("company", "cafe"))
    owned = {m.company_id for m in memberships if m.role == Role.OWNER}
    cafes: dict[int, list[Cafe]] = {pk: [] for pk in owned}
    if owned:
        for cafe in Cafe.objects.filter(company__in=owned):
            cafes[cafe.company_id].append(cafe)
    return [
        Member(user=user, membership=membership, role=membership.role, company=membership.company, cafe=cafe)
        for membership in memberships
        for cafe in ([membership.cafe] if membership.cafe else cafes[membership.company_id])
    ]


def _move(request: Any, address: str, **query: str) -> HttpResponse:
    if query := {name: value for name, value in query.items() if value}:
        address = f"{address}?{urlencode(query)}"
    if getattr(request, "htmx", False):
        # A redirect would be followed inside the fragment: the browser as a whole has to move.
        return HttpResponse(headers={"HX-Redirect": address})
    return HttpResponseRedirect(address)


def _came_for(request: Any) -> str:
    return str(request.get_full_path()) if request.method == "GET" and not request.htmx else ""


def _to_a_person(request: Any) -> HttpResponse:
    """From a tablet that nobody is signed in on (any more) to the names; what was typed waits for its person."""
    left = request.left
    if left is None or request.method != "POST" or request.htmx:
        return _move(request, reverse("crew:names"), next=_came_for(request))
    kept.keep(request, left.user_pk)
    if left.nobody_there:
        return _move(request, reverse("web:home"))
    if left.membership_pk is None:
        return _move(request, reverse("crew:sign_in"), next=reverse("crew:kept"))
    return _move(request, reverse("crew:pin", args=[left.membership_pk]), next=reverse("crew:kept"))


def _turned_away(request: Any, roles: frozenset[str], needs_password: bool) -> HttpResponse | None:
    """What is answered instead of the view, if anything."""
    member = request.member
    if member is None:
        return _move(request, reverse("crew:sign_in"), next=_came_for(request))
    if request.left is not None and request.htmx:
        # The page around this fragment belongs to whoever was signed in before.
        return _move(request, reverse("web:home"))
    if member.role in roles:
        if needs_password and member.by_pin:
            raise PermissionDenied(
                _(
                    "This needs your password. Open it on your own phone, or tap Done here and sign in with your "
                    "password instead of your PIN."
                )
            )
        return None
    if member.is_station:
        return _to_a_person(request)
    if roles == {STATION}:
        return _move(request, reverse("web:home"))
    raise PermissionDenied


def _gate(
    roles: frozenset[str] | None, needs_password: bool = False
) -> Callable[..., Callable[[View], View]]:
    def with_methods(*methods: str) -> Callable[[View], View]:
        allowed = list(methods) + (["HEAD"] if "GET" in methods else [])

        def decorate(view: View) -> View:
            @require_http_methods(allowed)
            @wraps(view)
            def gated(request: HttpRequest, *args: Any, **kwargs: Any) -> HttpResponse:
                instead = None if roles is None else _turned_away(request, roles, needs_password)
                return view(request, *args, **kwargs) if instead is None else instead

            # Read by the test that walks every address.
            gated.roles = roles  # type: ignore[attr-defined]
            gated.needs_password = needs_password  # type: ignore[attr-defined]
            gated.methods = tuple(methods)  # type: ignore[attr-defined]
            return gated

        return decorate

    return with_methods


CREW = frozenset({Role.BARISTA, Role.HEAD, Role.OWNER})
BREWERS = frozenset({Role.BARISTA, Role.HEAD})

public = _gate(None)
"""Anybody, signed in or not."""
at_the_bar = _gate(CREW | {STATION})
"""Anybody with a role here, and the bar's own tablet with nobody signed in."""
unattended = _gate(frozenset({STATION}))
"""Only a tablet that nobody is signed in on."""
crew = _gate(CREW)
"""Anybody with a role here."""
crew_by_password = _gate(CREW, needs_password=True)
"""Anybody with a role here who signed in with a password: a PIN is too little to change how one signs in."""
brewers = _gate(BREWERS)
"""Those who brew and enter readings."""
behind_the_bar = _gate(BREWERS | {STATION})
"""Those who brew, and the bar's own tablet with nobody signed in; owners see nobody at work."""
brewers_by_password = _gate(BREWERS, needs_password=True)
head_baristas = _gate(frozenset({Role.HEAD}))
head_baristas_by_password = _gate(frozenset({Role.HEAD}), needs_password=True)
"""What reaches beyond the café that somebody is in: a PIN opens a barista's place there, and nothing else."""
head_or_owner = _gate(frozenset({Role.HEAD, Role.OWNER}))
owners = _gate(frozenset({Role.OWNER}))
owners_by_password = _gate(frozenset({Role.OWNER}), needs_password=True)
