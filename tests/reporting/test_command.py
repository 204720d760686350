"""`manage.py report`: what it prints, writes and sends, and one kind sentence for whatever cannot be."""

from __future__ import annotations

import io
from datetime import timedelta

import pypdf
import pytest
from django.core import mail
from django.core.management import call_command
from django.utils import timezone

from brewbar.crew.models import Role
from brewbar.deployment import read_mail
from brewbar.refusal import Refusal
from calibration import report_files
from tests import factories as make

NOW = timezone.now()


@pytest.fixture
def cafe(db):
    cafe = make.cafe(make.company("Marrow & Heron"), name="Netloft Quay")
    make.cafe(cafe.company, name="Ropewalk")
    slot = make.live_slot(cafe, at=NOW - timedelta(days=80))
    person = make.person(cafe=cafe)
    for day in range(1, 8):
        make.reading(slot, person, brewed_at=NOW - timedelta(days=day))
    return cafe


def report(*given: str, **more) -> str:
    out = io.StringIO()
    call_command("report", *given, stdout=out, **more)
    return out.getvalue()


def span(cafe):
    today = cafe.business_day(NOW)
    return ("--from", f"{today - timedelta(days=13)}", "--to", f"{today}")


def test_without_a_file_it_prints_what_the_page_says_first(cafe):
    said = report(*span(cafe))
    assert said.startswith("Marrow & Heron, ")
    assert "the whole company, 2 cafés" in said
    assert "Of these in the numbers: 7" in said


def test_a_cafe_is_named_in_any_case(cafe):
    assert report("--cafe", "netloft QUAY", *span(cafe)).startswith("Netloft Quay, ")


def test_pdf_and_csv_are_written_whole_and_the_same_again(cafe, tmp_path):
    pdf, folder = tmp_path / "report.pdf", tmp_path / "new" / "tables"
    said = report("--pdf", str(pdf), "--csv", str(folder), *span(cafe))
    assert pypdf.PdfReader(pdf).metadata.title.startswith("Marrow & Heron")
    names = {path.name for path in folder.iterdir()}
    assert "report.json" in names
    assert f"{folder}: {len(names)} files." in said
    first = {path: path.read_bytes() for path in (pdf, *folder.iterdir())}
    report("--pdf", str(pdf), "--csv", str(folder), *span(cafe))
    assert {path: path.read_bytes() for path in first} == first
    assert {path.name for path in tmp_path.iterdir()} == {"report.pdf", "new"}


def test_a_write_that_fails_leaves_what_was_there(tmp_path, monkeypatch):
    path = tmp_path / "report.pdf"
    path.write_bytes(b"before")

    def full(_handle):
        raise OSError(28, "No space left on device")

    monkeypatch.setattr("os.fsync", full)
    with pytest.raises(OSError, match="No space"):
        report_files.write(path, b"after")
    assert path.read_bytes() == b"before"
    assert list(tmp_path.iterdir()) == [path]


def test_it_is_sent_to_the_owners(cafe, settings):
    settings.MAIL = read_mail({"BREWBAR_MAIL": "smtp://mail.example", "BREWBAR_MAIL_FROM": "bar@example.org"})
    owner = make.person(Role.OWNER, company=cafe.company)
    owner.email = "imogen@example.org"
    owner.save()
    assert report("--mail", *span(cafe)) == "Sent to imogen@example.org.\n"
    ((name, content, _kind),) = mail.outbox[0].attachments
    assert name.endswith(".pdf")
    assert content.startswith(b"%PDF")


@pytest.mark.parametrize(
    ("given", "says"),
    [
        (["--company", "Nobody's"], "There is no company called Nobody's. Known: Marrow & Heron."),
        (
            ["--cafe", "Nowhere"],
            "There is no café of Marrow & Heron called Nowhere. Known: Netloft Quay, Ropewalk.",
        ),
        (["--from", "2026-10-31", "--to", "2026-10-01"], "--to 2026-10-01 lies before --from 2026-10-31"),
        (
            ["--from", "31 Oct", "--to", "2026-10-01"],
            "--from is '31 Oct', which is no day: write it as 2026-10-31.",
        ),
        (["--from", "2026-10-01"], "Which days?"),
        ([], "Which days?"),
        (["--last", "month", "--to", "2026-10-01"], "--last names a whole span"),
        (
            ["--last", "month", "--pdf", "/nowhere/report.pdf"],
            "--pdf is /nowhere/report.pdf, which cannot be written",
        ),
        (["--last", "month", "--pdf", "/"], "--pdf is /, which cannot be written"),
        (["--last", "month", "--csv", "/dev/null/x"], "--csv is /dev/null/x, which cannot be written"),
        (["--last", "month", "--mail"], "No mail is sent from here: set BREWBAR_MAIL"),
    ],
)
def test_what_cannot_be_is_told_in_a_sentence(cafe, given, says, settings):
    settings.MAIL = None
    with pytest.raises(Refusal) as told:
        report(*given)
    assert says in str(told.value)
    assert "\n" not in str(told.value)


def test_of_several_companies_one_must_be_named(cafe):
    make.cafe(make.company("Another"))
    with pytest.raises(Refusal) as told:
        report(*span(cafe))
    assert str(told.value) == "Which company? Say --company with one of: Another, Marrow & Heron."
    assert report("--company", "marrow & heron", *span(cafe))
