"""Which column of a spreadsheet is what, how its cells are read, and what the file doesn't say."""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Collection, Iterable, Mapping, Sequence
from dataclasses import replace
from typing import Any

from django import forms
from django.utils.translation import gettext_lazy as _

from calibration.importing.columns import Guess
from calibration.importing.fields import DATES, FIELDS, NUMBERS, Holds
from calibration.importing.mapping import UNITS_OF, Chosen
from calibration.importing.mapping import Mapping as Columns
from calibration.importing.raw import letters
from calibration.importing.reading import Sheet
from calibration.importing.settling import Settled
from calibration.models import Reading
from recipes.forms.fields import NumberField

OF_ROWS = {
    "station": _("Station"),
    "instrument": _("Refractometer"),
    "barista": _("Barista"),
    "recipe": _("Recipe"),
    "batch": _("Roast batch"),
    "grinder": _("Grinder"),
    "kettle": _("Kettle"),
    "server": _("Server"),
}
NEEDED = {
    "station": {"station"},
    "instrument": {"instrument"},
    "barista": {"barista"},
    "recipe": {"recipe", "coffee"},
    "dose_g": {"dose_g"},
    "water_g": {"water_g"},
    "time": {"time", "moment"},
}
"""What no brew is without, and the columns that can hold it; what else a brew needs the board of its hour can tell."""
ABOUTS = ("unit", "decimal_mark", "date_order", "turned")
UNIT_WORDS = {
    "fraction": _("fraction, such as 0.0138"),
    "s": _("seconds"),
    "min": _("minutes with decimals"),
    "m:ss": _("minutes:seconds"),
    "g": _("grams"),
    "kg": _("kilograms"),
    "oz": _("ounces of weight"),
    "fl oz": _("fluid ounces"),
    "ml": _("millilitres"),
    "l": _("litres"),
    "C": "°C",
    "F": "°F",
}
SURE = 0.9


class ColumnsForm(forms.Form):
    """Every column is a choice; a question about one stands beside it until it is answered."""

    fill_merged = forms.BooleanField(
        label=_("The value of merged cells counts for each row under them"), required=False
    )
    leave_out_hidden = forms.BooleanField(label=_("Leave out rows that are hidden"), required=False)
    keep_repeats = forms.BooleanField(
        label=_("Rows that say the same were brewed alike, not pasted twice"), required=False
    )

    def __init__(
        self,
        data: Any = None,
        *,
        sheet: Sheet,
        columns: Columns,
        guesses: Sequence[Guess],
        examples: Mapping[int, str],
        settled: Settled,
    ) -> None:
        said = {name: getattr(columns, name) for name in ("fill_merged", "leave_out_hidden", "keep_repeats")}
        super().__init__(data, initial=said)
        if not sheet.merged:
            del self.fields["fill_merged"]
        if not sheet.hidden_rows:
            del self.fields["leave_out_hidden"]
        self._columns, self._guesses, self._examples = columns, guesses, examples
        self._chosen = {one.place: one for one in columns.columns}
        self._decided: dict[int, list[str]] = defaultdict(list)
        for decision in settled.decisions:
            self._decided[decision.place].append(decision.says)
        fields = FIELDS[columns.kind]
        choices = [("", _("left out")), *((key, field.says) for key, field in fields.items())]
        for one in guesses:
            name = letters(one.place)
            chosen = self._chosen.get(one.place)
            self.fields[f"column_{one.place}"] = _needed(
                forms.ChoiceField(
                    label=f"{name}: {one.heading}" if one.heading else name,
                    choices=choices,
                    required=False,
                    initial=chosen.field if chosen else "",
                )
            )
            if chosen is not None:
                self._add_answers(chosen)
        self._asked: dict[str, int] = {}
        for question in settled.questions:
            name = f"{question.about}_{question.place}"
            field = self.fields.get(name)
            if isinstance(field, forms.ChoiceField):
                field.label, field.choices = question.says, [("", _("choose")), *question.choices]
                self._asked[name] = question.place

    def _add_answers(self, chosen: Chosen) -> None:
        holds = self._columns.field_of(chosen).holds
        offers: dict[str, tuple[Any, list[tuple[str, Any]]]] = {}
        if holds in UNITS_OF:
            words = [(unit, UNIT_WORDS.get(unit, unit)) for unit in UNITS_OF[holds]]
            offers["unit"] = (_("Unit"), words)
        if holds in NUMBERS or holds is Holds.DURATION:
            offers["decimal_mark"] = (
                _("Decimal mark"),
                [(".", _("point, such as 1.40")), (",", _("comma, such as 1,40"))],
            )
        if holds in DATES:
            orders = [("dmy", _("day first")), ("mdy", _("month first")), ("ymd", _("year first"))]
            offers["date_order"] = (_("Order of dates"), orders)
            offers["turned"] = (
                _("Day and month were turned about"),
                [("yes", _("yes, turn them")), ("no", _("no"))],
            )
        for about, (label, words) in offers.items():
            field = forms.ChoiceField(
                label=label,
                choices=[("", _("as its cells say")), *words],
                required=False,
                initial=getattr(chosen, about),
            )
            self.fields[f"{about}_{chosen.place}"] = _needed(field)

    @property
    def questions(self) -> int:
        return len(self._asked)

    def rows(self) -> list[dict[str, Any]]:
        """What the page shows of each column."""
        found = []
        for one in self._guesses:
            names = [f"{about}_{one.place}" for about in ABOUTS if f"{about}_{one.place}" in self.fields]
            chosen = self._chosen.get(one.place)
            is_as_guessed = (chosen.field if chosen else "") == one.field
            found.append(
                {
                    "letter": letters(one.place),
                    "why": one.why if is_as_guessed and one.sure < SURE else "",
                    "decided": self._decided.get(one.place, []),
                    "example": self._examples.get(one.place, ""),
                    "field": self[f"column_{one.place}"],
                    "asked": [self[name] for name in names if name in self._asked],
                    "more": [self[name] for name in names if name not in self._asked],
                }
            )
        return found

    def clean(self) -> dict[str, Any]:
        said = self.cleaned_data
        for name, place in self._asked.items():
            is_still = said.get(f"column_{place}") == self._chosen[place].field
            if is_still and not said.get(name) and name not in self.errors:
                self.add_error(name, _("Choose one: the cells alone do not tell."))
        return said

    def columns(self) -> Columns:
        """As they were chosen. An answer about what a column was before says nothing of what it is now."""
        said = self.cleaned_data
        columns: list[Chosen] = []
        for one in self._guesses:
            if not (field := said.get(f"column_{one.place}")):
                continue
            before = self._chosen.get(one.place)
            chosen = Chosen(one.place, field)
            if before is not None and before.field == field:
                answers = {about: said.get(f"{about}_{one.place}", "") for about in ABOUTS}
                chosen = replace(chosen, **answers)
            columns.append(chosen)
        options = {
            name: said.get(name, False) for name in ("fill_merged", "leave_out_hidden", "keep_repeats")
        }
        return replace(self._columns, columns=tuple(columns), **options)


