"""A company with a little of everything an export has to carry, and what the tests do with its file."""

from __future__ import annotations

import csv
import hashlib
import io
import json
import tempfile
from collections.abc import Callable
from datetime import UTC, datetime, timedelta
from pathlib import Path
from typing import Any
from zipfile import ZIP_DEFLATED, ZipFile

from django.contrib.auth.hashers import make_password
from django.db import router
from django.utils import timezone

from brewbar.crew import record
from brewbar.crew.models import Answered, Change, Company, Key, NamingChange, Role, User
from calibration import recording
from calibration.belongings import BELONGINGS, COMPANY
from calibration.exporting import MANIFEST, taking_in, writing
from calibration.models import BandChoice, CheckPlan, FollowUp, Import, OnDuty
from recipes.models import (
    BedFit,
    CafeTarget,
    CardPrint,
    GrindNote,
    InstrumentReach,
    Recipe,
    RecipeVersion,
    Seen,
)
from tests import factories as make

AT = datetime(2026, 11, 2, 9, 30, 15, 123456, tzinfo=UTC)
NASTY = (
    *("=1+1", "+1", "-1", "@SUM(A1)", "\ttab", "\rreturn", "\nline", "'", "''=", "'apostrophe"),
    *(
        '"quoted", and; a comma',
        "two\r\nlines\n",
        "  spaces  ",
        "Ærøskøbing 珈琲 ☕ קפה",
        "\ufeffmark",
        "NULL",
        "0",
    ),
)


def build() -> Company:
    """Every table has a row. Keys do not begin at 1, and there is a second company between them."""
    make.live_slot(make.cafe())
    company = make.company("Nasty = & Söhne")
    cafe = make.cafe(company, time_zone="Europe/Lisbon")
    owner, head = make.person(Role.OWNER, company=company), make.person(Role.HEAD, cafe)
    barista = make.person(Role.BARISTA, cafe, name="'Quinn")
    head.memberships.update(pin_hash=make_password("493817"), pin_set_at=AT)
    slot = make.live_slot(cafe, by=head)
    instrument = make.refractometer(cafe)
    make.unclear_check(instrument, by=head)
    setting = slot.setting
    for number, text in enumerate(NASTY):
        make.coffee(company, name=f"{text}{number}", note=text, origin=text.strip()[:60])
    reading = make.reading(
        slot, barista, refractometer=instrument, server=make.server(cafe), taste="=HYPERLINK(1)"
    )
    make.reading(slot, barista, corrects=reading, refractometer=instrument)
    recording.void(make.reading(slot, barista), head, "@spilt", timezone.now())
    _programs(barista, head, slot, instrument)
    signal = make.signal(cafe, barista, recipe=slot.version.recipe)
    type(signal).objects.create(
        **{
            name: getattr(signal, name)
            for name in ("cafe", "measure", "day", "side", "raised_at", "state_at")
        },
        question="off",
        key=f"off:tds:person-{barista.pk}:high",
        person=barista,
        reading=reading,
        evidence={"readings": [reading.pk], "estimate": 0.1 + 0.2, "u": 1e-07, "é": None},
        state="closed",
    )
    FollowUp.objects.create(
        signal=signal, cause="grind", change="-1 step", smallest=0.1, started_at=AT, started_by=head
    )
    make.tablet(slot.station, by=head)
    make.link(cafe, by=head)
    make.run(slot, barista, typed={"kettle": str(slot.kettle_id), "taste": "=bad", "server": "987654"})
    make.water(cafe)
    make.event(cafe, by=head, grinder=setting.grinder)
    other = make.planned_slot(cafe, by=head)
    make.match(
        setting.grinder, "24", other.setting.grinder if other.setting else make.grinder(cafe), "22", by=head
    )
    make.breakup_point(slot.kettle, 4, 120, by=head)
    recipe = slot.version.recipe
    common = {"cafe": cafe, "recipe": recipe, "set_at": AT, "set_by": head}
    GrindNote.objects.create(**common, says="-2 clicks")
    CafeTarget.objects.create(**common, brew_time_s=170, brew_time_tolerance_s=10, why="the water")
    BandChoice.objects.create(company=company, key="")
    CheckPlan.objects.create(cafe=cafe, recipe=recipe, currency="€")
    OnDuty.objects.create(cafe=cafe, business_day=AT.date(), user=barista, since=AT, how="brewed")
    InstrumentReach.objects.create(cafe=cafe, name=instrument.name, relative_U_tds=0.1 + 0.2)
    BedFit.objects.create(
        cafe=cafe, coffee=recipe.coffee, grinder=setting.grinder, grind_setting="22", brewer=slot.version.brewer,
        dose_g=15, conductance_m2_s=1.5e-07, scatter=0.1, brews=3, left_out=0, newest_brew_at=AT,
    )  # fmt: skip
    CardPrint.objects.create(slot=slot, setting=setting, size="A6", printed_at=AT)
    Seen.objects.create(slot=slot, user=barista, seen_at=AT)
    NamingChange.objects.create(company=company, at=AT, by=owner, was="unnamed", becomes="names")
    recorded(company, head, slot.kettle, recipe)
    User.objects.filter(pk=owner.pk).update(last_login=AT, email="owner@example.org", date_order="iso")
    return company


