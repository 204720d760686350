"""Two cafés of one company, all of it furnished: whoever belongs to the one reads nothing that is the other's.

Whatever is named in the other café begins with a syllable that no page has otherwise, and its figures are impossible
ones, so that every address of the first café can be searched for them. Recipes, coffees, batches, brewers and papers
belong to the company, and so do the names of those who wrote a recipe: they carry neither.
"""

from __future__ import annotations

import io
import re
import zipfile
from collections.abc import Iterator
from dataclasses import dataclass
from datetime import timedelta
from decimal import Decimal
from typing import Any

import pytest
from django.db import transaction
from django.test import Client
from django.urls import reverse
from django.utils import timezone
from pypdf import PdfReader

from brewbar.crew import record
from brewbar.crew.access import STATION
from brewbar.crew.models import Cafe, Change, Membership, Role, User
from calibration.models import CheckPlan, FollowUp, OnDuty, Reading, SignalNote
from recipes import authoring
from recipes.models import BarEvent, CafeTarget, CardPrint, GrindNote, Seen
from tests import factories as make
from tests.test_every_address import ADDRESSES, parts_of, view_of
from tests.world import COMPANY_WIDE, ROW_OF, World

pytestmark = pytest.mark.django_db

THEIRS = "zaqxi"
"""How each name of the other café begins."""
FIGURES = ("97.5", "97,5", "2.35", "2,35", "2.34", "34.73", "67:37", "4057")
"""Its grind setting, strength, one drop of it, extraction yield and brew time, as pages and tables write them."""


# A figure that is part of a longer number, as in a drawing, is none of these.
SIGNS = re.compile(rf"{THEIRS}|(?<![\d.,])(?:{'|'.join(map(re.escape, FIGURES))})(?!\d)", re.IGNORECASE)


@dataclass(frozen=True)
class Apart:
    world: World
    cafe: Cafe
    both: User
    """Works in the two cafés."""
    rows: dict[str, Any]


@pytest.fixture(scope="module")
def apart(django_db_setup: None, django_db_blocker: Any) -> Iterator[Apart]:
    """Only read, so that one serves every address."""
    with django_db_blocker.unblock(), transaction.atomic():
        yield build()
        transaction.set_rollback(True)


