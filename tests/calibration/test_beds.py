"""Readings become a fit of their bed; what is voided, corrected, ground otherwise or poured otherwise leaves it.

The times are made forwards, by draining a bed of known conductance: Darcy's law (Bear 1972, Dynamics of Fluids in
Porous Media), which tests/brewing/test_drawdown.py holds against its closed forms.
"""

from __future__ import annotations

import dataclasses
from datetime import timedelta
from decimal import Decimal

import pytest
from django.core.management import call_command
from django.core.management.sql import emit_post_migrate_signal
from django.db import connection
from django.test.utils import CaptureQueriesContext
from django.utils import timezone

from brewbar.crew.models import Role
from calibration import beds, recording
from calibration.models import Reading
from recipes import catalogue
from recipes.brewing.bed import Bed
from recipes.brewing.drawdown import drain
from recipes.brewing.foresight import inflows_of
from recipes.brewing.slurry import usual_heat
from recipes.brewing.water import boiling_point_C
from recipes.models import BarEvent, BedFit
from tests import factories as make

NOW = timezone.now()
AGO = NOW - timedelta(hours=1)
TRUTH = 2.6e-5


@pytest.fixture
def slot(db):
    return make.live_slot(make.cafe(), at=NOW - timedelta(days=30))


@pytest.fixture
def barista(slot):
    return make.person(cafe=slot.board.cafe)


@pytest.fixture
def head(slot):
    return make.person(Role.HEAD, slot.board.cafe)


def takes_s(version, conductance=TRUTH):
    """The brew time of a bed with this conductance, to the whole second of a clock."""
    inflows = inflows_of(version.plan(), boiling_point_C(0))
    brewer, heat = version.brewer.limits(preheated=True), usual_heat(0.0).best
    return round(
        drain(inflows, brewer, float(version.dose_g), Bed(conductance), heat, 22.0, step_s=0.5).ends_s
    )


def brew(slot, barista, conductance=TRUTH, **fields):
    """A reading saved as the entry page saves it."""
    entry = make.entry(slot, barista, brew_time_s=takes_s(slot.version, conductance), **fields)
    sure = frozenset({f"time:{entry.brew_time_s}"})
    return recording.record(dataclasses.replace(entry, sure=sure), barista, NOW).reading


def fit_of(slot, **fields):
    return BedFit.objects.get(cafe=slot.board.cafe, **fields)


def test_brews_of_a_known_bed_give_that_bed(slot, barista):
    for count in range(1, 6):
        brew(slot, barista)
        assert (fit_of(slot).brews, fit_of(slot).fit().fitted) == (count, count == 5)
    fit, version = fit_of(slot), slot.version
    # Half a second of the clock, in a drawdown of about a minute
    assert fit.conductance_m2_s == pytest.approx(TRUTH, rel=0.01)
    assert fit.low < TRUTH < fit.high
    assert (fit.coffee, fit.paper, fit.brewer) == (version.recipe.coffee, version.paper, version.brewer)
    assert (fit.grinder, fit.grind_setting, fit.dose_g) == (slot.setting.grinder, "24", 15)
    assert fit.newest_brew_at == NOW


def test_rebrews_and_served_cups_drain_too(slot, barista):
    kinds = {brew(slot, barista).attempt, brew(slot, barista).attempt}
    brew(slot, barista, kind=Reading.Kind.SERVED)
    assert kinds == {Reading.Attempt.FIRST, Reading.Attempt.REBREW}
    assert fit_of(slot).brews == 3


def test_a_voided_reading_leaves_the_fit_as_if_it_had_never_been(slot, barista, head):
    for _brew in range(3):
        brew(slot, barista, brewed_at=AGO)
    before = BedFit.objects.values(*BedFit.FIGURES, "newest_brew_at").get()
    odd = brew(slot, barista, TRUTH / 2)
    assert fit_of(slot).conductance_m2_s < 0.9 * before["conductance_m2_s"]
    recording.void(odd, head, "channelled", NOW)
    assert BedFit.objects.values(*BedFit.FIGURES, "newest_brew_at").get() == before


