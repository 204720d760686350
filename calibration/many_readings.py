"""A company with very many readings, invented for measuring how fast pages open.

One brew is made as every brew is; the others are copies of its row with normal scatter by person, by day and by brew,
written many at once.
"""

from __future__ import annotations

from collections.abc import Iterator
from contextlib import contextmanager
from dataclasses import dataclass
from datetime import UTC, date, datetime, time, timedelta
from typing import Any

import numpy as np
from django.db import connection, transaction

from brewbar.crew.models import Cafe, Company, Membership, Role, Station, User
from brewbar.refusal import Refusal
from calibration.models import Reading, Refractometer
from recipes.models import (
    Board,
    Brewer,
    CardCode,
    Coffee,
    Grinder,
    Kettle,
    Paper,
    Pour,
    Recipe,
    RecipeVersion,
    RoastBatch,
    Slot,
    SlotSetting,
)

NAME = "Invented company of very many readings"
STAFF_SD, DAY_SD, BREW_SD = 0.03, 0.02, 0.025
"""In % TDS."""
LOT_DAYS = 14
AT_ONCE = 200_000
SEED = 20_260_101


@dataclass(frozen=True)
class Made:
    """readings: how many; head: who may look at them; cafe: where."""

    readings: int
    head: User
    cafe: Cafe


def refuse_real_data() -> None:
    """Raise Refusal if the database holds a company that is not invented."""
    if Company.objects.filter(is_invented=False).exists():
        raise Refusal(
            "This database holds a real company. Invented readings go into a database of their own."
        )
    if Company.objects.filter(name=NAME).exists():
        raise Refusal("These readings were made already. Delete the database to make others.")


@transaction.atomic
def make(baristas: int, days: int, readings: int, last: date) -> Made:
    """So many ``readings`` of so many people up to ``last``, each cell of person and day as often as any other."""
    refuse_real_data()
    company = Company.objects.create(name=NAME, is_invented=True, invented_on=last)
    cafe = Cafe.objects.create(company=company, name="Invented café")
    people = User.objects.bulk_create(
        User(username=f"invented{n}", name=f"Invented {n}", is_active=True, password="!")
        for n in range(1, baristas + 1)
    )
    Membership.objects.bulk_create(
        Membership(user=user, company=company, cafe=cafe, role=Role.BARISTA) for user in people
    )
    head = User.objects.create(username="invented-head", name="Invented head", password="!")
    Membership.objects.create(user=head, company=company, cafe=cafe, role=Role.HEAD)
    first = last - timedelta(days=days - 1)
    pattern, lots = _first_brew(company, cafe, head, people[0], first, days)
    _multiply(pattern, [user.pk for user in people], lots, first, days, readings - 1)
    return Made(readings, head, cafe)


