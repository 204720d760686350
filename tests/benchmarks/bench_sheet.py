"""How long a sheet of 40 cards takes, from slots in the database to the bytes of a PDF, beside bare typst.

`python3 manage.py test tests/benchmarks/bench_sheet.py --benchmark-only`. Bare typst draws the same ten pages with
every size settled beforehand. Both are told in seconds of work of a process in which typst has not worked before,
since it remembers what it has laid out.
"""

from __future__ import annotations

import json
import multiprocessing
import shutil
import time
from collections.abc import Callable
from pathlib import Path
from typing import Any

import pytest
import typst
from django.utils import timezone

from brewbar.glyphs import FONT_DIR
from brewbar.typesetting import ROOT
from recipes import cards
from recipes.models import Slot
from tests import factories as make

CARDS = 40
FOUR = [((0, 45, 5), (40, 60 + 10 * n, 5), (80, 150, 5), (120, 250, 5)) for n in range(4)]
TARGET = 2.0
TITLE = f"a sheet of {CARDS} cards"
SEARCH = ("  let roomy = sheet.roomy != none", "  let parts = blocks(pen-of(chosen, true)")
SETTLED = """
  let settled = card.at("settled", default: none)
  let (chosen, zoom, roomy, line-height) = if settled != none {
    (settled.scale, settled.zoom, settled.roomy, settled.line * 1pt)
  } else {
    let roomy = sheet.roomy != none and tall(sheet.roomy, true, 1) <= area.height
    let chosen = best(roomy)
    let zoom = 1
    while tall(chosen, roomy, zoom) > area.height / zoom { zoom -= 0.03 }
    let spare = area.height / zoom - tall(chosen, roomy, zoom)
    (chosen, zoom, roomy, calc.min(sheet.line.last(), least-line(chosen) + spare))
  }
  [#metadata((scale: chosen, zoom: zoom, roomy: roomy, line: line-height / 1pt)) <settled>]
  let (width, height) = (area.width / zoom, area.height / zoom)
"""
"""In place of the drawing's own search: the same, unless the job says what it would find."""


def in_a_fork(run: Callable[[], Any]) -> Any:
    """What it gives, from a process of its own: typst has not worked in this one yet."""
    ours, theirs = multiprocessing.Pipe(duplex=False)
    process = multiprocessing.get_context("fork").Process(target=lambda: theirs.send(run()))
    process.start()
    given = ours.recv()
    process.join()
    ours.close()
    theirs.close()
    return given


def spent(run: Callable[[], bytes]) -> tuple[float, bytes]:
    start = time.process_time()
    made = run()
    return time.process_time() - start, made


class Bare:
    """The drawing with its search in place, in a folder of its own."""

    def __init__(self, root: Path, job: dict[str, Any], now: int) -> None:
        shutil.copytree(ROOT / "templates" / "recipes", root / "templates" / "recipes")
        shutil.copytree(ROOT / "static" / "icons", root / "static" / "icons")
        self.drawing = root / "templates" / "recipes" / cards.DRAWING.name
        text = self.drawing.read_text(encoding="utf-8")
        start, end = (text.index(mark) for mark in SEARCH)
        self.drawing.write_text(text[:start] + SETTLED.lstrip("\n") + text[end:], encoding="utf-8")
        self.root, self.job, self.now = root, job, now

    def _given(self) -> dict[str, Any]:
        fonts = typst.Fonts(
            include_system_fonts=False, include_embedded_fonts=False, font_paths=[str(FONT_DIR)]
        )
        return {"root": self.root, "font_paths": fonts, "sys_inputs": {"job": json.dumps(self.job)}}

    def sizes(self) -> list[dict[str, Any]]:
        return json.loads(typst.query(self.drawing, "<settled>", field="value", **self._given()))

    def settle(self, sizes: list[dict[str, Any]]) -> None:
        for card, settled in zip(self.job["cards"], sizes, strict=True):
            card["settled"] = settled

    def pdf(self) -> tuple[float, bytes]:
        given = self._given()
        return spent(
            lambda: typst.compile(
                self.drawing, format="pdf", ignore_system_fonts=True, timestamp=self.now, **given
            )
        )


@pytest.mark.django_db
def test_a_sheet(benchmark, speed_table, tmp_path, monkeypatch):
    cafe = make.cafe()
    head = make.person("head", cafe)
    for n in range(CARDS):
        version = make.version(make.recipe(cafe.company, by=head, name=f"Morning {n}"), FOUR[n % 4])
        make.live_slot(cafe, version, by=head)
    now = timezone.now()

    def ours() -> bytes:
        slots = Slot.objects.for_card().filter(board__cafe=cafe).order_by("pk")
        return cards.card_pdf(cards.contents_of(slots, "https://bar.example", now), cards.SHEET, now)

    jobs: list[dict[str, Any]] = []
    with monkeypatch.context() as patch:
        patch.setattr(cards, "typeset", lambda _drawing, job, *_given, **_named: jobs.append(job) or b"")
        spent(ours)
        words, _none = spent(ours)
    bare = Bare(tmp_path, jobs[-1], int(now.timestamp()))
    bare.settle(in_a_fork(bare.sizes))
    alone, expected = in_a_fork(bare.pdf)
    taken, made = spent(ours)
    assert made == expected, "another drawing than the one it is measured beside"
    speed_table.setdefault(TITLE, {})[0] = (
        f"ours {taken:.2f} s, of which {words:.2f} s until typst starts; bare typst {alone:.2f} s: "
        f"{taken / alone:.2f} ×, allowed {TARGET:.0f} ×"
    )
    benchmark.pedantic(ours, rounds=1)
