"""Who may take everything away, what the page tells them, and that it is on record."""

from __future__ import annotations

import io
import stat
from datetime import timedelta
from zipfile import ZipFile

import pytest
from django.core.management import call_command
from django.urls import reverse
from django.utils import timezone

from brewbar.crew import held
from brewbar.crew.models import Change, Company, Naming, Role, User
from brewbar.refusal import Refusal
from calibration.exporting.snapshot import one_moment
from calibration.models import Reading
from recipes.models import Coffee
from tests import factories as make
from tests.exporting import lived

PAGE, DOWNLOAD = "calibration:your_data", "calibration:your_data_download"


@pytest.fixture
def company(db):
    return make.company("Kölsch & Co")


@pytest.fixture
def owner(company):
    return make.person(Role.OWNER, company=company)


def test_the_page_says_what_there_is_and_who_writes_all_of_it(owner, company):
    slot = make.live_slot(company.cafes.first())
    make.reading(slot, make.person(cafe=company.cafes.first()))
    said = make.signed_in(owner).get(reverse(PAGE)).content.decode()
    assert 'export</span> <span class="nowrap">--company</span> "Kölsch &amp; Co" <span' in said
    assert "stands in the record" in said
    assert '<span>Drops of these readings</span> <span class="num nowrap">2</span>' in said
    assert reverse(PAGE) in make.signed_in(owner).get(reverse("crew:company")).content.decode()


def test_an_owner_downloads_what_the_bar_works_with_and_nobody_else_does(owner, company):
    answer = make.signed_in(owner).post(reverse(DOWNLOAD))
    packed = b"".join(answer.streaming_content)
    assert ZipFile(io.BytesIO(packed)).testzip() is None
    assert lived.rows(packed, "company.csv")[0]["name"] == company.name
    assert answer["Cache-Control"] == "no-store"
    assert answer["Content-Disposition"].startswith('attachment; filename="brewbar-kolsch-co-')
    for role in (Role.BARISTA, Role.HEAD):
        client = make.signed_in(make.person(role, company.cafes.first()))
        assert client.post(reverse(DOWNLOAD)).status_code == 403
        assert client.get(reverse(PAGE)).status_code == 403
    assert make.signed_in(owner).get(reverse(DOWNLOAD)).status_code == 405


@pytest.mark.parametrize("shown", Naming.values)
def test_what_an_owner_downloads_names_nobody_and_holds_no_result_whatever_is_set(db, shown):
    company = lived.build()
    Company.objects.filter(pk=company.pk).update(people_shown_to_owners=shown)
    owner = User.objects.get(email="owner@example.org")
    packed = b"".join(make.signed_in(owner).post(reverse(DOWNLOAD)).streaming_content)
    files = lived.members(packed)
    inside = "\n".join(content.decode() for content in files.values())
    whole = "\n".join(content.decode() for content in lived.members(lived.exported(company)).values())
    people = User.objects.filter(memberships__company=company).values_list("name", "username", "email")
    for word in {word for person in people for word in person if word}:
        assert word in whole
        assert word not in inside
    for reading in Reading.objects.filter(company=company):
        assert str(reading.uuid) in whole
        assert str(reading.uuid) not in inside
    assert {"readings.csv", "drops.csv", "people.csv", "signals.csv", "changes.csv"} & set(files) == set()
    assert lived.rows(packed, "recipe_versions.csv")
    assert lived.rows(packed, "instrument_checks.csv")
    dictionary = {(row["table"], row["column"]) for row in lived.rows(packed, "dictionary.csv")}
    for name in files:
        if name.endswith(".csv") and name != "dictionary.csv":
            head = files[name].decode("utf-8-sig").splitlines()[0].split(",")
            assert {(name[:-4], column) for column in head} <= dictionary
    assert "neither people nor their results" in files["README.txt"].decode().replace("\r\n", " ")
    assert not Change.objects.filter(about=Change.About.EXPORT).exists()