class GivenForm(forms.Form):
    """What holds for all rows that don't say it themselves. held: fields that have a column."""

    time = forms.TimeField(
        label=_("Time of the brew"),
        required=False,
        widget=forms.TimeInput(attrs={"type": "time"}, format="%H:%M"),
    )
    kind = forms.ChoiceField(label=_("Kind of brew"), choices=Reading.Kind.choices, required=False)
    grind_setting = forms.CharField(
        label=_("Grind setting"), max_length=12, required=False, widget=forms.TextInput(attrs={"size": 6})
    )
    dose_g = NumberField(
        label=_("Dose"), required=False, min_value=1, max_value=200, decimal_places=1, max_digits=5
    )
    water_g = NumberField(
        label=_("Brew water"), required=False, min_value=10, max_value=4000, decimal_places=1, max_digits=6
    )
    version = forms.ChoiceField(
        label=_("Version"),
        required=False,
        help_text=_(
            "Without one, what the board showed at that hour, or the newest that was published by then."
        ),
    )

    def __init__(
        self,
        data: Any = None,
        *,
        rows: Mapping[str, Sequence[Any]],
        versions: Sequence[Any],
        said: Mapping[str, str],
        held: Collection[str],
    ) -> None:
        super().__init__(data, prefix="given", initial=dict(said))
        self._names_asked = [name for name, fields in NEEDED.items() if not fields & set(held)]
        for name, label in OF_ROWS.items():
            asked = name in self._names_asked
            nothing = _("choose") if asked else _("as the row or the board says")
            choices = [("", nothing), *((str(row.pk), str(row)) for row in rows[name])]
            self.fields[name] = forms.ChoiceField(label=label, choices=choices, required=False)
            in_use = [row for row in rows[name] if getattr(row, "retired_at", None) is None]
            if asked and name in ("station", "instrument", "recipe") and len(in_use) == 1:
                self.initial.setdefault(name, str(in_use[0].pk))
        self.fields["version"].choices = [  # type: ignore[attr-defined]
            ("", _("by its day")),
            *((str(row.pk), str(row)) for row in versions),
        ]
        for name in ("dose_g", "water_g"):
            self.fields[name].widget.attrs["data-unit"] = "g"
        for field in self.fields.values():
            _needed(field)
        self.order_fields([*OF_ROWS, "version", "kind", "time", "grind_setting", "dose_g", "water_g"])

    def asked(self) -> list[forms.BoundField]:
        """What has to be said here, because no column says it."""
        return [field for field in self if field.name in self._names_asked]

    def more(self) -> list[forms.BoundField]:
        return [field for field in self if field.name not in self._names_asked]

    @property
    def is_more_wrong(self) -> bool:
        return any(field.errors for field in self.more())

    def clean(self) -> dict[str, Any]:
        said = self.cleaned_data
        for name in self._names_asked:
            # A column of days can have the time in its cells.
            if name != "time" and not said.get(name) and name not in self.errors:
                self.add_error(
                    name, _("No column says it: choose its column above, or one for all rows here.")
                )
        return said

    def given(self) -> dict[str, str]:
        """As an upload keeps it."""
        said = {name: value for name, value in self.cleaned_data.items() if value not in (None, "")}
        if "time" in said:
            said["time"] = f"{said['time']:%H:%M}"
        return {name: str(value) for name, value in said.items()}


def fields_of(columns: Iterable[Chosen]) -> set[str]:
    return {one.field for one in columns}


def _needed(field: forms.Field) -> Any:
    """A choice that stands already is not called optional."""
    field.is_needed = True  # type: ignore[attr-defined]  # read by brewbar.web.forms
    return field
