"""Bringing in a spreadsheet: the file, its sheet and head row, its columns, and what it doesn't say."""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence
from dataclasses import replace
from typing import Any

from django import forms
from django.core.files.uploadedfile import UploadedFile
from django.utils.translation import gettext_lazy as _

from brewbar.web.printable import PrintableTexts
from calibration.importing.columns import Guess
from calibration.importing.fields import DATES, FIELDS, NUMBERS, Holds, Kind
from calibration.importing.mapping import UNITS_OF, Chosen
from calibration.importing.mapping import Mapping as Columns
from calibration.importing.raw import letters
from calibration.importing.watching import Question
from calibration.models import Reading
from recipes.forms.fields import NumberField

KINDS = ((Kind.READINGS.value, _("Readings of brews")), (Kind.LOTS.value, _("Coffees and batches")))
OF_ROWS = {
    "barista": _("Barista"),
    "recipe": _("Recipe"),
    "station": _("Station"),
    "batch": _("Roast batch"),
    "grinder": _("Grinder"),
    "kettle": _("Kettle"),
    "server": _("Server"),
    "instrument": _("Refractometer"),
}
UNIT_WORDS = {"fraction": _("fraction, such as 0.0138"), "m:ss": _("minutes:seconds"), "C": "°C", "F": "°F"}


