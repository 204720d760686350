from __future__ import annotations

from typing import Any

from django.core.management.base import BaseCommand

from calibration import beds


class Command(BaseCommand):
    help = (
        "Fit from all readings anew how each coffee's bed drains. Readings do so one by one, and `migrate` where "
        "there are no fits yet; run this if the log says that a fit failed."
    )

    def handle(self, *args: Any, **options: Any) -> None:
        count = beds.refit_all()
        self.stdout.write(f"Beds fitted: {count}.")
