"""Where the findings of a review stand on a page: beside the pour they concern, tied to its field by id."""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from dataclasses import dataclass

from django.utils.translation import gettext as _

from recipes.brewing.plan import Finding, Severity

OPEN = "missing"
"""The code of a finding about a number that is not there yet."""


@dataclass(frozen=True)
class Said:
    """One finding as it is shown. ``id`` is what the field's ``aria-describedby`` names, or empty."""

    severity: str
    what: str
    mend: str
    field: str = ""
    id: str = ""


def beside(
    findings: Iterable[Finding],
    where: str | int,
    labels: Mapping[str, object],
    prefix: str = "",
    unread: Mapping[str, list[str]] | None = None,
) -> list[Said]:
    """What there is to say about one pour, or about the "plan".

    ``labels`` names the fields. Numbers still open are told in one line, since a new draft is nothing else.
    ``unread`` holds what could not be read in a field: nothing more is said about it.
    """
    unread = unread or {}
    here = [f for f in findings if f.where == where and f.field not in unread]
    said = [
        Said(
            Severity.ERROR.value, f"{labels.get(name, name)}: {message}", "", name, f"{prefix}{name}-finding"
        )
        for name, messages in unread.items()
        for message in messages[:1]
    ]
    if still_open := [str(labels.get(f.field or "", f.field)) for f in here if f.code == OPEN]:
        said.append(
            Said(Severity.ERROR.value, _("Still open: %(names)s.") % {"names": ", ".join(still_open)}, "")
        )
    seen = set(unread)
    for finding in here:
        if finding.code == OPEN:
            continue
        first = finding.field and finding.field not in seen
        said.append(
            Said(
                finding.severity.value,
                finding.what,
                finding.mend,
                finding.field or "",
                f"{prefix}{finding.field}-finding" if first else "",
            )
        )
        seen.add(finding.field or "")
    return said