def test_without_its_only_reading_there_is_no_fit(slot, barista, head):
    recording.void(brew(slot, barista), head, "spilt", NOW)
    assert not BedFit.objects.exists()


def test_a_correction_counts_in_place_of_the_typo(slot, barista):
    typo = brew(slot, barista, TRUTH / 2)
    brew(slot, barista, corrects=typo)
    assert fit_of(slot).brews == 1
    assert fit_of(slot).conductance_m2_s == pytest.approx(TRUTH, rel=0.02)


def test_a_correction_of_the_grind_moves_the_brew_from_one_fit_to_the_other(slot, barista):
    brew(slot, barista)
    typo = brew(slot, barista)
    brew(slot, barista, corrects=typo, grind_setting="25")
    assert list(BedFit.objects.order_by("grind_setting").values_list("grind_setting", "brews")) == [
        ("24", 1),
        ("25", 1),
    ]


def test_two_grinds_two_grinders_and_two_cafes_do_not_mix(slot, barista):
    other = make.grinder(slot.board.cafe)
    there = make.live_slot(make.cafe(slot.board.cafe.company), slot.version)
    brew(slot, barista)
    brew(slot, barista, TRUTH * 2, grind_setting="28")
    brew(slot, barista, TRUTH / 2, grinder=other)
    brew(there, make.person(cafe=there.board.cafe))
    assert set(BedFit.objects.values_list("brews", flat=True)) == {1}
    assert BedFit.objects.count() == 4
    same = fit_of(slot, grinder=slot.setting.grinder, grind_setting="24")
    assert same.conductance_m2_s == pytest.approx(TRUTH, rel=0.02)


def test_versions_of_one_bed_share_a_fit_each_by_its_own_plan(slot, barista):
    first = slot.version
    slower = make.version(
        first.recipe,
        pours=((0, 40, 4), (50, 250, 5)),
        published=True,
        dose_g=Decimal("15.4"),
        brewer=first.brewer,
        paper=first.paper,
    )
    other = make.live_slot(slot.board.cafe, slower, grinder=slot.setting.grinder)
    brew(slot, barista)
    brew(other, barista, dose_g=Decimal("15.4"))
    assert takes_s(first) != takes_s(slower)
    fit = fit_of(slot)
    assert (fit.brews, fit.dose_g) == (2, 15)
    assert fit.conductance_m2_s == pytest.approx(TRUTH, rel=0.02)


def test_a_stalled_brew_is_left_out(slot, barista):
    brew(slot, barista)
    entry = make.entry(slot, barista, brew_time_s=1260)
    recording.record(dataclasses.replace(entry, sure=frozenset({"time:1260"})), barista, NOW)
    fit = fit_of(slot)
    assert (fit.brews, fit.left_out) == (1, 1)
    assert fit.conductance_m2_s == pytest.approx(TRUTH, rel=0.02)


@pytest.mark.parametrize(
    ("fields", "counts"),
    [
        ({"water_g": Decimal(255)}, True),
        ({"water_g": Decimal(256)}, False),
        ({"dose_g": Decimal("15.5")}, True),
        ({"dose_g": Decimal("14.4")}, False),
    ],
)
def test_brews_off_the_plan_are_left_out(slot, barista, fields, counts):
    brew(slot, barista, **fields)
    assert (fit_of(slot).brews, fit_of(slot).left_out) == (int(counts), int(not counts))


def test_only_the_newest_brews_count(slot, barista, monkeypatch):
    monkeypatch.setattr(beds, "NEWEST", 3)
    brew(slot, barista, TRUTH / 2, brewed_at=NOW - timedelta(hours=9))
    for hours in (1, 2, 3):
        brew(slot, barista, brewed_at=NOW - timedelta(hours=hours))
    assert fit_of(slot).brews == 3
    assert fit_of(slot).conductance_m2_s == pytest.approx(TRUTH, rel=0.02)


