"""What is typed about the board: what goes where, with what, and how a live slot moves."""

from __future__ import annotations

from collections.abc import Iterable
from datetime import datetime
from itertools import groupby
from typing import Any

from django import forms
from django.core.exceptions import ValidationError
from django.db.models import Q, QuerySet
from django.utils.translation import gettext_lazy as _

from brewbar.crew.access import Member
from brewbar.crew.models import Cafe, Station
from brewbar.web.printable import PrintableTexts
from recipes.due import next_turn
from recipes.everywhere import New, There
from recipes.forms.fields import WallTimeField
from recipes.models import Grinder, Kettle, RecipeVersion, RoastBatch, Slot


class SettingField(forms.CharField):
    """A setting as it is marked on the grinder."""

    def __init__(self) -> None:
        super().__init__(
            label=_("Grind setting"),
            max_length=12,
            widget=forms.TextInput(attrs={"autocomplete": "off", "size": 6}),
            error_messages={"required": _("Enter the setting as it is marked on the grinder.")},
        )


class VersionField(forms.ModelChoiceField):
    """Versions under the name of their recipe."""

    def offer(self, versions: Iterable[RecipeVersion]) -> None:
        groups = [
            (recipe.name, [(version.pk, self.label_from_instance(version)) for version in of_recipe])
            for recipe, of_recipe in groupby(versions, lambda version: version.recipe)
        ]
        self.widget.choices = [("", _("Choose a recipe")), *groups]

    def label_from_instance(self, obj: RecipeVersion) -> str:
        words = {"recipe": obj.recipe.name, "number": obj.number}
        return (
            _("%(recipe)s, draft %(number)d") if obj.is_draft else _("%(recipe)s, version %(number)d")
        ) % words


