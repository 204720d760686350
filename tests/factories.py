"""Rows for tests: each function makes one, with sensible values for whatever is not named. All of it is invented."""

from __future__ import annotations

import itertools
import uuid
from datetime import datetime, timedelta
from decimal import Decimal
from typing import Any

from django.conf import settings
from django.core.files.base import ContentFile
from django.test import Client
from django.utils import timezone

from brewbar.crew import joining, keys, presence, tablets
from brewbar.crew.access import Member, places_of
from brewbar.crew.models import (
    Cafe,
    Company,
    Key,
    Membership,
    OneTimeLink,
    Role,
    Scope,
    Station,
    Tablet,
    User,
)
from calibration.bringing_in import uploads
from calibration.bringing_in.uploads import Upload
from calibration.entry import Entry
from calibration.importing.fields import Kind
from calibration.models import (
    CheckRun,
    Drop,
    Import,
    InstrumentCheck,
    Reading,
    Refractometer,
    Signal,
    SignalNote,
)
from recipes.models import (
    BarEvent,
    Board,
    BreakupPoint,
    Brewer,
    BrewWater,
    CardCode,
    Coffee,
    Grinder,
    GrinderMatch,
    Kettle,
    Paper,
    Pour,
    Recipe,
    RecipeVersion,
    RoastBatch,
    Server,
    Slot,
    SlotSetting,
)

_count = itertools.count(1)

USUAL_POURS = (
    # starts at s, to g, flow g/s
    (0, 45, 5),
    (40, 150, 5),
    (80, 250, 5),
)


def company(name: str = "") -> Company:
    return Company.objects.create(name=name or f"Company {next(_count)}")


def cafe(company: Company | None = None, **fields: Any) -> Cafe:
    fields.setdefault("name", f"Café {next(_count)}")
    return Cafe.objects.create(company=company or globals()["company"](), **fields)


def station(cafe: Cafe, **fields: Any) -> Station:
    fields.setdefault("name", f"Station {next(_count)}")
    return Station.objects.create(cafe=cafe, **fields)


def person(
    role: str = Role.BARISTA, cafe: Cafe | None = None, company: Company | None = None, name: str = ""
) -> User:
    """A person with one membership; ``company`` alone serves an owner. No password: use ``signed_in``."""
    number = next(_count)
    user = User.objects.create(username=f"person{number}", name=name or f"Person {number}")
    if role == Role.OWNER:
        owned = company or (cafe.company if cafe else globals()["company"]())
        if not owned.cafes.exists():
            globals()["cafe"](owned)
        Membership.objects.create(user=user, company=owned, role=role)
    else:
        at = cafe or globals()["cafe"](company)
        Membership.objects.create(user=user, company=at.company, cafe=at, role=role)
    return user


def member(user: User) -> Member:
    """The person's first place."""
    return places_of(user)[0]


def signed_in(user: User, client: Client | None = None) -> Client:
    client = client or Client()
    client.force_login(user, backend="django.contrib.auth.backends.ModelBackend")
    return client


def tablet(station: Station, by: User | None = None, label: str = "") -> tuple[Tablet, str]:
    """An enrolled tablet, and the key that its browser shows."""
    return tablets.enrol(station, label, by or person(Role.HEAD, station.cafe), timezone.now())


def link(
    cafe: Cafe, role: str = Role.BARISTA, by: User | None = None, now: datetime | None = None, **fields: Any
) -> tuple[OneTimeLink, str]:
    """An invitation that is still open, and its key."""
    return joining.invite(
        company=cafe.company,
        cafe=None if role == Role.OWNER else cafe,
        role=role,
        by=by,
        now=now or timezone.now(),
        **fields,
    )


def access_key(
    user: User, *scopes: str, days: int = 90, name: str = "scale at the bar", now: datetime | None = None
) -> tuple[Key, str]:
    """A key for another program, and what it has to send; for everything that the person may unless named."""
    return keys.make(member(user), name, scopes or Scope.values, days, now or timezone.now())


def with_key(secret: str) -> Client:
    """A program that shows this key with every request."""
    return Client(headers={"Authorization": f"Bearer {secret}"})


def at_tablet(key: str, client: Client | None = None) -> Client:
    """The browser of the tablet, with nobody signed in."""
    client = client or Client()
    client.cookies[settings.TABLET_COOKIE_NAME] = key
    return client


def signed_in_by_pin(tablet: Tablet, key: str, user: User) -> Client:
    """As after a PIN that was right: hashing one takes its time, and hundreds of tests need none."""
    client = at_tablet(key)
    client.force_login(user, backend="brewbar.crew.pins.PinBackend")
    session = client.session
    membership = user.memberships.get(cafe=tablet.station.cafe, ended_at=None)
    session[presence.PIN_KEY] = presence.pin_session(tablet.pk, membership)
    session[presence.TOUCHED_KEY] = int(timezone.now().timestamp())
    session.save()
    return client


