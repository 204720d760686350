from __future__ import annotations

from typing import Any

from django.core.management.base import BaseCommand, CommandParser
from django.utils import timezone

from brewbar.refusal import Refusal
from calibration import many_readings


class Command(BaseCommand):
    help = (
        "Fill an empty database with very many invented readings, to measure how fast pages open. A database that "
        "holds a real company is refused."
    )

    def add_arguments(self, parser: CommandParser) -> None:
        parser.add_argument("--baristas", type=int, default=400, help="how many people (400)")
        parser.add_argument("--days", type=int, default=730, help="how many days up to today (730)")
        parser.add_argument("--readings", type=int, default=1_000_000, help="how many readings (1,000,000)")

    def handle(self, *args: Any, baristas: int, days: int, readings: int, **options: Any) -> None:
        for name, number in (("baristas", baristas), ("days", days), ("readings", readings)):
            if number < 1:
                raise Refusal(f"--{name} is {number}; at least one is needed.")
        made = many_readings.make(baristas, days, readings, timezone.now().date())
        self.stdout.write(
            f"{made.readings:,} invented readings of {baristas} people on {days} days, in {made.cafe} of an "
            f"invented company. Nobody there has a password: `python3 manage.py new_owner_link` opens it."
        )
