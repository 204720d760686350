"""JSON read strictly: whatever is wrong is named by its key, with what was expected there, all of it at once.

Not let pass: keys that are not known, or there twice; NaN and Infinity, which are no JSON; true for 1.
"""

import json
from collections import Counter
from collections.abc import Collection, Mapping, Sequence
from difflib import get_close_matches
from enum import Enum, StrEnum
from math import isfinite
from typing import Any, NamedTuple, Self, TypeGuard, TypeVar

from brewbar.words import gettext as _

_LONGEST_SHOWN = 40
_SMALLEST = 1e-9  # what is divided by it can still be said

Choice = TypeVar("Choice", bound=StrEnum)


class Malformed(ValueError):
    """faults: what is wrong with a file, each in a sentence."""

    def __init__(self, *faults: str) -> None:
        super().__init__("\n".join(faults))
        self.faults = faults


class Given(Enum):
    """Whether a key has to be there."""

    ALWAYS = 1
    OPEN = 2
    """It has to, and is null while nobody has decided."""
    AS_KNOWN = 3


class Number(NamedTuple):
    unit: str
    low: float
    high: float
    given: Given = Given.AS_KNOWN

    @property
    def expected(self) -> str:
        said = _("a number from %(low)s to %(high)s") % {"low": f"{self.low:g}", "high": f"{self.high:g}"}
        said += f" {self.unit}" if self.unit else ""
        return (
            said if self.given is not Given.OPEN else _("%(number)s, or null while open") % {"number": said}
        )

    def takes(self, found: object) -> TypeGuard[float]:
        if not isinstance(found, float) or not isfinite(found):
            return False
        return self.low <= found <= self.high and (found == 0 or abs(found) >= _SMALLEST)


class Object(dict[str, Any]):
    """twice: keys that the file has more than once."""

    def __init__(self, pairs: Sequence[tuple[str, Any]] = ()) -> None:
        super().__init__(pairs)
        times = Counter(name for name, _value in pairs)
        self.twice = [name for name, count in times.items() if count > 1]


def parsed(raw: bytes, most_bytes: int) -> Any:
    """Every number a float, every object an `Object`."""
    if len(raw) > most_bytes:
        raise Malformed(_("The file is larger than %(most)d bytes.") % {"most": most_bytes})
    try:
        text = raw.decode("utf-8-sig")
    except UnicodeDecodeError as error:
        said = _("The file is not text in UTF-8: byte %(at)d cannot be read. Save it as UTF-8.")
        raise Malformed(said % {"at": error.start + 1}) from error
    try:
        return json.loads(text, object_pairs_hook=Object, parse_int=float)
    except json.JSONDecodeError as error:
        told = {"line": error.lineno, "column": error.colno, "why": error.msg}
        raise Malformed(_("Line %(line)d, column %(column)d is not JSON: %(why)s.") % told) from error
    except RecursionError as error:
        raise Malformed(_("Lists and objects are nested too deeply.")) from error


class Part:
    """One object of a file at its path; what is wrong with it joins the faults of the whole file."""

    def __init__(self, found: Object, path: str, faults: list[str]) -> None:
        self._found, self._path, self._faults = found, path, faults

    @classmethod
    def of(cls, found: Any, path: str, known: Collection[str], faults: list[str]) -> Self | None:
        if not isinstance(found, Object):
            expected = _("an object with %(keys)s") % {"keys": ", ".join(known)}
            faults.append(_unexpected(path or _("The file"), expected, found))
            return None
        part = cls(found, path, faults)
        faults += [_("%(key)s is there twice: keep one.") % {"key": part._at(name)} for name in found.twice]
        faults += [_unknown(part._at(name), name, known) for name in found if name not in known]
        return part

    def has(self, key: str) -> bool:
        return self._found.get(key) is not None

    def says(self, key: str, text: str) -> bool:
        return bool(self._found.get(key) == text)

    def is_number(self, key: str) -> bool:
        found = self._found.get(key)
        return isinstance(found, int | float) and not isinstance(found, bool)

    def refuse(self, key: str, expected: str) -> None:
        if key in self._found:
            self._faults.append(_unexpected(self._at(key), expected, self._found[key]))
        else:
            told = {"key": self._at(key), "expected": expected}
            self._faults.append(_("%(key)s is missing: expected %(expected)s.") % told)

    def number(self, key: str, spec: Number, expected: str = "") -> float | None:
        """None where it is open, unknown or refused."""
        found = self._found.get(key)
        may_be_null = spec.given is Given.AS_KNOWN or (spec.given is Given.OPEN and key in self._found)
        if found is None and may_be_null:
            return None
        if not spec.takes(found):
            self.refuse(key, expected or spec.expected)
            return None
        return found

    def numbers(self, specs: Mapping[str, Number]) -> dict[str, float | None]:
        return {key: self.number(key, spec) for key, spec in specs.items()}

    def choice(self, key: str, kind: type[Choice], usual: Choice | None = None) -> Choice | None:
        """`usual` where it is left out or null; without a usual one it has to be there."""
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

    def part(self, key: str, known: Collection[str]) -> "Part | None":
        return Part.of(self._found[key], self._at(key), known, self._faults) if self.has(key) else None

    def parts(self, key: str, known: Collection[str], expected: str) -> "list[Part]":
        """The objects of a list."""
        found = [Part.of(one, at, known, self._faults) for at, one in self._listed(key, expected)]
        return [part for part in found if part]

    def listed_numbers(self, key: str, spec: Number, expected: str) -> list[float]:
        right = []
        for at, one in self._listed(key, expected):
            if spec.takes(one):
                right.append(one)
            else:
                self._faults.append(_unexpected(at, spec.expected, one))
        return right

    def _listed(self, key: str, expected: str) -> list[tuple[str, Any]]:
        found = self._found.get(key)
        if isinstance(found, list):
            return [(f"{self._at(key)}[{index}]", one) for index, one in enumerate(found)]
        self.refuse(key, expected)
        return []

    def _at(self, key: str) -> str:
        return f"{self._path}.{_safe(key)}" if self._path else _safe(key)


def _one_of(words: Sequence[str]) -> str:
    return _("one of %(words)s") % {"words": ", ".join(words)}


def _unexpected(where: str, expected: str, found: Any) -> str:
    told = {"key": where, "expected": expected, "found": _shown(found)}
    return _("%(key)s: expected %(expected)s, not %(found)s.") % told


def _unknown(where: str, name: str, known: Collection[str]) -> str:
    near = get_close_matches(name, known, n=1)
    if near:
        return _("%(key)s is not a known key. Did you mean %(near)s?") % {"key": where, "near": near[0]}
    return _("%(key)s is not a known key. Known here: %(known)s.") % {"key": where, "known": ", ".join(known)}


def _shown(found: Any) -> str:
    if isinstance(found, dict):
        return _("an object")
    if isinstance(found, list):
        return _("a list")
    if isinstance(found, str):
        return f'"{_safe(found)}"'
    return f"{found:g}" if isinstance(found, float) else json.dumps(found)


def _safe(text: str) -> str:
    """As a terminal may show it, whatever somebody wrote into a file."""
    short = text if len(text) <= _LONGEST_SHOWN else f"{text[:_LONGEST_SHOWN]}…"
    return "".join(
        one if one.isprintable() else one.encode("unicode_escape").decode("ascii") for one in short
    )
