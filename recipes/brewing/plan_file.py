"""A plan in a file. JSON, read strictly: whatever is wrong is named by its key, with what was expected there.

A number of the plan that is still open is null: leaving its key out is taken for a slip. What is known of kettle,
brewer, bed and café may be left out.
"""

import json
from collections.abc import Collection, Mapping, Sequence
from dataclasses import dataclass
from difflib import get_close_matches
from enum import Enum, StrEnum
from math import isfinite, log
from typing import Any, NamedTuple, TypeVar

from brewbar.words import gettext as _
from recipes.brewing.bed import Brewer, Shape
from recipes.brewing.drawdown import BedFit, ObservedBrew, fit_conductance
from recipes.brewing.extraction import RETAINED_WATER_G_PER_G
from recipes.brewing.findings import Conditions
from recipes.brewing.foresight import inflows_of
from recipes.brewing.pours import After, Kettle, Pattern, Pour, PourPlan
from recipes.brewing.practice import FLOW_MAX_G_S
from recipes.brewing.stream import Observation, fit_n
from recipes.brewing.water import ALTITUDE_MAX_M, ALTITUDE_MIN_M, WATER_MAX_C, WATER_MIN_C, boiling_point_C

MOST_BYTES = 100_000
MOST = 1e5  # g, s, mm: far above any café, and small enough to reckon with
AT_THE_BOIL = "at the boil"
_FAULTS_TOLD = 20
_NORMAL_95 = 1.96  # half the width of 95 % of a normal distribution, in standard deviations

Choice = TypeVar("Choice", bound=StrEnum)


class Given(Enum):
    """Whether a key has to be there."""

    ALWAYS = 1
    OPEN = 2
    """It has to, and is null while nobody has decided."""
    AS_KNOWN = 3


class Number(NamedTuple):
    unit: str
    low: float = 0.0
    high: float = MOST
    given: Given = Given.AS_KNOWN

    @property
    def expected(self) -> str:
        said = _("a number from %(low)s to %(high)s") % {"low": f"{self.low:g}", "high": f"{self.high:g}"}
        said += f" ({self.unit})" if self.unit else ""
        return said if self.given is not Given.OPEN else _("%(number)s, or null while open") % {"number": said}


PLAN = {
    "dose_g": Number("g", given=Given.OPEN),
    "water_g": Number("g", given=Given.OPEN),
    "temperature_C": Number("°C", high=150, given=Given.OPEN),
    "bypass_g": Number("g"),
    "ice_g": Number("g"),
    "altitude_m": Number("m", ALTITUDE_MIN_M, ALTITUDE_MAX_M),
    "air_temperature_C": Number("°C", -40, 60),
}
PARTS = ("kettle", "brewer", "conductance", "targets", "pours")
POUR = {
    "starts_at_s": Number("s", given=Given.OPEN),
    "to_g": Number("g", given=Given.OPEN),
    "flow_g_s": Number("g/s", given=Given.OPEN),
    "spout_height_mm": Number("mm", given=Given.OPEN),
    "temperature_C": Number("°C", high=150),
}
TARGETS = {
    "tds_pct": Number("%", high=100),
    "tds_tolerance_pct": Number("%", high=100),
    "yield_pct": Number("%", high=100),
    "yield_tolerance_pct": Number("%", high=100),
    "brew_time_s": Number("s"),
    "brew_time_tolerance_s": Number("s"),
}
KETTLE = {
    "bore_mm": Number("mm", 1, 30),
    "flow_min_g_s": Number("g/s"),
    "flow_max_g_s": Number("g/s"),
    "capacity_g": Number("g", 1),
}
OBSERVATION = {
    "flow_g_s": Number("g/s", 0.1, FLOW_MAX_G_S, Given.ALWAYS),
    "temperature_C": Number("°C", WATER_MIN_C, WATER_MAX_C, Given.ALWAYS),
    "height_mm": Number("mm", 1, 1000, Given.ALWAYS),
}
BREWER = {
    "half_angle_deg": Number("°", 5, 85),
    "diameter_mm": Number("mm", 10, 1000),
    "heat_capacity_J_K": Number("J/K", high=1e4),
}
FIT = {
    "low_m2_s": Number("m²/s", 1e-9, 1e-2, Given.ALWAYS),
    "best_m2_s": Number("m²/s", 1e-9, 1e-2, Given.ALWAYS),
    "high_m2_s": Number("m²/s", 1e-9, 1e-2, Given.ALWAYS),
    "brews": Number("", 1, 1e4, Given.ALWAYS),
}
BREW_TIME = Number("s", 1, 1200)


