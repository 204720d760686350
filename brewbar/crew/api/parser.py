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
            return json.loads(body.decode(), parse_constant=_no_number)
        except (ValueError, RecursionError) as error:
            raise exceptions.ParseError(
                _("The body is no JSON that can be read: %(why)s") % {"why": error}
            ) from error


def _no_number(name: str) -> None:
    raise ValueError(f"{name} is no number of JSON.")
