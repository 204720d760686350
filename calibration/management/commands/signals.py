from __future__ import annotations

from datetime import date
from typing import Any

from django.core.management.base import BaseCommand, CommandError, CommandParser

from brewbar.crew.models import Cafe
from calibration import signals


class Command(BaseCommand):
    help = (
        "Raise what readings and instrument checks show, day by day, as it would have been raised when they were "
        "saved: after an import, or if the log says that signals failed. Run again, it raises nothing twice."
    )

    def add_arguments(self, parser: CommandParser) -> None:
        parser.add_argument("--cafe", help="only this café, by its name or number")
        parser.add_argument("--since", type=_day, metavar="YYYY-MM-DD", help="only from this business day on")

    def handle(self, *args: Any, cafe: str | None, since: date | None, **options: Any) -> None:
        for place in _cafes(cafe):
            made = signals.catch_up(place, since)
            self.stdout.write(f"{place}: {made} raised.")


def _cafes(named: str | None) -> list[Cafe]:
    rows = Cafe.objects.order_by("company", "name")
    if named is None:
        return list(rows)
    found = [cafe for cafe in rows if named in {cafe.name, str(cafe.pk)}]
    if not found:
        raise CommandError(
            f"There is no café {named}. There are: {', '.join(cafe.name for cafe in rows) or 'none'}."
        )
    return found


def _day(text: str) -> date:
    return date.fromisoformat(text)
