"""The record of changes: what is noted, where it may be written, and that it stays."""

from __future__ import annotations

from decimal import Decimal

import pytest
from django.db import IntegrityError, transaction

from brewbar.crew import record
from brewbar.crew.models import Change, Role
from tests import factories as make

pytestmark = pytest.mark.django_db


def noted(cafe, by=None, **words) -> Change:
    given = {"about": Change.About.EQUIPMENT, "what": "changed", "subject": "the grey kettle"} | words
    return record.note(company=cafe.company, cafe=cafe, by=by, **given)


def test_only_what_differs_is_kept():
    cafe = make.cafe()
    change = noted(cafe, before={"name": "A", "note": "same"}, after={"name": "B", "note": "same"})
    assert (change.before, change.after) == ({"name": "A"}, {"name": "B"})


def test_a_snapshot_reads_as_a_page_does_and_a_number_is_what_it_is_however_written():
    brewer = make.brewer(make.company(), name="Cone", largest_dose_g=Decimal("30.0"))
    assert record.snapshot(brewer) == {
        "name": "Cone",
        "shape of the bed": "cone",
        "largest dose": "30",
        "note": "",
    }


def test_the_name_stays_as_it_was():
    cafe = make.cafe()
    head = make.person(Role.HEAD, cafe, name="Inés Faro")
    change = noted(cafe, by=head)
    head.name = "Somebody else"
    head.save()
    change.refresh_from_db()
    assert change.by_name == "Inés Faro"


def test_what_comes_from_a_tablet_says_so():
    cafe = make.cafe()
    with record.through("Station 1"):
        assert noted(cafe).through == "Station 1"
    assert noted(cafe).through == ""


def test_the_search_text_is_folded():
    assert "ÉCLAIR".casefold() in noted(make.cafe(), subject="Éclair").words


@pytest.mark.django_db(transaction=True)
def test_nothing_is_noted_outside_a_transaction():
    cafe = make.cafe()
    with pytest.raises(RuntimeError, match="one transaction"):
        noted(cafe)


def test_the_database_refuses_to_alter_it():
    change = noted(make.cafe())
    with pytest.raises(IntegrityError, match="only added to"), transaction.atomic():
        Change.objects.filter(pk=change.pk).update(what="never happened")


def test_a_crew_reads_its_own_cafe_and_what_all_share_an_owner_reads_all():
    cafe, other = (make.cafe(company) for company in [make.company()] * 2)
    own, theirs = noted(cafe), noted(other)
    shared = record.note(company=cafe.company, about=Change.About.RECIPE, what="copied", subject="x", by=None)
    elsewhere = noted(make.cafe())
    head = make.member(make.person(Role.HEAD, cafe))
    owner = make.member(make.person(Role.OWNER, company=cafe.company))
    assert set(Change.objects.for_member(head)) == {own, shared}
    assert set(Change.objects.for_member(owner)) == {own, theirs, shared}
    assert elsewhere not in Change.objects.for_member(owner)
