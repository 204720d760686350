"""What a barista is told about a change of recipe, until they have read or brewed it; and who has not yet."""

from __future__ import annotations

from datetime import timedelta

import pytest
from django.urls import reverse
from django.utils import timezone

from brewbar.crew.access import Place
from brewbar.crew.models import Membership, Role, Tablet, User
from recipes import seen
from recipes.models import RecipeVersion, Seen, Slot
from tests import factories as make

HTMX = {"HX-Request": "true"}


class Bar:
    """A café with a crew that has been there for a month, and one card whose versions follow each other."""

    def __init__(self) -> None:
        self.now = timezone.now()
        self.cafe = make.cafe()
        self.head, self.barista, self.other = (
            self.came(make.person(role, self.cafe, name=name))
            for role, name in (
                (Role.HEAD, "Rita Faro"),
                (Role.BARISTA, "Ana Lima"),
                (Role.BARISTA, "Bo Dahl"),
            )
        )
        self.recipe = make.recipe(self.cafe.company, by=self.head)
        self.station = make.station(self.cafe)
        self.days_ago = 20

    def came(self, user: User, days_ago: int = 30) -> User:
        Membership.objects.filter(user=user).update(started_at=self.now - timedelta(days=days_ago))
        return user

    def version(self, what: str) -> RecipeVersion:
        last = self.recipe.versions.order_by("-number").first()
        why = f"because of {what}" if last else ""
        changed = what if last else ""
        return make.version(self.recipe, based_on=last, what_changed=changed, why=why, published=True)

    def puts_on(self, version: RecipeVersion) -> Slot:
        """One day after another."""
        self.days_ago -= 1
        at = self.now - timedelta(days=self.days_ago)
        Slot.objects.live().filter(card__recipe=self.recipe).update(withdrawn_at=at)
        return make.live_slot(self.cafe, version=version, station=self.station, by=self.head, at=at)

    def told(self, user: User) -> seen.News | None:
        slots = list(Slot.objects.live().for_card().filter(board__cafe=self.cafe))
        found = seen.news_for(make.member(user), slots, self.now)
        return found.get(slots[0].pk)

    def reads(self, user: User, slot: Slot) -> None:
        seen.mark_seen(slot, user, slot.published_at + timedelta(hours=1))


@pytest.fixture
def bar(db) -> Bar:
    return Bar()


def test_a_recipe_new_to_the_station_is_told_until_it_was_read(bar):
    slot = bar.puts_on(bar.version("first"))
    told = bar.told(bar.barista)
    assert told is not None
    assert told.before is None
    bar.reads(bar.barista, slot)
    assert bar.told(bar.barista) is None
    assert bar.told(bar.other) is not None


def test_a_new_version_tells_what_changed_since_the_one_that_was_read(bar):
    one, two, three = bar.version("first"), bar.version("finer"), bar.version("hotter")
    bar.reads(bar.barista, bar.puts_on(one))
    bar.reads(bar.other, bar.puts_on(two))
    bar.puts_on(three)
    told, of_other = bar.told(bar.barista), bar.told(bar.other)
    assert told is not None
    assert of_other is not None
    assert (told.before, [v.what_changed for v in told.versions]) == (one, ["hotter", "finer"])
    assert (of_other.before, [v.what_changed for v in of_other.versions]) == (two, ["hotter"])


def test_who_never_read_any_is_told_since_the_one_that_stood_before(bar):
    one, two = bar.version("first"), bar.version("finer")
    bar.puts_on(one)
    bar.puts_on(two)
    told = bar.told(bar.barista)
    assert told is not None
    assert told.before == one


def test_the_same_version_put_on_again_is_no_change(bar):
    one, two = bar.version("first"), bar.version("finer")
    bar.puts_on(one)
    bar.reads(bar.barista, bar.puts_on(two))
    bar.puts_on(two)
    assert bar.told(bar.barista) is None
    told = bar.told(bar.other)
    assert told is not None
    assert told.before == one


def test_a_version_that_comes_back_is_told_as_that(bar):
    one, two = bar.version("first"), bar.version("finer")
    bar.reads(bar.barista, bar.puts_on(one))
    bar.reads(bar.other, bar.puts_on(one))
    bar.reads(bar.barista, bar.puts_on(two))
    bar.puts_on(one)
    for user in (bar.barista, bar.other):
        told = bar.told(user)
        assert told is not None
        assert (told.before, told.is_back) == (two, True)


