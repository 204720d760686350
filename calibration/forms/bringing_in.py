"""Bringing in a spreadsheet: the file, its sheet and head row, names that aren't known, and in."""

from __future__ import annotations

import hashlib
from collections.abc import Mapping, Sequence
from typing import Any

from django import forms
from django.core.files.uploadedfile import UploadedFile
from django.utils.translation import gettext_lazy as _
from django.utils.translation import ngettext

from brewbar.web.printable import PrintableTexts
from calibration.bringing_in.known import Known
from calibration.importing.fields import FIELDS, Kind
from calibration.importing.headings import plain

KINDS = ((Kind.READINGS.value, _("Readings of brews")), (Kind.LOTS.value, _("Coffees and batches")))


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


class NamesForm(forms.Form):
    """Who or what is meant by a name that isn't known; what was answered before can be answered anew."""

    def __init__(
        self,
        data: Any = None,
        *,
        unknown: Mapping[str, Mapping[str, Sequence[str]]],
        known: Known,
        said: Mapping[str, Mapping[str, str]],
    ) -> None:
        super().__init__(data, prefix="name")
        self._asked: dict[str, tuple[str, str]] = {}
        self.is_first = bool(unknown) and not said
        for field in sorted({*unknown, *said}):
            for typed in sorted({*unknown.get(field, ()), *said.get(field, ())}):
                offers = unknown.get(field, {}).get(typed, ())
                first = [row for name in offers for row in known.tables[field].get(name, ())]
                others = [row for row in known.rows(field) if row not in first]
                self._add(field, typed, first, others, said.get(field, {}).get(typed, ""))

    def _add(self, field: str, typed: str, first: list[Any], others: list[Any], said: str) -> None:
        # Not by its place: another window may have changed which names are asked about.
        name = hashlib.sha256(f"{field}:{typed}".encode()).hexdigest()[:12]
        self.fields[name] = made = forms.ChoiceField(
            label=f"{typed} ({FIELDS[Kind.READINGS][field].says})",
            choices=[
                ("", _("nobody and nothing here")),
                *((str(row.pk), str(row)) for row in (*first, *others)),
            ],
            required=False,
            initial=said or (str(first[0].pk) if len(first) == 1 and _is_part(typed, first[0]) else ""),
        )
        made.is_needed = True  # type: ignore[attr-defined]  # read by brewbar.web.forms
        self._asked[name] = (field, typed)

    def meant(self) -> dict[str, dict[str, str]]:
        """As an upload keeps it."""
        found: dict[str, dict[str, str]] = {}
        for name, (field, typed) in self._asked.items():
            if key := self.cleaned_data.get(name):
                found.setdefault(field, {})[typed] = key
        return found


def _is_part(typed: str, row: Any) -> bool:
    """Mira is Mira Demo; Miro may be somebody else."""
    return set(plain(typed).split()) <= set(plain(str(row)).split())


class BringInForm(forms.Form):
    """seen: the mark of the answers that the rows were looked at with."""

    seen = forms.CharField(widget=forms.HiddenInput())
    sure = forms.BooleanField(required=False)
    only_good = forms.BooleanField(required=False)

    def __init__(self, data: Any = None, *, seen: str, bad: int, doubtful: int) -> None:
        super().__init__(data, initial={"seen": seen})
        self._seen = seen
        if bad:
            says = ngettext(
                "Leave out %(n)d row that cannot be brought in: I get it as a file, with the reason",
                "Leave out the %(n)d rows that cannot be brought in: I get them as a file, with the reasons",
                bad,
            )
            self.fields["only_good"].label = says % {"n": bad}
        else:
            del self.fields["only_good"]
        if doubtful:
            says = ngettext(
                "I have looked at the doubtful row, and it was so",
                "I have looked at the %(n)d doubtful rows, and they were so",
                doubtful,
            )
            self.fields["sure"].label = says % {"n": doubtful}
        else:
            del self.fields["sure"]

    def clean(self) -> dict[str, Any]:
        said = self.cleaned_data
        if said.get("seen") != self._seen:
            says = _("The answers were changed in another window. Look at the rows as they are read now.")
            raise forms.ValidationError(says)
        if "sure" in self.fields and not said.get("sure"):
            self.add_error("sure", _("Look at the doubtful rows first, and say that they are right."))
        if "only_good" in self.fields and not said.get("only_good"):
            self.add_error(
                "only_good",
                _(
                    "Some rows cannot be brought in. Mend them in the file and upload it again, or say here that "
                    "they are left out."
                ),
            )
        return said


class UndoForm(PrintableTexts, forms.Form):
    why = forms.CharField(label=_("Why it is taken back"), max_length=200)
