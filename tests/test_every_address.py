"""Walks every address of the application as everybody: who gets in, who is refused, who finds nothing there."""

from __future__ import annotations

import uuid
from collections.abc import Iterator
from typing import Any

import pytest
from django.test import Client
from django.urls import URLPattern, URLResolver, get_resolver, reverse

from brewbar.crew.access import STATION
from brewbar.crew.models import Role, Scope
from tests import factories as make
from tests.world import OF_A_PERSON, World

NOT_FOUND, REFUSED = 404, 403
OPENED = (200, 204, 302, 303, 409, 422)


def addresses() -> Iterator[tuple[str, Any]]:
    """(name with namespace, view) of every address."""

    def walk(patterns: list[Any], namespace: str) -> Iterator[tuple[str, Any]]:
        for pattern in patterns:
            if isinstance(pattern, URLResolver):
                inner = f"{namespace}{pattern.namespace}:" if pattern.namespace else namespace
                yield from walk(pattern.url_patterns, inner)
            elif isinstance(pattern, URLPattern):
                assert pattern.name, f"{pattern} has no name"
                yield f"{namespace}{pattern.name}", pattern

    yield from walk(get_resolver().url_patterns, "")


ADDRESSES = {f"{name} {pattern.pattern}": (name, pattern) for name, pattern in addresses()}


def view_of(at: str) -> Any:
    return ADDRESSES[at][1].callback


def parts_of(at: str) -> list[str]:
    return list(ADDRESSES[at][1].pattern.converters)


def address(at: str, world: World, **other: Any) -> str:
    """The address, leading to a row of the world's café unless ``other`` says elsewhere."""
    name = ADDRESSES[at][0]
    return reverse(name, kwargs={key: world.key(name, key) for key in parts_of(at)} | other)


def visit(client: Client, at: str, path: str) -> int:
    """The status of the view's first method."""
    answer = getattr(client, view_of(at).methods[0].lower())(path)
    if answer.streaming:
        b"".join(answer)  # a file that is sent is closed at its end
    return answer.status_code


def opens_for(at: str, role: str) -> bool:
    return role in (view_of(at).roles or ())


ONLY_AT_FIRST = {at for at, (name, _pattern) in ADDRESSES.items() if name in ("crew:set_up", "api_nowhere")}
"""Public, but only while there is no company; and what says that there is no such address."""
FOR_PROGRAMS = [at for at in ADDRESSES if hasattr(view_of(at), "scopes")]
"""Of the interface: a key opens these, and nothing else does."""
GATED = pytest.mark.parametrize("at", [at for at in ADDRESSES if view_of(at).roles])
ROWS = [at for at in ADDRESSES if parts_of(at) and view_of(at).roles]
"""A public address that names a row is a link that opens once: its own tests say whom it opens for."""
OF_A_ROW = pytest.mark.parametrize("at", ROWS)
OF_A_CAFE = pytest.mark.parametrize("at", [at for at in ROWS if not World.is_company_wide(ADDRESSES[at][0])])


COMPANY_WIDE = {at for at in ADDRESSES if World.is_company_wide(ADDRESSES[at][0])}


def test_every_view_has_one_gate_and_says_its_methods():
    assert len(ADDRESSES) > 30
    assert len(FOR_PROGRAMS) > 10
    for at in ADDRESSES:
        assert hasattr(view_of(at), "roles"), f"{at} has no gate"
        assert view_of(at).methods, at


@pytest.mark.parametrize("at", [a for a in ADDRESSES if not view_of(a).roles and a not in FOR_PROGRAMS])
def test_what_is_public_opens_for_anybody(at, world):
    closed = (404,) if at in ONLY_AT_FIRST else ()
    assert visit(Client(), at, address(at, world)) in (closed or (200, 302))


@GATED
def test_whoever_is_not_signed_in_is_asked_to(at, world):
    path = address(at, world)
    assert visit(Client(), at, path) == 302
    fragment = Client().post(path, headers={"HX-Request": "true"})
    assert fragment.status_code == 405 or "HX-Redirect" in fragment


@GATED
@pytest.mark.parametrize("role", Role.values)
def test_each_role_gets_in_or_is_refused(at, role, world):
    person = {Role.BARISTA: world.barista, Role.HEAD: world.head, Role.OWNER: world.owner}[role]
    status = visit(make.signed_in(person), at, address(at, world))
    if opens_for(at, role):
        assert status in OPENED
    elif view_of(at).roles == {STATION}:
        assert status == 302
    else:
        assert status == REFUSED


@GATED
def test_a_tablet_nobody_is_signed_in_on_shows_the_bar_and_else_asks_who_is_there(at, world):
    client, path = make.at_tablet(world.tablet_key), address(at, world)
    answer = getattr(client, view_of(at).methods[0].lower())(path)
    if opens_for(at, STATION):
        assert answer.status_code in OPENED
        assert not answer.headers.get("Location", "").startswith(
            (reverse("crew:sign_in"), reverse("crew:names"))
        )
    else:
        assert answer.status_code == 302
        assert answer["Location"].startswith(reverse("crew:names"))
    assert client.post(path).status_code != REFUSED