def _programs(barista: User, head: User, slot: Any, instrument: Any) -> None:
    """A key that a program used, and a spreadsheet that was brought in and taken back."""
    key = Key.objects.create(
        membership=barista.memberships.get(), name="=scale", start="bb-abc123", scopes=["readings"], made_at=AT,
        key_hash=hashlib.sha256(b"a key").hexdigest(), expires_at=AT + timedelta(days=1),
    )  # fmt: skip
    Answered.objects.create(key=key, said="once", fingerprint="f" * 64, status=201, body="{}", at=AT)
    coffee, batch = slot.version.recipe.coffee, slot.setting.roast_batch
    brought = Import.objects.create(
        cafe=slot.board.cafe, kind="readings", filename="=readings.csv", sha256="e" * 64, rows=1, brought_in=1,
        left_out=0, made={"coffees": [coffee.pk], "batches": [batch.pk]}, by=head, at=AT, undone_at=AT, undone_by=head,
        undone_why="-", mapping={
            "sheet": "=é", "columns": '{"columns": ["1,5"]}',
            "given": {"station": str(slot.station.pk), "grind_setting": "22", "kettle": "987654"},
            "names": {"barista": {"Q.": str(barista.pk)}, "coffee": {"7": ""}},
        },
    )  # fmt: skip
    make.reading(slot, barista, key=key, source="api", brought_in=brought, refractometer=instrument)


def recorded(company: Company, head: User, kettle: Any, recipe: Recipe) -> None:
    """Of a row that is there, of one that is not any more (twice), and of none."""
    draft = RecipeVersion.objects.create(recipe=make.recipe(company, by=head), number=9, created_by=head)
    for subject in (kettle, draft, draft, "nobody"):
        record.note(
            company=company, about=Change.About.RECIPE, what="=changed", subject=subject, by=head,
            before={"é": "=1"}, after={"é": "'2"}, why="+",
        )  # fmt: skip
    draft.delete()
    record.note(company=company, about=Change.About.RECIPE, what="=changed", subject=recipe, by=None)


# --- files


def exported(company: Company, now: datetime | None = None) -> bytes:
    with writing.written(company, now or timezone.now()) as file:
        return file.read()


def members(packed: bytes) -> dict[str, bytes]:
    with ZipFile(io.BytesIO(packed)) as archive:
        return {name: archive.read(name) for name in archive.namelist()}


def rows(packed: bytes, file: str) -> list[dict[str, str]]:
    return list(csv.DictReader(io.StringIO(members(packed)[file].decode("utf-8-sig"), newline="")))


def but_for_the_time(packed: bytes) -> dict[str, Any]:
    found: dict[str, Any] = dict(members(packed))
    found[MANIFEST] = json.loads(found[MANIFEST]) | {"made_at": ""}
    return found


def repacked(packed: bytes, change: Callable[[dict[str, bytes]], None], sums: bool = True) -> bytes:
    """The file with its members changed; with ``sums``, its manifest says that they are right."""
    found = members(packed)
    change(found)
    if sums and MANIFEST in found:
        manifest = json.loads(found[MANIFEST])
        of_tables = {name: content for name, content in found.items() if name != MANIFEST}
        manifest["sha256"] = {
            name: hashlib.sha256(content).hexdigest() for name, content in of_tables.items()
        }
        found[MANIFEST] = json.dumps(manifest).encode()
    target = io.BytesIO()
    with ZipFile(target, "w", ZIP_DEFLATED) as archive:
        for name, content in found.items():
            archive.writestr(name, content)
    return target.getvalue()


def emptied() -> None:
    for one in (*BELONGINGS, COMPANY):
        one.model._base_manager.order_by()._raw_delete(router.db_for_write(one.model))


def taken_in(packed: bytes) -> taking_in.TakenIn:
    with tempfile.NamedTemporaryFile(suffix=".zip") as file:
        file.write(packed)
        file.flush()
        return taking_in.take_in(Path(file.name))
