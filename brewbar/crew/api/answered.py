"""A request that may come twice changes nothing twice: what was answered to an Idempotency-Key stands for a week.

Jena, Dalal 2024, The Idempotency-Key HTTP Header Field, draft-ietf-httpapi-idempotency-key-header-06. Other than the
draft, which has 422, the same key with another body is answered with 409, as for a UUID that stands for something else.
Only what was done is kept: a request that was refused has changed nothing, and may be put right and sent again.
"""

from __future__ import annotations

import json
import re
from collections.abc import Callable
from hashlib import sha256
from typing import Any

from django.db import IntegrityError, transaction
from django.http import HttpResponse
from django.utils import timezone
from django.utils.translation import gettext as _
from rest_framework.renderers import JSONRenderer
from rest_framework.response import Response

from brewbar.crew.api.view import key_of
from brewbar.crew.models import Answered
from brewbar.web.problems import Problem, Wrong

HEADER, REPLAYED = "Idempotency-Key", "Idempotency-Replayed"
PATTERN = r"^[!-~]{1,255}$"


def once(request: Any, do: Callable[[], Response]) -> HttpResponse:
    """What ``do`` answers; or what it answered before to the same request under the same Idempotency-Key."""
    said = request.headers.get(HEADER)
    if said is None:
        return do()
    if not re.fullmatch(PATTERN, said):
        wrong = Wrong(_("1 to 255 visible ASCII characters, such as a UUID."), header=HEADER)
        raise Problem(400, "wrong-shape", errors=[wrong])
    now, key = timezone.now(), key_of(request)
    Answered.objects.drop_old(now)
    print_of = _fingerprint(request)
    with transaction.atomic():
        try:
            with transaction.atomic():
                # Whoever sends the same at this moment waits here until it is known what became of it.
                row = Answered.objects.create(
                    key=key, said=said, fingerprint=print_of, status=0, body="", at=now
                )
        except IntegrityError:
            return _again(Answered.objects.get(key=key, said=said), print_of)
        response = do()
        row.status, row.body = response.status_code, JSONRenderer().render(response.data).decode()
        row.save(update_fields=["status", "body"])
    return response


def _again(before: Answered, print_of: str) -> HttpResponse:
    if before.fingerprint != print_of:
        raise Problem(409, "key-reused")
    headers = {REPLAYED: "true"}
    if address := json.loads(before.body).get("url"):
        headers["Location"] = address
    return HttpResponse(before.body, status=before.status, content_type="application/json", headers=headers)


def _fingerprint(request: Any) -> str:
    body = json.dumps(request.data, sort_keys=True)
    return sha256(f"{request.method} {request.path}\n{body}".encode("utf-8", "surrogatepass")).hexdigest()
