"""A spreadsheet as a café keeps one, with everything wrong in it that people do, brought in through the pages."""

from __future__ import annotations

import csv
import io
import re

import pytest
from django.core.files.uploadedfile import SimpleUploadedFile
from django.urls import reverse
from django.utils import timezone

from calibration.bringing_in import uploads
from calibration.models import Import, Reading
from recipes.models import Coffee, RoastBatch, Slot
from tests import factories as make
from tests.bringing_in import sheets
from tests.importing.test_dirty import dirty

pytestmark = pytest.mark.usefixtures("at_once")


@pytest.fixture
def head(bar):
    return make.signed_in(bar.head)


def words(answer):
    return re.sub(r"\s+", " ", re.sub(r"<[^>]+>", " ", answer.content.decode()))


def uploaded(head, content, name="log.xlsx", kind="readings"):
    answer = head.post(
        reverse("calibration:import_new"), {"kind": kind, "file": SimpleUploadedFile(name, content)}
    )
    assert answer.status_code == 302, words(answer)
    return answer.url.split("/")[2]


def as_shown(answer):
    """What the form on the columns page would send."""
    form, given = answer.context["form"], answer.context["given"]
    said = {}
    for field in [*form, *(given or ())]:
        value = field.value()
        if value not in (None, "", False):
            said[field.html_name] = value
    return said


def columns_page(draft):
    return reverse("calibration:import_columns", args=[draft])


def look(head, draft, **changed):
    """Past the columns, to the rows."""
    page = head.get(columns_page(draft))
    answer = head.post(columns_page(draft), as_shown(page) | changed, follow=True)
    assert answer.redirect_chain, words(answer)
    assert answer.redirect_chain[-1][0] == reverse("calibration:import_preview", args=[draft])
    return answer


def seen(head, draft):
    """What the form under the rows says that was looked at."""
    page = head.get(reverse("calibration:import_preview", args=[draft]))
    return page.context["form"]["seen"].value()


def test_a_dirty_spreadsheet_is_told_row_by_row_and_nothing_is_half_in(bar, head):
    recipe = bar.slot.card.recipe
    recipe.name = "House filter"
    recipe.save()
    draft = uploaded(head, dirty().read())
    page = head.get(reverse("calibration:import_sheet", args=[draft]))
    assert "There are merged cells: A9:A10." in words(page)
    answer = head.post(reverse("calibration:import_sheet", args=[draft]), {"sheet": "Sheet", "head_row": 3})
    assert answer.url == columns_page(draft)
    given = {f"given-{name}": key for name, key in bar.given.items()}
    given |= {"given-time": "10:00", "given-batch": str(bar.batch.pk), "given-grind_setting": "24",
              "given-grinder": str(bar.slot.setting.grinder.pk)}  # fmt: skip
    said = words(look(head, draft, **given, unit_5="s"))
    for row in (
        "A4: This can be 2026-03-09 or 2026-09-03. Write the one that is meant.",
        "B7: Miro Demo isn&#x27;t known as a barista. Is it Mira Demo or Ida Demo?",
        "A10: This cell lies under the merged cells A9:A10.",
        "E12: This is a formula whose result isn&#x27;t in the file.",
        "This row says the same as row 5. Was it pasted twice?",
        "F14: A brew time lies between 0:10 and 60:00.",
    ):
        assert row in said
    assert "Cannot be brought in (6)" in said
    assert "Good (4)" in said
    bring = reverse("calibration:import_bring", args=[draft])
    refused = head.post(bring, {"seen": seen(head, draft)})
    assert refused.status_code == 422
    assert "say here that they are left out" in words(refused)
    assert not Reading.objects.exists()
    assert not Import.objects.exists()

    # Miro is Mira, and the good rows come in
    preview = reverse("calibration:import_preview", args=[draft])
    (miro,) = head.get(preview).context["names"]
    assert not miro.value(), "who is only like that name is not taken for them unasked"
    head.post(preview, {miro.html_name: str(bar.crew[0].pk)})
    assert "Good (5)" in words(head.get(preview))
    done = head.post(bring, {"seen": seen(head, draft), "only_good": "on", "sure": "on"}, follow=True)
    assert done.redirect_chain[-1][0] == reverse("calibration:brought", args=[Import.objects.get().pk])
    made = Import.objects.get()
    assert (made.rows, made.brought_in, made.left_out) == (10, 5, 5)
    assert made.readings.count() == 5
    rest = head.get(reverse("calibration:import_rest", args=[made.pk]))
    text = b"".join(rest.streaming_content).decode("utf-8-sig")
    assert [row[-1].split(":")[0] for row in csv.reader(io.StringIO(text))][1:] == [
        "A4",
        "A10",
        "E12",
        "13",
        "F14",
    ]
    assert not list(uploads.folder().glob("*.file"))