class WhereForm(forms.Form):
    """First half of planning a slot: which version, on which station."""

    version = VersionField(label=_("Recipe"), queryset=RecipeVersion.objects.none())
    station = forms.ModelChoiceField(
        label=_("Station"), queryset=Station.objects.none(), empty_label=_("Choose a station")
    )

    def __init__(self, *args: Any, member: Member, offered: list[RecipeVersion], **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        version, station = self.fields["version"], self.fields["station"]
        assert isinstance(version, VersionField)
        assert isinstance(station, forms.ModelChoiceField)
        version.queryset = RecipeVersion.objects.for_member(member).filter(pk__in=[one.pk for one in offered])
        version.offer(offered)
        station.queryset = Station.objects.for_member(member).in_use()
        if station.queryset.count() == 1:
            station.empty_label = None


class WithForm(PrintableTexts, forms.Form):
    """Second half: from which batch, through which grinder, poured from which kettle."""

    roast_batch = forms.ModelChoiceField(
        label=_("Roast batch"), queryset=RoastBatch.objects.none(), empty_label=None
    )
    grinder = forms.ModelChoiceField(
        label=_("Grinder"), queryset=Grinder.objects.none(), empty_label=_("Choose a grinder")
    )
    grind_setting = SettingField()
    kettle = forms.ModelChoiceField(
        label=_("Kettle"), queryset=Kettle.objects.none(), empty_label=_("Choose a kettle")
    )

    def __init__(self, *args: Any, member: Member, version: RecipeVersion, **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        batches = RoastBatch.objects.for_member(member).filter(coffee=version.recipe.coffee_id)
        _offer(self, "roast_batch", batches.in_use().order_by("roasted_on", "pk"))
        _offer(self, "grinder", Grinder.objects.for_member(member).in_use())
        _offer(self, "kettle", Kettle.objects.for_member(member).in_use())
        self.lacks = [name for name, field in self.fields.items() if _offers_nothing(field)]
        """Which of them the café has none of."""


class TakeForm(forms.Form):
    """A café where the recipe is live: whether its stations take a version."""

    chosen = forms.BooleanField(required=False)

    def __init__(self, *args: Any, there: There, **kwargs: Any) -> None:
        kwargs["prefix"] = f"cafe-{there.cafe.pk}"
        super().__init__(*args, **kwargs)
        self.title = there.cafe.name
        self.fields["chosen"].label = _("Publish it in %(cafe)s") % {"cafe": there.cafe}

    @property
    def is_chosen(self) -> bool:
        return self.is_bound and self.add_prefix("chosen") in self.data

    @property
    def new(self) -> New | None:
        """Where and with what, once that is known."""
        return None


class StartForm(TakeForm, WithForm):
    """A café where the recipe is not live: whether to publish there, at which station and with what."""

    station = forms.ModelChoiceField(
        label=_("Station"), queryset=Station.objects.none(), empty_label=_("Choose a station")
    )
    field_order = ("chosen", "station", "roast_batch", "grinder", "grind_setting", "kettle")

    def __init__(self, *args: Any, there: There, **kwargs: Any) -> None:
        usual = vars(there.usual) if there.usual else {}
        if there.station is None:
            usual = usual | {"grind_setting": ""}
        kwargs["initial"] = usual | {"station": there.station}
        super().__init__(*args, there=there, member=there.place, **kwargs)
        _offer(self, "station", Station.objects.for_member(there.place).in_use())
        self.lacks = [name for name, field in self.fields.items() if _offers_nothing(field)]
        if self.is_bound and not self.is_chosen:
            for field in self.fields.values():
                field.required = False

    @property
    def new(self) -> New | None:
        if self.is_chosen and not self.is_valid():
            return None
        said = self.cleaned_data if self.is_chosen else self.initial
        values: dict[str, Any] = {name: said.get(name) for name in self.field_order if name != "chosen"}
        return New(**values) if all(values.values()) else None


class AdjustForm(PrintableTexts, forms.Form):
    """What moves on a live slot: batch, grinder, setting. What it runs with now stays on offer."""

    roast_batch = forms.ModelChoiceField(
        label=_("Roast batch"), queryset=RoastBatch.objects.none(), empty_label=None
    )
    grinder = forms.ModelChoiceField(label=_("Grinder"), queryset=Grinder.objects.none(), empty_label=None)
    grind_setting = SettingField()
    note = forms.CharField(
        label=_("Note"),
        max_length=120,
        required=False,
        help_text=_("Why, in a few words. It stays in the history."),
    )
    seen = forms.IntegerField(widget=forms.HiddenInput)

    def __init__(self, *args: Any, member: Member, slot: Slot, **kwargs: Any) -> None:
        now = slot.setting
        assert now is not None, "a slot is planned together with its first setting"
        kwargs["initial"] = {
            "roast_batch": now.roast_batch_id,
            "grinder": now.grinder_id,
            "grind_setting": now.grind_setting,
            "seen": now.pk,
        }
        super().__init__(*args, **kwargs)
        in_use = Q(retired_at=None)
        batches = RoastBatch.objects.for_member(member).filter(coffee=slot.card.recipe.coffee_id)
        _offer(self, "roast_batch", batches.filter(in_use & Q(used_up_on=None) | Q(pk=now.roast_batch_id)))
        grinders = Grinder.objects.for_member(member)
        _offer(self, "grinder", grinders.filter(in_use | Q(pk=now.grinder_id)))

    def refuse(self, why: str, slot: Slot) -> None:
        """Keep what was typed, and count the setting that holds now as seen: the page shows it."""
        slot.refresh_from_db()
        self.add_error(None, why)
        self.data = {**dict(self.data.items()), "seen": str(slot.setting_id)}


class TapForm(forms.Form):
    """One tap: the setting to move to, the setting row that was in sight, and the slot whose page to go back to."""

    grind_setting = forms.CharField(max_length=12)
    seen = forms.IntegerField()
    back = forms.IntegerField(required=False)


class LeaveForm(PrintableTexts, forms.Form):
    why = forms.CharField(
        label=_("Why is it coming off?"),
        max_length=200,
        widget=forms.TextInput(attrs={"autocomplete": "off"}),
        error_messages={"required": _("Say why in a word or two: sold out, a new batch, a tired taste.")},
    )


class OffForm(LeaveForm):
    """Taking a live slot off at once: why, and what is brewed instead, live already or put on with it."""

    instead = forms.ChoiceField(
        label=_("What is brewed instead?"),
        required=False,
        help_text=_("For a recipe that comes on with it, batch and grind are asked next."),
        error_messages={"invalid_choice": _("Please choose one of these.")},
    )

    def __init__(
        self, *args: Any, member: Member, slot: Slot, offered: list[RecipeVersion], **kwargs: Any
    ) -> None:
        super().__init__(*args, **kwargs)
        there = Slot.objects.for_member(member).live().filter(card__station=slot.card.station_id)
        beside = list(there.exclude(pk=slot.pk).select_related("card__station", "version__recipe"))
        standing = {one.version_id for one in beside}
        coming = [version for version in offered if version.pk not in standing]
        self.rows = {f"live-{one.pk}": one for one in beside} | {f"new-{one.pk}": one for one in coming}
        words = VersionField(queryset=RecipeVersion.objects.none()).label_from_instance
        choices: list[Any] = [("", _("Nothing: this place stays empty"))]
        if beside:
            live = [(f"live-{one.pk}", str(one.version)) for one in beside]
            choices.append((_("Live here already"), live))
        if coming:
            choices.append((_("Comes on with it"), [(f"new-{one.pk}", words(one)) for one in coming]))
        field = self.fields["instead"]
        assert isinstance(field, forms.ChoiceField)
        field.choices = choices

    @property
    def replacement(self) -> Slot | RecipeVersion | None:
        return self.rows.get(self.cleaned_data["instead"])


class DueForm(forms.Form):
    """When the plan goes live by itself, as the café's wall clock shows it."""

    def __init__(self, *args: Any, cafe: Cafe, now: datetime, **kwargs: Any) -> None:
        kwargs["initial"] = {"at": next_turn(cafe, now)}
        super().__init__(*args, **kwargs)
        self.fields["at"] = WallTimeField(
            cafe.zone, label=_("Day and time"), error_messages={"required": _("Choose a day and a time.")}
        )


class StationForm(PrintableTexts, forms.ModelForm):
    class Meta:
        model = Station
        fields = ["name"]
        widgets = {"name": forms.TextInput(attrs={"autocomplete": "off"})}

    def clean_name(self) -> str:
        name = " ".join(str(self.cleaned_data["name"]).split())
        others = Station.objects.filter(cafe=self.instance.cafe, name__iexact=name).exclude(
            pk=self.instance.pk
        )
        if (other := others.first()) is None:
            return name
        if other.retired_at:
            raise ValidationError(
                _("%(name)s was a station here before. Bring it back, and its old cards lead right."),
                params={"name": other.name},
            )
        raise ValidationError(_("There is already a station called %(name)s."), params={"name": other.name})


def _offers_nothing(field: forms.Field) -> bool:
    rows = field.queryset if isinstance(field, forms.ModelChoiceField) else None
    return rows is not None and not rows.exists()


def _offer(form: forms.Form, name: str, rows: QuerySet[Any]) -> None:
    field = form.fields[name]
    assert isinstance(field, forms.ModelChoiceField)
    field.queryset = rows
    field.error_messages |= {
        "required": _("Please choose one."),
        "invalid_choice": _("Please choose one of these."),
    }
