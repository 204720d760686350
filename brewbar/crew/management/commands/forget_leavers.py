"""Lets the names of people go who left so long ago as their company has set."""

from __future__ import annotations

from typing import Any

from django.core.management.base import BaseCommand, CommandParser
from django.utils import timezone

from brewbar import dates
from brewbar.crew import forgetting


class Command(BaseCommand):
    help = (
        "Give a pseudonym to everybody who left longer ago than their company keeps names. What they brewed stays. "
        "It cannot be undone; run it every night."
    )

    def add_arguments(self, parser: CommandParser) -> None:
        parser.add_argument(
            "--dry-run", action="store_true", help="only say whose name would go, and whose later"
        )

    def handle(self, *args: Any, **given: Any) -> None:
        now = timezone.now()
        if given["dry_run"]:
            for one in forgetting.leavers():
                when = "now" if one.on <= now else f"on {dates.day(one.on.date(), year=True)}"
                left = dates.day(one.left_at.date(), year=True)
                self.stdout.write(f"{one.user} (left {left}): {when}")
            return
        pseudonyms = [forgetting.forget(one.user, now) for one in forgetting.due(now)]
        # The names themselves stay out of it: what is printed here often ends in a log.
        for pseudonym in filter(None, pseudonyms):
            self.stdout.write(f"{pseudonym}: the name is gone.")
