"""What cannot be brought in, and what is not there any more, is said kindly; a long sheet is shown page by page."""

from __future__ import annotations

import io
import time
import zipfile
from concurrent.futures import ThreadPoolExecutor
from threading import Event

import pytest
from django.core.files.uploadedfile import SimpleUploadedFile
from django.urls import reverse

from calibration.bringing_in import uploads, working
from calibration.bringing_in.known import Known
from calibration.bringing_in.working import Progress
from calibration.forms.bringing_in import NamesForm
from calibration.importing import reading
from tests import factories as make
from tests.bringing_in import sheets
from tests.bringing_in.test_pages import look, uploaded, words

OLD = b"\xd0\xcf\x11\xe0\xa1\xb1\x1a\xe1" + bytes(504)
LOCKED = OLD + "EncryptedPackage".encode("utf-16-le")

pytestmark = pytest.mark.usefixtures("at_once")


@pytest.fixture
def head(bar):
    return make.signed_in(bar.head)


def open_document():
    packed = io.BytesIO()
    with zipfile.ZipFile(packed, "w") as book:
        book.writestr("mimetype", "application/vnd.oasis.opendocument.spreadsheet")
        book.writestr("content.xml", "<office:document-content/>")
    return packed.getvalue()


@pytest.mark.parametrize(
    ("content", "says"),
    [
        (
            OLD,
            "This is an old workbook (.xls). Open it, and save it as a newer one (.xlsx) or as CSV.",
        ),
        (LOCKED, "password"),
        (open_document(), "This is an OpenDocument file. Save it as a workbook (.xlsx) or as CSV."),
        (b"\x89PNG\r\n", "This isn&#x27;t a spreadsheet. Save the sheet as XLSX or CSV."),
        (b"\n\n\n", "The file is empty."),
    ],
)
def test_a_file_of_another_kind_says_what_would_help_beside_its_field(head, content, says):
    answer = head.post(
        reverse("calibration:import_new"), {"kind": "lots", "file": SimpleUploadedFile("log.xlsx", content)}
    )
    assert answer.status_code == 422
    assert says in words(answer)
    assert says in words(answer).split("Spreadsheet", 2)[2]
    assert answer.context["form"]["kind"].value() == "lots"
    assert not list(uploads.folder().iterdir())


def test_a_file_that_is_too_large_says_what_to_do(head, monkeypatch):
    monkeypatch.setattr(uploads, "MOST_BYTES", 1_000_000)
    answer = head.post(
        reverse("calibration:import_new"),
        {"kind": "readings", "file": SimpleUploadedFile("log.csv", b"a;b\n" * 250_001)},
    )
    assert answer.status_code == 422
    assert "The file is larger than 1 MB. Part it in two and bring them in one by one." in words(answer)


def test_a_long_sheet_is_shown_page_by_page_each_row_as_it_is_read(bar, head):
    lines = [
        bar.row(day=f"2026-03-0{1 + n // 60}", time=f"9:{n % 60:02d}", dose=f"15,{n % 10}")
        for n in range(120)
    ]
    draft = uploaded(head, "\n".join([sheets.HEAD, *lines]).encode(), "brews.csv")
    first = look(head, draft, **{f"given-{name}": key for name, key in bar.given.items()})
    assert [row.line.number for row in first.context["page_obj"]] == list(range(2, 27))
    last = head.get(reverse("calibration:import_preview", args=[draft]) + "?rows=good&page=5")
    assert [row.line.number for row in last.context["page_obj"]] == list(range(102, 122))
    assert dict(last.context["page_obj"][19].parts) == {
        "day of the brew": "2 Mar 2026",
        "time of the brew": "09:59",
        "barista": bar.crew[0].name,
        "recipe": bar.slot.card.recipe.name,
        "roast batch": bar.batch.label,
        "grinder": bar.slot.setting.grinder.name,
        "grind setting": "24",
        "dose": "15.9 g",
        "brew water": "250.0 g",
        "beverage mass": "220.0 g",
        "brew time": "2:45",
        "TDS": "1.40 %, 1.41 %",
    }


def test_while_the_work_goes_on_every_step_leads_to_it_and_it_asks_by_itself(bar, head):
    draft = uploaded(head, "\n".join([sheets.HEAD, bar.row()]).encode(), "brews.csv")
    key = f"{bar.cafe.pk}:{draft}"
    working.cache.set(working._key(key), Progress("bring", done=30, of=120))
    work = reverse("calibration:import_work", args=[draft])
    for step in ("sheet", "columns", "preview"):
        assert head.get(reverse(f"calibration:import_{step}", args=[draft])).url == work
    assert work in words_and_links(head.get(reverse("calibration:imports")))
    assert "25 % is done." in words(head.get(work))
    fragment = head.get(work, headers={"HX-Request": "true", "X-Poll": "yes"})
    assert "<h1" not in fragment.content.decode()
    assert 'hx-headers=\'{"X-Poll":"yes"}\'' in fragment.content.decode()
    working.cache.set(working._key(key), Progress("bring", "failed", says="Row 7 is doubtful."))
    assert head.get(work, headers={"HX-Request": "true"})["HX-Redirect"] == reverse(
        "calibration:import_columns", args=[draft]
    )
    assert "Row 7 is doubtful." in words(head.get(reverse("calibration:imports")))


