from __future__ import annotations

from typing import Any

from django.core.management.base import BaseCommand
from django.utils import timezone

from recipes.models import Board
from recipes.publishing import bring_up_to_date


class Command(BaseCommand):
    help = (
        "Put every plan on its board whose hour has come. Boards do so by themselves when somebody opens them; "
        "run this every minute where it should happen without."
    )

    def handle(self, *args: Any, **options: Any) -> None:
        now = timezone.now()
        for board in Board.objects.filter(due_at__lte=now).select_related("cafe"):
            bring_up_to_date(board, now)
            board.refresh_from_db()
            if board.due_trouble:
                self.stderr.write(f"{board.cafe}: not published. {board.due_trouble}")
            else:
                self.stdout.write(f"{board.cafe}: published.")