def _first_brew(
    company: Company, cafe: Cafe, head: User, barista: User, first: date, days: int
) -> tuple[Reading, list[int]]:
    """One reading with all that it stands on, and the batches of the whole span."""
    at = datetime.combine(first, time(9), UTC)
    coffee = Coffee.objects.create(company=company, name="Invented coffee")
    recipe = Recipe.objects.create(company=company, coffee=coffee, name="Invented filter", created_by=head)
    version = RecipeVersion.objects.create(
        recipe=recipe, number=1, dose_g=15, water_g=250, water_temperature_C=93, tds_target="1.40",
        ey_target="20.5", brew_time_s=165, created_by=head,
        brewer=Brewer.objects.create(company=company, name="Invented brewer", shape=Brewer.Shape.CONE),
        paper=Paper.objects.create(company=company, name="Invented paper"),
    )  # fmt: skip
    Pour.objects.create(version=version, order=1, starts_at_s=0, to_g=250, flow_g_s=5, spout_height_mm=60)
    version.published_at, version.published_by = at, head
    version.save(update_fields=["published_at", "published_by"])
    kettle = Kettle.objects.create(
        cafe=cafe, name="Invented kettle", flow_min_g_s=2, flow_max_g_s=9, capacity_g=900
    )
    grinder = Grinder.objects.create(cafe=cafe, name="Invented grinder")
    lots = RoastBatch.objects.bulk_create(
        RoastBatch(coffee=coffee, label=f"I{n}", roasted_on=first + timedelta(days=LOT_DAYS * n - 8))
        for n in range((days - 1) // LOT_DAYS + 1)
    )
    station = Station.objects.create(cafe=cafe, name="Invented station")
    board = Board.objects.create(cafe=cafe)
    card = CardCode.objects.create(station=station, recipe=recipe)
    slot = Slot.objects.create(
        board=board, card=card, version=version, kettle=kettle, planned_by=head, published_at=at,
        published_by=head,
    )  # fmt: skip
    SlotSetting.objects.create(
        slot=slot, roast_batch=lots[0], grinder=grinder, grind_setting="24", set_at=at, set_by=head
    )
    reading = Reading.objects.create(
        company=company, cafe=cafe, uuid="00000000-0000-4000-8fff-ffffffffffff", fingerprint="0", barista=barista,
        entered_by=barista, entered_at=at, brewed_at=at, business_day=first, slot=slot, station=station,
        version=version, roast_batch=lots[0], grinder=grinder, grind_setting="24", kettle=kettle, dose_g=15,
        water_g=250, beverage_source=Reading.Beverage.ALONE, beverage_g=220, brew_time_s=165, tds="1.4000",
        tds_rule="mean", drops_range_tds="0.01", drops_allowed_tds="0.03", u_tds_relative=0.02,
        u_tds_absolute=0.03, ey=20.5, u_ey_relative=0.3, u_ey_absolute=0.4,
        refractometer=Refractometer.objects.create(cafe=cafe, name="Invented refractometer"),
    )  # fmt: skip
    return reading, [lot.pk for lot in lots]


def _multiply(
    pattern: Reading, people: list[int], lots: list[int], first: date, days: int, readings: int
) -> None:
    """Copies of ``pattern`` with another person, day, strength and time, by one statement for many rows at once."""
    rng = np.random.default_rng(SEED)
    staff, of_day = rng.normal(0, STAFF_SD, len(people)), rng.normal(0, DAY_SD, days)
    columns = [str(field.column) for field in Reading._meta.concrete_fields if not field.primary_key]
    own = ("uuid", "fingerprint", "barista_id", "entered_by_id", "entered_at", "brewed_at", "business_day",
           "roast_batch_id", "tds", "ey", "brew_time_s")  # fmt: skip
    quoted = connection.ops.quote_name
    others = [column for column in columns if column not in own]
    kept = Reading.objects.filter(pk=pattern.pk).values_list(*others)
    with connection.cursor() as cursor, _without_indexes(cursor):
        sql, params = kept.query.sql_with_params()
        cursor.execute(sql, params)
        rest = cursor.fetchone()
        places = ", ".join(["%s"] * len(columns))
        names = ", ".join(quoted(column) for column in (*own, *others))
        insert = f"INSERT INTO calibration_reading ({names}) VALUES ({places})"
        dates = [first + timedelta(days=day) for day in range(days)]
        moments = [datetime.combine(day, time(9), UTC) for day in dates]
        if connection.vendor == "sqlite":
            dates, moments = [str(day) for day in dates], [f"{at:%Y-%m-%d %H:%M:%S}" for at in moments]  # type: ignore[misc]
        for start in range(0, readings, AT_ONCE):
            n = np.arange(start, min(start + AT_ONCE, readings))
            cell = n % (len(people) * days)
            who, day = cell % len(people), cell // len(people)
            tds = 1.4 + staff[who] + of_day[day] + rng.normal(0, BREW_SD, len(n))
            seconds = np.clip(165 + 60 * (tds - 1.4) + rng.normal(0, 5, len(n)), 60, 600).astype(int)
            rows = zip(
                n.tolist(), who.tolist(), day.tolist(), tds.round(3).tolist(), seconds.tolist(), strict=True
            )
            written = (
                (
                    f"000000000000400080{number:014x}", str(number), people[i], people[i], moments[t], moments[t],
                    dates[t], lots[t // LOT_DAYS], strength, strength * 220 / 15, took, *rest,
                )
                for number, i, t, strength, took in rows
            )  # fmt: skip
            cursor.executemany(insert, written)  # type: ignore[arg-type]
    with connection.cursor() as cursor:
        cursor.execute("ANALYZE")


@contextmanager
def _without_indexes(cursor: Any) -> Iterator[None]:
    """To sort a million keys once is many times as fast as to file each where it belongs."""
    cursor.execute(
        "SELECT name, sql FROM sqlite_master WHERE type = 'index' AND tbl_name = 'calibration_reading' "
        "AND sql LIKE 'CREATE INDEX%%'"
        if connection.vendor == "sqlite"
        else "SELECT indexname, indexdef FROM pg_indexes WHERE tablename = 'calibration_reading' "
        "AND indexdef LIKE 'CREATE INDEX%%'"
    )
    found = cursor.fetchall()
    for name, _sql in found:
        cursor.execute(f"DROP INDEX {connection.ops.quote_name(name)}")
    yield
    if connection.vendor == "postgresql":
        # It makes no index of a table while references of new rows are still to be looked along.
        connection.check_constraints()
    for _name, sql in found:
        cursor.execute(sql)