def build() -> Apart:
    world = World.build()
    company = world.cafe.company
    cafe = make.cafe(company, name="Zaqxi cafe", time_zone="Europe/Zurich", altitude_m=1480)
    head, barista = (make.person(role, cafe, name=f"Zaqxi {role}") for role in (Role.HEAD, Role.BARISTA))
    author = make.person(Role.HEAD, cafe, name="Who wrote it")
    both = make.person(cafe=world.cafe, name="Works in both")
    Membership.objects.create(user=both, company=company, cafe=cafe, role=Role.BARISTA)
    make.reading(world.slot, both)
    station = make.station(cafe, name="Zaqxi station")
    kettle, server = make.kettle(cafe, name="Zaqxi kettle"), make.server(cafe, name="Zaqxi server")
    grinder, mill = (make.grinder(cafe, name=name) for name in ("Zaqxi grinder", "Zaqxi mill"))
    glass = make.refractometer(cafe, name="Zaqxi glass")
    water = make.water(cafe, name="Zaqxi water")
    shared = world.slot.version
    own = make.version(make.recipe(company, by=author, name="Of the company"), published=True, kettle=kettle)
    draft = make.version(own.recipe, based_on=own)
    draft.kettle = kettle
    authoring.save_draft(make.member(author), draft, list(draft.pours.all()), draft.revision)
    with_it = {"kettle": kettle, "grinder": grinder, "grind_setting": "97.5", "by": head, "station": station}
    slots = [make.live_slot(cafe, version, **with_it) for version in (shared, own)]
    gone = make.live_slot(cafe, make.version(make.recipe(company, by=author)), **with_it)
    gone.withdrawn_at, gone.withdrawn_by, gone.withdrawn_why = timezone.now(), head, "Zaqxi why"
    gone.save()
    planned = make.planned_slot(cafe, world.draft, by=head)
    planned.card.station.name = "Zaqxi planned"
    planned.card.station.save()
    now = timezone.now()
    for slot in slots:
        slot.settings.create(
            roast_batch=slot.setting.roast_batch,
            grinder=grinder,
            grind_setting="97.5",
            set_at=now,
            set_by=head,
            note="Zaqxi set",
        )
        Seen.objects.create(slot=slot, user=barista, seen_at=now)
        CardPrint.objects.create(slot=slot, setting=slot.setting, size="a6", printed_at=now, printed_by=head)
    brewed = {"refractometer": glass, "server": server, "brew_water": water, "taste": "Zaqxi taste"}
    brewed |= {"brew_time_s": 4057, "beverage_g": Decimal("221.7"), "grind_setting": "97.5", "ey": 34.733}
    readings = []
    for slot in slots:
        for who in (barista, both, head):
            for days in range(6):
                at = now - timedelta(days=days, hours=1)
                row = make.reading(slot, who, ("2.34", "2.36"), brewed_at=at, **brewed)
                readings.append(row)
    Reading.objects.filter(pk=readings[0].pk).update(voided_at=now, voided_by=head, void_reason="Zaqxi void")
    make.unclear_check(glass, by=head)
    tablet, _key = make.tablet(station, by=head, label="Zaqxi tablet")
    link, _key = make.link(cafe, by=head, name="Zaqxi guest")
    run = make.run(slots[0], barista)
    day = cafe.business_day(now)
    for user in (barista, both):
        OnDuty.objects.create(
            cafe=cafe, business_day=day, user=user, since=now, how="signed-in", too_busy_note="Zaqxi busy"
        )
    CheckPlan.objects.create(cafe=cafe, recipe=shared.recipe, coffee_price_kg=Decimal("97.5"), currency="Z")
    CheckPlan.objects.create(cafe=world.cafe, recipe=shared.recipe)
    signals = [make.signal(cafe, who, recipe=shared.recipe) for who in (barista, both, None)]
    for signal in signals:
        said = {"cause": SignalNote.Cause.OTHER, "says": "Zaqxi says", "action": "Zaqxi action"}
        signal.notes.create(at=now, by=head, what=SignalNote.What.EXPLAINED, **said)
    event = make.event(cafe, by=head, grinder=grinder, note="Zaqxi happened")
    make.event(cafe, BarEvent.Kind.WATER, by=head, brew_water=water, note="Zaqxi happened")
    match = make.match(grinder, "97.5", mill, "22", by=head, note="Zaqxi alike")
    point = make.breakup_point(kettle, 4, 120, by=head, note="Zaqxi broke")
    held = {"cafe": cafe, "recipe": shared.recipe, "set_at": now, "set_by": head}
    CafeTarget.objects.create(**held, brew_time_s=555, brew_time_tolerance_s=97, why="Zaqxi target")
    GrindNote.objects.create(**held, says="Zaqxi ground")
    record.note(
        company=company,
        cafe=cafe,
        about=Change.About.BOARD,
        what="published",
        subject="Zaqxi board",
        by=head,
        row=shared,
        after={"Zaqxi station": "Zaqxi kettle"},
        why="Zaqxi because",
    )
    return Apart(
        world,
        cafe,
        both,
        {
            "slot": slots[0],
            "planned": planned,
            "gone": gone,
            "version": own,
            "draft": draft,
            "recipe": own.recipe,
            "coffee": own.recipe.coffee,
            "batch": slots[1].setting.roast_batch,
            "brewer": own.brewer,
            "paper": own.paper,
            "kettle": kettle,
            "grinder": grinder,
            "server": server,
            "water": water,
            "event": event,
            "match": match,
            "point": point,
            "refractometer": glass,
            "cafe": cafe,
            "station": station,
            "tablet": tablet,
            "link": link,
            "membership": barista.memberships.get(),
            "brewer_of_a_reading": barista,
            "signal": signals[0],
            "reading": readings[1],
            "run": run,
        },
    )


