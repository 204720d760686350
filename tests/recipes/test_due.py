"""A plan with an hour of its own: it goes live by itself, once, at its own time, or says why it did not."""

from __future__ import annotations

from concurrent.futures import ThreadPoolExecutor
from datetime import UTC, datetime, timedelta
from io import StringIO

import pytest
from django.core.management import call_command
from django.db import connection
from django.urls import reverse
from django.utils import timezone

from brewbar.crew.models import Change
from recipes import due, publishing, turns
from recipes.forms.board import DueForm
from recipes.models import Board, Slot
from tests import factories as make

NOW = datetime(2026, 11, 25, 17, 0, tzinfo=UTC)
FIVE = datetime(2026, 11, 26, 5, 0, tzinfo=UTC)


@pytest.fixture
def planned(db) -> Slot:
    return make.planned_slot(make.cafe())


@pytest.fixture
def board(planned) -> Board:
    return Board.objects.select_related("cafe").get(pk=planned.board_id)


@pytest.fixture
def head(board):
    return make.person("head", board.cafe, name="Rita Faro")


def anew(board: Board) -> Board:
    return Board.objects.select_related("cafe").get(pk=board.pk)


def test_it_goes_live_at_its_hour_whenever_the_board_is_read_next(board, planned, head):
    due.set_due(board, FIVE, head, NOW)
    early = anew(board)
    assert not publishing.bring_up_to_date(early, FIVE - timedelta(seconds=1))
    assert not board.slots.live().exists()
    assert publishing.bring_up_to_date(early, FIVE + timedelta(hours=2))
    planned.refresh_from_db()
    planned.version.refresh_from_db()
    assert (planned.published_at, planned.published_by) == (FIVE, head)
    assert (planned.version.published_at, planned.version.published_by) == (FIVE, head)
    there = anew(board)
    assert (there.published_at, there.due_at, there.due_by, there.revision) == (FIVE, None, None, 1)
    # Whoever still holds the row of before finds it done.
    assert publishing.bring_up_to_date(early, FIVE + timedelta(hours=2))
    assert anew(board).revision == 1


def test_while_nothing_is_due_asking_costs_nothing(board, head, django_assert_num_queries):
    due.set_due(board, FIVE, head, NOW)
    board = anew(board)
    with django_assert_num_queries(0):
        publishing.bring_up_to_date(board, NOW)


@pytest.mark.parametrize("read", ["board", "poll", "code", "card", "plan", "cards"])
def test_whichever_page_is_opened_first(board, planned, head, read):
    at = timezone.now() - timedelta(minutes=5)
    Board.objects.filter(pk=board.pk).update(due_at=at, due_by=head)
    client = make.signed_in(make.person("head", board.cafe))
    paths = {
        "board": "/board/",
        "poll": "/board/?seen=0",
        "code": reverse("calibration:code", args=[planned.card.code]),
        "card": reverse("recipes:card", args=[make.live_slot(board.cafe).pk]),
        "plan": "/board/plan/",
        "cards": "/board/cards.pdf",
    }
    answer = client.get(paths[read], headers={"HX-Request": "true"} if read == "poll" else {})
    assert answer.status_code == 200
    planned.refresh_from_db()
    assert (planned.published_at, planned.published_by) == (at, head)


def test_what_changes_after_the_hour_comes_after_the_plan(board, planned, head):
    """Somebody plans at half past five, and nobody has looked at the board since five."""
    due.set_due(board, FIVE, head, NOW)
    late = make.version(make.recipe(board.cafe.company))
    setting = planned.setting
    publishing.plan_slot(
        board, planned.station, late, make.batch(late.recipe.coffee), setting.grinder, "9", planned.kettle, head,
        FIVE + timedelta(minutes=30),
    )  # fmt: skip
    assert [slot.version for slot in board.slots.live()] == [planned.version]
    assert [slot.version for slot in board.slots.planned()] == [late]


