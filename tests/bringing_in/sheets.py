"""A bar of its own, and spreadsheets of what was brewed there. Invented."""

from __future__ import annotations

import io
from dataclasses import dataclass
from datetime import UTC, date, datetime, timedelta
from pathlib import Path
from typing import Any

from django.core.files.base import ContentFile, File

from brewbar.crew.models import Cafe, Role, User
from calibration.bringing_in import uploads
from calibration.bringing_in.uploads import Upload
from calibration.importing.fields import Kind
from calibration.models import Refractometer
from recipes.models import Slot
from tests import factories as make

NOW = datetime(2026, 3, 20, 12, tzinfo=UTC)
HEAD = "Date;Time;Barista;Recipe;Batch;Grinder;Setting;Dose;Water;Beverage;Brew time;TDS 1;TDS 2"


@dataclass
class Bar:
    cafe: Cafe
    head: User
    crew: list[User]
    slot: Slot
    instrument: Refractometer

    @property
    def given(self) -> dict[str, str]:
        return {"kettle": str(self.slot.kettle.pk), "instrument": str(self.instrument.pk)}

    def row(self, **changed: object) -> str:
        usual: dict[str, object] = {
            "day": "2026-03-09",
            "time": "9:40",
            "barista": self.crew[0].name,
            "recipe": self.slot.card.recipe.name,
            "batch": self.batch.label,
            "grinder": self.slot.setting.grinder.name,
            "setting": "24",
            "dose": "15",
            "water": "250",
            "beverage": "220",
            "brew_time": "2:45",
            "tds1": "1.40",
            "tds2": "1.41",
        }
        return ";".join(str(value) for value in (usual | changed).values())

    @property
    def batch(self) -> Any:
        return self.slot.setting.roast_batch

    def sheet(self, *rows: str, name: str = "brews.csv", head: str = HEAD) -> Upload:
        text = "\r\n".join((head, *rows)) + "\r\n"
        return self.upload(ContentFile(text.encode(), name=name))

    def upload(self, file: File, kind: Kind = Kind.READINGS) -> Upload:
        upload = uploads.keep(file, self.cafe, self.head, kind)
        upload.given = dict(self.given) if kind is Kind.READINGS else {}
        upload.save()
        return upload


def bar() -> Bar:
    """Its slot has stood for a month before NOW. Its coffee was roasted before any brew of a sheet."""
    cafe = make.cafe(time_zone="Europe/Lisbon")
    head = make.person(Role.HEAD, cafe, name="Ida Demo")
    crew = [make.person(cafe=cafe, name=name) for name in ("Mira Demo", "Jonas Demo")]
    slot = make.live_slot(cafe, by=head, at=NOW - timedelta(days=30))
    batch = slot.setting.roast_batch
    batch.roasted_on = date(2019, 12, 1)
    batch.save()
    return Bar(cafe, head, crew, slot, make.refractometer(cafe))


def many(path: Path, bar: Bar, rows: int) -> File:
    """A sheet of so many brews, as many years back as they need."""
    lines = [HEAD]
    for n in range(rows):
        day = date(2020, 1, 1) + timedelta(days=n // 60)
        lines.append(
            bar.row(
                day=day.isoformat(),
                time=f"{7 + n % 60 // 6}:{n % 60:02d}",
                barista=bar.crew[n % 2].name,
                dose=15 + n % 3 / 10,
                water=250 + n % 5 / 10,
                beverage=round(220 + n % 37 / 10, 1),
                brew_time=f"2:{30 + n * 7 % 30:02d}",
                tds1=round(1.36 + n % 11 / 100, 2),
                tds2=round(1.36 + n % 11 / 100 + n % 2 / 100, 2),
            )
        )
    path.write_text("\r\n".join(lines))
    return File(io.BytesIO(path.read_bytes()), name=path.name)
