"""What a rule is given beside the plan, and what it says."""

from collections.abc import Callable, Iterator
from dataclasses import dataclass
from enum import StrEnum
from typing import Literal

from brewbar.units import trimmed
from recipes.brewing.bed import Brewer
from recipes.brewing.pours import Instrument, Kettle, PourPlan
from recipes.brewing.rules import RULE_OF_FINDING

Where = Literal["plan"] | int


class Severity(StrEnum):
    ERROR = "error"
    WARNING = "warning"


@dataclass(frozen=True, slots=True)
class Finding:
    """One thing wrong (error) or doubtful (warning).

    code: names the rule and never changes; where: "plan", or the index of a pour, from 0;
    field: the attribute of the plan or pour that it is about, if one is;
    what: what is wrong, in a sentence; mend: what would put it right.
    """

    severity: Severity
    code: str
    where: Where
    field: str | None
    what: str
    mend: str

    @property
    def rule(self) -> str | None:
        """The rule of the trade behind it, R1 to R15; None where it is physics or plain arithmetic."""
        return RULE_OF_FINDING.get(self.code)


@dataclass(frozen=True, slots=True)
class Conditions:
    """Where it is brewed: metres above the sea, and air in °C."""

    altitude_m: float = 0.0
    air_C: float = 22.0


@dataclass(frozen=True, slots=True)
class Bar:
    """What the plan is brewed with: local boiling point, and kettle, brewer and refractometer if they are known."""

    boiling_C: float
    kettle: Kettle | None = None
    brewer: Brewer | None = None
    instrument: Instrument | None = None


Rule = Callable[[PourPlan, Bar], Iterator[Finding]]


def plain(value: float) -> str:
    """A number for a sentence: at most two decimals, and no zeros that say nothing."""
    return trimmed(value, 2)
