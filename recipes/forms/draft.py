"""A whole draft on one page: the version's form and one form a pour, in the order they stand.

The page posts a hidden ``pour`` for each row, whose value is the row's key; their order is the order of
the pours. A key stays with its row while rows move, so the browser knows which field is which.
"""

from __future__ import annotations

import re
from dataclasses import dataclass
from typing import Any

from django.http import QueryDict

from brewbar.crew.access import Member
from recipes.brewing import plan
from recipes.forms.recipes import PourForm, VersionForm
from recipes.models import Brewer, Kettle, Pour, RecipeVersion

MOST_POURS = 12
"""As many as a card can show."""
_WHOLE = re.compile(r"[0-9]{1,9}")

PASSED_ON = ("flow_g_s", "spout_height_mm", "pattern")
"""What a new pour takes over from the one before it: within a recipe these seldom change."""

# R2, common practice, no source: the usual trial is 15 g to 250 g, a bloom and two equal pours.
USUAL_VERSION = {"dose_g": "15", "water_g": "250"}
USUAL_POURS = (
    {"starts_at_s": "0:00", "to_g": "50"},
    {"starts_at_s": "0:40", "to_g": "150"},
    {"starts_at_s": "1:20", "to_g": "250"},
)
USUAL_POUR = {"flow_g_s": "5", "spout_height_mm": "60", "pattern": Pour.Pattern.CIRCLE.value}


@dataclass
class Draft:
    version: VersionForm
    pours: list[PourForm]
    seen: int
    """The revision that the author had before them."""

    @classmethod
    def opened(cls, version: RecipeVersion, member: Member) -> Draft:
        pours = [
            PourForm(instance=pour, key=str(number), number=number)
            for number, pour in enumerate(version.pours.all(), start=1)
        ]
        return cls(VersionForm(instance=version, member=member), pours, version.revision)

    @classmethod
    def typed(cls, data: QueryDict, version: RecipeVersion, member: Member) -> Draft:
        pours = [PourForm(data, key=key, number=number) for number, key in enumerate(keys_in(data), start=1)]
        seen = data.get("revision", "")
        form = VersionForm(data, instance=version, member=member)
        return cls(form, pours, int(seen) if _WHOLE.fullmatch(seen) else -1)

    @property
    def forms(self) -> list[VersionForm | PourForm]:
        return [self.version, *self.pours]

    @property
    def is_full(self) -> bool:
        return len(self.pours) >= MOST_POURS

    @property
    def is_blank(self) -> bool:
        """Whether nothing is planned yet, so that filling it in overwrites nobody's work."""
        return not any(form["to_g"].value() for form in self.pours) and not any(
            self.version[name].value() for name in USUAL_VERSION
        )

    def moves(self) -> set[str]:
        """The values of the buttons that move a pour: all but the first can go up, all but the last down."""
        return {f"up-{form.key}" for form in self.pours[1:]} | {
            f"down-{form.key}" for form in self.pours[:-1]
        }

    @property
    def has_extras(self) -> bool:
        typed = (self.version[name].value() for name in ("bypass_g", "ice_g", "note"))
        return any(str(value or "").strip("0.,") for value in typed)

    def planned(self) -> list[Pour]:
        """The pours of a valid draft, still unsaved; the version's form holds the rest."""
        if not self.is_valid():
            raise ValueError("Only a draft that could be read as a whole can be saved.")
        return [form.instance for form in self.pours]

    def is_valid(self) -> bool:
        # Every form is asked, so that each has read what it can.
        return {form.is_valid() for form in self.forms} == {True}

    def kettle(self) -> Kettle | None:
        return self._chosen("kettle")

    def brewer(self) -> Brewer | None:
        return self._chosen("brewer")

    def _chosen(self, name: str) -> Any:
        if not self.version.is_bound:
            return getattr(self.version.instance, name)
        self.version.is_valid()
        return self.version.cleaned_data.get(name)

    def plan(self) -> plan.PourPlan:
        """What can be read of it so far; what cannot is left open."""
        if not self.version.is_bound:
            read: plan.PourPlan = self.version.instance.plan()
            return read
        self.is_valid()
        data = self.version.cleaned_data

        def number(name: str) -> float | None:
            return None if data.get(name) is None else float(data[name])

        return plan.PourPlan(
            dose_g=number("dose_g"),
            water_g=number("water_g"),
            water_temperature_C=number("water_temperature_C"),
            at_the_boil=bool(data.get("at_the_boil")),
            pours=tuple(_pour(form.cleaned_data) for form in self.pours),
            bypass_g=number("bypass_g") or 0.0,
            ice_g=number("ice_g") or 0.0,
            tds_target=number("tds_target"),
            tds_tolerance=number("tds_tolerance"),
            ey_target=number("ey_target"),
            ey_tolerance=number("ey_tolerance"),
            brew_time_s=number("brew_time_s"),
            brew_time_tolerance_s=number("brew_time_tolerance_s"),
        )


