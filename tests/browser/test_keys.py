"""A key is made, read once, used by a program and revoked, on a phone."""

from __future__ import annotations

import re

from django.urls import reverse

from brewbar.crew.models import Role
from tests import factories as make
from tests.api.bar import V1


def test_from_making_a_key_to_revoking_it(page, live, sign_in, axe):
    barista = make.person(Role.BARISTA)
    sign_in(page, live, barista)
    page.goto(live + reverse("crew:account"))
    page.get_by_role("link", name="Keys for other programs").click()
    page.get_by_role("link", name="Make a key").click()
    page.get_by_label("What it is for").fill("scale at the bar")
    page.get_by_label("read boards, cards and recipes").check()
    page.get_by_label("30 days").check()
    axe(page)
    page.get_by_role("button", name="Make the key").click()
    secret = page.get_by_label("The key").input_value()
    assert re.fullmatch(r"bar_[\w-]{43}", secret)
    assert secret not in page.url
    axe(page)
    assert page.evaluate("document.documentElement.scrollWidth") <= 390
    program = make.with_key(secret)
    assert program.get(f"{V1}/").status_code == 200
    page.get_by_role("link", name="Back to the keys").click()
    assert secret[:12] in page.content()
    assert secret not in page.content()
    page.get_by_role("link", name="Revoke").click()
    page.get_by_role("button", name="Revoke it").click()
    page.get_by_text("is revoked: it opens nothing any more").wait_for()
    axe(page)
    assert program.get(f"{V1}/").status_code == 401