class Malformed(ValueError):
    """faults: what is wrong with the file, each in a sentence that names its key."""

    def __init__(self, *faults: str) -> None:
        super().__init__("\n".join(faults))
        self.faults = faults


@dataclass(frozen=True, slots=True)
class PlanFile:
    """A plan, and what the file knows of what it is brewed with; bed: fitted from logged brews, None without."""

    plan: PourPlan
    kettle: Kettle | None
    brewer: Brewer | None
    bed: BedFit | None
    cafe: Conditions


def read(raw: bytes) -> PlanFile:
    """Raises Malformed with all that is wrong."""
    faults: list[str] = []
    known = (*PLAN, *PARTS)
    top = _Part.of(_parsed(raw), "", known, faults)
    file = _plan_file(top) if top else None
    if faults or file is None:
        more = len(faults) - _FAULTS_TOLD
        also = [_("And %(more)d more.") % {"more": more}] if more > 0 else []
        raise Malformed(*faults[:_FAULTS_TOLD], *also)
    return file


class _Object(dict[str, Any]):
    """twice: keys that the file has more than once."""

    def __init__(self, pairs: Sequence[tuple[str, Any]]) -> None:
        super().__init__(pairs)
        names = [name for name, _value in pairs]
        self.twice = [name for name in self if names.count(name) > 1]


def _parsed(raw: bytes) -> Any:
    if len(raw) > MOST_BYTES:
        raise Malformed(_("The file is larger than %(most)d bytes: no plan is.") % {"most": MOST_BYTES})
    try:
        text = raw.decode("utf-8-sig")
    except UnicodeDecodeError as error:
        said = _("The file is not text in UTF-8: byte %(at)d cannot be read. Save it as UTF-8.")
        raise Malformed(said % {"at": error.start + 1}) from error
    try:
        return json.loads(text, object_pairs_hook=_Object, parse_int=float)
    except json.JSONDecodeError as error:
        told = {"line": error.lineno, "column": error.colno, "why": error.msg}
        raise Malformed(_("Line %(line)d, column %(column)d is not JSON: %(why)s.") % told) from error
    except RecursionError as error:
        raise Malformed(_("The file is not a plan: lists and objects are nested too deeply.")) from error