def _pour(data: dict[str, Any]) -> plan.Pour:
    def number(name: str) -> float | None:
        return None if data.get(name) is None else float(data[name])

    return plan.Pour(
        starts_at_s=number("starts_at_s"),
        to_g=number("to_g"),
        pattern=plan.Pattern(data.get("pattern") or plan.Pattern.CIRCLE),
        flow_g_s=number("flow_g_s"),
        spout_height_mm=number("spout_height_mm"),
        temperature_C=number("temperature_C"),
        after=plan.After(data.get("after") or ""),
        note=data.get("note") or "",
    )


def keys_in(data: QueryDict) -> list[str]:
    """The keys of the rows, in their order, each once."""
    keys = dict.fromkeys(key for key in data.getlist("pour") if _WHOLE.fullmatch(key))
    return list(keys)[:MOST_POURS]


def rearranged(data: QueryDict, do: str) -> tuple[QueryDict, str]:
    """What was typed after one of the page's buttons, and the key of the pour to look at next.

    ``do`` is "add", "fill", or "up", "down", "copy" or "delete" with the key of a row behind a hyphen;
    anything else changes nothing.
    """
    data, keys = data.copy(), keys_in(data)
    act, _, key = do.partition("-")
    fresh = str(max((int(k) for k in keys), default=0) + 1)
    at = keys.index(key) if key in keys else None
    looked_at = key
    if act == "add" and len(keys) < MOST_POURS:
        _write(
            data, fresh, {n: data.get(f"pour-{keys[-1]}-{n}", "") for n in PASSED_ON} if keys else USUAL_POUR
        )
        keys, looked_at = [*keys, fresh], fresh
    elif act == "fill":
        keys = [str(int(fresh) + number) for number in range(len(USUAL_POURS))]
        for name, value in USUAL_VERSION.items():
            data[name] = value
        for key, pour in zip(keys, USUAL_POURS, strict=True):
            _write(data, key, USUAL_POUR | pour)
        looked_at = keys[0]
    elif act == "copy" and at is not None and len(keys) < MOST_POURS:
        _write(data, fresh, {name: data.get(f"pour-{key}-{name}", "") for name in PourForm.base_fields})
        keys.insert(at + 1, fresh)
        looked_at = fresh
    elif act == "delete" and at is not None:
        keys.pop(at)
        looked_at = keys[min(at, len(keys) - 1)] if keys else ""
    elif act in ("up", "down") and at is not None:
        to = at + (1 if act == "down" else -1)
        if 0 <= to < len(keys):
            keys[at], keys[to] = keys[to], keys[at]
    data.setlist("pour", keys)
    return data, looked_at


def _write(data: QueryDict, key: str, values: dict[str, str]) -> None:
    for name, value in values.items():
        data[f"pour-{key}-{name}"] = value
