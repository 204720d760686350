"""The record of changes: what is noted, where it may be written, and that it stays."""

from __future__ import annotations

from decimal import Decimal

import pytest
from django.db import IntegrityError, transaction

from brewbar.crew import record
from brewbar.crew.models import Change, Naming, Role
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
        "angle between its walls": "",
        "diameter of the bed": "",
        "made of": "",
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


# --- looking back


def member_of(role, cafe):
    return make.member(make.person(role, cafe, company=cafe.company))


def subjects(member, **asked) -> list[str]:
    return [change.subject for change in record.looked_up(member, **asked)]


def test_every_word_has_to_occur_in_whichever_case():
    cafe = make.cafe()
    noted(cafe, subject="Grinder Ångström", after={"note": "new burrs"})
    noted(cafe, subject="Grinder B")
    head = member_of(Role.HEAD, cafe)
    assert subjects(head, text="ÅNGSTRÖM burrs") == ["Grinder Ångström"]
    assert subjects(head, text="grinder") == ["Grinder B", "Grinder Ångström"]
    assert subjects(head, text="burrs kettle") == []
    assert subjects(head, text="%") == []


def test_by_what_it_is_about_and_when():
    cafe = make.cafe()
    change = noted(cafe, subject="kettle")
    noted(cafe, subject="recipe", about=Change.About.RECIPE)
    head = member_of(Role.HEAD, cafe)
    assert subjects(head, about="recipe") == ["recipe"]
    assert subjects(head, until=change.at) == []
    assert "kettle" in subjects(head, since=change.at)


@pytest.mark.parametrize(("shown", "who"), [(Naming.UNNAMED, "somebody of the crew"), (Naming.NAMES, "Ada")])
def test_an_owner_reads_of_readings_no_more_than_the_company_shows(shown, who):
    cafe = make.cafe()
    cafe.company.people_shown_to_owners = shown
    cafe.company.save()
    ada = make.person(cafe=cafe, name="Ada")
    noted(
        cafe, by=ada, about=Change.About.READING, what="corrected", why="Ada spilt it", after={"TDS": "1.44"}
    )
    owner = member_of(Role.OWNER, cafe)
    [read] = record.as_read_by(owner, record.looked_up(owner))
    assert read.who == who
    assert bool(read.values) is bool(read.why) is (shown == Naming.NAMES)
    assert bool(subjects(owner, text="ada")) is (shown == Naming.NAMES)
    [read] = record.as_read_by(head := member_of(Role.HEAD, cafe), record.looked_up(head))
    assert (read.who, read.values) == ("Ada", (("TDS", "", "1.44"),))


def test_the_page_finds_and_pages_and_refuses_a_span_that_ends_before_it_begins():
    cafe = make.cafe()
    for number in range(60):
        noted(cafe, subject=f"<b>kettle</b> {number}")
    client = make.signed_in(make.person(Role.HEAD, cafe))
    page = client.get("/record/?text=kettle")
    assert page.status_code == 200
    assert "60 changes" in page.content.decode()
    assert "&lt;b&gt;kettle&lt;/b&gt; 59" in page.content.decode()
    assert "kettle&lt;/b&gt; 0<" in client.get("/record/?text=kettle&page=2").content.decode()
    refused = client.get("/record/?text=kettle&first=2026-03-02&last=2026-03-01")
    assert refused.status_code == 422
    assert 'value="kettle"' in refused.content.decode()


def test_a_page_of_the_record_costs_the_same_however_many_changes(django_assert_max_num_queries):
    cafe = make.cafe()
    client = make.signed_in(make.person(Role.HEAD, cafe))
    for number in range(50):
        noted(cafe, subject=str(number))
    with django_assert_max_num_queries(7):
        client.get("/record/")


@pytest.mark.parametrize("invented", [True, False])
def test_an_empty_record_of_the_example_says_why_it_is_empty(invented):
    cafe = make.cafe()
    cafe.company.is_invented = invented
    cafe.company.save()
    page = make.signed_in(make.person(Role.HEAD, cafe)).get("/record/").content.decode()
    assert ("written in one go" in page) is invented
