from __future__ import annotations

import json
import sys
from argparse import RawDescriptionHelpFormatter
from pathlib import Path
from typing import Any

from django.core.management.base import BaseCommand, CommandError, CommandParser

from recipes.brewing.plan_answer import answer
from recipes.brewing.plan_file import MOST_BYTES, read
from recipes.brewing.strict_json import Malformed
from recipes.management.plan_text import text

KEYS = """\
What the file says; a number that is still open is null.
  dose_g, water_g
  temperature_C          of the water as it leaves the kettle, or "at the boil"
  pours [{
    starts_at_s          after first water
    to_g                 what the scale shows when it ends
    flow_g_s, spout_height_mm
    pattern              circle, centre, off-centre, sideways, broken-stream, rise-and-fall or wall
    temperature_C        where it is not the plan's
    then                 stir or swirl
  }]
What it may leave out:
  bypass_g, ice_g        0
  altitude_m             0
  air_temperature_C      22
  targets { tds_pct, tds_tolerance_pct, yield_pct, yield_tolerance_pct, brew_time_s, brew_time_tolerance_s }
  kettle {
    flow_min_g_s, flow_max_g_s, capacity_g
    bore_mm              of the spout: 6
    breakup_observations [{ flow_g_s, temperature_C, height_mm, broken }]
                         where its stream broke, raised in a cold test; broken is false where it was still whole
  }
  brewer {
    shape                cone, cylinder or flat
    half_angle_deg       of a cone, from axis to wall: 30
    diameter_mm          of the others, inside: 75
    heat_capacity_J_K    that has to be warmed: 0 if preheated; if left out, anything from there to a cold one
  }
  conductance {          how the bed drains, for a forecast of the brew time: either
    brew_times_s         of brews of this very plan, five or more, or
    low_m2_s, best_m2_s, high_m2_s, brews
                         a fit as it comes out of such brews, where it says what 95 % of single brews lie between;
                         or a number alone, in m²/s: brews then scatter about it as they usually do
  }
In a message, keys are counted from 0 as JSON does, and pours from 1 as people do.

With --json:
  findings [{ severity, rule, pour, message, remedy }]
                         rule: R1 to R15 of the trade, otherwise the name of the check; pour: from 1, null for the plan
  pours [{ added_g, ends_at_s, exit_velocity_m_s, impact_velocity_m_s, stream_diameter_at_impact_mm, reynolds, weber,
           ohnesorge, regime, breakup_height_mm { low, best, high, measured }, recommended_height_mm { low, high },
           energy_mJ, momentum_mN_s, temperature_C, stream, column_mm { before, after } }]
  curves { t_s, poured_g, column_mm, slurry_temperature_C { low, best, high } }
                         each second until the bed shows; null while dry
  complete               whether curves and totals cover the whole plan
  energy_mJ, momentum_mN_s, poured_out_s, tallest_column_mm, outflow_temperature_C { low, best, high }
  brew_time_s { low, best, high }, conductance, brews_needed

Ends with status 0, whatever the findings are, and with 2 if the file cannot be read as a plan.
"""


class _Help(RawDescriptionHelpFormatter):
    """Keys stand in columns."""


class Command(BaseCommand):
    help = "Say what a pour plan asks of kettle, bed and hand, and what is wrong with it. Needs no database."
    requires_system_checks: list[str] = []

    def add_arguments(self, parser: CommandParser) -> None:
        parser.formatter_class = _Help
        parser.epilog = KEYS
        parser.add_argument("plan", metavar="PLAN.json", help="the plan; - reads it from standard input")
        parser.add_argument("--json", action="store_true", help="everything there is, for a machine")

    def handle(self, *args: Any, **options: Any) -> None:
        name = options["plan"]
        try:
            file = read(_bytes_of(name))
        except OSError as error:
            raise CommandError(f"{name} cannot be read: {error.strerror}.", returncode=2) from error
        except Malformed as malformed:
            faults = "\n".join(f"  {fault}" for fault in malformed.faults)
            raise CommandError(
                f"{name} is not a plan that can be read.\n{faults}", returncode=2
            ) from malformed
        self.stdout.write(json.dumps(answer(file), allow_nan=False) if options["json"] else text(file))


def _bytes_of(name: str) -> bytes:
    """No more than it takes to see that a file is too large."""
    if name == "-":
        return sys.stdin.buffer.read(MOST_BYTES + 1)
    with Path(name).open("rb") as file:
        return file.read(MOST_BYTES + 1)
