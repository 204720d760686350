"""A body that was sent -> an Entry, and what stops one -> a problem that points at its field."""

from __future__ import annotations

from collections.abc import Iterator
from datetime import datetime
from typing import Any

from django.db.models import Q
from django.utils.translation import gettext as _

from brewbar import units
from brewbar.crew.access import Member
from brewbar.web.problems import Problem, Wrong
from calibration import checking, choosing, recording
from calibration.entry import Entry
from calibration.models import Reading, Refractometer
from recipes import codes
from recipes.models import Grinder, Kettle, Server, Slot

PLANNED = ("dose_g", "water_g", "bypass_g", "ice_g")
MEASURED = ("weight_g", "sample_temperature_C", "slurry_temperature_C")
POINTER = {"minutes": "/brew_time_s", "seconds": "/brew_time_s", "rinse_left_in": "/rinse_left_in"}


def not_possible(field: str, says: str) -> Problem:
    return Problem(422, "not-possible", errors=[Wrong(says, pointer=f"/{field}")])


def entry_of(member: Member, body: dict[str, Any], now: datetime) -> Entry:
    """What a body of the right shape says about the brew. Raises Problem.

    What it leaves out was the recipe's and the board's when the reading first came: sent again, it says the same
    although the grind has moved since.
    """
    before = recording.seen_by(member).filter(uuid=body["uuid"])
    before = before.select_related("server", "roast_batch", "grinder", "kettle", "refractometer", "barista")
    saved: Reading | None = before.first()
    slot = _slot(member, body, now, saved)
    at, source = body.get("brewed_at"), body["beverage_source"]
    setting = choosing.setting_at(slot, at)
    assert setting is not None, "a slot is planned together with its first setting"
    known = saved or setting
    server = _server(member, body, saved) if source == Reading.Beverage.SERVER else None
    same_server = saved is not None and server is not None and saved.server_id == server.pk
    masses: dict[str, Any] = {name: getattr(saved or slot.version, name) for name in PLANNED}
    masses |= {name: units.rounded(body[name], 1) for name in (*PLANNED, *MEASURED) if name in body}
    entry = Entry(
        uuid=body["uuid"],
        slot=slot,
        barista=_barista(member, body, saved),
        kind=_kind(member, body, saved),
        was_served=body.get("was_served", False),
        drops=tuple(_drops(body["drops"])),
        brew_time_s=body["brew_time_s"],
        beverage_source=source,
        server=server,
        tare_g=(saved.tare_g if saved and same_server else server.tare_g) if server else None,
        brewed_at=at,
        roast_batch=_batch(member, body, slot, known.roast_batch),
        grinder=_piece(member, body, "grinder", Grinder) or known.grinder,
        grind_setting=body.get("grind_setting", "").strip() or known.grind_setting,
        kettle=_piece(member, body, "kettle", Kettle) or (saved or slot).kettle,
        refractometer=_refractometer(member, body, saved),
        taste=body.get("taste", "").strip(),
        no_more_drops=body.get("no_more_drops", False),
        sure=frozenset(body.get("sure", ())),
        **masses,
    )
    return checking.with_rinse_answer(entry, body.get("rinse_left_in"))


def _slot(member: Member, body: dict[str, Any], now: datetime, saved: Reading | None) -> Slot:
    code, pk = body.get("code"), body.get("slot")
    if (code is None) == (pk is None):
        raise not_possible("code", _("Say which card was brewed, or which slot: one of the two."))
    ever_live = Slot.objects.for_member(member).for_card().filter(published_at__isnull=False)
    if pk is not None:
        slot: Slot | None = ever_live.filter(pk=pk).first()
        if slot is None:
            raise not_possible("slot", _("This key knows no such slot."))
        if not slot.is_live and saved is None:
            # An old card is brewed from today's batch, and ground as today's board says.
            today = ever_live.live().filter(card=slot.card_id).first()
            slot.setting = today.setting if today else slot.setting
        return slot
    found = codes.resolve(member, code or "", now)
    if found is None:
        raise not_possible("code", _("This key knows no such card."))
    if saved is not None and saved.slot.card_id == found.card.pk:
        return ever_live.get(pk=saved.slot_id)
    at = body.get("brewed_at")
    stood = (choosing.slot_at(found.card, at) if at else None) or found.slot
    if stood is None:
        raise not_possible("code", _("This card has left the board: nothing is brewed under it now."))
    return stood


