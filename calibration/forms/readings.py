"""The entry of a reading, and the reason for voiding one.

The form only reads what was typed, in the café's own terms; `calibration.recording` judges it.
"""

from __future__ import annotations

import json
import uuid
from collections.abc import Iterable, Mapping
from datetime import datetime
from decimal import Decimal
from typing import Any, cast

from django import forms
from django.core.exceptions import ValidationError
from django.db.models import Model, Q, QuerySet
from django.forms import BoundField
from django.http import QueryDict
from django.utils.translation import gettext_lazy as _

from brewbar.crew.access import Member
from brewbar.crew.models import User
from brewbar.units import trimmed
from calibration import check_plans, checking, choosing
from calibration.entry import FEWEST_DROPS, MASS_BOUNDS_G, MOST_DROPS, Entry
from calibration.forms import remembering
from calibration.forms.brew_fields import DropField, MassField, PieceField, brew_time_s
from calibration.models import CheckRun, Reading, Refractometer
from recipes.forms.fields import TemperatureField, WallTimeField
from recipes.models import Grinder, Kettle, Server, Slot

DROPS = tuple(f"drop_{number}" for number in range(1, MOST_DROPS + 1))
DROP_LABELS = (_("First drop"), _("Second drop"), _("Third drop"), _("Fourth drop"), _("Fifth drop"))
SETTING = ("roast_batch", "grinder", "grind_setting")
"""What moves daily, and is looked up when a brew is entered late."""
NEEDED = ("weight_g", "server", "minutes", "seconds", "rinse_left_in", *DROPS)
"""What is missed with a sentence of its own, so no field says that it is optional."""
DIFFERENT = (
    *(
        "taste",
        "was_served",
        "brewed_at",
        "barista",
        "dose_g",
        "water_g",
        "bypass_g",
        "ice_g",
        *SETTING,
        "kettle",
    ),
    *("refractometer", "sample_temperature_C", "slurry_temperature_C"),
)
"""What sits behind 'something was different', in the order of the page."""
WEIGHED = (
    (Reading.Beverage.SERVER, _("in its server")),
    (Reading.Beverage.ALONE, _("by itself")),
    (Reading.Beverage.ESTIMATED, _("not weighed")),
)
TAKEN_AS_TYPED = (
    *("uuid", "kind", "was_served", "beverage_source", "weight_g", "brew_time_s", "taste"),
    *("dose_g", "water_g", "bypass_g", "ice_g", "kettle", "refractometer"),
    *("sample_temperature_C", "slurry_temperature_C"),
)
IN_HAND: dict[str, type[Model]] = {
    "kettle": Kettle,
    "grinder": Grinder,
    "server": Server,
    "refractometer": Refractometer,
}


def _server_and_tare(server: Server) -> str:
    return f"{server.name}, {trimmed(server.tare_g, 1)} g"


