"""The stations of a café: named, renamed, taken out of use and brought back."""

from __future__ import annotations

from django.db.models import Max
from django.utils.translation import gettext as _

from brewbar.crew.models import Station, User
from brewbar.crew.record import snapshot
from recipes.turns import Refused, board_of, locked, noted, show


def add_station(station: Station, by: User) -> None:
    """Save a new station as the last of its café."""
    with locked(board_of(station.cafe)) as board:
        last = station.cafe.stations.aggregate(last=Max("position"))["last"] or 0
        station.position = last + 1
        station.save(force_insert=True)
        noted(board, _("station added"), station, by)


def rename_station(station: Station, name: str, by: User) -> None:
    """Call a station something else; its codes stay, and the crew sees the new name at once."""
    with locked(board_of(station.cafe)) as board:
        before = snapshot(Station.objects.get(pk=station.pk), ["name"])
        station.name = name
        after = snapshot(station, ["name"])
        if before == after:
            return
        station.save(update_fields=["name"])
        show(board)
        noted(board, _("station renamed"), station, by, before=before, after=after)


def retire_station(station: Station, by: User) -> None:
    """Take a station out of use. Raises Refused while something is on it, or planned for it."""
    with locked(board_of(station.cafe)) as board:
        if there := board.slots.filter(card__station=station, withdrawn_at=None).first():
            raise Refused(_("%(slot)s is still there. Take it off the board first.") % {"slot": there})
        if station.retired_at is None:
            station.retire()
            noted(board, _("station taken out of use"), station, by)


def bring_back_station(station: Station, by: User) -> None:
    with locked(board_of(station.cafe)) as board:
        if station.retired_at is not None:
            station.bring_back()
            noted(board, _("station brought back"), station, by)