@GATED
def test_a_pin_opens_what_a_barista_may_whatever_the_role(at, world):
    client = make.signed_in_by_pin(world.rows["tablet"], world.tablet_key, world.head)
    status = visit(client, at, address(at, world))
    if view_of(at).roles == {STATION}:
        assert status == 302
    elif opens_for(at, Role.BARISTA) and not view_of(at).needs_password:
        # What is seen of a reading or a signal is its own barista's.
        own = "uuid" in parts_of(at) or ADDRESSES[at][0] in OF_A_PERSON
        assert status in (*OPENED, NOT_FOUND) if own else status in OPENED
    else:
        assert status == REFUSED


@OF_A_ROW
def test_a_tablet_finds_no_rows_of_another_cafe(at, world):
    path = address(at, world)
    for cafe in (make.cafe(), make.cafe(world.cafe.company)):
        tablet, key = make.tablet(make.station(cafe))
        if opens_for(at, STATION):
            assert visit(make.at_tablet(key), at, path) == NOT_FOUND
        if at in COMPANY_WIDE and cafe.company == world.cafe.company:
            continue
        client = make.signed_in_by_pin(tablet, key, make.person(Role.HEAD, cafe))
        if opens_for(at, Role.BARISTA):
            assert visit(client, at, path) == (REFUSED if view_of(at).needs_password else NOT_FOUND)


@OF_A_ROW
def test_rows_of_another_company_are_not_there(at, world):
    path = address(at, world)
    for role, person in world.of_another_company().items():
        if opens_for(at, role):
            assert visit(make.signed_in(person), at, path) == NOT_FOUND, role


@OF_A_CAFE
def test_rows_of_another_cafe_of_the_company_are_not_there(at, world):
    path = address(at, world)
    for role, person in world.of_another_cafe().items():
        if opens_for(at, role):
            assert visit(make.signed_in(person), at, path) == NOT_FOUND, role


@GATED
def test_an_ended_membership_opens_nothing(at, world):
    client = make.signed_in(world.head)
    world.head.memberships.update(ended_at="2026-01-01T00:00Z")
    assert visit(client, at, address(at, world)) == 302


# A code is drawn from an alphabet without the zero.
NOWHERE = {"pk": 987654321, "uuid": uuid.UUID(int=7), "code": "00000", "draft": "0" * 32}


@OF_A_ROW
def test_a_row_that_never_was_is_not_there(at, world):
    nowhere = {key: NOWHERE[key] for key in parts_of(at) if key in NOWHERE}
    person = next(
        person
        for role, person in (
            (Role.HEAD, world.head),
            (Role.OWNER, world.owner),
            (Role.BARISTA, world.barista),
            (STATION, None),
        )
        if opens_for(at, role)
    )
    assert nowhere
    client = make.signed_in(person) if person else make.at_tablet(world.tablet_key)
    assert visit(client, at, address(at, world, **nowhere)) == NOT_FOUND


# --- the interface for other programs


OF_PROGRAMS = pytest.mark.parametrize("at", [at for at in FOR_PROGRAMS if any(view_of(at).scopes.values())])
OF_PROGRAMS_AND_ROWS = pytest.mark.parametrize("at", [at for at in FOR_PROGRAMS if parts_of(at)])
REFUSED_AS_SENT = (400, 422)
"""A POST without a body gets so far that its shape is looked at."""


def asked(client: Client, at: str, world: World, method: str) -> int:
    sent = {"content_type": "application/json"} if method == "POST" else {}
    return getattr(client, method.lower())(address(at, world), **sent).status_code


@pytest.mark.parametrize("at", [at for at in FOR_PROGRAMS if ADDRESSES[at][0] != "crew:api_schema"])
def test_without_a_key_no_session_and_no_tablet_opens_the_interface(at, world):
    for client in (Client(), make.signed_in(world.head), make.at_tablet(world.tablet_key)):
        for method in view_of(at).methods:
            assert asked(client, at, world, method) == 401


@OF_PROGRAMS
@pytest.mark.parametrize("role", Role.values)
def test_a_key_opens_what_its_scope_and_its_role_open(at, role, world):
    person = {Role.BARISTA: world.barista, Role.HEAD: world.head, Role.OWNER: world.owner}[role]
    for method, scope in view_of(at).scopes.items():
        others = [other for other in Scope.values if other != scope]
        key, secret = make.access_key(person, *others)
        assert asked(make.with_key(secret), at, world, method) == REFUSED
        # Even where the form would not have offered it.
        key.scopes = [scope]
        key.save()
        status = asked(make.with_key(secret), at, world, method)
        if role in view_of(at).cls.roles.get(method, Role.values):
            assert status in (*OPENED, *REFUSED_AS_SENT)
        else:
            assert status == REFUSED


@OF_PROGRAMS_AND_ROWS
def test_a_key_finds_no_rows_of_another_company_nor_of_another_cafe(at, world):
    strangers = world.of_another_company()
    if not World.is_company_wide(ADDRESSES[at][0]):
        strangers |= {f"{role} elsewhere": user for role, user in world.of_another_cafe().items()}
    for who, person in strangers.items():
        status = asked(make.with_key(make.access_key(person)[1]), at, world, "GET")
        roles = view_of(at).cls.roles.get("GET", Role.values)
        assert status == (NOT_FOUND if who.split()[0] in roles else REFUSED), who
