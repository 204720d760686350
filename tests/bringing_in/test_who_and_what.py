"""Who and what a row means: nobody and nothing that is only like it."""

from __future__ import annotations

from datetime import timedelta

from django.core.files.base import ContentFile

from calibration.bringing_in import steps, verdict_file
from tests import factories as make
from tests.bringing_in.sheets import HEAD, NOW
from tests.bringing_in.test_bringing_in import bring, looked


def test_a_file_of_what_was_left_out_can_be_mended_and_brought_in(bar):
    head = f"{HEAD};Bypass"
    upload = bar.sheet(f"{bar.row()};-", f"{bar.row(time='10:00', dose='a spoon')};-", head=head)
    made = bring(bar, upload, only_good=True)
    rest = verdict_file.rest_of(made).read_text("utf-8-sig")
    mended = bar.upload(ContentFile(rest.replace("a spoon", "15").encode(), name="rest.csv"))
    assert bring(bar, mended).brought_in == 1


def test_a_past_member_of_the_crew_is_known(bar):
    gone = make.person(cafe=bar.cafe, name="Zoë Demo")
    gone.memberships.update(ended_at=NOW)
    made = bring(bar, bar.sheet(bar.row(barista="zoe demo")))
    assert made.readings.get().barista == gone
    gone.memberships.update(ended_at=NOW - timedelta(days=15))
    summary, lines, _upload = looked(bar, bar.row(barista="Zoë Demo", time="11:00"))
    assert (summary.good, summary.doubtful) == (1, 1)
    assert str(lines[0].doubts[0]) == "C2: Zoë Demo had left this crew by then, on 5 Mar 2026."


def test_a_recipe_for_all_rows_is_not_taken_for_another_coffee(bar):
    recipe = bar.slot.card.recipe
    make.coffee(bar.cafe.company, name="Another coffee")
    rows = [f"{bar.row()};{coffee}" for coffee in (recipe.coffee.name, "Another coffee")]
    upload = bar.sheet(*rows, head=f"{HEAD.replace('Recipe', 'Nothing')};Coffee")
    upload.given["recipe"] = str(recipe.pk)
    assert steps.look_at(upload, bar.cafe, NOW).good == 1
    (_good, bad) = verdict_file.lines(upload)
    assert bad.problems[0].says == f"{recipe} is a recipe of another coffee than Another coffee."


def test_a_batch_of_that_label_that_was_roasted_another_day_is_not_taken(bar):
    head = f"{HEAD};Roasted"
    rows = [f"{bar.row()};2019-12-01", f"{bar.row(time='10:00')};2019-12-08"]
    upload = bar.sheet(*rows, head=head)
    assert (steps.look_at(upload, bar.cafe, NOW).good, len(rows)) == (1, 2)
    (_good, bad) = verdict_file.lines(upload)
    assert bad.problems[0].cell == "N3"
    assert "was roasted on another day, 2019-12-01" in bad.problems[0].says


def test_a_name_can_be_said_to_mean_somebody(bar):
    summary, _lines, upload = looked(bar, bar.row(barista="Mi"), bar.row(time="10:00"))
    assert list(summary.unknown["barista"]) == ["Mi"]
    upload.names = {"barista": {"Mi": str(bar.crew[0].pk)}}
    upload.save()
    made = bring(bar, upload)
    assert made.readings.filter(barista=bar.crew[0]).count() == 2
    # Not kept: if that is somebody's name, nothing would find it there once they are gone.
    assert "Mi" not in str(made.mapping)
