"""The report as people meet it: who may read what, spans, kind refusals, and the same words and numbers everywhere."""

from __future__ import annotations

import csv
import io
import json
import zipfile
from datetime import date, timedelta
from html import unescape

import plotly.graph_objects as go
import pypdf
import pytest
from django.core.cache import cache
from django.urls import reverse
from django.utils import timezone

from brewbar.crew.models import Naming, Role
from brewbar.glyphs import as_drawn
from calibration.report_spans import span_named
from calibration.tables import neutral
from tests import factories as make

NOW = timezone.now()


@pytest.fixture(autouse=True)
def nothing_remembered():
    cache.clear()


@pytest.fixture
def bar(db):
    """A company of two cafés: six people at one, two at the other, over twelve days."""
    cafe = make.cafe(name="Netloft Quay")
    other = make.cafe(cafe.company, name="Ropewalk & Son")
    for at, people in ((cafe, 6), (other, 2)):
        slot = make.live_slot(at, at=NOW - timedelta(days=80))
        crew = [make.person(cafe=at, name=f"Crew {at.pk} {n}") for n in range(people)]
        for day in range(1, 13):
            for n, person in enumerate(crew):
                tds = 1.40 + 0.01 * ((day * 3 + n * 5) % 7 - 3)
                make.reading(
                    slot,
                    person,
                    (f"{tds:.2f}",) * 2,
                    brewed_at=NOW - timedelta(days=day),
                    brew_time_s=165 + (day * 7 + n) % 11,
                )
    return cafe, other


def days(at, /, **more):
    today = at.business_day(NOW)
    return {
        "span": "custom",
        "from": (today - timedelta(days=27)).isoformat(),
        "to": today.isoformat(),
    } | more


def client_of(bar, role):
    return make.signed_in(make.person(role, bar[0]))


def get(client, name="report", status=200, **query):
    answer = client.get(reverse(f"calibration:{name}"), query)
    assert answer.status_code == status, answer.content[:500]
    return answer


def squeezed(text):
    return "".join(as_drawn(text).split())


def text_of(answer):
    return squeezed(unescape(answer.content.decode()))


# --- who reads what


def test_an_owner_reads_of_the_whole_company_or_of_a_cafe(bar):
    cafe, other = bar
    owner = client_of(bar, Role.OWNER)
    whole = get(owner, **days(cafe)).context["report"]
    assert whole.asked.is_whole_company
    assert whole.asked.cafes == (cafe, other)
    alone = get(owner, **days(cafe, cafe=other.pk)).context["report"]
    assert alone.asked.cafes == (other,)
    assert alone.asked.for_owner
    assert alone.cut.counted == 12 * 2


def test_a_head_barista_reads_of_their_own_cafe_whatever_they_ask_for(bar):
    cafe, other = bar
    head = client_of(bar, Role.HEAD)
    for query in (days(cafe), days(cafe, cafe=other.pk)):
        answer = get(head, **query)
        assert answer.context["report"].asked.cafes == (cafe,)
        assert not answer.context["report"].asked.for_owner
        assert "Ropewalk" not in answer.content.decode()
    for name in ("report_csv", "report_figure"):
        assert "Ropewalk" not in get(head, name, **days(cafe, cafe=other.pk)).content.decode()


def test_nobody_reads_of_a_cafe_of_another_company(bar):
    elsewhere = make.cafe(name="Elsewhere")
    owner = client_of(bar, Role.OWNER)
    answer = get(owner, status=422, **days(bar[0], cafe=elsewhere.pk))
    assert "Elsewhere" not in answer.content.decode()


@pytest.mark.parametrize("name", ["report", "report_figure", "report_csv", "report_pdf", "report_zip"])
def test_a_barista_is_refused(bar, name):
    get(client_of(bar, Role.BARISTA), name, status=403)


def test_names_are_shown_to_an_owner_as_the_company_says_also_just_after_that_changed(bar):
    cafe, _other = bar
    owner = client_of(bar, Role.OWNER)
    cafe.company.people_shown_to_owners = Naming.NAMES
    cafe.company.save()
    get(owner, **days(cafe))
    cafe.company.people_shown_to_owners = Naming.UNNAMED
    cafe.company.save()
    packed = get(owner, "report_zip", **days(cafe)).content
    with zipfile.ZipFile(io.BytesIO(packed)) as archive:
        assert not any(b"Crew" in archive.read(name) for name in archive.namelist())


# --- which days


@pytest.mark.parametrize(
    ("name", "today", "first", "last"),
    [
        ("running", date(2026, 11, 26), date(2026, 11, 1), date(2026, 11, 26)),
        ("running", date(2026, 11, 1), date(2026, 11, 1), date(2026, 11, 1)),
        ("month", date(2026, 11, 26), date(2026, 10, 1), date(2026, 10, 31)),
        ("month", date(2027, 1, 1), date(2026, 12, 1), date(2026, 12, 31)),
        ("month", date(2028, 3, 31), date(2028, 2, 1), date(2028, 2, 29)),
        ("quarter", date(2026, 11, 26), date(2026, 7, 1), date(2026, 9, 30)),
        ("quarter", date(2027, 2, 1), date(2026, 10, 1), date(2026, 12, 31)),
        ("quarter", date(2026, 4, 1), date(2026, 1, 1), date(2026, 3, 31)),
    ],
)
def test_spans_that_have_a_name(name, today, first, last):
    assert span_named(name, today) == (first, last)