def test_nobody_is_asked_about_what_stood_before_they_came_or_what_they_put_on(bar):
    bar.puts_on(bar.version("first"))
    newcomer = bar.came(make.person(cafe=bar.cafe), days_ago=2)
    assert bar.told(newcomer) is None
    assert bar.told(bar.head) is None
    Membership.objects.filter(user=bar.head).update(role=Role.BARISTA)
    assert bar.told(bar.head) is None


def test_a_tablet_by_itself_tells_what_is_new_today(bar):
    head = make.person(Role.HEAD, bar.cafe)
    tablet = Tablet.objects.create(station=bar.station, key_hash="x", enrolled_at=bar.now, enrolled_by=head)
    place = Place.of(tablet)
    slot = bar.puts_on(bar.version("first"))
    slots = list(Slot.objects.live().for_card())
    assert seen.news_for(place, slots, slot.published_at).keys() == {slot.pk}
    assert seen.news_for(place, slots, slot.published_at + timedelta(days=2)) == {}


def test_head_baristas_see_who_has_read_it_and_who_has_not_yet(bar):
    slot = bar.puts_on(bar.version("first"))
    bar.came(make.person(cafe=bar.cafe, name="Newcomer"), days_ago=1)
    gone = bar.came(make.person(cafe=bar.cafe, name="Gone"))
    gone.memberships.update(ended_at=bar.now)
    bar.reads(bar.barista, slot)
    readers = seen.readers_of(bar.cafe, [Slot.objects.get(pk=slot.pk)])[slot.pk]
    assert [row.user for row in readers.seen] == [bar.barista]
    assert list(readers.not_yet) == [bar.other]
    page = make.signed_in(bar.head).get("/board/").content.decode()
    assert "Seen by 1 of 2" in page
    assert "Bo Dahl" in page
    assert "Bo Dahl" in make.signed_in(bar.head).get(reverse("recipes:slot", args=[slot.pk])).content.decode()


class TestPage:
    def test_one_tap_on_the_board_or_on_the_card(self, bar):
        bar.puts_on(bar.version("first"))
        slot = bar.puts_on(bar.version("finer"))
        client, path = make.signed_in(bar.barista), reverse("recipes:slot_seen", args=[slot.pk])
        card = reverse("recipes:card", args=[slot.pk])
        for page in ("/board/", card):
            text = client.get(page).content.decode()
            assert path in text
            assert "finer" in text
            assert "because of finer" in text
            assert (
                f"{reverse('recipes:compare')}?a={slot.version.based_on_id}&amp;b={slot.version_id}" in text
            )
        assert client.post(path, {"on_card": "1"})["Location"] == card
        assert client.post(path)["Location"] == "/board/"
        assert Seen.objects.filter(slot=slot, user=bar.barista).count() == 1
        for page in ("/board/", card):
            assert path not in client.get(page).content.decode()

    def test_with_htmx_only_the_notice_goes(self, bar):
        slot = bar.puts_on(bar.version("first"))
        path = reverse("recipes:slot_seen", args=[slot.pk])
        answer = make.signed_in(bar.barista).post(path, headers=HTMX)
        text = answer.content.decode()
        assert f'id="news-{slot.pk}"' in text
        assert "<form" not in text
        assert "<html" not in text
        slot.board.refresh_from_db()
        assert slot.board.revision == 0, "nobody else's board is fetched anew"

    def test_heads_and_owners_are_not_asked(self, bar):
        slot = bar.puts_on(bar.version("first"))
        path = reverse("recipes:slot_seen", args=[slot.pk])
        for user in (bar.head, make.person(Role.OWNER, company=bar.cafe.company)):
            assert path not in make.signed_in(user).get("/board/").content.decode()

    def test_a_planned_slot_cannot_be_read(self, bar):
        planned = make.planned_slot(bar.cafe)
        path = reverse("recipes:slot_seen", args=[planned.pk])
        assert make.signed_in(bar.barista).post(path).status_code == 404

    def test_the_board_does_not_query_by_change(self, bar, django_assert_max_num_queries):
        bar.puts_on(bar.version("first"))
        bar.puts_on(bar.version("finer"))
        for user in (bar.head, bar.barista):
            client = make.signed_in(user)
            with django_assert_max_num_queries(18) as few:
                client.get("/board/")
            for _ in range(3):
                make.live_slot(bar.cafe)
            with django_assert_max_num_queries(len(few.captured_queries)):
                client.get("/board/")