def test_the_whole_is_taken_back(bar, head):
    draft = uploaded(head, "\n".join([sheets.HEAD, bar.row(), bar.row(time="11:00")]).encode(), "brews.csv")
    look(head, draft, **{f"given-{name}": key for name, key in bar.given.items()})
    head.post(reverse("calibration:import_bring", args=[draft]), {"seen": seen(head, draft)})
    made = Import.objects.get()
    undo = reverse("calibration:import_undo", args=[made.pk])
    assert "2 readings are voided with your reason" in words(head.get(undo))
    assert head.post(undo, {"why": ""}).status_code == 422
    assert "The import is undone. 2 readings are voided." in words(
        head.post(undo, {"why": "wrong sheet"}, follow=True)
    )
    assert head.post(undo, {"why": "again"}).status_code == 409
    assert set(Reading.objects.values_list("void_reason", flat=True)) == {"wrong sheet"}


def test_the_same_file_again_is_told(bar, head):
    content = "\n".join([sheets.HEAD, bar.row()]).encode()
    draft = uploaded(head, content, "brews.csv")
    look(head, draft, **{f"given-{name}": key for name, key in bar.given.items()})
    head.post(reverse("calibration:import_bring", args=[draft]), {"seen": seen(head, draft)})
    again = uploaded(head, content, "copy.csv")
    assert "This very file was brought in before" in words(
        head.get(reverse("calibration:import_sheet", args=[again]))
    )
    said = words(look(head, again, **{f"given-{name}": key for name, key in bar.given.items()}))
    assert "This brew is in brewbar already" in said
    assert "There is no row that can be brought in." in said


def test_a_question_is_asked_beside_its_column(bar, head):
    rows = [bar.row(day="09/03/2026"), bar.row(day="10/03/2026")]
    draft = uploaded(head, "\n".join([sheets.HEAD, *rows]).encode(), "brews.csv")
    given = {f"given-{name}": key for name, key in bar.given.items()}
    page = head.get(columns_page(draft))
    assert "No date in this column tells the day from the month." in words(page)
    look(head, draft, **given, date_order_0="dmy")
    head.post(reverse("calibration:import_bring", args=[draft]), {"seen": seen(head, draft)})
    assert sorted(f"{one:%m-%d}" for one in Reading.objects.values_list("business_day", flat=True)) == [
        "03-09", "03-10"
    ]  # fmt: skip


def test_coffees_and_batches_are_made_once_and_taken_back(bar, head):
    content = (
        "Coffee;Origin;Batch;Roasted on\nDemo Dawn;Demoland;A1;2026-03-01\nDemo Dawn;;A2;2026-03-05\n"
        f"{bar.batch.coffee.name};;{bar.batch.label};{bar.batch.roasted_on}\n"
    )
    draft = uploaded(head, content.encode(), "lots.csv", "lots")
    said = words(look(head, draft))
    assert "Good (2)" in said
    left = head.get(reverse("calibration:import_preview", args=[draft]) + "?rows=out")
    assert f"{bar.batch.label} of {bar.batch.coffee.name} is known already, and is left as it is." in words(
        left
    )
    head.post(reverse("calibration:import_bring", args=[draft]), {"seen": seen(head, draft)})
    coffee = Coffee.objects.get(name="Demo Dawn")
    assert (coffee.origin, coffee.batches.count()) == ("Demoland", 2)
    used = RoastBatch.objects.get(label="A1")
    make.reading(bar.slot, bar.crew[0], roast_batch=used)
    head.post(reverse("calibration:import_undo", args=[Import.objects.get().pk]), {"why": "not ours"})
    assert not RoastBatch.objects.filter(label="A2").exists()
    used.refresh_from_db()
    assert used.retired_at is not None


@pytest.mark.parametrize(
    ("content", "says"),
    [(b"", "The file is empty."), (b"%PDF-1.7 nothing", "This isn&#x27;t a spreadsheet.")],
)
def test_a_file_that_is_none_is_refused_and_not_kept(head, content, says):
    answer = head.post(
        reverse("calibration:import_new"), {"kind": "readings", "file": SimpleUploadedFile("a.csv", content)}
    )
    assert answer.status_code == 422
    assert says in words(answer)
    assert not list(uploads.folder().iterdir())


def test_a_file_can_be_thrown_away(bar, head):
    draft = uploaded(head, "\n".join([sheets.HEAD, bar.row()]).encode(), "brews.csv")
    assert "brews.csv" in words(head.get(reverse("calibration:imports")))
    head.post(reverse("calibration:import_drop", args=[draft]))
    assert not list(uploads.folder().iterdir())
    assert head.get(columns_page(draft)).status_code == 404


def test_a_slot_of_the_past_troubles_no_page(bar, head):
    """Its code leads on as any other, and the board doesn't show it."""
    upload = bar.sheet(bar.row(day="2025-11-03"))
    from calibration.bringing_in import steps

    steps.bring_in(upload, bar.cafe, bar.head, timezone.now(), sure=True)
    reading = Reading.objects.get()
    assert Slot.objects.live().count() == 1
    for address in (
        reverse("calibration:reading", args=[reading.uuid]),
        reverse("calibration:correct", args=[reading.uuid]),
        reverse("calibration:code", args=[reading.slot.card.code]),
        reverse("recipes:board"),
        reverse("recipes:slot", args=[reading.slot.pk]),
        reverse("recipes:card", args=[reading.slot.pk]),
    ):
        assert head.get(address).status_code in (200, 302, 404), address
