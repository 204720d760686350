from __future__ import annotations

import json
from argparse import ArgumentTypeError, RawDescriptionHelpFormatter
from collections.abc import Iterator
from typing import Any

from django.core.management.base import BaseCommand, CommandError, CommandParser

from brewbar.units import fixed, parse_decimal, trimmed
from recipes.brewing.extraction import (
    SOLUBLE_MAX_PCT,
    U_BEVERAGE_G,
    U_DOSE_G,
    U_TDS_PCT,
    U_WATER_G,
    YieldBudget,
    immersion_budget,
    implausibly_heavy,
    liquid_retained_g_per_g,
    water_retained_g_per_g,
    yield_budget,
)

SOURCES = {"TDS": "tds_pct", "beverage mass": "beverage_g", "water": "water_g", "dose": "dose_g"}
ANSWER = """\
With --json:
  yield_pct, U_pct       extraction yield on the dose as weighed, and its expanded uncertainty (k = 2), in points
  budget [{ source, u, share }]
                         source: an input and its unit; u: its standard uncertainty; share: its part of the variance
  retained_simple_g_per_g
                         the trade's ratio: water less beverage, over dose
  retained_water_g_per_g
                         water alone, without what is dissolved in the beverage; both null without a beverage

Ends with status 2 if these masses cannot be those of one brew.
"""


class Command(BaseCommand):
    help = (
        "Extraction yield of one brew and how well it is known, from its masses and TDS. Needs no database."
    )
    requires_system_checks: list[str] = []

    def add_arguments(self, parser: CommandParser) -> None:
        parser.formatter_class = RawDescriptionHelpFormatter
        parser.epilog = ANSWER
        parser.add_argument("--dose", type=_number, required=True, help="g of coffee")
        parser.add_argument("--water", type=_number, required=True, help="g of water poured on it")
        parser.add_argument("--beverage", type=_number, help="g in the server; needed but for --immersion")
        parser.add_argument("--tds", type=_number, required=True, help="TDS in %%, such as 1.40")
        parser.add_argument(
            "--immersion",
            action="store_true",
            help="all the liquid has one strength; nothing ran through a bed",
        )
        parser.add_argument("--u-tds", type=_number, default=U_TDS_PCT, help=_usual("TDS, in %%", U_TDS_PCT))
        parser.add_argument(
            "--u-beverage",
            type=_number,
            default=U_BEVERAGE_G,
            help=f"{_usual('the beverage, in g', U_BEVERAGE_G)}; an immersion's yield does not depend on it",
        )
        parser.add_argument(
            "--u-water",
            type=_number,
            default=U_WATER_G,
            help=f"{_usual('the water, in g', U_WATER_G)}; only an immersion's yield depends on it",
        )
        parser.add_argument(
            "--u-dose", type=_number, default=U_DOSE_G, help=_usual("the dose, in g", U_DOSE_G)
        )
        parser.add_argument("--json", action="store_true", help="the same for a machine, unrounded")

    def handle(self, *args: Any, **given: Any) -> None:
        dose_g, water_g, beverage_g, tds_pct = (given[key] for key in ("dose", "water", "beverage", "tds"))
        for said in _impossible(given):
            raise CommandError(said, returncode=2)
        budget = (
            immersion_budget(tds_pct, water_g, dose_g, given["u_tds"], given["u_water"], given["u_dose"])
            if given["immersion"]
            else yield_budget(
                tds_pct, beverage_g, dose_g, given["u_tds"], given["u_beverage"], given["u_dose"]
            )
        )
        if budget.ey_pct > SOLUBLE_MAX_PCT:
            raise CommandError(
                f"--tds: with these masses {trimmed(tds_pct, 2)} % is a yield of {fixed(budget.ey_pct, 1)} %, and "
                f"coffee gives up about {trimmed(SOLUBLE_MAX_PCT, 0)} % at most. Look at the other masses too.",
                returncode=2,
            )
        simple = water = None
        if beverage_g is not None:
            simple = liquid_retained_g_per_g(dose_g, water_g, beverage_g)
            water = water_retained_g_per_g(dose_g, water_g, beverage_g, tds_pct)
        if given["json"]:
            self.stdout.write(json.dumps(_answer(budget, simple, water), allow_nan=False))
        else:
            self.stdout.write("\n".join(_text(budget, simple, water)))
        if not given["immersion"] and implausibly_heavy(beverage_g, water_g, dose_g):
            self.stderr.write("A bed seldom lets so much through: was rinse water left in the server?")


def _number(typed: str) -> float:
    try:
        return float(parse_decimal(typed))
    except ValueError as error:
        raise ArgumentTypeError(str(error)) from error


def _usual(what: str, u: float) -> str:
    return f"standard uncertainty of {what}: {u:g} if not given"


def _impossible(given: dict[str, Any]) -> Iterator[str]:
    for name in ("dose", "water", "beverage"):
        if given[name] is not None and given[name] <= 0:
            yield f"--{name}: a mass above 0 g is needed, not {trimmed(given[name], 2)} g."
    if not 0 < given["tds"] < 100:
        yield f"--tds: TDS lies above 0 % and below 100 %, not at {trimmed(given['tds'], 2)} %."
    for name in ("u_tds", "u_beverage", "u_water", "u_dose"):
        if given[name] < 0:
            yield f"--{name.replace('_', '-')}: an uncertainty is 0 or more, not {trimmed(given[name], 3)}."
    if given["beverage"] is None:
        if not given["immersion"]:
            yield "--beverage: the mass in the server is needed, unless the brew was an immersion (--immersion)."
    elif given["beverage"] > given["water"]:
        yield (
            f"--beverage: {trimmed(given['beverage'], 2)} g is more than the {trimmed(given['water'], 2)} g of water "
            "that was poured. Weigh without the server, and without rinse water."
        )


def _answer(budget: YieldBudget, simple: float | None, water: float | None) -> dict[str, Any]:
    return {
        "yield_pct": budget.ey_pct,
        "U_pct": budget.U,
        "budget": [{"source": SOURCES[line.name], "u": line.u, "share": line.share} for line in budget.lines],
        "retained_simple_g_per_g": simple,
        "retained_water_g_per_g": water,
    }


def _text(budget: YieldBudget, simple: float | None, water: float | None) -> Iterator[str]:
    yield f"Extraction yield {fixed(budget.ey_pct, 1)} % ± {fixed(budget.U, 1)} points (k = 2)"
    for line in budget.lines:
        measured = f"{fixed(line.value, 2 if line.unit == '%' else 1)} {line.unit}"
        u = f"u = {trimmed(line.u, 3)} {line.unit}"
        yield f"  {line.name:<14}  {measured:>8}  {u:<13}  {fixed(100 * line.share, 0):>3} % of the variance"
    if simple is not None and water is not None:
        yield (
            f"The bed kept {fixed(water, 1)} g of water per gram of dose; the trade's simple ratio is "
            f"{fixed(simple, 1)} g/g."
        )