class _Part:
    """One object of the file; what is wrong with it joins the faults of all the others."""

    def __init__(self, found: _Object, path: str, faults: list[str]) -> None:
        self._found, self._path, self._faults = found, path, faults

    @classmethod
    def of(cls, found: Any, path: str, known: Collection[str], faults: list[str]) -> "_Part | None":
        part = cls(found if isinstance(found, _Object) else _Object(()), path, faults)
        if not isinstance(found, _Object):
            expected = _("an object with %(keys)s") % {"keys": ", ".join(known)}
            faults.append(_unexpected(path or _("The file"), expected, found))
            return None
        for name in found.twice:
            faults.append(_("%(key)s is there twice: keep one.") % {"key": part.path(name)})
        for name in found:
            if name not in known:
                faults.append(_unknown(part.path(name), name, known))
        return part

    def path(self, key: str) -> str:
        safe = json.dumps(key)[1:-1]
        safe = safe if len(safe) <= 40 else f"{safe[:40]}…"
        return f"{self._path}.{safe}" if self._path else safe

    def refuse(self, key: str, expected: str) -> None:
        if key in self._found:
            self._faults.append(_unexpected(self.path(key), expected, self._found[key]))
        else:
            told = {"key": self.path(key), "expected": expected}
            self._faults.append(_("%(key)s is missing: expected %(expected)s.") % told)

    def number(self, key: str, spec: Number, *, expected: str = "") -> float | None:
        """None where it is open, unknown or refused."""
        found = self._found.get(key)
        excused = spec.given is Given.AS_KNOWN or (spec.given is Given.OPEN and key in self._found)
        if found is None and excused:
            return None
        if isinstance(found, float) and isfinite(found) and spec.low <= found <= spec.high:
            return found
        self.refuse(key, expected or spec.expected)
        return None

    def numbers(self, specs: Mapping[str, Number]) -> dict[str, float | None]:
        return {key: self.number(key, spec) for key, spec in specs.items()}

    def choice(self, key: str, kind: type[Choice], usual: Choice | None = None) -> Choice | None:
        """`usual` where the key is left out or null; without it the key has to be there."""
        found = self._found.get(key)
        if found is None and usual is not None:
            return usual
        if isinstance(found, str) and found in set(kind):
            return kind(found)
        self.refuse(key, _one_of([json.dumps(str(value)) for value in kind]))
        return None

    def is_true(self, key: str, usual: bool) -> bool:
        found = self._found.get(key, usual)
        if isinstance(found, bool):
            return found
        self.refuse(key, _one_of(["true", "false"]))
        return usual

    def says(self, key: str, text: str) -> bool:
        return bool(self._found.get(key) == text)

    def has(self, key: str) -> bool:
        return self._found.get(key) is not None

    def part(self, key: str, known: Collection[str]) -> "_Part | None":
        return _Part.of(self._found[key], self.path(key), known, self._faults) if self.has(key) else None

    def listed(self, key: str, expected: str, *, needed: bool = False) -> list[Any]:
        found = self._found.get(key)
        if isinstance(found, list):
            return found
        if found is not None or needed:
            self.refuse(key, expected)
        return []

    def parts(self, key: str, known: Collection[str], expected: str, *, needed: bool = False) -> "list[_Part]":
        found = self.listed(key, expected, needed=needed)
        parts = [
            _Part.of(one, f"{self.path(key)}[{at}]", known, self._faults) for at, one in enumerate(found)
        ]
        return [part for part in parts if part]

    def listed_numbers(self, key: str, spec: Number, expected: str) -> list[float]:
        """Numbers of a list, refused one by one."""
        found = self.listed(key, expected)
        right = [
            one for one in found if isinstance(one, float) and isfinite(one) and spec.low <= one <= spec.high
        ]
        for at, one in enumerate(found):
            if one not in right:
                self._faults.append(_unexpected(f"{self.path(key)}[{at}]", spec.expected, one))
        return right


def _plan_file(top: _Part) -> PlanFile:
    boils = top.says("temperature_C", AT_THE_BOIL)
    or_boils = _("%(number)s, or %(words)s") % {
        "number": PLAN["temperature_C"].expected,
        "words": json.dumps(AT_THE_BOIL),
    }
    given = {
        key: None if boils and key == "temperature_C" else top.number(key, spec)
        for key, spec in PLAN.items()
        if key != "temperature_C"
    }
    hot = None if boils else top.number("temperature_C", PLAN["temperature_C"], expected=or_boils)
    targets = top.part("targets", TARGETS)
    aims = targets.numbers(TARGETS) if targets else dict.fromkeys(TARGETS)
    plan = PourPlan(
        dose_g=given["dose_g"],
        water_g=given["water_g"],
        water_temperature_C=hot,
        at_the_boil=boils,
        pours=_pours(top),
        bypass_g=given["bypass_g"] or 0.0,
        ice_g=given["ice_g"] or 0.0,
        tds_target=aims["tds_pct"],
        tds_tolerance=aims["tds_tolerance_pct"],
        ey_target=aims["yield_pct"],
        ey_tolerance=aims["yield_tolerance_pct"],
        brew_time_s=aims["brew_time_s"],
        brew_time_tolerance_s=aims["brew_time_tolerance_s"],
    )
    usual = Conditions()
    altitude_m, air_C = given["altitude_m"], given["air_temperature_C"]
    cafe = Conditions(
        usual.altitude_m if altitude_m is None else altitude_m, usual.air_C if air_C is None else air_C
    )
    kettle, brewer = _kettle(top), _brewer(top)
    return PlanFile(plan, kettle, brewer, _bed(top, plan, brewer or Brewer(), cafe), cafe)


def _pours(top: _Part) -> tuple[Pour, ...]:
    known = (*POUR, "pattern", "then")
    pours = []
    for part in top.parts("pours", known, _("a list of pours"), needed=True):
        given = part.numbers(POUR)
        pattern = part.choice("pattern", Pattern)
        then = part.choice("then", After, After.NOTHING)
        pours.append(Pour(**given, pattern=pattern or Pattern.CIRCLE, after=then or After.NOTHING))
    return tuple(pours)


