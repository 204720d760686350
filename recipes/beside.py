"""Where the findings of a review stand on a page: beside the pour they concern, tied to its field by id."""

from __future__ import annotations

from collections import Counter
from collections.abc import Iterable, Mapping
from dataclasses import dataclass

from recipes.brewing.plan import Finding, Severity

OPEN = "missing"
"""The code of a finding about a number that is not there yet."""


@dataclass(frozen=True)
class Said:
    """One finding as it is shown. ``id`` is what the field's ``aria-describedby`` names, or empty."""

    severity: str
    """As a finding's, or "open" for what is still to be filled in."""
    what: str
    mend: str
    field: str = ""
    id: str = ""
    count: int = 1
    rule: str = ""
    """Of the trade, where it speaks for one."""


@dataclass(frozen=True)
class Counts:
    error: int
    warning: int
    open: int

    @property
    def any(self) -> bool:
        return bool(self.error or self.warning or self.open)

    @property
    def mark(self) -> str:
        return f"{self.error}-{self.warning}-{self.open}"


def counted(said: Iterable[Said]) -> Counts:
    tally = Counter[str]()
    for one in said:
        tally[one.severity] += one.count
    return Counts(tally["error"], tally["warning"], tally["open"])


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
        said.append(Said("open", f"{', '.join(still_open)}.", "", count=len(still_open)))
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
                rule=finding.rule or "",
            )
        )
        seen.add(finding.field or "")
    return said