def test_an_error_that_came_up_meanwhile_leaves_all_as_it_was_and_is_told(board, planned, head):
    due.set_due(board, FIVE, head, NOW)
    planned.setting.roast_batch.retire()
    assert publishing.bring_up_to_date(anew(board), FIVE)
    there = anew(board)
    assert (there.due_at, there.due_by, there.revision, there.published_at) == (None, None, 0, None)
    assert "used up" in there.due_trouble
    assert not board.slots.live().exists()
    for path in ("/board/", "/board/plan/"):
        assert "did not go live" in make.signed_in(head).get(path).content.decode()
    barista = make.signed_in(make.person(cafe=board.cafe))
    assert "did not go live" not in barista.get("/board/").content.decode()
    due.clear_due(board, head, FIVE)
    assert anew(board).due_trouble == ""


def test_what_has_errors_or_is_empty_is_not_let_go(board, planned, head):
    planned.setting.roast_batch.retire()
    with pytest.raises(turns.Refused, match="used up"):
        due.set_due(board, FIVE, head, NOW)
    publishing.drop_planned(planned, NOW)
    with pytest.raises(turns.Refused, match="Nothing is planned"):
        due.set_due(board, FIVE, head, NOW)
    assert anew(board).due_at is None


@pytest.mark.parametrize("at", [NOW, NOW - timedelta(days=1), NOW + timedelta(days=15)])
def test_the_moment_is_ahead_but_not_far(board, head, at):
    with pytest.raises(turns.Refused):
        due.set_due(board, at, head, NOW)


def test_publishing_by_hand_leaves_nothing_due(board, head):
    due.set_due(board, FIVE, head, NOW)
    publishing.publish(board, head, NOW)
    assert anew(board).due_at is None


def test_set_and_cleared_are_on_record_and_so_is_who_published(board, head):
    due.set_due(board, FIVE, head, NOW)
    due.set_due(board, FIVE + timedelta(hours=1), head, NOW)
    due.clear_due(board, head, NOW)
    due.set_due(board, FIVE, head, NOW)
    publishing.bring_up_to_date(anew(board), FIVE)
    about_the_board = Change.objects.filter(about=Change.About.BOARD).order_by("pk")
    said = [(change.by, change.before, change.after) for change in about_the_board]
    five, six = {"goes live": "2026-11-26 05:00"}, {"goes live": "2026-11-26 06:00"}
    assert said[:4] == [(head, {}, five), (head, five, six), (head, six, {}), (head, {}, five)]
    assert said[4][0] == head
    assert "24 on" in " ".join(said[4][2].values())


def test_of_many_who_read_at_once_one_publishes(transactional_db):
    planned = make.planned_slot(make.cafe())
    board, head = planned.board, planned.planned_by
    due.set_due(board, FIVE, head, NOW)
    held = anew(board)

    def read(_number: int) -> bool:
        try:
            return publishing.bring_up_to_date(held, FIVE)
        finally:
            connection.close()

    with ThreadPoolExecutor(4) as pool:
        assert all(pool.map(read, range(4)))
    assert anew(board).revision == 1
    assert Change.objects.filter(about=Change.About.BOARD, what__startswith="published").count() == 1


def test_the_command_publishes_what_is_due_and_tells_what_is_not_ready(board, planned, head):
    other = make.planned_slot(make.cafe())
    at = timezone.now() - timedelta(minutes=1)
    for one in (planned, other):
        Board.objects.filter(pk=one.board_id).update(due_at=at, due_by=head)
    other.setting.roast_batch.retire()
    out, err = StringIO(), StringIO()
    call_command("publish_due", stdout=out, stderr=err)
    assert str(board.cafe) in out.getvalue()
    assert "used up" in err.getvalue()
    planned.refresh_from_db()
    assert planned.published_at == at
    call_command("publish_due", stdout=(nothing := StringIO()), stderr=nothing)
    assert nothing.getvalue() == ""