class EntryForm(forms.Form):
    """One brew, typed with one hand.

    ``typed`` is what a half-filled page held when it is drawn anew, ``original`` the reading whose typo is
    corrected, ``run`` the check under way that is entered: it says beforehand what kind of brew this is.
    """

    uuid = forms.UUIDField(widget=forms.HiddenInput)
    kind = forms.ChoiceField(label=_("This is"), choices=Reading.Kind.choices, widget=forms.RadioSelect)
    beverage_source = forms.ChoiceField(
        label=_("How it was weighed"), choices=WEIGHED, widget=forms.RadioSelect
    )
    weight_g = MassField(*MASS_BOUNDS_G["weight_g"], label=_("Weight on the scale"), required=False)
    server = PieceField(_server_and_tare, label=_("Server, and its weight when empty"), required=False)
    minutes = forms.CharField(label=_("Minutes"), required=False, max_length=8)
    seconds = forms.CharField(label=_("Seconds"), required=False, max_length=8)
    rinse_left_in = forms.ChoiceField(
        label=_("Was rinse water left in the server?"),
        choices=[("yes", _("Yes")), ("no", _("No"))],
        required=False,
        widget=forms.RadioSelect,
    )
    was_served = forms.BooleanField(label=_("This check went to a guest"), required=False)
    taste = forms.CharField(label=_("How it tasted"), required=False, max_length=200)
    dose_g = MassField(*MASS_BOUNDS_G["dose_g"], label=_("Dose"))
    water_g = MassField(*MASS_BOUNDS_G["water_g"], label=_("Brew water"))
    bypass_g = MassField(*MASS_BOUNDS_G["bypass_g"], label=_("Bypass water"))
    ice_g = MassField(*MASS_BOUNDS_G["ice_g"], label=_("Ice in the server"))
    roast_batch = PieceField(label=_("Roast batch"))
    grinder = PieceField(label=_("Grinder"))
    grind_setting = forms.CharField(label=_("Grind setting"), max_length=12)
    kettle = PieceField(label=_("Kettle"))
    refractometer = PieceField(label=_("Refractometer"))
    sample_temperature_C = TemperatureField(label=_("Sample temperature"), required=False)
    slurry_temperature_C = TemperatureField(label=_("Slurry temperature"), required=False)

    def __init__(
        self,
        member: Member,
        slot: Slot,
        data: Mapping[str, Any] | None = None,
        typed: Mapping[str, Any] | None = None,
        original: Reading | None = None,
        run: CheckRun | None = None,
    ) -> None:
        self.member, self.slot, self.original, self.run = member, slot, original, run
        self.known = (
            remembering.from_reading(original) if original else remembering.from_station(member, slot)
        )
        if run is not None:
            self.known["was_served"] = run.was_served
        typed = (remembering.from_run(run) if run else {}) | dict(typed or {})
        # A check under way may hold a few fields only: the rest is as it was known.
        self.said: Mapping[str, Any] = data if data is not None else typed and self.known | typed
        super().__init__(data, initial=self.known | {"uuid": uuid.uuid4()} | typed)
        for name, label in zip(DROPS, DROP_LABELS, strict=True):
            self.fields[name] = DropField(label=label)
        self.fields["brewed_at"] = WallTimeField(
            member.cafe.zone,
            label=_("When it was brewed"),
            required=False,
            help_text=_("Empty means just now."),
        )
        if run is not None and run.poured_at is not None:
            self.fields["brewed_at"].help_text = _("Empty means when its timer was started.")
        if member.is_head and run is None:
            self.fields["barista"] = PieceField(label=_("Who brewed it"))
        self._offer()
        self._offer_kinds()
        for name in ("kind", "beverage_source", "rinse_left_in"):
            self.fields[name].widget.attrs["class"] = "choices"
        for name in NEEDED:
            self.fields[name].is_needed = True  # type: ignore[attr-defined]  # read by brewbar.web.forms
        for name in ("minutes", "seconds"):
            self.fields[name].widget.attrs |= {"inputmode": "numeric", "autocomplete": "off", "size": 3}

    def _offer(self) -> None:
        """Choices from the member's own café: what is in use, and what this brew is known to be of."""
        for name, model in IN_HAND.items():
            rows: Any = model._default_manager.all()
            self.pieces(name).offer(
                rows.for_member(self.member).filter(Q(retired_at=None) | Q(pk=self.known.get(name)))
            )
        batches = choosing.batches_of(self.member, self.slot)
        in_use = Q(retired_at=None, used_up_on=None)
        self.pieces("roast_batch").offer(batches.filter(in_use | Q(pk=self.known["roast_batch"])))
        if "barista" in self.fields:
            self.pieces("barista").offer(self._crew())
        servers, instruments = self.pieces("server").rows, self.pieces("refractometer").rows
        if len(servers) == 1:
            self.initial.setdefault("server", next(iter(servers)))
        if len(instruments) == 1:
            self.initial.setdefault(
                "refractometer", self.known.setdefault("refractometer", next(iter(instruments)))
            )
        if not servers:
            self.fields["beverage_source"].choices = WEIGHED[1:]  # type: ignore[attr-defined]
        self.initial.setdefault(
            "beverage_source", Reading.Beverage.SERVER if servers else Reading.Beverage.ALONE
        )

    def _offer_kinds(self) -> None:
        """A practice brew is declared before it is brewed, so only a head barista may call it that afterwards."""
        kind, Kind = self.fields["kind"], Reading.Kind
        assert isinstance(kind, forms.ChoiceField)
        practised = self.original and self.original.kind == Kind.PRACTICE
        offered = choosing.kinds_for(self.member) | ({Kind.PRACTICE} if practised else set())
        if self.run is not None:
            offered, kind.widget = {Kind(self.run.kind)}, forms.HiddenInput()
        kind.choices = [(value, word) for value, word in Kind.choices if value in offered]

    def _crew(self) -> QuerySet[User]:
        """Who brews in this café, and whoever brewed the reading that is corrected."""
        return choosing.crew_of(self.member) | User.objects.filter(pk=self.known["barista"])

    def pieces(self, name: str) -> PieceField:
        field = self.fields[name]
        assert isinstance(field, PieceField)
        return field

    adds_drop = False
    """Whether 'one more drop' was tapped."""

    @property
    def drops_wanted(self) -> int:
        """How many drops the page shows from the first."""
        if self.run is None:
            return FEWEST_DROPS
        plan = check_plans.of(self.slot.board.cafe)
        return check_plans.drops_wanted(plan, self.slot.card.recipe_id, self.run.kind)

    # --- what was typed

    def clean(self) -> dict[str, Any]:
        cleaned = self.cleaned_data
        if not {"minutes", "seconds"} & set(self.errors):
            try:
                cleaned["brew_time_s"] = brew_time_s(cleaned["minutes"], cleaned["seconds"])
            except ValidationError as unread:
                self.add_error(None, unread)
        is_weighed = cleaned.get("beverage_source") in (Reading.Beverage.SERVER, Reading.Beverage.ALONE)
        if is_weighed and "weight_g" in cleaned and cleaned["weight_g"] is None:
            self.add_error("weight_g", checking.NO_WEIGHT)
        for name in DROPS[:FEWEST_DROPS]:
            if name in cleaned and cleaned[name] is None:
                self.add_error(name, _("Enter this drop: a reading takes two or more."))
        return cleaned

    def entry(self) -> Entry:
        """What a valid form says about the brew."""
        said = self.cleaned_data
        in_server = said["beverage_source"] == Reading.Beverage.SERVER
        entry = Entry(
            slot=self.slot,
            barista=said.get("barista") or self._brewer,
            drops=tuple(said[name] for name in DROPS if said[name] is not None),
            server=said["server"] if in_server else None,
            tare_g=self._tare_of(said["server"]) if in_server else None,
            brewed_at=self._brewed_at(),
            corrects=self.original,
            no_more_drops="no_more_drops" in self.data,
            sure=frozenset(self.sure),
            **{name: said[name] for name in TAKEN_AS_TYPED},
            **self._setting(),
        )
        return checking.with_rinse_answer(entry, {"yes": True, "no": False}.get(said["rinse_left_in"]))

    @property
    def _brewer(self) -> User:
        of = self.original or self.run
        return of.barista if of else self.member.user

    @property
    def sure(self) -> list[str]:
        """The doubts that were answered already."""
        said = cast(QueryDict, self.data) if self.is_bound else QueryDict()
        return " ".join(said.getlist("sure") + said.getlist("no_more_drops")).split()

    def _tare_of(self, server: Server | None) -> Decimal | None:
        old = self.original
        if server is not None and old is not None and old.server_id == server.pk:
            return old.tare_g
        return server.tare_g if server else None

    def _brewed_at(self) -> datetime | None:
        at: datetime | None = self.cleaned_data["brewed_at"]
        old = self.original
        if old is None:
            return self.run.poured_at if at is None and self.run else at
        return old.brewed_at if at is None or "brewed_at" not in self.changed_data else at

    def _setting(self) -> dict[str, Any]:
        """Batch, grinder and setting; of a brew entered late, those of its hour unless others were chosen."""
        said = {name: self.cleaned_data[name] for name in SETTING}
        then = choosing.setting_at(self.slot, self._brewed_at())
        if (
            self.original
            or then is None
            or then == self.slot.setting
            or set(SETTING) & set(self.changed_data)
        ):
            return said
        return {name: getattr(then, name) for name in SETTING}

    # --- what the page shows

    def add_problems(self, problems: Iterable[checking.Problem]) -> None:
        filled = [name for name in DROPS if self.cleaned_data.get(name) is not None]
        for problem in problems:
            name = problem.field
            if name in DROPS:
                # Problems count the drops that were entered, the page its fields.
                name = filled[DROPS.index(name)] if DROPS.index(name) < len(filled) else name
            self.add_error(name if name in self.fields else None, problem.says)

    def drops(self) -> list[BoundField]:
        """The drop fields to show: two, or as many as were filled, and one more where that was tapped."""
        held = [number for number, name in enumerate(DROPS, 1) if self[name].value()]
        return [self[name] for name in DROPS[: max([self.drops_wanted, *held]) + self.adds_drop]]

    def further_drops(self) -> list[BoundField]:
        """The fields after those of ``drops``, up to the fifth."""
        return [self[name] for name in DROPS[len(self.drops()) :]]

    @property
    def has_servers(self) -> bool:
        return bool(self.pieces("server").rows)

    @property
    def tares(self) -> str:
        """What each server weighs when empty, for the page's own sum."""
        return json.dumps({pk: float(server.tare_g) for pk, server in self.pieces("server").rows.items()})

    @property
    def has_refractometer(self) -> bool:
        return bool(self.pieces("refractometer").rows)

    @property
    def filters_samples(self) -> str:
        """For which instruments a sample is filtered: "all", "none", or their names."""
        instruments = self.pieces("refractometer").rows.values()
        names = [instrument.name for instrument in instruments if instrument.filters_samples]
        return "none" if not names else "all" if len(names) == len(instruments) else ", ".join(names)

    def different(self) -> list[BoundField]:
        above = {"was_served"} if self.run is not None else set()
        return [self[name] for name in DIFFERENT if name in self.fields and name not in above]

    @property
    def is_different(self) -> bool:
        """Whether anything behind 'something was different' was changed or refused, or is still to be chosen."""
        if "refractometer" not in self.known:
            # Several instruments, and none read here before: the choice has to be in sight.
            return True
        if not self.said:
            return False
        changed = (
            self.fields[n].has_changed(self.known.get(n), self.said.get(n))
            for n in DIFFERENT
            if n in self.fields
        )
        return any(changed) or bool(self.is_bound and set(DIFFERENT) & set(self.errors))


class VoidForm(forms.Form):
    reason = forms.CharField(
        label=_("Why it does not count"),
        max_length=200,
        help_text=_("The crew can read it. Such as: the scale was not on zero."),
        error_messages={"required": _("Say why: a reading never vanishes without a reason.")},
    )