def test_that_all_of_it_was_exported_is_read_by_everybody_whom_it_holds(owner, company, tmp_path):
    cafe = company.cafes.first()
    barista, head, later = make.person(cafe=cafe), make.person(Role.HEAD, cafe), make.person(cafe=cafe)
    outsider = make.person(cafe=make.cafe())
    later.memberships.update(started_at=timezone.now() + timedelta(days=1))
    call_command("export", "--company", company.name, "--to", str(tmp_path / "all.zip"))
    for reader in (owner, head):
        assert "exported everything of" in make.signed_in(reader).get(reverse("crew:record")).content.decode()
    seen = {}
    for person in (barista, head, owner, outsider, later):
        (seen[person],) = [one.number for one in held.about(person) if one.kind.key == "exports"]
    assert list(seen.values()) == [1, 1, 1, 0, 0]
    said = make.signed_in(barista).get(reverse("crew:held")).content.decode()
    assert "Exports of everything" in said.split("Nothing is held of")[0]
    (kind,) = [one for one in held.kinds() if one.key == "exports"]
    ((of_company, _at, by),) = held.cells_of(kind, barista)
    assert (of_company, by) == (company.name, "the server's console")


def test_what_the_page_asks_does_not_grow_with_what_there_is(owner, company, django_assert_max_num_queries):
    client = make.signed_in(owner)
    client.get(reverse(PAGE))
    for _ in range(5):
        make.coffee(company)
    with django_assert_max_num_queries(26):
        client.get(reverse(PAGE))


def test_two_exports_differ_in_nothing_but_the_time(company, owner):
    now = timezone.now()
    one, two = lived.exported(company, now), lived.exported(company, now)
    assert one == two
    three = lived.exported(company, now + timedelta(seconds=1))
    assert lived.but_for_the_time(three) == lived.but_for_the_time(one)
    assert [
        name for name in lived.members(one) if lived.members(one)[name] != lived.members(three)[name]
    ] == ["export.json"]


# --- the command


def test_the_command_writes_a_file_for_its_owner_alone(company, owner, tmp_path, capsys):
    path, left = tmp_path / "all.zip", tmp_path / "all.zip.being-made"
    left.write_text("of an export that was killed, for everybody to read")
    left.chmod(0o644)
    call_command("export", "--company", "kölsch & co", "--to", str(path))
    assert stat.S_IMODE(path.stat().st_mode) == 0o600
    left.unlink(missing_ok=True)
    assert [one.name for one in tmp_path.iterdir()] == ["all.zip"]
    assert "names and results" in capsys.readouterr().out
    assert Change.objects.get(what="exported everything of").by is None
    with pytest.raises(Refusal, match="is there already"):
        call_command("export", "--to", str(path))
    call_command("export", "--without-people", "--to", str(tmp_path / "bar.zip"))
    assert "neither people nor results" in capsys.readouterr().out
    assert Change.objects.filter(what="exported everything of").count() == 1


def test_the_command_asks_which_and_where(company, owner, tmp_path):
    with pytest.raises(Refusal, match="--to"):
        call_command("export")
    with pytest.raises(Refusal, match="which cannot be written"):
        call_command("export", "--to", str(tmp_path / "nowhere" / "all.zip"))
    with pytest.raises(Refusal, match=r"There is no company called Nobody\. Known: Kölsch & Co"):
        call_command("export", "--company", "Nobody", "--to", str(tmp_path / "all.zip"))
    make.company("Another")
    with pytest.raises(Refusal, match="Which company"):
        call_command("export", "--to", str(tmp_path / "all.zip"))
    assert not list(tmp_path.iterdir())


def test_the_command_takes_in_and_says_how_owners_get_in(company, owner, tmp_path, capsys):
    call_command("export", "--to", str(tmp_path / "all.zip"))
    lived.emptied()
    call_command("take_in", str(tmp_path / "all.zip"))
    assert f"new_owner_link --for {owner.username}" in capsys.readouterr().out
    assert Company.objects.get().name == company.name


# --- one moment


@pytest.mark.django_db(transaction=True)
def test_what_is_written_meanwhile_waits_for_nothing_and_is_not_in_the_export():
    """Another connection writes while the export reads: SQLite's lock of a writer would make it wait, and fail."""
    from threading import Thread

    from django.db import connection

    company = make.company()

    def add():
        make.coffee(company, name="meanwhile")
        connection.close()

    with one_moment():
        assert not Coffee.objects.exists()
        other = Thread(target=add)
        other.start()
        other.join(timeout=15)
        assert not other.is_alive()
        assert not Coffee.objects.exists()
    assert Coffee.objects.get().name == "meanwhile"
