"""How a form is drawn, and what is said when it is refused."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass
from typing import Any

from django.forms import BaseForm, BoundField
from django.forms.formsets import BaseFormSet
from django.forms.renderers import TemplatesSetting
from django.http import HttpRequest, HttpResponse
from django.shortcuts import render
from django.utils.functional import Promise, lazy

from brewbar import units


def _with_examples(sentence: str | Promise, **figures: str) -> str:
    return str(sentence) % {name: units.marked(figure) for name, figure in figures.items()}


with_examples = lazy(_with_examples, str)
"""``with_examples(_("Such as %(one)s."), one="1.40")``: read in the decimal mark of whoever looks."""


class FieldOnPage(BoundField):
    @property
    def unit(self) -> str:
        """What the widget's ``data-unit`` says stands behind the input."""
        return str(self.field.widget.attrs.get("data-unit", ""))

    @property
    def target(self) -> str:
        """The id an error leads to; a group of radio buttons has one only as a whole."""
        return self.id_for_label or self.auto_id

    @property
    def is_optional(self) -> bool:
        # A field may be needed without the browser or Django insisting: what is missing is told by the job itself.
        is_needed = self.field.required or getattr(self.field, "is_needed", False)
        return not is_needed and self.widget_type != "checkbox"


class Renderer(TemplatesSetting):
    field_template_name = "_field.html"
    bound_field_class = FieldOnPage


@dataclass(frozen=True)
class Wrong:
    """One error of a refused form; ``target`` is empty where it concerns the form as a whole."""

    target: str
    where: str
    message: str


def what_is_wrong(*forms: BaseForm | BaseFormSet[Any]) -> Iterator[Wrong]:
    """Every error, in the order of the page. A row of a formset may say its name as ``form.title``."""
    for form in forms:
        if isinstance(form, BaseFormSet):
            if form.is_bound:
                yield from (Wrong("", "", str(message)) for message in form.non_form_errors())
                yield from what_is_wrong(*(row for row in form.forms if not _is_to_go(row)))
        else:
            yield from _wrong_in(form)


def _is_to_go(row: BaseForm) -> bool:
    return bool(getattr(row, "cleaned_data", {}).get("DELETE"))


def _wrong_in(form: BaseForm) -> Iterator[Wrong]:
    title = str(getattr(form, "title", ""))
    place = {name: position for position, name in enumerate(form.fields)}
    # The dictionary has them in the order in which they were found.
    for name, messages in sorted(form.errors.items(), key=lambda wrong: place.get(wrong[0], -1)):
        field = form[name] if name in form.fields else None
        label = "" if field is None or field.is_hidden else str(field.label)
        where = ", ".join(part for part in (title, label) if part)
        target = field.target if isinstance(field, FieldOnPage) and not field.is_hidden else ""
        yield from (Wrong(target, where, str(message)) for message in messages)


def render_form(
    request: HttpRequest, template: str, context: dict[str, Any], fragment: str = ""
) -> HttpResponse:
    """The page, or its fragment for htmx; status 422 when a form in the context was sent in and refused."""
    refused = any(
        form.is_bound and not form.is_valid()
        for form in context.values()
        if isinstance(form, BaseForm | BaseFormSet)
    )
    asked_by_htmx = request.headers.get("HX-Request") == "true"
    shown = fragment if fragment and asked_by_htmx else template
    return render(request, shown, context, status=422 if refused else 200)
