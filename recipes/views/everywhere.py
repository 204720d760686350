"""One version published in several cafés at once, by somebody who is head barista of them."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Any

from django.contrib import messages
from django.http import HttpResponse
from django.shortcuts import get_object_or_404, redirect, render
from django.utils import timezone
from django.utils.translation import gettext as _

from brewbar.crew.access import head_baristas_by_password
from brewbar.web.forms import Wrong, what_is_wrong
from recipes import everywhere, publishing_in_cafes, turns
from recipes.brewing.plan import Finding, Severity
from recipes.everywhere import There
from recipes.forms.board import StartForm, TakeForm
from recipes.models import RecipeVersion
from recipes.publishing_in_cafes import Chosen, together


@dataclass(frozen=True)
class Row:
    """A café on the page: how it stands, what is asked of it, and what is wrong or doubtful."""

    there: There
    form: TakeForm
    findings: tuple[Finding, ...]
    """Where it is not live; see `Taking` for stations that take it."""
    seen: str

    @property
    def lacks(self) -> list[str]:
        return getattr(self.form, "lacks", [])

    @property
    def blocked(self) -> bool:
        own = any(finding.severity is Severity.ERROR for finding in self.findings)
        return self.there.wrong or own or bool(self.lacks)

    @property
    def is_ready(self) -> bool:
        return not self.blocked and (self.there.is_live or self.form.new is not None)

    def choice(self) -> Chosen:
        return Chosen(self.there.cafe, self.seen, self.form.new)


@head_baristas_by_password("GET", "POST")
def version_everywhere(request: Any, pk: int) -> HttpResponse:
    """Every café that one heads, and one confirmation for those that are chosen."""
    rows = RecipeVersion.objects.for_member(request.member).select_related("recipe__coffee", "brewer")
    version = get_object_or_404(rows, pk=pk)
    places = everywhere.headed(request.places, request.member.company)
    several = len(places) > 1
    found = everywhere.stand(version, places, timezone.now()) if several else []
    cafes = [_row(request, version, there) for there in found]
    trouble = None
    if several and request.method == "POST":
        trouble = _publish(request, version, [row for row in cafes if row.form.is_chosen])
        if trouble is None:
            return redirect("recipes:version", pk)
    context = {
        "version": version,
        "several": several,
        "cafes": cafes,
        "left": any(not row.there.stands for row in cafes),
        "wrongs": _wrongs(trouble, cafes),
    }
    status = 200 if trouble is None else 422
    return render(request, "recipes/version_everywhere.html", context, status=status)


def _row(request: Any, version: RecipeVersion, there: There) -> Row:
    sent = request.POST if request.method == "POST" else None
    form = TakeForm(sent, there=there) if there.is_live else StartForm(sent, there=there, version=version)
    findings = () if there.is_live else everywhere.findings_with(there, version, form.new)
    return Row(there, form, findings, request.POST.get(f"{form.prefix}-seen", ""))


def _wrongs(trouble: str | None, cafes: Sequence[Row]) -> list[Wrong]:
    own = [Wrong("", "", trouble)] if trouble else []
    return own + list(what_is_wrong(*(row.form for row in cafes if row.form.is_chosen)))


def _publish(request: Any, version: RecipeVersion, chosen: Sequence[Row]) -> str | None:
    """None once it is done, else what kept it from being done; blank where fields say it."""
    if not chosen:
        return _("Choose at least one café.")
    if any(not row.form.is_valid() for row in chosen):
        moved = [row.there.cafe for row in chosen if row.seen != row.there.mark]
        return publishing_in_cafes.told_moved(moved) if moved else ""
    try:
        choices = [row.choice() for row in chosen]
        done = publishing_in_cafes.publish_in(version, choices, request.user, timezone.now())
    except turns.Refused as refused:
        return str(refused)
    if done:
        said = {"version": version, "cafes": together(done)}
        messages.success(request, _("%(version)s is live in %(cafes)s.") % said)
    else:
        cafes = together([row.there.cafe for row in chosen])
        said = {"version": version, "cafes": cafes}
        messages.info(request, _("%(version)s is live in %(cafes)s already: nothing was changed.") % said)
    return None