# Europe/Lisbon 2026: clocks go from 1:00 to 2:00 on 29 March, and from 2:00 back to 1:00 on 25 October
# (IANA time zone database, rules EU: last Sundays of March and October at 01:00 UTC).


def typed(zone: str, at: str) -> DueForm:
    return DueForm({"at": at}, cafe=make.cafe(time_zone=zone), now=NOW)


def test_an_hour_that_the_clocks_skip_is_refused(db):
    form = typed("Europe/Lisbon", "2026-03-29T01:30")
    assert "clocks" in str(form.errors["at"])
    assert typed("Europe/Lisbon", "2026-03-29T02:00").is_valid()


def test_of_an_hour_that_comes_twice_the_first_counts(db):
    form = typed("Europe/Lisbon", "2026-10-25T01:30")
    assert form.is_valid()
    assert form.cleaned_data["at"] == datetime(2026, 10, 25, 0, 30, tzinfo=UTC)


@pytest.mark.parametrize(
    ("turns_at", "now", "expected"),
    [
        (4, datetime(2026, 11, 25, 17, tzinfo=UTC), "2026-11-26T04:00"),
        (4, datetime(2026, 11, 26, 2, tzinfo=UTC), "2026-11-26T04:00"),
        (1, datetime(2026, 3, 28, 20, tzinfo=UTC), "2026-03-29T02:00"),
    ],
)
def test_usually_it_is_the_next_turn_of_the_day(db, turns_at, now, expected):
    lisbon = make.cafe(time_zone="Europe/Lisbon", day_turns_at=turns_at)
    at = due.next_turn(lisbon, now)
    assert at.isoformat()[:16] == expected
    assert at > now


def test_it_is_told_as_one_says_it(board):
    for at, words in (
        (None, ""),
        (NOW + timedelta(minutes=30), "today at 17:30"),
        (FIVE, "tomorrow at 05:00"),
        (FIVE + timedelta(days=1), "on Fri 27 Nov at 05:00"),
    ):
        board.due_at = at
        assert due.said(board, NOW) == words


class TestPage:
    def test_set_seen_by_heads_only_and_cancelled(self, board, head):
        client = make.signed_in(head)
        tomorrow = (timezone.now() + timedelta(days=1)).date().isoformat()
        assert client.post("/board/publish/later/", {"at": f"{tomorrow}T05:00"})["Location"] == "/board/plan/"
        for path in ("/board/", "/board/plan/"):
            assert "tomorrow at 05:00" in client.get(path).content.decode()
        barista = make.signed_in(make.person(cafe=board.cafe))
        assert "tomorrow at 05:00" not in barista.get("/board/").content.decode()
        client.post("/board/publish/later/clear/")
        assert "tomorrow at 05:00" not in client.get("/board/").content.decode()

    @pytest.mark.parametrize("at", ["soon", "31.02.", "", "2020-01-01T05:00", "2050-01-01T05:00"])
    def test_what_cannot_be_is_kept_and_refused(self, board, head, at):
        answer = make.signed_in(head).post("/board/publish/later/", {"at": at})
        assert answer.status_code == 422
        assert not at or f'value="{at}"' in answer.content.decode()
        assert anew(board).due_at is None

    def test_a_head_baristas_open_board_hears_of_it_without_a_word_of_change(self, board, head):
        client = make.signed_in(head)
        due.set_due(board, timezone.now() + timedelta(hours=1), head, timezone.now())
        answer = client.get("/board/?seen=0&due=none", headers={"HX-Request": "true"})
        assert answer.status_code == 200
        assert "goes live" in answer.content.decode()
        assert "has changed" not in answer.content.decode()
        mark = due.mark(anew(board))
        again = client.get(f"/board/?seen=0&due={mark}", headers={"HX-Request": "true"})
        assert again.status_code == 204
