"""What is typed about something that happened at the bar, and which of it a page shows."""

from __future__ import annotations

from collections.abc import Iterator
from datetime import datetime
from typing import Any

from django import forms
from django.db import models
from django.utils.translation import gettext_lazy as _

from brewbar.crew.access import Member
from brewbar.web.printable import PrintableTexts
from recipes.forms.equipment import KINDS
from recipes.forms.fields import WallTimeField
from recipes.happenings import CLOCKS_APART, HAPPENS_TO, OLDEST, THING_FIELDS, field_of, key_of
from recipes.models import BarEvent

Group = tuple[Any, list[tuple[str, str]]]

WHOLE_BAR = _("the bar as a whole")

BELONGS_TO = {
    BarEvent.Kind.BURRS: _("That happens to a grinder: choose which."),
    BarEvent.Kind.ALIGNED: _("That happens to a grinder: choose which."),
    BarEvent.Kind.PAPER: _("Choose which paper."),
    BarEvent.Kind.WATER: _("Choose which water the bar brews with from then on."),
    BarEvent.Kind.DESCALED: _("That happens to a kettle, or to the bar as a whole."),
    BarEvent.Kind.CARTRIDGE: _("That happens to a water, or to the bar as a whole."),
}


class EventForm(PrintableTexts, forms.Form):
    kind = forms.ChoiceField(
        label=_("What happened"), choices=[("", _("Choose")), *BarEvent.Kind.choices], required=False
    )
    thing = forms.ChoiceField(label=_("To which piece"), required=False)
    note = forms.CharField(
        label=_("Note"),
        max_length=200,
        required=False,
        widget=forms.TextInput(attrs={"autocomplete": "off"}),
    )

    field_order = ["kind", "thing", "happened_at", "note"]

    def __init__(self, *args: Any, member: Member, now: datetime, **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        self.now = now
        self.fields["happened_at"] = WallTimeField(
            member.cafe.zone,
            label=_("When"),
            initial=now,
            required=False,
            help_text=_("By the clock on the café's wall."),
        )
        self.things = {
            key_of(row): row for kind in KINDS for row in kind.rows(member) if row.retired_at is None
        }
        pieces = self.fields["thing"]
        assert isinstance(pieces, forms.ChoiceField)
        pieces.choices = [("", WHOLE_BAR.capitalize()), *_grouped(self.things.values())]
        self.order_fields(self.field_order)
        for name in ("kind", "happened_at"):
            self.fields[name].is_needed = True  # type: ignore[attr-defined]  # read by brewbar.web.forms

    def clean(self) -> dict[str, Any]:
        said = self.cleaned_data
        kind, at = said.get("kind", ""), said.get("happened_at")
        if "kind" in said and not kind:
            self.add_error("kind", _("Say what happened."))
        if "happened_at" in said and at is None:
            self.add_error("happened_at", _("Say when."))
        if at and at > self.now + CLOCKS_APART:
            self.add_error("happened_at", _("This moment is still to come."))
        if at and at < self.now - OLDEST:
            self.add_error("happened_at", _("That is more than ten years ago. Check the year."))
        if kind and "thing" in said:
            said["thing"] = self.things.get(said["thing"])
            if field_of(said["thing"]) not in HAPPENS_TO[kind]:
                other = _("That does not happen to this: choose another piece, or the bar as a whole.")
                self.add_error("thing", BELONGS_TO.get(BarEvent.Kind(kind), other))
        if kind == BarEvent.Kind.OTHER and "note" in said and not said["note"]:
            self.add_error("note", _("Say in a few words what happened."))
        return said


class EventFilter(forms.Form):
    """What a page of events shows. It lives in the address; what cannot be read of it asks for nothing."""

    thing = forms.ChoiceField(label=_("Piece"), required=False)
    kind = forms.ChoiceField(
        label=_("What"), choices=[("", _("everything")), *BarEvent.Kind.choices], required=False
    )

    def __init__(self, asked: Any, member: Member) -> None:
        super().__init__(asked)
        rows = [row for kind in KINDS for row in kind.rows(member)]
        pieces = self.fields["thing"]
        assert isinstance(pieces, forms.ChoiceField)
        pieces.choices = [("", _("all of them")), *_grouped(rows, with_cafe=member.is_owner)]

    def asked(self) -> dict[str, Any]:
        """For `happenings.seen_by`."""
        self.is_valid()
        name, _dash, pk = self.cleaned_data.get("thing", "").rpartition("-")
        return {"thing": (name, int(pk)) if name else None, "kind": self.cleaned_data.get("kind", "")}


def _grouped(rows: Any, with_cafe: bool = False) -> Iterator[Group]:
    rows = list(rows)
    for kind in KINDS:
        of_kind = [row for row in rows if THING_FIELDS[type(row)] == THING_FIELDS[kind.model]]
        if of_kind:
            yield kind.title, [(key_of(row), _name(row, with_cafe)) for row in of_kind]


def _name(row: models.Model, with_cafe: bool) -> str:
    cafe = getattr(row, "cafe", None) if with_cafe else None
    return f"{row}, {cafe}" if cafe else str(row)