class UploadForm(forms.Form):
    kind = forms.ChoiceField(
        label=_("What is in it"), choices=KINDS, widget=forms.RadioSelect(attrs={"class": "choices"})
    )
    file = forms.FileField(
        label=_("Spreadsheet"),
        help_text=_("CSV or XLSX, 50 MB at most."),
        widget=forms.FileInput(attrs={"accept": ".csv,.tsv,.txt,.xlsx,.xlsm"}),
        allow_empty_file=True,
    )

    def __init__(self, *args: Any, most_bytes: int, **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        self.initial.setdefault("kind", Kind.READINGS.value)
        self.most_bytes = most_bytes

    def clean_file(self) -> UploadedFile:
        file: UploadedFile = self.cleaned_data["file"]
        if (file.size or 0) > self.most_bytes:
            raise forms.ValidationError(
                _("The file is larger than %(most)d MB. Part it in two and bring them in one by one."),
                params={"most": self.most_bytes // 1_000_000},
            )
        return file


class SheetForm(forms.Form):
    sheet = forms.ChoiceField(label=_("Sheet"))
    head_row = forms.IntegerField(
        label=_("Row with the headings"),
        min_value=0,
        help_text=_("0 if there is none. Rows above it are left out."),
        widget=forms.TextInput(attrs={"inputmode": "numeric", "size": 5, "autocomplete": "off"}),
    )

    def __init__(self, *args: Any, sheets: Sequence[str], **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        if sheets:
            self.fields["sheet"].choices = [(name, name) for name in sheets]  # type: ignore[attr-defined]
        else:
            del self.fields["sheet"]


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
        columns: Columns,
        guesses: Sequence[Guess],
        examples: Mapping[int, str],
        questions: Iterable[Question] = (),
    ) -> None:
        said = {name: getattr(columns, name) for name in ("fill_merged", "leave_out_hidden", "keep_repeats")}
        super().__init__(data, initial=said)
        self._columns, self._guesses, self._examples = columns, guesses, examples
        self._chosen = {one.place: one for one in columns.columns}
        fields = FIELDS[columns.kind]
        choices = [("", _("left out")), *((key, field.says) for key, field in fields.items())]
        for one in guesses:
            name = letters(one.place)
            label = f"{name}: {one.heading}" if one.heading else name
            chosen = self._chosen.get(one.place)
            self.fields[f"column_{one.place}"] = forms.ChoiceField(
                label=label, choices=choices, required=False, initial=chosen.field if chosen else ""
            )
            if chosen is not None:
                self._add_answers(chosen)
        for question in questions:
            field = self.fields.get(f"{question.about}_{question.place}")
            if isinstance(field, forms.ChoiceField):
                field.label, field.required = question.says, True
                field.choices = [("", _("choose")), *question.choices]
                field.is_question = True  # type: ignore[attr-defined]  # read by `rows`

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
            self.fields[f"{about}_{chosen.place}"] = forms.ChoiceField(
                label=label,
                choices=[("", _("as its cells say")), *words],
                required=False,
                initial=getattr(chosen, about),
            )

    def rows(self) -> list[dict[str, Any]]:
        """What the page shows of each column."""
        found = []
        for one in self._guesses:
            abouts = [f"{about}_{one.place}" for about in ("unit", "decimal_mark", "date_order", "turned")]
            answers = [self[name] for name in abouts if name in self.fields]
            asked = [field for field in answers if getattr(field.field, "is_question", False)]
            found.append(
                {
                    "letter": letters(one.place),
                    "heading": one.heading,
                    "why": one.why,
                    "example": self._examples.get(one.place, ""),
                    "field": self[f"column_{one.place}"],
                    "asked": asked,
                    "more": [field for field in answers if field not in asked],
                }
            )
        return found

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
                abouts = ("unit", "decimal_mark", "date_order", "turned")
                answers = {about: said.get(f"{about}_{one.place}", "") for about in abouts}
                chosen = replace(chosen, **answers)
            columns.append(chosen)
        options = {name: said[name] for name in ("fill_merged", "leave_out_hidden", "keep_repeats")}
        return replace(self._columns, columns=tuple(columns), **options)


class GivenForm(forms.Form):
    """What holds for all rows that don't say it themselves."""

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
    ) -> None:
        super().__init__(data, prefix="given", initial=dict(said))
        for name, label in OF_ROWS.items():
            choices = [
                ("", _("as the row or the board says")),
                *((str(row.pk), str(row)) for row in rows[name]),
            ]
            self.fields[name] = forms.ChoiceField(label=label, choices=choices, required=False)
        self.fields["version"].choices = [  # type: ignore[attr-defined]
            ("", _("by its day")),
            *((str(row.pk), str(row)) for row in versions),
        ]
        for name in ("dose_g", "water_g"):
            self.fields[name].widget.attrs["data-unit"] = "g"
        self.order_fields([*OF_ROWS, "version", "kind", "time", "grind_setting", "dose_g", "water_g"])

    def given(self) -> dict[str, str]:
        """As an upload keeps it."""
        said = {name: value for name, value in self.cleaned_data.items() if value not in (None, "")}
        if "time" in said:
            said["time"] = f"{said['time']:%H:%M}"
        return {name: str(value) for name, value in said.items()}


class NamesForm(forms.Form):
    """Who or what is meant by a name that isn't known."""

    def __init__(
        self,
        data: Any = None,
        *,
        unknown: Mapping[str, Mapping[str, Sequence[str]]],
        rows: Mapping[str, Sequence[Any]],
    ) -> None:
        super().__init__(data, prefix="name")
        self._asked: dict[str, tuple[str, str]] = {}
        for field, names in unknown.items():
            for typed, offers in names.items():
                name = f"{len(self._asked)}"
                first = [row for row in rows[field] if str(row) in offers]
                others = [row for row in rows[field] if row not in first]
                choices = [(str(row.pk), str(row)) for row in (*first, *others)]
                self.fields[name] = forms.ChoiceField(
                    label=f"{typed} ({FIELDS[Kind.READINGS][field].says})",
                    choices=[("", _("nobody and nothing here")), *choices],
                    required=False,
                )
                self._asked[name] = (field, typed)

    def meant(self, before: Mapping[str, Mapping[str, str]]) -> dict[str, dict[str, str]]:
        found = {field: dict(names) for field, names in before.items()}
        for name, (field, typed) in self._asked.items():
            if key := self.cleaned_data.get(name):
                found.setdefault(field, {})[typed] = key
        return found


class BringInForm(forms.Form):
    which = forms.ChoiceField(
        label=_("What to bring in"),
        choices=[("all", _("all rows, or none")), ("good", _("the good rows only"))],
        initial="all",
        widget=forms.RadioSelect(attrs={"class": "choices"}),
    )
    sure = forms.BooleanField(label=_("Yes, really: the doubtful rows are as they were"), required=False)

    def __init__(self, data: Any = None, *, bad: int, doubtful: int) -> None:
        super().__init__(data)
        self.bad, self.doubtful = bad, doubtful
        if not doubtful:
            del self.fields["sure"]
        if not bad:
            self.fields["which"].widget = forms.HiddenInput()

    def clean(self) -> dict[str, Any]:
        said = self.cleaned_data
        if self.doubtful and not said.get("sure"):
            self.add_error("sure", _("Look at the doubtful rows first, and say that they are right."))
        if self.bad and said.get("which") == "all":
            self.add_error(
                "which",
                _(
                    "Some rows cannot be brought in. Mend them in the file and upload it again, or bring in the "
                    "good ones only."
                ),
            )
        return said


class UndoForm(PrintableTexts, forms.Form):
    why = forms.CharField(label=_("Why it is taken back"), max_length=200)
