from typing import Any

import pytest
from django import forms
from django.template import Context, Template
from django.test import RequestFactory

from brewbar.web.forms import render_form, what_is_wrong


class Thing(forms.Form):
    dose = forms.DecimalField(
        label="Dose",
        help_text="Dry coffee.",
        widget=forms.TextInput(attrs={"data-unit": "g", "inputmode": "decimal"}),
    )
    note = forms.CharField(label="Note", required=False)
    kind = forms.ChoiceField(label="Kind", choices=[("a", "A"), ("b", "B")], widget=forms.RadioSelect)
    rinse = forms.BooleanField(label="Rinse", required=False)
    key = forms.CharField(widget=forms.HiddenInput)

    def clean(self) -> None:
        if self.cleaned_data.get("note") == "bad":
            raise forms.ValidationError("The whole is wrong.")


Row = forms.formset_factory(Thing, can_delete=True)
GOOD = {"dose": "15", "kind": "a", "key": "k"}


def group(field: str, data: dict[str, str] | None = None) -> str:
    return Thing(data)[field].as_field_group()


def as_rows(*rows: dict[str, str]) -> Any:
    data = {"form-TOTAL_FORMS": str(len(rows)), "form-INITIAL_FORMS": "0"}
    return Row(data | {f"form-{n}-{key}": value for n, row in enumerate(rows) for key, value in row.items()})


def test_a_field_has_label_help_and_unit():
    drawn = group("dose")
    assert '<label for="id_dose">Dose' in drawn
    assert 'aria-describedby="id_dose_helptext"' in drawn
    assert 'id="id_dose_helptext">Dry coffee.' in drawn
    assert drawn.count(">g<") == 1
    assert "(g)" in drawn
    assert "optional" not in drawn
    assert "aria-invalid" not in drawn


def test_an_error_stands_beside_its_field_and_is_tied_to_it():
    drawn = group("dose", GOOD | {"dose": "much"})
    assert 'aria-describedby="id_dose_helptext id_dose_error"' in drawn
    assert 'aria-invalid="true"' in drawn
    assert 'id="id_dose_error"' in drawn
    assert "Error:" in drawn
    assert "#error" in drawn
    assert 'value="much"' in drawn


def test_optional_fields_say_so():
    assert "optional" in group("note")
    assert "optional" not in group("rinse")


def test_a_choice_is_a_group_with_a_legend_that_its_errors_describe():
    drawn = group("kind", {"dose": "15"})
    assert "<legend>Kind" in drawn
    assert '<fieldset aria-describedby="id_kind_error">' in drawn


def test_what_was_typed_and_help_are_escaped():
    assert "<b>" not in group("dose", GOOD | {"dose": "<b>"})


def test_the_summary_leads_to_each_field_by_name():
    form = Thing({"dose": "much", "note": "bad"})
    wrongs = list(what_is_wrong(form))
    assert ("id_dose", "Dose") in [(wrong.target, wrong.where) for wrong in wrongs]
    assert ("id_kind", "Kind") in [(wrong.target, wrong.where) for wrong in wrongs]
    assert ("", "", "The whole is wrong.") in [(w.target, w.where, w.message) for w in wrongs]
    hidden = [wrong for wrong in wrongs if wrong.message == "This field is required." and not wrong.target]
    assert len(hidden) == 1
    drawn = Template("{% load brewbar %}{% error_summary form %}").render(Context({"form": form}))
    assert '<a href="#id_dose">Dose</a>' in drawn
    assert "autofocus" in drawn


def test_the_summary_of_rows_passes_over_rows_that_go():
    rows = as_rows(GOOD, GOOD | {"dose": "x"}, {"dose": "y", "DELETE": "on"})
    assert [wrong.target for wrong in what_is_wrong(rows)] == ["id_form-1-dose"]


def test_a_row_may_say_its_name():
    form = Thing(GOOD | {"dose": "x"})
    form.title = "Pour 3"  # type: ignore[attr-defined]
    assert [wrong.where for wrong in what_is_wrong(form)] == ["Pour 3, Dose"]


def test_no_errors_no_summary():
    for form in (Thing(), Thing(GOOD)):
        drawn = Template("{% load brewbar %}{% error_summary form %}").render(Context({"form": form}))
        assert drawn.strip() == ""


@pytest.mark.parametrize(
    ("form", "status"),
    [
        (Thing(), 200),
        (Thing(GOOD), 200),
        (Thing({}), 422),
        (as_rows(GOOD), 200),
        (as_rows(GOOD, {"dose": "x"}), 422),
    ],
)
def test_a_refused_form_answers_422(form, status):
    answer = render_form(RequestFactory().get("/"), "_errors.html", {"form": form})
    assert answer.status_code == status


def test_htmx_gets_the_fragment():
    def text(**headers: str) -> str:
        request = RequestFactory().get("/", headers=headers)
        return render_form(request, "500.html", {}, fragment="_word.html").content.decode()

    assert "<html" in text()
    assert "<html" not in text(**{"HX-Request": "true"})
