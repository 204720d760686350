"""Who is in front of the browser that asks: a person, a shared tablet, or nobody that is known."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass
from datetime import datetime
from typing import Any

from django.conf import settings
from django.contrib.auth import login
from django.contrib.auth.models import AnonymousUser
from django.http import HttpRequest, HttpResponse
from django.utils import timezone

from brewbar.crew import kept, record, tablets
from brewbar.crew.access import PLACE_KEY, Member, Place, places_of
from brewbar.crew.models import Change, Membership, Role, Tablet

TOUCH_EVERY_S = 15
"""A touch is written down only so often: the session is a row, and pages come in bursts."""
COOKIE_AGE_S = 400 * 24 * 60 * 60
"""As long as browsers keep a cookie; it is renewed with use."""

TOUCHED_KEY, PIN_KEY, LEFT_KEY = "touched", "pin", "left"
THROUGH_LENGTH = Change._meta.get_field("through").max_length


@dataclass(frozen=True)
class Left:
    """Somebody who was signed out as this request arrived; ``membership_pk`` of whoever had typed a PIN."""

    user_pk: int
    membership_pk: int | None
    nobody_there: bool
    """The page sent this by itself."""


class MemberMiddleware:
    """Sets ``request.tablet``, ``member``, ``places``, ``left`` and ``kept``.

    A session whose person has no membership left is signed out at once, and so is one that a PIN opened on a tablet
    which was revoked. On a tablet everybody is signed out after five minutes without a touch.
    """

    def __init__(self, get_response: Callable[[HttpRequest], HttpResponse]) -> None:
        self.get_response = get_response

    def __call__(self, request: Any) -> HttpResponse:
        now = timezone.now()
        key = request.COOKIES.get(settings.TABLET_COOKIE_NAME, "")
        request.tablet = tablets.found(key)
        request.member, request.places, request.left, request.kept = None, [], None, None
        if request.user.is_authenticated:
            _recognise(request, now)
        if request.tablet is None:
            return self.get_response(request)
        if request.method == "POST" and not request.user.is_authenticated and request.left is None:
            request.left = _left_before(request)
        if request.member is None:
            request.member = Place.of(request.tablet)
        with record.through(str(request.tablet)[:THROUGH_LENGTH]):
            response = self.get_response(request)
        _after(request, response, now)
        if not is_poll(request) and tablets.mark_used(request.tablet, now):
            remember(response, key)
        return response


def is_poll(request: Any) -> bool:
    """Whether a page asks by itself. That is no touch, and writes nothing."""
    return request.method == "GET" and "X-Poll" in request.headers


def remember(response: HttpResponse, key: str) -> None:
    """Have the browser keep the key of the tablet it is."""
    if settings.TABLET_COOKIE_NAME in response.cookies:
        return
    response.set_cookie(
        settings.TABLET_COOKIE_NAME,
        key,
        max_age=COOKIE_AGE_S,
        secure=settings.SESSION_COOKIE_SECURE,
        httponly=True,
        samesite="Lax",
    )


def sign_in_by_pin(request: Any, membership: Membership) -> None:
    """Sign the person in on the tablet that asks, as a barista, until the browser closes at the latest."""
    login(request, membership.user, backend="brewbar.crew.pins.PinBackend")
    request.session[PIN_KEY] = pin_session(request.tablet.pk, membership)
    request.session[TOUCHED_KEY] = int(timezone.now().timestamp())
    request.session.set_expiry(0)


def pin_session(tablet_pk: int, membership: Membership) -> dict[str, Any]:
    """What the session holds of a PIN that was right: it ends with the tablet, the membership or that PIN."""
    set_at = membership.pin_set_at
    return {
        "tablet": tablet_pk,
        "membership": membership.pk,
        "set_at": set_at.isoformat() if set_at else "",
    }


def _recognise(request: Any, now: datetime) -> None:
    by_pin = request.session.get(PIN_KEY)
    request.places = places_of(request.user) if by_pin is None else _by_pin(request, by_pin)
    if not request.places:
        _end(request)
        return
    nobody_there = request.tablet and request.method == "POST" and kept.LEFT in request.POST
    if request.tablet and (nobody_there or _is_idle(request, now)):
        user_pk, membership_pk = request.user.pk, by_pin["membership"] if by_pin else None
        request.left = Left(user_pk, membership_pk, bool(nobody_there))
        _end(request)
        if not is_poll(request):
            request.session[LEFT_KEY] = [user_pk, membership_pk]
        return
    wanted = request.session.get(PLACE_KEY)
    request.member = next((p for p in request.places if p.key == wanted), request.places[0])
    if request.tablet:
        request.kept = kept.of(request.session, request.user.pk, now)


def _by_pin(request: Any, opened: dict[str, Any]) -> list[Member]:
    """The one place that a PIN opens: a barista's, on the very tablet, for as long as all of it holds."""
    if request.tablet is None:
        return []
    cafe = request.tablet.station.cafe
    crew = Membership.objects.active().filter(user=request.user, cafe=cafe)
    membership = crew.select_related("user", "company").filter(pk=opened["membership"]).first()
    if membership is None or opened != pin_session(request.tablet.pk, membership):
        return []
    return [
        Member(
            role=Role.BARISTA,
            company=membership.company,
            cafe=cafe,
            tablet=request.tablet,
            user=membership.user,
            membership=membership,
        )
    ]


def _is_idle(request: Any, now: datetime) -> bool:
    touched = request.session.get(TOUCHED_KEY)
    return touched is not None and now.timestamp() - touched >= Tablet.SIGNED_OUT_AFTER_S


def _left_before(request: Any) -> Left | None:
    """Whose page this was sent from, where an earlier request found the session too old."""
    user_pk, membership_pk = request.session.get(LEFT_KEY, (None, None))
    return Left(user_pk, membership_pk, kept.LEFT in request.POST) if user_pk else None


def _end(request: Any) -> None:
    request.places = []
    if is_poll(request):
        # Nobody is signed in as far as this answer goes; the next page ends the session itself.
        request.user = AnonymousUser()
    else:
        kept.sign_out(request)


def _after(request: Any, response: HttpResponse, now: datetime) -> None:
    """What stays of a request on a tablet: a touch, and nothing that was shown."""
    was_sent = request.kept and request.method == "POST" and request.get_full_path() == request.kept.path
    if was_sent and (response.status_code < 400 or response.status_code == 422):
        # Taken, or shown again beside its errors.
        kept.forget(request.session, request.member.user.pk)
    if not request.user.is_authenticated or is_poll(request):
        return
    request.session.pop(LEFT_KEY, None)
    if abs(now.timestamp() - request.session.get(TOUCHED_KEY, 0)) >= TOUCH_EVERY_S:
        request.session[TOUCHED_KEY] = int(now.timestamp())
    if response.headers.get("Content-Type", "").startswith("text/html"):
        # Whoever comes next must not find this by going back.
        response["Cache-Control"] = "no-store"