def test_what_is_being_brought_in_is_not_deleted(bar, head):
    draft = uploaded(head, "\n".join([sheets.HEAD, bar.row()]).encode(), "brews.csv")
    working.cache.set(working._key(f"{bar.cafe.pk}:{draft}"), Progress("bring"))
    answer = head.post(reverse("calibration:import_drop", args=[draft]))
    assert answer.url == reverse("calibration:import_work", args=[draft])
    assert uploads.find(bar.cafe, draft) is not None


def test_a_name_answered_in_a_window_of_before_means_nobody_else(bar, head):
    rows = [bar.row(barista="Mira"), bar.row(barista="Zo")]
    draft = uploaded(head, "\n".join([sheets.HEAD, *rows]).encode(), "brews.csv")
    given = {f"given-{name}": key for name, key in bar.given.items()}
    mira, zo = look(head, draft, **given).context["names"]
    assert [mira.value(), zo.value()] == [str(bar.crew[0].pk), ""]
    known = Known(bar.cafe)
    later = NamesForm({mira.html_name: mira.value()}, unknown={"barista": {"Zo": []}}, known=known, said={})
    assert later.is_valid()
    assert later.meant() == {}


def test_a_file_that_is_put_away_meanwhile_is_swept_by_whoever_was_first(bar, monkeypatch):
    bar.sheet(bar.row())
    monkeypatch.setattr(uploads, "KEPT_DAYS", -1)
    names = list(uploads.folder().iterdir())
    names[0].unlink()
    monkeypatch.setattr(type(names[0]), "iterdir", lambda _folder: iter(names))
    assert uploads.waiting(bar.cafe) == []
    assert not any(path.exists() for path in names)


def test_a_sheet_that_takes_long_to_be_opened_keeps_no_other_waiting(bar, monkeypatch):
    long, other = bar.sheet(bar.row()), bar.sheet(bar.row(time="10:00"))
    for upload in (long, other):
        uploads.close(upload.token)
    begun, others, opened = Event(), Event(), reading.open_sheet

    def slowly(file, name):
        if file.name == str(long.path):
            begun.set()
            assert others.wait(60)
        return opened(file, name)

    def count(upload):
        with uploads.sheet_of(upload) as sheet:
            return sheet.count

    monkeypatch.setattr(reading, "open_sheet", slowly)
    with ThreadPoolExecutor(2) as threads:
        waits = [threads.submit(count, long) for _n in range(2)]
        assert begun.wait(60)
        assert count(other) == 2
        others.set()
        assert [one.result(60) for one in waits] == [2, 2]


def test_a_sheet_that_is_being_read_is_not_closed(bar):
    upload = bar.sheet(bar.row())
    with uploads.sheet_of(upload) as sheet:
        uploads.forget(upload)
        assert len(list(sheet.rows())) == 2
    with pytest.raises(FileNotFoundError), uploads.sheet_of(upload):
        pass
    assert not uploads.opened_now


def test_who_presses_twice_begins_once(monkeypatch):
    begun, asked = [], working.progress

    def slowly(token):
        found = asked(token)
        time.sleep(0.2)
        return found

    monkeypatch.setattr(working, "progress", slowly)
    monkeypatch.setattr(working, "run_soon", begun.append)
    with ThreadPoolExecutor(2) as threads:
        list(threads.map(lambda _n: working.start("pressed-twice", "bring", lambda tell: ""), range(2)))
    assert len(begun) == 1


def words_and_links(answer):
    return answer.content.decode()


def test_a_spreadsheet_that_is_gone_says_so_and_leads_on(bar, head):
    draft = uploaded(head, "\n".join([sheets.HEAD, bar.row()]).encode(), "brews.csv")
    head.post(reverse("calibration:import_drop", args=[draft]))
    answer = head.get(reverse("calibration:import_columns", args=[draft]))
    assert answer.status_code == 404
    assert "This spreadsheet does not wait here any more" in words(answer)
    assert reverse("calibration:imports") in answer.content.decode()


def test_what_no_column_says_is_asked_for_beside_its_field_and_the_only_one_is_chosen(bar, head):
    make.station(bar.cafe, name="Back bar")
    draft = uploaded(head, "\n".join([sheets.HEAD, bar.row()]).encode(), "brews.csv")
    columns = reverse("calibration:import_columns", args=[draft])
    given = head.get(columns).context["given"]
    assert [field.name for field in given.asked()] == ["station", "instrument"]
    assert given["instrument"].value() == str(bar.instrument.pk)
    said = {f"column_{place}": "" for place in range(13)}
    answer = head.post(columns, said)
    assert answer.status_code == 422
    errors = answer.context["given"].errors
    assert set(errors) == {"station", "instrument", "barista", "recipe", "dose_g", "water_g"}
