"""Long lists in pages: what was added last comes first, and a cursor says where the next page begins.

The order is that in which rows came to be, which never changes, so nothing is told twice or passed over however much
is added in between.
"""

from __future__ import annotations

from typing import Any

from django.db.models import QuerySet
from django.utils.translation import gettext_lazy as _
from rest_framework import serializers

from brewbar.crew.api.fields import InAddress, Query, TextMatching

MOST, USUAL = 200, 50


class PageQuery(Query):
    limit = InAddress(
        required=False, min_value=1, max_value=MOST, default=USUAL, help_text="How many rows a page has."
    )
    cursor = TextMatching(
        r"^[1-9][0-9]{0,17}\Z",
        _("This is no cursor of ours: begin without one."),
        required=False,
        help_text="Where the page begins: from `next` of the page before. What it says is nobody's business.",
    )


def page(request: Any, rows: QuerySet[Any], asked: dict[str, Any]) -> tuple[list[Any], str | None]:
    """The rows of the page that is ``asked`` for, and the address of the next one."""
    if "cursor" in asked:
        rows = rows.filter(pk__lt=int(asked["cursor"]))
    found = list(rows.order_by("-pk")[: asked["limit"] + 1])
    if len(found) <= asked["limit"]:
        return found, None
    found.pop()
    query = request.GET.copy()
    query["cursor"] = str(found[-1].pk)
    return found, request.build_absolute_uri(f"{request.path}?{query.urlencode()}")


def page_of(shape: type[serializers.Serializer[Any]]) -> type[serializers.Serializer[Any]]:
    """The shape of a page of such rows, for the schema."""
    return type(
        f"{shape.__name__}Page",
        (serializers.Serializer,),
        {
            "items": shape(many=True),
            "next": serializers.URLField(allow_null=True, help_text="The next page; null on the last one."),
        },
    )
