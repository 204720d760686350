"""The report of the demo's company, every sentence of it, against the truth that the company was made from."""

from collections import Counter
from collections.abc import Iterator
from datetime import UTC, date, datetime, timedelta
from math import hypot, sqrt
from typing import Any

import numpy as np
import pytest
from django.db import transaction

from brewbar import dates
from brewbar.crew.models import Company
from calibration import demo_data
from calibration.models import OnDuty, Reading, Signal
from calibration.reporting.build import asked_for, build, sections_of
from calibration.reporting.ground import gather
from calibration.reporting.parts import Parts
from calibration.reporting.result import Report, Sure
from calibration.scenario import build as build_scenario
from tests.reporting.invented_truth import RESOLUTION, Told, claims

TODAY = date(2026, 6, 17)
NOW = datetime(2026, 6, 17, 20, tzinfo=UTC)
FIRST = TODAY - timedelta(days=34)
BEFORE = (FIRST - timedelta(days=35), FIRST - timedelta(days=1))

pytestmark = pytest.mark.django_db


@pytest.fixture(scope="module")
def told() -> Told:
    return Told(build_scenario(TODAY, np.random.default_rng(demo_data.SEED)))


@pytest.fixture(scope="module")
def demo(django_db_setup: None, django_db_blocker: Any) -> Iterator[Company]:
    """One for all tests of this module; what each of them changes is undone after it."""
    with django_db_blocker.unblock(), transaction.atomic():
        demo_data.rebuild(TODAY)
        yield Company.objects.get(is_invented=True)
        transaction.set_rollback(True)


@pytest.fixture(scope="module")
def report(demo: Company, django_db_blocker: Any) -> Report:
    with django_db_blocker.unblock():
        return build(asked_for(demo, None, FIRST, TODAY, before=BEFORE), NOW)


def rows(report: Report, key: str) -> list[dict[str, Any]]:
    table = next(table for table in report.tables if table.key == key)
    return [dict(zip(table.csv_head, numbers, strict=True)) for numbers in table.numbers]


def true_of(told: Told) -> dict[str, Any]:
    return {claim.what: claim for claim in claims(told, told.asked(FIRST, TODAY, BEFORE))}


def sentence(report: Report, key: str) -> Any:
    return next(one for one in report.sentences if one.key == key)


def test_the_database_tells_the_brews_that_the_truth_was_made_for(demo: Company, told: Told) -> None:
    found = gather(asked_for(demo, None, FIRST, TODAY, before=BEFORE), NOW)
    made = told.ground(told.asked(FIRST, TODAY, BEFORE))
    names = [{cafe.pk: cafe.name for cafe in ground.asked.cafes} for ground in (found, made)]
    for of in ("this", "before"):
        counts = []
        for ground, name in zip((found, made), names, strict=True):
            cells = getattr(ground, of)
            tally: Counter[tuple[str, str]] = Counter()
            for key in ("tds", "time"):
                hits = cells.of[key]
                for what in ("n", "judged", "inside", "high", "low"):
                    for cafe, n in zip(cells.cafe.tolist(), getattr(hits, what).tolist(), strict=True):
                        tally[name[cafe], f"{key} {what}"] += round(n)
                for cafe, total in zip(cells.cafe.tolist(), hits.total.tolist(), strict=True):
                    tally[name[cafe], f"{key} total"] += round(10_000 * total)
            counts.append(tally)
        assert counts[0] == counts[1]


def near(truth: float, low: float, high: float) -> bool:
    """Within three standard errors: of one draw an interval of 95 % may miss; how often, many draws say beside this."""
    more = (3 / 1.96 - 1) * (high - low) / 2
    return low - more <= truth <= high + more


def test_is_the_cup_consistent(report: Report, told: Told) -> None:
    said, true = sentence(report, "consistent"), true_of(told)
    strength = next(row for row in rows(report, "shares") if row["measure"] == "tds")
    inside, outside = (true[f"{what} tds this everywhere"] for what in ("inside", "outside"))
    assert near(inside.truth, strength["share_low_95"], strength["share_high_95"])
    assert f"about {100 * strength['share']:.0f} " in said.says
    claimed = {
        "Yes": inside.truth >= 0.8,
        "Probably yes": True,
        "No,": outside.truth > 0.2,
        "Probably not": True,
        "The cup is only partly": inside.truth < 0.8 and outside.truth < 0.2,
    }
    answer = next(answer for answer in claimed if said.says.startswith(answer))
    assert claimed[answer] or said.sure is Sure.LIKELY


def test_did_it_change(report: Report, told: Told) -> None:
    said = sentence(report, "changed")
    # the new crop came between the spans or in this one: its size, its day, and the batch that it came with
    step = told.made.truth.batch_step
    batch = next(row for row in told.made.batches if row.key == step.batches[0])
    assert said.sure is Sure.SURE
    assert "Candle Yard" in said.says
    assert batch.label in said.says
    assert batch.opened_on is not None
    assert any(
        dates.day(batch.opened_on + timedelta(days=off), weekday=True) in said.says for off in (-1, 0, 1, 2)
    )
    of_step = [claim for what, claim in true_of(told).items() if what.startswith("step")]
    assert of_step
    assert all(claim.holds for claim in of_step)
    assert len(of_step) == said.says.count(" since about ")


