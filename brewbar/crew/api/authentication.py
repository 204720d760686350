"""Who a program is: the key it shows, and nothing else. Jones, Hardt 2012, Bearer Token Usage, RFC 6750."""

from __future__ import annotations

from typing import Any

from axes.helpers import get_client_ip_address
from django.utils import timezone
from django.utils.translation import gettext as _
from rest_framework import exceptions, throttling
from rest_framework.authentication import BaseAuthentication, get_authorization_header

from brewbar.crew import keys
from brewbar.crew.models import Key, User

SCHEME = "Bearer"


class PerKey(throttling.SimpleRateThrottle):
    scope = "key"

    def get_cache_key(self, request: Any, view: Any) -> str | None:
        if not isinstance(request.auth, Key):
            return None
        return self.cache_format % {"scope": self.scope, "ident": request.auth.pk}


class Refused(throttling.SimpleRateThrottle):
    """Counts keys that open nothing. One that does is let in all the same, so that a program that was set up wrong
    shuts out nobody else behind the same address; so many bits are not guessed either way."""

    scope = "refused"

    def get_cache_key(self, request: Any, view: Any) -> str | None:
        return self.cache_format % {"scope": self.scope, "ident": get_client_ip_address(request._request)}


class ByKey(BaseAuthentication):
    """Sets ``request.member`` to the member that the key acts as."""

    def authenticate(self, request: Any) -> tuple[User, Key] | None:
        request._request.member = None
        scheme, _space, secret = get_authorization_header(request).decode("latin-1").partition(" ")
        if not scheme:
            return None
        now = timezone.now()
        key = keys.found(secret.strip(), now) if scheme.lower() == SCHEME.lower() else None
        member = keys.member_of(key) if key else None
        if key is None or member is None:
            throttle = Refused()
            if not throttle.allow_request(request, None):  # type: ignore[arg-type]
                raise exceptions.Throttled(throttle.wait())
            raise exceptions.AuthenticationFailed(
                _("This key opens nothing: it was mistyped, has run out, or was revoked.")
            )
        keys.mark_used(key, now)
        request._request.member = member
        return member.user, key

    def authenticate_header(self, request: Any) -> str:
        failed = ', error="invalid_token"' if get_authorization_header(request) else ""
        return f'{SCHEME} realm="brewbar"{failed}'
