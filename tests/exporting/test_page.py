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

from brewbar.crew.models import Change, Company, Role
from brewbar.refusal import Refusal
from calibration.exporting.snapshot import one_moment
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


def test_the_page_says_what_is_in_it_and_how_to_treat_it(owner, company):
    slot = make.live_slot(company.cafes.first())
    make.reading(slot, make.person(cafe=company.cafes.first()))
    said = make.signed_in(owner).get(reverse(PAGE)).content.decode()
    assert "names and results of people" in said
    assert "stands in the record" in said
    assert '<span>Drops of these readings</span> <span class="num nowrap">2</span>' in said
    assert reverse(PAGE) in make.signed_in(owner).get(reverse("crew:company")).content.decode()


def test_an_owner_downloads_all_of_it_and_nobody_else(owner, company):
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


def test_it_is_on_record_with_who_did_it_and_the_heads_read_it(owner, company):
    b"".join(make.signed_in(owner).post(reverse(DOWNLOAD)).streaming_content)
    change = Change.objects.get(company=company, what="exported everything of")
    assert (change.by, change.subject) == (owner, company.name)
    head = make.person(Role.HEAD, company.cafes.first())
    assert "exported everything of" in make.signed_in(head).get(reverse("crew:record")).content.decode()


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
    path = tmp_path / "all.zip"
    call_command("export", "--company", "kölsch & co", "--to", str(path))
    assert stat.S_IMODE(path.stat().st_mode) == 0o600
    assert [one.name for one in tmp_path.iterdir()] == ["all.zip"]
    assert "names and results" in capsys.readouterr().out
    assert Change.objects.get(what="exported everything of").by is None
    with pytest.raises(Refusal, match="is there already"):
        call_command("export", "--to", str(path))


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
