"""Which recipes are looked for, and which two versions stand side by side."""

from __future__ import annotations

from typing import Any

from django import forms
from django.utils.translation import gettext_lazy as _

from brewbar.crew.access import Member
from recipes.models import Brewer, Coffee, RecipeVersion
from recipes.search import Asked, State


class RecipeFilter(forms.Form):
    q = forms.CharField(
        label=_("Name, origin or process"),
        required=False,
        max_length=100,
        widget=forms.TextInput(attrs={"type": "search", "autocomplete": "off"}),
    )
    coffee = forms.ModelChoiceField(label=_("Coffee"), required=False, queryset=Coffee.objects.none())
    brewer = forms.ModelChoiceField(label=_("Brewer"), required=False, queryset=Brewer.objects.none())
    state = forms.ChoiceField(label=_("State"), required=False, choices=[("", _("in use")), *State.choices])

    def __init__(self, *args: Any, member: Member, **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        self._offer("coffee", Coffee.objects.for_member(member), _("any coffee"))
        self._offer("brewer", Brewer.objects.for_member(member), _("any brewer"))

    def _offer(self, name: str, rows: Any, empty: Any) -> None:
        field: Any = self.fields[name]
        field.queryset, field.empty_label = rows, empty

    def asked(self) -> Asked:
        data = self.cleaned_data
        return Asked(data["q"], data["coffee"], data["brewer"], data["state"])


class VersionChoice(forms.ModelChoiceField):
    def label_from_instance(self, obj: RecipeVersion) -> str:
        return str(_("%(version)s, draft") % {"version": obj}) if obj.is_draft else str(obj)


class CompareForm(forms.Form):
    a = VersionChoice(label=_("This version"), queryset=RecipeVersion.objects.none())
    b = VersionChoice(label=_("beside this one"), queryset=RecipeVersion.objects.none())
    only = forms.BooleanField(label=_("Only what differs"), required=False)

    def __init__(self, *args: Any, member: Member, **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        rows = RecipeVersion.objects.for_member(member).select_related("recipe")
        for name in ("a", "b"):
            field: Any = self.fields[name]
            field.queryset, field.empty_label = rows.order_by("recipe__name", "-number"), _("Choose a version")