def test_without_a_word_it_is_last_month(bar):
    cafe, _other = bar
    asked = get(client_of(bar, Role.OWNER)).context["report"].asked
    assert (asked.first, asked.last) == span_named("month", cafe.business_day(timezone.now()))


@pytest.mark.parametrize(
    ("typed", "field", "says"),
    [
        ({"from": "2026-02-30", "to": "2026-03-01"}, "from", "Enter a valid date."),
        ({"from": "", "to": "2026-03-01"}, "from", "This field is required."),
        ({"from": "2026-03-05", "to": "2026-03-01"}, "to", "The span ends before it begins."),
        ({"from": "2020-01-01", "to": "2026-03-01"}, "from", "Choose a span of at most 800 days."),
        ({"from": "2099-01-01", "to": "2099-03-01"}, "from", "That day is still to come."),
    ],
)
def test_days_that_are_wrong_are_told_beside_the_field_and_stay_typed(bar, typed, field, says):
    owner = client_of(bar, Role.OWNER)
    for name in ("report", "report_pdf", "report_csv", "report_zip"):
        answer = get(owner, name, status=422, span="custom", cafe=bar[1].pk, **typed)
        form = answer.context["form"]
        assert says in str(form[{"from": "first", "to": "last"}[field]].errors)
        page = answer.content.decode()
        assert f'name="{field}" value="{typed[field]}"' in page or not typed[field]
        assert f'value="{bar[1].pk}" selected' in page
    assert says in str(get(owner, "report_figure", status=400, span="custom", **typed).json())


# --- the same everywhere


def test_page_paper_and_files_say_the_same_sentences_and_numbers(bar):
    owner = client_of(bar, Role.OWNER)
    query = days(bar[0])
    answer = get(owner, **query)
    report = answer.context["report"]
    page = text_of(answer)
    reader = pypdf.PdfReader(io.BytesIO(get(owner, "report_pdf", **query).content))
    paper = squeezed(" ".join(sheet.extract_text() for sheet in reader.pages))
    assert report.sentences
    for sentence in report.sentences:
        for words in (sentence.says, sentence.how_sure):
            assert squeezed(words) in page
            assert squeezed(words) in paper
    for words in (*report.next, report.people_note, *report.notes):
        assert squeezed(words) in page
        assert squeezed(words) in paper
    for section in report.sections:
        for words in (section.title, *section.says, *section.notes):
            assert squeezed(words) in page, words
            assert squeezed(words) in paper, words
        for row in section.table.cells if section.table else ():
            assert all(squeezed(cell) in page for cell in row)
            assert all(squeezed(cell) in paper for cell in row)


def test_a_csv_is_its_table_unrounded_and_the_zip_holds_all_of_them(bar):
    owner = client_of(bar, Role.OWNER)
    query = days(bar[0])
    report = get(owner, **query).context["report"]
    packed = get(owner, "report_zip", **query).content
    assert packed == get(owner, "report_zip", **query).content
    with zipfile.ZipFile(io.BytesIO(packed)) as archive:
        files = {name: archive.read(name) for name in archive.namelist()}
    assert set(files) == {"report.json"} | {f"{table.key}.csv" for table in report.tables}
    for table in report.tables:
        sent = get(owner, "report_csv", table=table.key, **query)
        assert sent.content == files[f"{table.key}.csv"]
        rows = list(csv.reader(io.StringIO(sent.content.decode("utf-8-sig"))))
        assert rows[0] == list(table.csv_head)
        wanted = [[str(neutral("" if cell is None else cell)) for cell in row] for row in table.numbers]
        assert rows[1:] == wanted
    said = json.loads(files["report.json"])
    assert [s["says"] for s in said["sentences"]] == [s.says for s in report.sentences]
    assert said["cut"]["digest"] == report.cut.digest
    assert said["cut"]["counted"] == report.cut.counted


def test_every_figure_is_one_that_plotly_takes(bar):
    owner = client_of(bar, Role.OWNER)
    answer = get(owner, **days(bar[0]))
    asked = [part["figure_url"] for part in answer.context["sections"] if part["figure_url"]]
    assert asked
    for address in asked:
        drawn = owner.get(address)
        assert drawn.status_code == 200
        assert go.Figure(drawn.json()).data
    get(owner, "report_figure", status=404, figure="none-such", **days(bar[0]))
    get(owner, "report_csv", status=404, table="none-such", **days(bar[0]))


def test_a_company_without_a_reading_has_a_report_too(db):
    owner = make.signed_in(make.person(Role.OWNER))
    report = get(owner).context["report"]
    assert report.cut.counted == 0
    assert get(owner, "report_pdf").content.startswith(b"%PDF")


def test_what_is_asked_for_again_is_not_reckoned_again(bar, django_assert_max_num_queries):
    owner = client_of(bar, Role.OWNER)
    get(owner, **days(bar[0]))
    with django_assert_max_num_queries(12):
        get(owner, "report_figure", **days(bar[0]))