def coffee(company: Company, **fields: Any) -> Coffee:
    fields.setdefault("name", f"Coffee {next(_count)}")
    return Coffee.objects.create(company=company, **fields)


def batch(coffee: Coffee, **fields: Any) -> RoastBatch:
    fields.setdefault("label", f"B{next(_count)}")
    fields.setdefault("roasted_on", timezone.now().date() - timedelta(days=9))
    return RoastBatch.objects.create(coffee=coffee, **fields)


def brewer(company: Company, **fields: Any) -> Brewer:
    fields.setdefault("name", f"Brewer {next(_count)}")
    fields.setdefault("shape", Brewer.Shape.CONE)
    return Brewer.objects.create(company=company, **fields)


def paper(company: Company, **fields: Any) -> Paper:
    fields.setdefault("name", f"Paper {next(_count)}")
    return Paper.objects.create(company=company, **fields)


def kettle(cafe: Cafe, **fields: Any) -> Kettle:
    defaults = {"name": f"Kettle {next(_count)}", "flow_min_g_s": 2, "flow_max_g_s": 9, "capacity_g": 900}
    return Kettle.objects.create(cafe=cafe, **defaults | fields)


def grinder(cafe: Cafe, **fields: Any) -> Grinder:
    fields.setdefault("name", f"Grinder {next(_count)}")
    return Grinder.objects.create(cafe=cafe, **fields)


def server(cafe: Cafe, **fields: Any) -> Server:
    defaults = {"name": f"Server {next(_count)}", "tare_g": Decimal("243.5")}
    return Server.objects.create(cafe=cafe, **defaults | fields)


def water(cafe: Cafe, **fields: Any) -> BrewWater:
    fields.setdefault("name", f"Water {next(_count)}")
    return BrewWater.objects.create(cafe=cafe, **fields)


def event(cafe: Cafe, kind: str = BarEvent.Kind.CLEANED, **fields: Any) -> BarEvent:
    """Something that happened an hour ago, to the bar as a whole unless a thing is named."""
    at = timezone.now() - timedelta(hours=1)
    by = fields.pop("by", None) or person(Role.HEAD, cafe)
    defaults = {"happened_at": at, "noted_at": at, "noted_by": by}
    return BarEvent.objects.create(cafe=cafe, kind=kind, **defaults | fields)


def match(one: Grinder, setting: str, other: Grinder, other_setting: str, **fields: Any) -> GrinderMatch:
    """Two settings that were found to grind alike three days ago."""
    fields.setdefault("found_at", timezone.now() - timedelta(days=3))
    fields.setdefault("found_by", fields.pop("by", None) or person(Role.HEAD, one.cafe))
    return GrinderMatch.objects.create(
        cafe=one.cafe, grinder=one, setting=setting, other=other, other_setting=other_setting, **fields
    )


def breakup_point(kettle: Kettle, flow_g_s: Any, height_mm: int, **fields: Any) -> BreakupPoint:
    """A raising of the kettle with cold water, three days ago, at which its stream broke unless said otherwise."""
    fields.setdefault("measured_at", timezone.now() - timedelta(days=3))
    fields.setdefault("measured_by", fields.pop("by", None) or person(Role.HEAD, kettle.cafe))
    fields.setdefault("temperature_C", 18)
    return BreakupPoint.objects.create(kettle=kettle, flow_g_s=flow_g_s, height_mm=height_mm, **fields)


def refractometer(cafe: Cafe, **fields: Any) -> Refractometer:
    fields.setdefault("name", f"Refractometer {next(_count)}")
    return Refractometer.objects.create(cafe=cafe, **fields)


def recipe(company: Company, coffee: Coffee | None = None, by: User | None = None, **fields: Any) -> Recipe:
    fields.setdefault("name", f"Recipe {next(_count)}")
    by = by or person(Role.OWNER, company=company)
    return Recipe.objects.create(
        company=company, coffee=coffee or globals()["coffee"](company), created_by=by, **fields
    )


