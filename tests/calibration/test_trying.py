"""What is tried because of a signal is judged by fresh brews alone, and by equivalence."""

from __future__ import annotations

from datetime import timedelta

import numpy as np
import pytest
from django.utils import timezone

from brewbar.crew.models import Change
from calibration import trying
from calibration.coaching import Code, Quantity, Standing
from calibration.models import FollowUp, Reading
from calibration.signal_context import context_of
from calibration.signal_signs import brews_of, signs_of
from recipes.models import BarEvent
from tests import factories as make
from tests.calibration.signal_crews import Crew, crew, row

BEGAN, CHANGED = 28, 36


def brewed(after: float) -> Crew:
    """Somebody 0.15 % stronger from the 29th day, and ``after`` from the 37th on, when something is changed."""
    made = crew(
        days=60, shift=lambda who, day: 0.0 if who or day < BEGAN else 0.15 if day < CHANGED else after
    )
    made.catch_up(made.days[0])
    return made


def tried(made, *, changed_at=None):
    signal = made.signals()[0]
    return signal, FollowUp.objects.create(
        signal=signal,
        cause="pour",
        change="Hold the spout a little lower.",
        smallest=0.05,
        started_at=changed_at or made.at(made.days[CHANGED], 6),
        started_by=made.head,
    )


@pytest.mark.django_db
def test_somebody_who_is_back_is_told_so_and_the_trial_has_mended_it():
    made = brewed(0.0)
    signal, follow_up = tried(made)
    (one,) = trying.tried(signal)
    assert one.standing.standing == Standing.BACK
    assert "Back with the crew" in one.says
    assert "counts as back" in one.between
    assert trying.end(signal, made.head, timezone.now()).outcome == "mended"
    follow_up.refresh_from_db()
    assert follow_up.ended_at
    assert trying.tried(signal)[0].standing is None
    assert Change.objects.filter(what="signal: a trial ended").exists()
    with pytest.raises(trying.NotTried):
        trying.end(signal, made.head, timezone.now())


@pytest.mark.django_db
def test_somebody_who_goes_on_is_still_off():
    made = brewed(0.15)
    signal, _follow_up = tried(made)
    assert trying.end(signal, made.head, timezone.now()).outcome == "still"


@pytest.mark.django_db
def test_brews_from_before_the_change_never_count():
    made = brewed(0.0)
    signal, _follow_up = tried(made, changed_at=timezone.now())
    (one,) = trying.tried(signal)
    assert (one.standing.n, one.standing.standing) == (0, Standing.TOO_FEW)
    assert trying.end(signal, made.head, timezone.now()).outcome == "stopped"


@pytest.mark.django_db
def test_a_bar_that_moved_is_held_against_what_it_was_before():
    made = crew(days=60, shift=lambda _who, day: 0.15 if BEGAN <= day < CHANGED else 0.0)
    made.catch_up()
    signal, _follow_up = tried(made)
    assert signal.person is None
    (one,) = trying.tried(signal)
    assert one.standing.standing == Standing.BACK
    assert "before it moved" in one.says


@pytest.mark.django_db
def test_the_signs_are_those_of_the_person_beside_the_others():
    made = brewed(0.15)
    signal = made.signals()[0]
    brews = brews_of(signal)
    signs = signs_of(brews, {Quantity.TDS: 0.05}).signs
    assert signs[Quantity.TDS].move == "up"
    # By hand: what is new in the mean difference from the others of each day.
    own = {
        reading.business_day: float(reading.tds)
        for reading in made.readings
        if reading.barista == signal.person
    }
    beside = {
        day: np.mean(
            [float(r.tds) for r in made.readings if r.business_day == day and r.barista != signal.person]
        )
        for day in made.days
    }
    days = {reading.business_day for reading in brews.own}
    first = min(days)
    now = np.mean([own[day] - beside[day] for day in days])
    then = np.mean([own[day] - beside[day] for day in made.days if first - timedelta(days=60) <= day < first])
    assert signs[Quantity.TDS].difference == pytest.approx(now - then)
    assert signs[Quantity.BEVERAGE].difference == pytest.approx(0.0)
    assert signs[Quantity.SLURRY].difference is None


@pytest.mark.django_db
def test_what_a_person_shares_with_the_others_is_no_fact_about_them():
    made = brewed(0.15)
    signal = made.signals()[0]
    at = made.at(signal.since)
    make.event(made.cafe, BarEvent.Kind.DESCALED, kettle=made.slot.kettle, happened_at=at)
    context = context_of(brews_of(signal))
    assert context.happened == ()
    assert context.ties == ()
    assert context.instrument.shared


@pytest.mark.django_db
def test_what_only_they_brew_on_is_named():
    made = crew(days=40)
    own = make.kettle(made.cafe, name="Her own kettle")
    brews = [row(made, made.people[0], day, 1.7) for day in made.days[-6:]]
    for reading in brews:
        reading.kettle = own
    Reading.objects.bulk_create(brews)
    keys = [reading.pk for reading in brews]
    signal = make.signal(
        made.cafe,
        made.people[0],
        recipe=made.slot.version.recipe,
        since=made.days[-6],
        evidence={"readings": keys, "smallest": 0.05},
    )
    make.event(made.cafe, BarEvent.Kind.DESCALED, kettle=own, happened_at=made.at(made.days[-7]))
    context = context_of(brews_of(signal))
    assert [(tie.code, tie.what) for tie in context.ties] == [(Code.KETTLE, "Her own kettle")]
    assert [one.what for one in context.happened] == ["Her own kettle"]


@pytest.mark.django_db
def test_a_grind_that_went_there_and_back_is_no_change():
    made = crew(days=40, shift=lambda _who, day: 0.15 if day >= BEGAN else 0.0)
    made.catch_up()
    signal = made.signals()[0]
    brews = brews_of(signal)
    assert [one.kind for one in context_of(brews).happened] == []
    inside = [
        reading
        for reading in brews.everything
        if signal.since_low <= reading.business_day <= signal.since_high
    ]
    for reading in inside:
        reading.grind_setting = "22"
    assert [one.what for one in context_of(brews).happened] == ["24 → 22"]


@pytest.mark.django_db
def test_an_instrument_has_no_brews_to_read():
    cafe = make.cafe()
    signal = make.signal(
        cafe, question="instrument", measure="standard", refractometer=make.refractometer(cafe)
    )
    assert trying.advice_on(signal) is None
    assert (
        trying.advice_on(make.signal(cafe, make.person(cafe=cafe), recipe=make.recipe(cafe.company))) is None
    )