def _barista(member: Member, body: dict[str, Any], saved: Reading | None) -> Any:
    if "barista" not in body:
        return saved.barista if saved else member.user
    found = choosing.crew_of(member).filter(pk=body["barista"]).first()
    if found is None and saved is not None and saved.barista_id == body["barista"]:
        return saved.barista
    if found is None:
        says = (
            _("A key of a barista enters their own readings only.")
            if member.is_barista
            else _("Nobody of this number brews at this café.")
        )
        raise not_possible("barista", says)
    return found


def _kind(member: Member, body: dict[str, Any], saved: Reading | None) -> str:
    kind: str = body.get("kind", saved.kind if saved else Reading.Kind.CHECK)
    if kind not in choosing.kinds_for(member) and (saved is None or saved.kind != kind):
        raise not_possible(
            "kind", _("A practice brew is declared before it is brewed, or by a head barista.")
        )
    return kind


def _drops(drops: list[Any]) -> Iterator[Any]:
    for place, drop in enumerate(drops):
        if drop != round(drop, 2):
            said = _("Enter it as the display shows it, with two decimals, such as %(example)s.")
            raise not_possible(f"drops/{place}", said % {"example": units.fixed(1.4, 2)})
        yield drop


def _piece(member: Member, body: dict[str, Any], name: str, model: Any) -> Any:
    """The piece that the body names, if it is in use or the reading was made with it; None if it names none."""
    if name not in body:
        return None
    used = Reading.objects.for_member(member).filter(uuid=body["uuid"]).values(name)
    rows = model.objects.for_member(member).filter(cafe=member.cafe, pk=body[name])
    found = rows.filter(Q(retired_at=None) | Q(pk__in=used)).first()
    if found is None:
        raise not_possible(name, _("There is none of this number in use at this café."))
    return found


def _only(member: Member, name: str, model: Any) -> Any:
    rows = list(model.objects.for_member(member).filter(cafe=member.cafe).in_use()[:2])
    if len(rows) != 1:
        raise not_possible(name, _("Say which one: the café has none, or more than one."))
    return rows[0]


def _server(member: Member, body: dict[str, Any], saved: Reading | None) -> Any:
    said = _piece(member, body, "server", Server)
    return said or (saved.server if saved and saved.server else _only(member, "server", Server))


def _refractometer(member: Member, body: dict[str, Any], saved: Reading | None) -> Any:
    said = _piece(member, body, "refractometer", Refractometer)
    return said or (saved.refractometer if saved else _only(member, "refractometer", Refractometer))


def _batch(member: Member, body: dict[str, Any], slot: Slot, known: Any) -> Any:
    if "roast_batch" not in body:
        return known
    rows = choosing.batches_of(member, slot).filter(pk=body["roast_batch"])
    found = rows.filter(Q(retired_at=None, used_up_on=None) | Q(pk=known.pk)).first()
    if found is None:
        raise not_possible("roast_batch", _("There is none of this number in use for this coffee."))
    return found


# --- what stops an entry


def impossible(refusal: recording.Impossible) -> Problem:
    return Problem(
        422,
        "not-possible",
        errors=[Wrong(problem.says, pointer=_pointer(problem.field)) for problem in refusal.problems],
    )


def _pointer(field: str) -> str:
    if field.startswith("drop_"):
        return f"/drops/{int(field.removeprefix('drop_')) - 1}"
    return POINTER.get(field, f"/{field}")


def question(asked: recording.Question) -> Problem:
    """What to answer, and how: each doubt by its key in ``sure``, the rest by the field that is pointed at."""
    errors = []
    if asked.rinse_water:
        said = _("Was rinse water left in the server? Say true or false.")
        errors.append(Wrong(said, pointer="/rinse_left_in"))
    if asked.more_drops:
        errors.append(Wrong(asked.more_drops, pointer="/no_more_drops"))
    doubts = [{"key": doubt.key, "detail": doubt.says} for doubt in asked.doubts]
    detail = _("Look at it again. If it is so, send it with the answers.")
    return Problem(422, "question", detail, errors, doubts=doubts)