def test_brews_from_before_the_burrs_were_touched_do_not_count(slot, barista):
    cafe, grinder = slot.board.cafe, slot.setting.grinder
    brew(slot, barista, TRUTH / 2, brewed_at=NOW - timedelta(hours=9))
    event = make.event(cafe, BarEvent.Kind.BURRS, grinder=grinder, happened_at=NOW - timedelta(hours=5))
    make.event(cafe, BarEvent.Kind.CLEANED, grinder=grinder, happened_at=NOW - timedelta(minutes=1))
    brew(slot, barista, brewed_at=NOW - timedelta(hours=2))
    assert fit_of(slot).brews == 1
    BarEvent.objects.filter(pk=event.pk).update(taken_back_at=NOW, taken_back_by=barista)
    brew(slot, barista, brewed_at=AGO)
    assert fit_of(slot).brews == 3


def test_a_reading_is_saved_and_voided_though_its_fit_fails(slot, barista, head, monkeypatch, caplog):
    def fails(*args):
        with connection.cursor() as cursor:
            cursor.execute("SELECT * FROM no_such_table")

    monkeypatch.setattr(beds, "fit_conductance", fails)
    reading = brew(slot, barista)
    recording.void(brew(slot, barista), head, "spilt", NOW)
    assert list(Reading.objects.standing()) == [reading]
    assert reading.drops.count() == 2
    assert not BedFit.objects.exists()
    assert "No fit of Bed(" in caplog.text


def test_a_version_without_a_brewer_has_no_bed(slot, barista):
    version = make.version(slot.version.recipe, brewer=None, published=True)
    entry = make.entry(make.live_slot(slot.board.cafe, version), barista)
    recording.record(entry, barista, NOW)
    assert not BedFit.objects.exists()


def test_readings_older_than_the_fits_are_fitted_by_the_migration_or_the_command(slot, barista, capsys):
    for seconds in (0, 1, -1):
        make.reading(slot, barista, brew_time_s=takes_s(slot.version) + seconds)
    assert not BedFit.objects.exists()
    emit_post_migrate_signal(verbosity=0, interactive=False, db="default", plan=[])
    assert not BedFit.objects.exists()
    emit_post_migrate_signal(verbosity=0, interactive=False, db="default", plan=["one just applied"])
    by_migration = BedFit.objects.values(*BedFit.FIGURES).get()
    assert by_migration["brews"] == 3
    BedFit.objects.update(brews=99)
    call_command("refit_beds")
    assert BedFit.objects.values(*BedFit.FIGURES).get() == by_migration
    assert "Beds fitted: 1." in capsys.readouterr().out


def test_a_brewer_put_right_fits_its_beds_again(slot, barista, head, django_capture_on_commit_callbacks):
    brew(slot, barista)
    before, brewer = fit_of(slot), slot.version.brewer
    brewer.note = "Steep ribs."
    with django_capture_on_commit_callbacks(execute=True) as renamed:
        catalogue.save(brewer, head)
    brewer.wall_angle_deg = 70
    with django_capture_on_commit_callbacks(execute=True):
        catalogue.save(brewer, head)
    assert renamed == []
    # A wider cone holds the water lower, so that the same time takes a bed that lets more through
    assert fit_of(slot).conductance_m2_s > 1.05 * before.conductance_m2_s
    assert fit_of(slot).pk == before.pk


def test_what_a_fit_adds_to_a_save_does_not_grow_with_the_brews(slot, barista):
    brew(slot, barista)
    few = queries_of(slot, barista)
    for minutes in range(8):
        reading = brew(slot, barista, brewed_at=AGO - timedelta(minutes=minutes))
    assert queries_of(slot, barista) == few
    with CaptureQueriesContext(
        connection,
    ) as fitting:
        beds.refit(reading)
    # savepoint twice; the lock; readings, versions, pours, café, brewer; the write
    assert len(fitting) == 9, [query["sql"] for query in fitting]


def queries_of(slot, barista):
    with CaptureQueriesContext(connection) as made:
        brew(slot, barista)
    return len(made)