def read(address: str, client: Client) -> str:
    """All that an address says, a redirect followed."""
    answer = client.get(address, follow=True)
    body = b"".join(answer.streaming_content) if answer.streaming else answer.content
    kind = answer.headers.get("Content-Type", "")
    if kind == "application/pdf":
        return "\n".join(page.extract_text() for page in PdfReader(io.BytesIO(body)).pages)
    if kind == "application/zip":
        with zipfile.ZipFile(io.BytesIO(body)) as files:
            return "\n".join(files.read(name).decode("utf-8", "replace") for name in files.namelist())
    return body.decode("utf-8", "replace")


def leaks(text: str) -> list[str]:
    """What of the other café a page says, with some of what stands around it."""
    return [
        text[max(0, found.start() - 60) : found.end() + 40].replace("\n", " ")
        for found in SIGNS.finditer(text)
    ]


OPEN = [
    (at, role)
    for at in ADDRESSES
    if "GET" in view_of(at).methods
    for role in (Role.HEAD, Role.BARISTA, STATION)
    if role in (view_of(at).roles or (Role.HEAD,))
]
"""Each address with each of the first café's that it opens for; a gate that is shut says nothing."""
WITH_THEIRS = (
    "cafe",
    "station",
    "slot",
    "recipe",
    "version",
    "kettle",
    "grinder",
    "refractometer",
    "coffee",
    "batch",
)


def addresses_of(at: str, apart: Apart) -> Iterator[str]:
    """The address of a row of the first café, the same asked for rows of the other, and whatever is shared."""
    name, parts = ADDRESSES[at][0], parts_of(at)
    own = reverse(name, kwargs={key: apart.world.key(name, key) for key in parts})
    yield own
    rows = apart.rows
    asked = {word: rows[word].pk for word in WITH_THEIRS} | {"barista": rows["brewer_of_a_reading"].pk}
    asked |= {"person": asked["barista"], "a": rows["version"].pk, "b": apart.world.slot.version.pk}
    yield own + "?" + "&".join(f"{name}={value}" for name, value in asked.items())
    if "pk" in parts and ROW_OF.get(name) in COMPANY_WIDE:
        yield reverse(name, args=[rows[ROW_OF[name]].pk])
    elif "pk" in parts and ROW_OF.get(name) in rows:
        yield reverse(name, kwargs={"pk": rows[ROW_OF[name]].pk})
    if ROW_OF.get(name) == "membership":
        yield reverse(name, args=[apart.both.memberships.get(cafe=apart.world.cafe).pk])
    if ROW_OF.get(name) == "brewer_of_a_reading":
        yield reverse(name, args=[apart.both.pk])
    if "code" in parts and "printed" not in parts:
        yield reverse(name, args=[rows["slot"].card.code])
    if "uuid" in parts:
        yield reverse(name, args=[rows["run" if name.startswith("calibration:check_") else "reading"].uuid])


@pytest.mark.parametrize(("at", "role"), OPEN)
def test_nothing_of_the_other_cafe_is_read_in_the_first(at: str, role: str, apart: Apart) -> None:
    world = apart.world
    if role == STATION:
        client = make.at_tablet(world.tablet_key)
    else:
        client = make.signed_in(world.head if role == Role.HEAD else world.barista)
    for address in addresses_of(at, apart):
        assert not leaks(read(address, client)), address


def test_the_search_finds_what_is_there(apart: Apart) -> None:
    """As the other café's own head, so that the tests above could fail."""
    head = User.objects.get(name="Zaqxi head")
    client = make.signed_in(head)
    for address in ("recipes:board", "recipes:equipment", "crew:people", "crew:record", "calibration:today"):
        assert leaks(read(reverse(address), client)), address
    assert any("2.35" in found for found in leaks(read(reverse("calibration:days_csv"), client)))
    card = reverse("recipes:card_pdf", args=[apart.rows["slot"].pk])
    assert leaks(read(card, client))
    assert FollowUp.objects.count() == 0