def _kettle(top: _Part) -> Kettle | None:
    part = top.part("kettle", (*KETTLE, "breakup_observations"))
    if part is None:
        return None
    given = part.numbers(KETTLE)
    slowest, fastest = given["flow_min_g_s"], given["flow_max_g_s"]
    if slowest is not None and fastest is not None and slowest > fastest:
        part.refuse("flow_min_g_s", _("no more than flow_max_g_s, %(fastest)s") % {"fastest": f"{fastest:g}"})
    seen = []
    for one in part.parts("breakup_observations", (*OBSERVATION, "broken"), _("a list of observations")):
        measured, broken = one.numbers(OBSERVATION), one.is_true("broken", True)
        if None not in measured.values():
            seen.append(Observation(*(value for value in measured.values() if value is not None), broken))
    kettle = Kettle(_("of this plan"), **given)
    return Kettle(_("of this plan"), **given, growth=fit_n(seen, kettle.effective_bore_mm)) if seen else kettle


def _brewer(top: _Part) -> Brewer | None:
    part = top.part("brewer", ("shape", *BREWER))
    if part is None:
        return None
    given, shape = part.numbers(BREWER), part.choice("shape", Shape)
    return Brewer(shape or Shape.CONE, **{key: value for key, value in given.items() if value is not None})


def _bed(top: _Part, plan: PourPlan, brewer: Brewer, cafe: Conditions) -> BedFit | None:
    part = top.part("conductance", (*FIT, "brew_times_s"))
    if part is None:
        return None
    if part.has("brew_times_s"):
        return _fitted(part, plan, brewer, cafe)
    given = part.numbers(FIT)
    low, best, high, brews = (given[key] for key in ("low_m2_s", "best_m2_s", "high_m2_s", "brews"))
    if low is None or best is None or high is None or brews is None:
        return None
    if not low <= best <= high:
        part.refuse("best_m2_s", _("a number between low_m2_s and high_m2_s"))
    if brews != int(brews):
        part.refuse("brews", _("a whole number"))
    return BedFit(best, None, None, None, low, high, log(high / low) / (2 * _NORMAL_95), int(brews), 0)


def _fitted(part: _Part, plan: PourPlan, brewer: Brewer, cafe: Conditions) -> BedFit | None:
    expected = _("a list of brew times, or a fit: %(keys)s") % {"keys": ", ".join(FIT)}
    times = part.listed_numbers("brew_times_s", BREW_TIME, expected)
    inflows = inflows_of(plan, boiling_point_C(cafe.altitude_m))
    poured_g = sum(inflow.flow_g_s * (inflow.ends_s - inflow.starts_s) for inflow in inflows)
    whole = plan.pours and len(inflows) == len(plan.pours) and plan.dose_g
    if times and (not whole or not plan.dose_g or poured_g <= RETAINED_WATER_G_PER_G * plan.dose_g):
        part.refuse("brew_times_s", _("brews of a plan that is complete and lets water run out"))
        return None
    brews = [ObservedBrew(inflows, plan.dose_g or 0.0, time_s) for time_s in times]
    return fit_conductance(brews, brewer, cafe.air_C)


def _one_of(words: Sequence[str]) -> str:
    return _("one of %(words)s") % {"words": ", ".join(words)}


def _unexpected(where: str, expected: str, found: Any) -> str:
    told = {"key": where, "expected": expected, "found": _shown(found)}
    return _("%(key)s: expected %(expected)s, not %(found)s.") % told


def _unknown(where: str, name: str, known: Collection[str]) -> str:
    near = get_close_matches(name, known, n=1)
    if near:
        return _("%(key)s is not a key of a plan file. Did you mean %(near)s?") % {"key": where, "near": near[0]}
    told = {"key": where, "known": ", ".join(known)}
    return _("%(key)s is not a key of a plan file. Known here: %(known)s.") % told


def _shown(found: Any) -> str:
    if isinstance(found, dict):
        return _("an object")
    if isinstance(found, list):
        return _("a list")
    if isinstance(found, float):
        return f"{found:g}"
    said = json.dumps(found)
    return said if len(said) <= 40 else f"{said[:40]}…"
