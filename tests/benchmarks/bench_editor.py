"""What the editor's round trip adds to a bare Django view. Run: python -m pytest tests/benchmarks/bench_editor.py -s

Both are asked over http of a server in this process, through the same middleware and as the same signed-in head
barista, in turns; the target is 15 ms more. Each is told at its best of many, since a machine that does other things
too is only ever slower.
"""

import http.client
import time
from typing import Any
from urllib.parse import urlencode, urlsplit

import pytest
from django.http import HttpRequest, HttpResponse
from django.template.base import Template
from django.urls import path, reverse

from brewbar.crew.access import head_baristas
from brewbar.crew.models import Role
from brewbar.urls import urlpatterns as ours
from tests import factories as make

TARGET_MS = 15.0
ROUNDS = 150


@head_baristas("POST")
def bare(request: HttpRequest) -> HttpResponse:
    return HttpResponse("")


urlpatterns = [path("bare/", bare), *ours]


def test_what_the_preview_adds(
    transactional_db: None, live_server: Any, settings: Any, monkeypatch: pytest.MonkeyPatch
) -> None:
    settings.ROOT_URLCONF = __name__
    cafe = make.cafe()
    head = make.person(Role.HEAD, cafe)
    kettle = make.kettle(cafe)
    for flow, height in ((4, 95), (5, 118), (6, 140)):
        make.breakup_point(kettle, flow, height)
    draft = make.version(make.recipe(cafe.company, by=head), kettle=kettle)
    client = make.signed_in(head)
    page = client.get(reverse("recipes:version_edit", args=[draft.pk]))
    typed = {
        form.add_prefix(name): form[name].value() or ""
        for form in page.context["draft"].forms
        for name in form.fields
    } | {"pour": [form.key for form in page.context["draft"].pours], "revision": draft.revision}
    token = page.cookies["csrftoken"].value
    cookies = {name: morsel.value for name, morsel in client.cookies.items()}
    headers = {
        "Content-Type": "application/x-www-form-urlencoded",
        "Cookie": "; ".join(f"{name}={value}" for name, value in cookies.items()),
        "HX-Request": "true",
        "X-CSRFToken": token,
    }
    # Test clients hang a copying of every context into each template: no server does.
    monkeypatch.setattr(Template, "_render", lambda self, context: self.nodelist.render(context))
    place = urlsplit(live_server.url)

    def asked_ms(at: str) -> float:
        began = time.perf_counter()
        connection = http.client.HTTPConnection(place.hostname or "", place.port)
        connection.request("POST", at, urlencode(typed, doseq=True), headers)
        answer = connection.getresponse()
        answer.read()
        connection.close()
        assert answer.status == 200
        return 1e3 * (time.perf_counter() - began)

    preview = reverse("recipes:version_preview", args=[draft.pk])
    rounds = [(asked_ms("/bare/"), asked_ms(preview)) for _ in range(ROUNDS)]
    bare_ms, preview_ms = (min(times) for times in zip(*rounds, strict=True))
    added = preview_ms - bare_ms
    print(
        f"\nbare view {bare_ms:.1f} ms, preview {preview_ms:.1f} ms: {added:.1f} ms more, "
        f"{added / TARGET_MS:.2f} of the target"
    )