def version(
    recipe: Recipe, pours: Any = USUAL_POURS, published: bool = False, **fields: Any
) -> RecipeVersion:
    """A version that can be published: 15 g to 250 g, a bloom and two equal pours (common practice, no source)."""
    defaults: dict[str, Any] = {
        "number": recipe.versions.count() + 1,
        "dose_g": 15,
        "water_g": 250,
        "water_temperature_C": 93,
        "tds_target": Decimal("1.40"),
        "ey_target": Decimal("20.5"),
        "brew_time_s": 165,
        "created_by": recipe.created_by,
        "brewer": brewer(recipe.company),
        "paper": paper(recipe.company),
    }
    made = RecipeVersion.objects.create(recipe=recipe, **defaults | fields)
    for order, (starts_at_s, to_g, flow_g_s) in enumerate(pours, start=1):
        Pour.objects.create(
            version=made,
            order=order,
            starts_at_s=starts_at_s,
            to_g=to_g,
            flow_g_s=flow_g_s,
            spout_height_mm=60,
        )
    if published:
        made.published_at, made.published_by = timezone.now(), recipe.created_by
        made.save()
    return made


def live_slot(
    cafe: Cafe,
    version: RecipeVersion | None = None,
    station: Station | None = None,
    by: User | None = None,
    at: datetime | None = None,
    **fields: Any,
) -> Slot:
    """A slot live on the café's board since ``at`` (a day ago), with one setting; publishes the version if need be."""
    at = at or timezone.now() - timedelta(days=1)
    by = by or person(Role.HEAD, cafe)
    version = version or globals()["version"](recipe(cafe.company, by=by))
    if version.is_draft:
        version.published_at, version.published_by = at, by
        version.save()
    station = station or globals()["station"](cafe)
    board, _ = Board.objects.get_or_create(cafe=cafe)
    card, _ = CardCode.objects.get_or_create(station=station, recipe=version.recipe)
    made = Slot.objects.create(
        board=board,
        card=card,
        version=version,
        kettle=fields.pop("kettle", None) or kettle(cafe),
        planned_by=by,
        published_at=at,
        published_by=by,
    )
    roasted = (at - timedelta(days=8)).date()
    made.setting = SlotSetting.objects.create(
        slot=made,
        roast_batch=fields.pop("roast_batch", None) or batch(version.recipe.coffee, roasted_on=roasted),
        grinder=fields.pop("grinder", None) or grinder(cafe),
        grind_setting=fields.pop("grind_setting", "24"),
        set_at=at,
        set_by=by,
    )
    made.save()
    return made


def planned_slot(cafe: Cafe, version: RecipeVersion | None = None, by: User | None = None) -> Slot:
    """A slot that the next publishing puts on the board."""
    by = by or person(Role.HEAD, cafe)
    version = version or globals()["version"](recipe(cafe.company, by=by))
    board, _ = Board.objects.get_or_create(cafe=cafe)
    card = CardCode.objects.create(station=station(cafe), recipe=version.recipe)
    made = Slot.objects.create(board=board, card=card, version=version, kettle=kettle(cafe), planned_by=by)
    made.setting = SlotSetting.objects.create(
        slot=made,
        roast_batch=batch(version.recipe.coffee),
        grinder=grinder(cafe),
        grind_setting="24",
        set_at=timezone.now(),
        set_by=by,
    )
    made.save()
    return made


def run(slot: Slot, barista: User, **fields: Any) -> CheckRun:
    """A check that was opened a moment ago and is not poured yet, unless said otherwise."""
    cafe = slot.board.cafe
    at = fields.pop("opened_at", None) or timezone.now()
    defaults = {
        "cafe": cafe,
        "uuid": uuid.uuid4(),
        "business_day": cafe.business_day(at),
        "station": slot.station,
        "opened_at": at,
    }
    return CheckRun.objects.create(slot=slot, barista=barista, **defaults | fields)


def unclear_check(instrument: Refractometer, by: User) -> InstrumentCheck:
    """A standard that was too close to call: it has a chart, and says what to do, but marks nothing."""
    return InstrumentCheck.objects.create(
        refractometer=instrument,
        kind=InstrumentCheck.Kind.STANDARD,
        expected_tds=Decimal("1.275"),
        read_tds=Decimal("1.31"),
        passed=False,
        unclear=True,
        u_tds=0.015,
        sucrose_g=Decimal(15),
        solution_g=Decimal(1000),
        checked_at=timezone.now(),
        checked_by=by,
    )


