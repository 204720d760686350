"""The view that every address of the interface is. Like a gate, it says methods, roles and scope in one place."""

from __future__ import annotations

from collections.abc import Callable, Mapping
from dataclasses import replace
from hashlib import sha256
from typing import Any, ClassVar

from django.http import HttpResponse
from django.utils.cache import get_conditional_response, patch_vary_headers
from django.utils.text import get_text_list
from django.utils.translation import gettext as _
from rest_framework import exceptions
from rest_framework.renderers import JSONRenderer
from rest_framework.response import Response
from rest_framework.serializers import BaseSerializer
from rest_framework.views import APIView

from brewbar.crew.access import CREW, Member
from brewbar.crew.api.authentication import ByKey, PerKey
from brewbar.crew.api.parser import SmallJson
from brewbar.crew.models import Cafe, Key, Role, Scope
from brewbar.web import problems
from brewbar.web.problems import Problem, Wrong


class ApiView(APIView):
    scopes: ClassVar[Mapping[str, Scope | None]] = {}
    """By method, what the key has to be for; None where any key does."""
    roles: ClassVar[Mapping[str, frozenset[str]]] = {}
    """By method, whose keys; all where it is not said."""
    why_not: ClassVar[Mapping[str, Any]] = {}
    """By method, what the others are told."""
    query: ClassVar[type[BaseSerializer[Any]] | None] = None
    """What may stand behind the question mark of a GET; whatever else stands there is refused."""

    authentication_classes = [ByKey]
    permission_classes = []
    throttle_classes = [PerKey]
    parser_classes = [SmallJson]
    renderer_classes = [JSONRenderer]
    http_method_names = ["get", "head", "post"]

    member: Member
    asked: dict[str, Any]

    @classmethod
    def as_view(cls, **initkwargs: Any) -> Any:
        view: Any = super().as_view(**initkwargs)
        # Read by the test that walks every address, beside the gates of pages.
        view.scopes, view.roles, view.methods = cls.scopes, None, tuple(cls.scopes)
        return view

    def get_exception_handler(self) -> Callable[..., Response | None]:
        return problems.handler

    def initial(self, request: Any, *args: Any, **kwargs: Any) -> None:
        method = "GET" if request.method == "HEAD" else request.method
        if method not in self.scopes:
            self.http_method_not_allowed(request)
        super().initial(request, *args, **kwargs)
        self.let_in(request)

    @property
    def allowed_methods(self) -> list[str]:
        return [*self.scopes, *(["HEAD"] if "GET" in self.scopes else [])]

    def let_in(self, request: Any) -> None:
        """After the throttle: whoever is refused again and again waits as well."""
        method = "GET" if request.method == "HEAD" else request.method
        if request.member is None:
            raise exceptions.NotAuthenticated(
                _("Show a key, as Authorization: Bearer …: see Keys for other programs, under your account.")
            )
        scope, roles = self.scopes[method], self.roles.get(method, CREW)
        if scope is not None and scope not in request.auth.scopes:
            said = _("This key may not do this: make one that may %(what)s.") % {"what": scope.label}
            raise Problem(403, "not-yours", said)
        if request.member.role not in roles:
            who = get_text_list(sorted(str(Role(role).label) for role in roles), _("or"))
            said = str(self.why_not.get(method, "")) or _("This is for a key of a %(who)s.") % {"who": who}
            raise Problem(403, "not-yours", said)
        self.member = request.member
        self._ask(request)

    def _ask(self, request: Any) -> None:
        """Read what stands behind the question mark."""
        query = None if request.method == "POST" else self.query
        known = query().fields if query else {}  # type: ignore[attr-defined]
        unknown = [
            Wrong(_("There is no such parameter."), parameter=n) for n in request.GET if n not in known
        ]
        twice = [Wrong(_("Once is enough."), parameter=n) for n in known if len(request.GET.getlist(n)) > 1]
        if unknown or twice:
            raise Problem(400, "wrong-shape", errors=unknown + twice)
        self.asked = {}
        if query is None:
            return
        filled = query(data=request.GET.dict())
        if not filled.is_valid():
            errors = [
                Wrong(w.detail, parameter=(w.pointer or "/")[1:]) for w in problems.pointed(filled.errors)
            ]
            raise Problem(400, "wrong-shape", errors=errors)
        self.asked = dict(filled.validated_data)
        if "cafe" in self.asked:
            self.member = request._request.member = self._at(self.asked["cafe"])

    def _at(self, pk: int) -> Member:
        cafe = Cafe.objects.for_member(self.member).select_related("company").filter(pk=pk).first()
        if cafe is None:
            raise Problem(
                422, "not-possible", errors=[Wrong(_("This key knows no such café."), parameter="cafe")]
            )
        return replace(self.member, cafe=cafe)

    def dispatch(self, request: Any, *args: Any, **kwargs: Any) -> Any:
        response: Any = super().dispatch(request, *args, **kwargs)
        patch_vary_headers(response, ["Accept", "Authorization"])
        if request.method not in ("GET", "HEAD") or response.status_code != 200:
            return response
        return _conditional(self.request, response.render())


def _conditional(request: Any, response: HttpResponse) -> HttpResponse:
    """304 for whoever has this very answer: a strong validator, from the bytes (RFC 9110, sections 8.8 and 13)."""
    etag = f'"{sha256(response.content).hexdigest()[:32]}"'
    response.headers["ETag"] = etag
    answer = get_conditional_response(request._request, etag=etag, response=response)
    if answer is not None and answer.status_code == 412:
        answer = problems.answered(request, 412, _("It is not as If-Match says any more."))
    assert answer is not None
    return answer


def body_of(request: Any, shape: type[BaseSerializer[Any]]) -> dict[str, Any]:
    """The body, if it has the ``shape``; each error with the pointer of its field."""
    filled = shape(data=request.data)
    if not filled.is_valid():
        raise exceptions.ValidationError(dict(filled.errors))
    return dict(filled.validated_data)


def key_of(request: Any) -> Key:
    assert isinstance(request.auth, Key)
    return request.auth
