"""Who is asking, from which café, and which views their role opens.

Every view carries exactly one gate. A gate refuses a wrong role with 403; what belongs to somebody else is never
found at all, since every query starts from ``for_member(request.member)``.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass
from functools import wraps
from typing import Any
from urllib.parse import urlencode

from django.contrib.auth import logout
from django.core.exceptions import PermissionDenied
from django.http import HttpRequest, HttpResponse, HttpResponseRedirect
from django.urls import reverse
from django.views.decorators.http import require_http_methods

from brewbar.crew.models import Cafe, Company, Membership, Role, User

PLACE_KEY = "place"

View = Callable[..., HttpResponse]


@dataclass(frozen=True)
class Member:
    """A signed-in person at one place: which role they have there decides what they may do."""

    user: User
    membership: Membership
    role: str
    company: Company
    cafe: Cafe

    @property
    def key(self) -> str:
        return f"{self.membership.pk}-{self.cafe.pk}"

    @property
    def label(self) -> str:
        return f"{self.cafe.name} · {Role(self.role).label}"

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


def places_of(user: User) -> list[Member]:
    """Every place where ``user`` has a role now: a crew's cafés, and each café of a company for its owner."""
    memberships = list(user.memberships.active().select_related("company", "cafe"))
    owned = {m.company_id for m in memberships if m.role == Role.OWNER}
    cafes: dict[int, list[Cafe]] = {pk: [] for pk in owned}
    if owned:
        for cafe in Cafe.objects.filter(company__in=owned):
            cafes[cafe.company_id].append(cafe)
    return [
        Member(user, membership, membership.role, membership.company, cafe)
        for membership in memberships
        for cafe in ([membership.cafe] if membership.cafe else cafes[membership.company_id])
    ]


class MemberMiddleware:
    """Sets ``request.member`` (or None) and ``request.places``.

    A session whose person has no membership left is signed out at once.
    """

    def __init__(self, get_response: Callable[[HttpRequest], HttpResponse]) -> None:
        self.get_response = get_response

    def __call__(self, request: Any) -> HttpResponse:
        request.member, request.places = None, []
        if request.user.is_authenticated:
            request.places = places_of(request.user)
            wanted = request.session.get(PLACE_KEY)
            request.member = next((p for p in request.places if p.key == wanted), None)
            if request.member is None and request.places:
                request.member = request.places[0]
            if request.member is None:
                logout(request)
        return self.get_response(request)


def _to_sign_in(request: HttpRequest) -> HttpResponse:
    address = reverse("crew:sign_in")
    if getattr(request, "htmx", False):
        # A redirect would be followed inside the fragment: the browser as a whole has to move.
        return HttpResponse(headers={"HX-Redirect": address})
    came_for = request.get_full_path() if request.method == "GET" else ""
    return HttpResponseRedirect(f"{address}?{urlencode({'next': came_for})}" if came_for else address)


def _gate(roles: frozenset[str] | None) -> Callable[..., Callable[[View], View]]:
    def with_methods(*methods: str) -> Callable[[View], View]:
        allowed = list(methods) + (["HEAD"] if "GET" in methods else [])

        def decorate(view: View) -> View:
            @require_http_methods(allowed)
            @wraps(view)
            def gated(request: Any, *args: Any, **kwargs: Any) -> HttpResponse:
                if roles is not None:
                    if request.member is None:
                        return _to_sign_in(request)
                    if request.member.role not in roles:
                        raise PermissionDenied
                return view(request, *args, **kwargs)

            gated.roles = roles  # type: ignore[attr-defined]  # read by the test that walks every address
            gated.methods = tuple(methods)  # type: ignore[attr-defined]
            return gated

        return decorate

    return with_methods


public = _gate(None)
"""Anybody, signed in or not."""
crew = _gate(frozenset({Role.BARISTA, Role.HEAD, Role.OWNER}))
"""Anybody with a role here."""
brewers = _gate(frozenset({Role.BARISTA, Role.HEAD}))
"""Those who brew and enter readings."""
head_baristas = _gate(frozenset({Role.HEAD}))
head_or_owner = _gate(frozenset({Role.HEAD, Role.OWNER}))
owners = _gate(frozenset({Role.OWNER}))