def reading(slot: Slot, barista: User, drops: tuple[str, ...] = ("1.40", "1.41"), **fields: Any) -> Reading:
    """A check brew of the slot's recipe, saved as if it had been computed: for pages, not for the arithmetic."""
    cafe = slot.board.cafe
    at = fields.pop("brewed_at", None) or timezone.now()
    values = [Decimal(drop) for drop in drops]
    mean = sum(values) / len(values)
    defaults: dict[str, Any] = {
        "company": cafe.company,
        "cafe": cafe,
        "uuid": uuid.uuid4(),
        "fingerprint": f"{next(_count):064d}",
        "barista": barista,
        "entered_by": barista,
        "entered_at": at,
        "brewed_at": at,
        "business_day": cafe.business_day(at),
        "slot": slot,
        "station": slot.station,
        "version": slot.version,
        "roast_batch": slot.setting.roast_batch,
        "grinder": slot.setting.grinder,
        "grind_setting": slot.setting.grind_setting,
        "kettle": slot.kettle,
        "dose_g": slot.version.dose_g,
        "water_g": slot.version.water_g,
        "beverage_source": Reading.Beverage.ALONE,
        "beverage_g": Decimal(220),
        "brew_time_s": 165,
        "tds": mean,
        "tds_rule": "mean",
        "drops_range_tds": max(values) - min(values),
        "drops_allowed_tds": Decimal("0.03"),
        "u_tds_relative": 0.02,
        "u_tds_absolute": 0.026,
        "ey": float(mean) * 220 / float(slot.version.dose_g),
        "u_ey_relative": 0.3,
        "u_ey_absolute": 0.4,
    }
    if "refractometer" not in fields:
        fields["refractometer"] = cafe.refractometers.first() or refractometer(cafe)
    made = Reading.objects.create(**defaults | fields)
    Drop.objects.bulk_create(
        [Drop(reading=made, order=order, tds=value) for order, value in enumerate(values, start=1)]
    )
    return made


def signal(cafe: Cafe, person: User | None = None, **fields: Any) -> Signal:
    """A drift of somebody's TDS, raised today: saved as if charts had raised it."""
    now, recipe = timezone.now(), fields.pop("recipe", None)
    today = cafe.business_day(now)
    fields.setdefault("question", Signal.Question.DRIFTING if person else Signal.Question.MOVED)
    about = f"person-{person.pk}" if person else f"recipe-{recipe and recipe.pk}"
    defaults: dict[str, Any] = {
        "measure": Signal.Measure.TDS,
        "side": "high",
        "raised_at": now,
        "day": today,
        "since": today - timedelta(days=12),
        "since_low": today - timedelta(days=14),
        "since_high": today - timedelta(days=10),
        "run_length": 380,
        "evidence": {
            "estimate": 0.06,
            "low": 0.02,
            "high": 0.1,
            "brew_sd": 0.025,
            "smallest": 0.05,
            "n": 14,
            "others": 5,
            "rule": "ewma",
            "readings": [],
        },
        "state_at": now,
    }
    values = defaults | fields
    values.setdefault("key", f"{values['question']}:{values['measure']}:{about}:{values['side']}")
    made = Signal.objects.create(cafe=cafe, person=person, recipe=recipe, **values)
    SignalNote.objects.create(signal=made, at=now, what=SignalNote.What.RAISED)
    return made


def entry(slot: Slot, barista: User, drops: tuple[str, ...] = ("1.40", "1.40"), **fields: Any) -> Entry:
    """What a barista types about a brew: 220 g weighed by itself, in 2:45, unless said otherwise."""
    cafe = slot.board.cafe
    defaults: dict[str, Any] = {
        "uuid": uuid.uuid4(),
        "kind": Reading.Kind.CHECK,
        "brew_time_s": 165,
        "beverage_source": Reading.Beverage.ALONE,
        "weight_g": Decimal(220),
        "dose_g": Decimal(15),
        "water_g": Decimal(250),
        "roast_batch": slot.setting.roast_batch,
        "grinder": slot.setting.grinder,
        "grind_setting": slot.setting.grind_setting,
        "kettle": slot.kettle,
    }
    if "refractometer" not in fields:
        fields["refractometer"] = cafe.refractometers.first() or refractometer(cafe)
    return Entry(
        slot=slot, barista=barista, drops=tuple(Decimal(drop) for drop in drops), **defaults | fields
    )


def upload(cafe: Cafe, by: User) -> Upload:
    """A spreadsheet of one row that waits to be brought in."""
    text = "Date;Time;Barista;Recipe;Dose;Water;Brew time;TDS\n2026-03-09;9:40;Mira;House;15;250;2:45;1.40\n"
    return uploads.keep(ContentFile(text.encode(), name="brews.csv"), cafe, by, Kind.READINGS)


def brought(cafe: Cafe, by: User, **fields: Any) -> Import:
    """A spreadsheet that was brought in, whatever came of its rows."""
    defaults = {
        "kind": Import.Kind.READINGS,
        "filename": "brews.csv",
        "sha256": f"{next(_count):064d}",
        "rows": 2,
    }
    defaults |= {"brought_in": 2, "left_out": 0, "by": by, "at": timezone.now()}
    return Import.objects.create(cafe=cafe, **defaults | fields)
