"""Bodies: JSON in UTF-8 (RFC 8259, section 8.1), and no longer than any that is asked for."""

from __future__ import annotations

import json
from typing import Any

from django.utils.translation import gettext as _
from rest_framework import exceptions
from rest_framework.parsers import BaseParser

MOST_BYTES = 65_536


class TooLong(exceptions.APIException):
    status_code = 413


class SmallJson(BaseParser):
    media_type = "application/json"

    def parse(self, stream: Any, media_type: str | None = None, parser_context: Any = None) -> Any:
        body = stream.read(MOST_BYTES + 1)
        if len(body) > MOST_BYTES:
            raise TooLong(_("A body has %(n)d bytes at most.") % {"n": MOST_BYTES})
        try:
            return json.loads(body.decode(), parse_constant=_no_number, object_pairs_hook=_each_once)
        except (ValueError, RecursionError) as error:
            raise exceptions.ParseError(
                _("The body is no JSON that can be read: %(why)s") % {"why": error}
            ) from error


def _each_once(members: list[tuple[str, Any]]) -> dict[str, Any]:
    """Readers differ in which of two they take (RFC 8259, section 4): neither is guessed at."""
    said = dict(members)
    if len(said) < len(members):
        twice = next(name for place, (name, _value) in enumerate(members) if name in dict(members[:place]))
        raise ValueError(f"{twice} is said twice.")
    return said


def _no_number(name: str) -> None:
    raise ValueError(f"{name} is no number of JSON.")