def test_every_interval_of_the_tables_is_about_the_truth(report: Report, told: Told) -> None:
    true = true_of(told)
    checked = 0
    for row in rows(report, "change"):
        where = f"{row['measure']} {row['cafe'] or 'everywhere'}"
        for kind, low, high in (
            ("share", "share_change_low_95", "share_change_high_95"),
            ("mean", "change_low_95", "change_high_95"),
        ):
            claim = true.get(f"{kind} {where}")
            if claim is not None and row[low] is not None:
                assert near(claim.truth, row[low], row[high]), (kind, where)
                checked += 1
    for row in rows(report, "shares"):
        claim = true.get(f"inside {row['measure']} this everywhere")
        if claim is not None:
            assert near(claim.truth, row["share_low_95"], row["share_high_95"]), claim.what
            checked += 1
    assert checked >= 12


def beside(told: Told) -> float:
    """What else scatters between a person's brews of one version: a coffee that ages, somebody's drift, mishaps."""
    wrong = {row.reading: row.tds for row in told.made.truth.mishaps}
    levels: dict[tuple[int, int, int], list[float]] = {}
    for row in told.brews:
        if row.reading.business_day >= FIRST and row.who not in told.learning:
            of = levels.setdefault((row.cafe, row.version, row.who), [])
            of.append(row.expected["tds"] + wrong.get(row.reading.key, 0.0))
    squares = sum(len(of) * np.var(of) for of in levels.values())
    return sqrt(squares / sum(map(len, levels.values())))


def test_the_spread_is_parted_as_it_was_made(report: Report, told: Told) -> None:
    made = told.made.truth.components
    of_drop = hypot(made.drop, RESOLUTION / sqrt(12))
    of_brew = hypot(made.brew, of_drop / sqrt(2))
    true = {"staff": made.staff, "day": made.day, "staff:day": made.staff_day, "brew": of_brew}
    same = hypot(made.day, made.staff_day, of_brew, beside(told))
    parts = {
        row["part"]: row for row in rows(report, "spread") if row["measure"] == "tds" and not row["cafe"]
    }
    for part, sd in true.items():
        assert parts[part]["sd_low_95"] <= sd <= parts[part]["sd_high_95"], part
    precise = {
        row["symbol"]: row for row in rows(report, "precision") if row["measure"] == "tds" and not row["cafe"]
    }
    for symbol, sd in {"s_r": of_drop, "s_I(T)": same, "s_I(TO)": hypot(made.staff, same)}.items():
        assert precise[symbol]["sd_low_95"] <= sd <= precise[symbol]["sd_high_95"], symbol


def test_cafes_are_not_compared_by_what_they_do_not_share(demo: Company, told: Told) -> None:
    """A pair is compared on as many brews as share version and batch in the scenario's own rows, or not at all."""
    parts = Parts(gather(asked_for(demo, None, FIRST, TODAY, before=BEFORE), NOW))
    compared = parts.cafes.compared
    assert compared is not None
    names = {cafe.pk: cafe.name for cafe in demo.cafes.all()}
    pks = {cafe.name: cafe.pk for cafe in told.cafes.values()}
    first = [row for row in told.brews if row.reading.business_day >= FIRST and row.who not in told.learning]
    for pair in compared.pairs:
        lots = [
            Counter((row.version, row.batch) for row in first if row.cafe == pks[names[cafe]])
            for cafe in (pair.one, pair.other)
        ]
        shared = lots[0].keys() & lots[1].keys()
        if pair.difference is None:
            assert pair.reason
        else:
            assert pair.n_one == sum(lots[0][lot] for lot in shared)
            assert pair.n_other == sum(lots[1][lot] for lot in shared)


def test_what_was_done(report: Report) -> None:
    said = sentence(report, "done")
    raised = Signal.objects.filter(day__range=(FIRST, TODAY)).count()
    assert said.says.startswith(f"{raised} signal")
    due = OnDuty.objects.filter(
        business_day__range=(FIRST, TODAY - timedelta(days=1)), off_since=None
    ).count()
    assert f"Of {due} checks due" in said.how_sure


def test_the_cut_is_what_was_saved(report: Report, told: Told) -> None:
    saved = [row for row in told.made.readings if FIRST <= row.business_day <= TODAY]
    cut = report.cut
    assert cut.readings == len(saved)
    assert cut.voided == sum(row.void is not None for row in saved)
    assert cut.corrected == sum(row.corrects is not None for row in saved)
    assert cut.last_entered == max(row.entered_at for row in saved)
    standing = [row for row in told.brews if FIRST <= row.reading.business_day <= TODAY]
    assert cut.counted == len(standing)


def test_every_section_is_told(demo: Company) -> None:
    parts = Parts(gather(asked_for(demo, None, FIRST, TODAY, before=BEFORE), NOW))
    for section in sections_of(parts):
        assert section.title
        assert section.says or section.notes or section.table is not None
    assert Reading.objects.exists()
