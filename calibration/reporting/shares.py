"""How many check brews were inside their target: all together, and each recipe in each café."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass
from functools import cached_property

import numpy as np
from django.utils.translation import gettext as _
from django.utils.translation import ngettext

from calibration.drift import MEASURES
from calibration.naming import FEWEST_PEOPLE
from calibration.reporting import words
from calibration.reporting.cells import Cells
from calibration.reporting.ground import Ground
from calibration.reporting.result import Bar, Bars, Section, Table
from calibration.statistics.shares import CrewShare, Inside, share_inside

FEW_BREWS = 10
"""From fewer a share says next to nothing. Engineering estimate, no source."""


@dataclass(frozen=True)
class Counted:
    """Of one measure in some cells: how many are judged, inside, outside on each side, and too close to call; share:
    inside of judged; outside_share: surely outside of judged; days: on how many dates, in whichever café."""

    judged: int
    inside: int
    high: int
    low: int
    share: CrewShare
    outside_share: CrewShare
    days: int

    @property
    def outside(self) -> int:
        return self.high + self.low

    @property
    def close(self) -> int:
        return self.judged - self.inside - self.outside

    @property
    def is_few(self) -> bool:
        return self.judged < FEW_BREWS


def counted(found: Cells, key: str) -> Counted | None:
    """None where nothing is judged."""
    hits = found.of[key]
    told = hits.judged > 0
    if not told.any():
        return None
    own, of = found.only(told), hits.only(told)
    day = own.cafe_day

    def share(n: np.ndarray[tuple[int], np.dtype[np.int64]]) -> CrewShare:
        return share_inside(Inside.of(own.who, day, n, of.judged))

    judged, inside, high, low = (int(each.sum()) for each in (of.judged, of.inside, of.high, of.low))
    dates = len(np.unique(own.day))
    return Counted(judged, inside, high, low, share(of.inside), share(of.high + of.low), dates)


@dataclass(frozen=True)
class Line:
    """Of one measure in one café and recipe, or in all: this span and the one before."""

    cafe: str
    recipe: str
    key: str
    now: Counted | None
    before: Counted | None


@dataclass(frozen=True)
class Shares:
    ground: Ground

    @cached_property
    def together(self) -> dict[str, Line]:
        """By measure, all cafés and recipes."""
        ground = self.ground
        return {
            key: Line("", "", key, counted(ground.this, key), counted(ground.before, key)) for key in MEASURES
        }

    @cached_property
    def apart(self) -> tuple[Line, ...]:
        """By café and recipe, in order of their names."""
        return tuple(self._apart())

    def _apart(self) -> Iterator[Line]:
        ground = self.ground
        this, before = ground.this, ground.before
        recipes = {version.recipe_id: version.recipe for version in ground.versions.values()}
        of_this, of_before = ground.recipe_of(this), ground.recipe_of(before)
        for cafe in ground.asked.cafes:
            here = np.unique(of_this[this.cafe == cafe.pk]).tolist()
            for recipe in sorted((recipes[pk] for pk in here), key=lambda one: (one.name, one.pk)):
                now = this.only((this.cafe == cafe.pk) & (of_this == recipe.pk))
                then = before.only((before.cafe == cafe.pk) & (of_before == recipe.pk))
                for key in MEASURES:
                    line = Line(cafe.name, recipe.name, key, counted(now, key), counted(then, key))
                    if line.now is not None:
                        yield line


def section(shares: Shares) -> Section:
    """All together, by measure."""
    lines = [line for line in shares.together.values() if line.now is not None]
    title = _("Inside target")
    if not lines:
        return Section("shares", title, (), notes=(_nothing(shares.ground),))
    bars = tuple(_bar(str(MEASURES[line.key].label), line) for line in lines)
    figure = Bars("shares", _("Check brews inside target"), _("of 100 check brews"), 0, bars, (0, 100))
    return Section("shares", title, _says(lines), figure, table_of("shares", title, lines), _notes(shares))


def of_recipes(shares: Shares) -> Section:
    """Each recipe in each café, strength drawn."""
    title = _("By café and recipe") if shares.ground.asked.is_whole_company else _("By recipe")
    lines = shares.apart
    if not lines:
        return Section("recipes", title, (), notes=(_nothing(shares.ground),))
    bars = tuple(_bar(_named(shares, line), line) for line in lines if line.key == "tds")
    figure = (
        Bars("recipes", _("TDS inside target"), _("of 100 check brews"), 0, bars, (0, 100)) if bars else None
    )
    few = sum(line.now is not None and line.now.is_few for line in lines if line.key == "tds")
    notes = [
        _("In order of name. These are different coffees and recipes: a higher share is no better crew.")
    ]
    if few:
        said = ngettext(
            "Of %(n)d of these there are fewer than %(least)d brews: its interval shows how little that tells.",
            "Of %(n)d of these there are fewer than %(least)d brews: their intervals show how little that tells.",
            few,
        )
        notes.append(said % {"n": few, "least": FEW_BREWS})
    return Section("recipes", title, (), figure, table_of("recipes", title, lines), tuple(notes))


def _named(shares: Shares, line: Line) -> str:
    return f"{line.cafe}: {line.recipe}" if len(shares.ground.asked.cafes) > 1 else line.recipe


def _bar(label: str, line: Line) -> Bar:
    now, before = line.now, line.before
    assert now is not None
    crew = now.share.crew
    return Bar(
        label,
        100 * now.share.share,
        100 * crew.low,
        100 * crew.high,
        None
        if before is None
        else (100 * before.share.share, 100 * before.share.crew.low, 100 * before.share.crew.high),
        note=_("%(inside)s of %(n)s") % {"inside": words.number(now.inside), "n": words.number(now.judged)},
    )


def table_of(key: str, title: str, lines: list[Line] | tuple[Line, ...]) -> Table:
    apart = any(line.recipe for line in lines)
    where = (_("Café"), _("Recipe")) if apart else ()
    head = (
        *where, _("What"), _("Brews"), _("Inside"), _("Interval (95 %)"), _("Too close to call"), _("Outside, high"),
        _("Outside, low"), _("Before"), _("Interval before (95 %)"),
    )  # fmt: skip
    csv_head = (
        "cafe", "recipe", "measure", "brews", "inside", "too_close", "high", "low", "share", "share_low_95",
        "share_high_95", "whoever_pours_low_95", "whoever_pours_high_95", "before_brews", "before_inside",
        "before_share", "before_share_low_95", "before_share_high_95",
    )  # fmt: skip
    cells, numbers = [], []
    for line in lines:
        now, before = line.now, line.before
        assert now is not None
        cells.append(
            (
                *((line.cafe, line.recipe) if apart else ()),
                str(MEASURES[line.key].label),
                words.number(now.judged),
                words.percent(now.share.share),
                words.between(now.share.crew),
                words.number(now.close),
                words.number(now.high),
                words.number(now.low),
                words.percent(before.share.share if before else None),
                words.between(before.share.crew if before else None),
            )
        )
        numbers.append(
            (
                line.cafe, line.recipe, line.key, now.judged, now.inside, now.close, now.high, now.low,
                words.exact(now.share.share), *words.low_high(now.share.crew), *words.low_high(now.share.anyone),
                *(
                    (None,) * 5
                    if before is None
                    else (before.judged, before.inside, words.exact(before.share.share),
                          *words.low_high(before.share.crew))
                ),
            )
        )  # fmt: skip
    return Table(key, title, head, tuple(cells), csv_head, tuple(numbers))


# --- in words


def _says(lines: list[Line]) -> tuple[str, ...]:
    said = []
    for line in lines:
        now = line.now
        assert now is not None
        name = {"tds": _("strength (TDS)"), "ey": _("extraction yield"), "time": _("brew time")}[line.key]
        text = _(
            "Of %(n)s, %(inside)s had their %(what)s inside target: %(share)s of 100 (%(between)s). Surely outside: "
            "%(outside)s; too close to call: %(close)s."
        ) % {
            "n": words.brews(now.judged),
            "inside": words.number(now.inside),
            "what": name,
            "share": words.of_100(now.share.share),
            "between": words.between(now.share.crew),
            "outside": words.number(now.outside),
            "close": words.number(now.close),
        }
        if now.is_few:
            text += " " + _("That is few: it tells little.")
        said.append(text)
    return tuple(said)


def _notes(shares: Shares) -> tuple[str, ...]:
    ground = shares.ground
    notes = [
        _(
            "Inside means with a chance of 80 % or more, outside of 20 % or less, by what the instrument can tell; "
            "what lies between is too close to call. The intervals are of this crew as it is, on any days like these."
        )
    ]
    strength = shares.together["tds"].now
    if strength is not None and strength.share.anyone is not None:
        said = _(
            "For whoever pours, not these people alone, the strength would be inside in %(between)s of 100: people are "
            "taken by chance there too."
        )
        notes.append(said % {"between": words.between(strength.share.anyone)})
    if strength is not None:
        notes.extend(_sensitivity(ground.aside, strength))
    learning = ground.learning.between(ground.asked.first, ground.asked.last)
    if len(learning):
        notes.append(_in_training(learning))
    return tuple(notes)


def _sensitivity(aside: Cells, strength: Counted) -> Iterator[str]:
    hits = aside.of["tds"]
    judged, inside = int(hits.judged.sum()), int(hits.inside.sum())
    if not judged:
        return
    said = ngettext(
        "%(n)s check that was voided or brewed again is left out; with it %(share)s of 100 would be inside for "
        "strength.",
        "%(n)s checks that were voided or brewed again are left out; with them %(share)s of 100 would be inside for "
        "strength.",
        judged,
    )
    share = (strength.inside + inside) / (strength.judged + judged)
    yield said % {"n": words.number(judged), "share": words.of_100(share)}


def _in_training(learning: Cells) -> str:
    """A share of a few people would be theirs, whatever they are called."""
    people = len(np.unique(learning.who))
    said = _("%(brews)s by people in training stand apart and are in none of these numbers") % {
        "brews": words.brews(learning.brews)
    }
    own = counted(learning, "tds") if people >= FEWEST_PEOPLE else None
    if own is None:
        return f"{said}."
    return _("%(said)s: %(share)s of 100 of theirs were inside for strength (%(between)s).") % {
        "said": said,
        "share": words.of_100(own.share.share),
        "between": words.between(own.share.crew),
    }


def _nothing(ground: Ground) -> str:
    if len(ground.this):
        return _("No recipe that was brewed sets a target, so nothing can be inside or outside.")
    return _("No check brew counts in this span.")
