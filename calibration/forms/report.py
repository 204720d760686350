"""What a report is asked for. It lives in the address, so that a report can be sent to somebody."""

from __future__ import annotations

from collections.abc import Iterator
from datetime import date, timedelta
from typing import Any, Self
from urllib.parse import urlencode

from django import forms
from django.core.exceptions import ValidationError
from django.utils import timezone
from django.utils.translation import gettext_lazy as _

from brewbar.crew.access import Member
from brewbar.crew.models import Cafe
from calibration.forms.filters import LONGEST_SPAN, DayField
from calibration.report_spans import SPANS, span_named
from calibration.reporting.build import asked_for
from calibration.reporting.result import Asked

NAMES = {
    "running": _("This month so far"),
    "month": _("Last month"),
    "quarter": _("Last quarter"),
}
CUSTOM = "custom"


class ReportFilter(forms.Form):
    """A bound form whatever the address names: what it leaves out is last month, of all that the reader may see."""

    cafe = forms.ModelChoiceField(
        Cafe.objects.none(), label=_("Café"), empty_label=_("The whole company"), required=False
    )
    first = DayField(label=_("From"))
    last = DayField(label=_("To"))

    @classmethod
    def of(cls, request: Any) -> Self:
        return cls(request.GET, request.member, request.member.cafe.business_day(timezone.now()))

    def __init__(self, asked: Any, member: Member, today: date) -> None:
        self.member, self.today = member, today
        self.span = asked.get("span") or (CUSTOM if "from" in asked or "to" in asked else "month")
        if self.span not in (*SPANS, CUSTOM):
            self.span = "month"
        if self.span == CUSTOM:
            typed = {"from": asked.get("from", ""), "to": asked.get("to", "")}
        else:
            first, last = span_named(self.span, today)
            typed = {"from": first.isoformat(), "to": last.isoformat()}
        cafes = Cafe.objects.for_member(member)
        self.has_choice = member.is_owner and cafes.count() > 1
        super().__init__(typed | ({"cafe": asked.get("cafe", "")} if self.has_choice else {}))
        self.fields["cafe"].queryset = cafes  # type: ignore[attr-defined]
        self.fields["first"].widget.attrs["max"] = today.isoformat()

    def add_prefix(self, field_name: str) -> str:
        """What the address calls them."""
        return {"first": "from", "last": "to"}.get(field_name, field_name)

    def clean(self) -> dict[str, Any]:
        cleaned = super().clean() or self.cleaned_data
        first, last = cleaned.get("first"), cleaned.get("last")
        if first and first > self.today:
            raise ValidationError({"first": _("That day is still to come.")})
        if first and last and first > last:
            raise ValidationError({"last": _("The span ends before it begins.")})
        if first and last and (last - first) > timedelta(days=LONGEST_SPAN):
            raise ValidationError({"first": _("Choose a span of at most %(n)d days.") % {"n": LONGEST_SPAN}})
        return cleaned

    def asked(self) -> Asked:
        """What a valid form asks for. A head barista reads of their own café, an owner of any, or of all."""
        data, member = self.cleaned_data, self.member
        cafe = data["cafe"] if member.is_owner else member.cafe
        return asked_for(
            member.company,
            [cafe] if cafe else None,
            data["first"],
            data["last"],
            for_owner=member.is_owner,
        )

    def address(self, **change: Any) -> str:
        """The query that asks for the same again, with what is changed."""
        if self.span == CUSTOM:
            same = {"span": CUSTOM, "from": self["first"].value(), "to": self["last"].value()}
        else:
            same = {"span": self.span}
        cafe = self["cafe"].value()
        return urlencode(same | ({"cafe": cafe} if cafe else {}) | change)

    def spans(self) -> Iterator[tuple[Any, str, bool]]:
        """(name, query, whether it is shown) of each span that has a name."""
        cafe = self["cafe"].value()
        for key, name in NAMES.items():
            yield name, urlencode({"span": key} | ({"cafe": cafe} if cafe else {})), key == self.span
