"""Who may change whose role, what ends with it, and that a company never loses its last owner."""

from datetime import timedelta

import pytest
from django.urls import reverse
from django.utils import timezone

from brewbar.crew import joining, pins, roles
from brewbar.crew.models import Change, Membership, OneTimeLink, Role
from tests import factories as make


@pytest.fixture
def cafe(db):
    return make.cafe(name="Harbour")


@pytest.fixture
def owner(cafe):
    return make.person(Role.OWNER, company=cafe.company, name="Olga Owner")


@pytest.fixture
def head(cafe):
    return make.person(Role.HEAD, cafe, name="Hana Head")


@pytest.fixture
def barista(cafe):
    return make.person(Role.BARISTA, cafe, name="Bo Barista")


def send(by, name, membership, **fields):
    """What comes of it when ``by`` sends that form of the membership's."""
    return make.signed_in(by).post(reverse(f"crew:{name}", args=[membership.pk]), fields)


def of(user) -> Membership:
    return user.memberships.get()


def key_in(answer) -> str:
    return answer.context["address"].split("/join/")[1].strip("/")


def test_a_head_barista_sees_the_own_crew_an_owner_everybody(cafe, owner, head, barista):
    there = make.person(Role.BARISTA, make.cafe(cafe.company), name="Tea There")
    elsewhere = make.person(Role.BARISTA, name="Else Where")
    gone = make.person(Role.BARISTA, cafe, name="Gone By")
    gone.memberships.update(ended_at=timezone.now())
    page = make.signed_in(head).get("/crew/").content.decode()
    assert all(name in page for name in ("Hana Head", "Bo Barista", "Gone By", "1 earlier role"))
    assert not any(name in page for name in (there.name, elsewhere.name, "Olga Owner"))
    page = make.signed_in(owner).get("/crew/").content.decode()
    assert all(name in page for name in ("Hana Head", "Bo Barista", "Tea There", "Olga Owner"))
    assert elsewhere.name not in page


def test_the_page_costs_the_same_however_many_there_are(cafe, head, django_assert_max_num_queries):
    for number in range(9):
        make.person(cafe=cafe)
        make.link(cafe, by=head, name=f"N{number}")
    client = make.signed_in(head)
    with django_assert_max_num_queries(6):
        client.get("/crew/")


def test_a_link_is_shown_once_as_text_and_code_and_kept_as_a_hash(cafe, head):
    client = make.signed_in(head)
    answer = client.post("/crew/invite/", {"name": "Nia\N{ZERO WIDTH SPACE} New", "in_training": "on"})
    page = answer.content.decode()
    address, link = answer.context["address"], OneTimeLink.objects.get()
    assert f'value="{address}"' in page
    assert 'src="data:image/svg+xml' in page
    assert "no-store" in answer["Cache-Control"]
    assert (link.name, link.role, link.cafe, link.in_training) == ("Nia New", Role.BARISTA, cafe, True)
    assert link.expires_at - link.made_at == timedelta(hours=72)
    listed = client.get("/crew/").content.decode()
    assert "Nia New" in listed
    assert address not in listed


@pytest.mark.parametrize("role", [Role.HEAD, Role.OWNER])
def test_a_head_barista_invites_baristas_to_the_own_cafe_whatever_is_sent(cafe, head, role):
    other = make.cafe(cafe.company)
    make.signed_in(head).post("/crew/invite/", {"name": "N", "role": role, "cafe": other.pk})
    link = OneTimeLink.objects.get()
    assert (link.role, link.cafe) == (Role.BARISTA, cafe)


def test_an_owner_invites_to_any_role_and_cafe_of_the_company_and_no_other(cafe, owner):
    client, other, foreign = make.signed_in(owner), make.cafe(cafe.company), make.cafe()
    client.post("/crew/invite/", {"name": "A", "role": "head", "cafe": other.pk})
    client.post("/crew/invite/", {"name": "B", "role": "owner", "cafe": other.pk, "in_training": "on"})
    made = [(one.role, one.cafe, one.in_training) for one in OneTimeLink.objects.order_by("pk")]
    assert made == [("head", other, False), ("owner", None, False)]
    for wrong in ({"cafe": foreign.pk}, {"cafe": ""}, {"role": "king"}):
        answer = client.post("/crew/invite/", {"name": "C", "role": "head", "cafe": cafe.pk} | wrong)
        assert answer.status_code == 422
        assert 'value="C"' in answer.content.decode()
    assert OneTimeLink.objects.count() == 2


def test_a_head_barista_withdraws_links_to_baristas_alone(cafe, head, owner):
    mine, key = make.link(cafe, by=owner)
    above, _key = make.link(cafe, Role.HEAD, by=owner)
    there, _key = make.link(make.cafe(cafe.company))
    assert send(head, "link_withdraw", mine).status_code == 302
    assert [send(head, "link_withdraw", one).status_code for one in (above, there)] == [404, 404]
    with pytest.raises(joining.Gone):
        joining.opened(key, timezone.now())
    assert Change.objects.filter(what="invitation withdrawn", by=head).count() == 1
    assert send(owner, "link_withdraw", above).status_code == 302


@pytest.mark.parametrize("name", ["end", "training", "new_password"])
def test_a_head_barista_touches_baristas_of_the_own_cafe_alone(cafe, head, owner, name):
    colleague = make.person(Role.HEAD, cafe)
    there = make.person(Role.BARISTA, make.cafe(cafe.company))
    foreign = make.person(Role.BARISTA)
    answers = [send(head, name, of(one)).status_code for one in (colleague, head, owner, there, foreign)]
    assert answers == [403, 403, 404, 404, 404]
    assert not Membership.objects.exclude(ended_at=None).exists()
    assert not OneTimeLink.objects.exists()


@pytest.mark.parametrize("name", ["role", "further"])
def test_roles_are_given_by_owners_of_the_same_company(cafe, head, owner, barista, name):
    typed = {"role": "head", "cafe": make.cafe(cafe.company).pk}
    assert send(head, name, of(barista), **typed).status_code == 403
    foreign = make.person(Role.OWNER)
    assert send(foreign, name, of(barista), **typed).status_code == 404
    assert send(owner, name, of(barista), **typed | {"cafe": make.cafe().pk}).status_code == 422
    assert of(barista).role == Role.BARISTA
    assert send(owner, name, of(barista), **typed).status_code == 302


def test_a_role_that_changes_ends_and_begins_anew_and_the_pin_goes_along(cafe, owner, barista):
    pins.set_pin(of(barista), "4071", barista)
    old = of(barista)
    client, now = make.signed_in(owner), timezone.now()
    answer = client.post(reverse("crew:role", args=[old.pk]), {"role": "head", "cafe": cafe.pk})
    new = barista.memberships.get(ended_at=None)
    assert answer["Location"] == reverse("crew:person", args=[new.pk])
    assert (new.role, new.cafe, new.pin_hash, new.pin_set_at) == ("head", cafe, old.pin_hash, old.pin_set_at)
    old.refresh_from_db()
    assert (old.role, old.pin_hash, old.ended_at >= now) == ("barista", "", True)
    change = Change.objects.latest("pk")
    assert (change.what, change.before, change.after) == (
        "role changed",
        {"role": "barista"},
        {"role": "head barista"},
    )
    send(owner, "role", new, role="owner", cafe=cafe.pk)
    assert barista.memberships.get(ended_at=None).pin_hash == ""


def test_a_role_somebody_has_already_is_said_beside_the_field(cafe, owner, barista):
    there = make.cafe(cafe.company)
    make_there = {"role": "barista", "cafe": there.pk}
    membership = of(barista)
    assert send(owner, "further", membership, **make_there).status_code == 302
    for name in ("further", "role"):
        answer = send(owner, name, membership, **make_there)
        assert answer.status_code == 422
        assert "already" in answer.context["form"].errors["cafe"][0]
    membership.refresh_from_db()
    assert membership.ended_at is None


def test_training_is_marked_and_taken_off_by_the_head_barista(cafe, head, barista):
    for told, is_so in (("yes", True), ("yes", True), ("no", False)):
        send(head, "training", of(barista), in_training=told)
        assert of(barista).in_training is is_so
    noted = Change.objects.filter(about=Change.About.CREW).order_by("pk")
    assert [one.what for one in noted] == ["training begun", "training done"]


def test_an_ended_membership_ends_sessions_at_the_next_request_and_keeps_results(cafe, head, barista):
    make.refractometer(cafe)
    reading = make.reading(make.live_slot(cafe, by=head), barista)
    pins.set_pin(of(barista), "4071", barista)
    tablet, key = make.tablet(make.station(cafe))
    own, by_pin = make.signed_in(barista), make.signed_in_by_pin(tablet, key, barista)
    assert own.get("/my-results/").status_code == by_pin.get("/my-results/").status_code == 200
    assert make.signed_in(head).get(reverse("crew:end", args=[of(barista).pk])).status_code == 200
    assert send(head, "end", of(barista))["Location"] == "/crew/"
    assert own.get("/my-results/")["Location"].startswith("/sign-in/")
    assert by_pin.get("/my-results/")["Location"].startswith("/pin/")
    assert "_auth_user_id" not in own.session
    assert of(barista).pin_hash == ""
    reading.refresh_from_db()
    assert reading.barista == barista
    assert Change.objects.latest("pk").what == "membership ended"
    assert send(head, "end", of(barista)).status_code == 409


def test_what_somebody_made_ends_with_their_role(cafe, owner, head):
    there = make.cafe(cafe.company)
    _link, key = make.link(cafe, by=head)
    _other, kept = make.link(there, by=owner)
    send(owner, "end", of(head))
    with pytest.raises(joining.Gone):
        joining.opened(key, timezone.now())
    assert joining.opened(kept, timezone.now())


def test_nobody_ends_or_changes_themselves_and_the_last_owner_stays(cafe, owner):
    page = make.signed_in(owner).get(reverse("crew:person", args=[of(owner).pk])).content.decode()
    assert reverse("crew:end", args=[of(owner).pk]) not in page
    assert send(owner, "end", of(owner)).status_code == 403
    assert send(owner, "role", of(owner), role="head", cafe=cafe.pk).status_code == 403
    second = make.person(Role.OWNER, company=cafe.company)
    both = [of(owner), of(second)]
    roles.end(both[0], second, timezone.now())
    # What the first had sent a moment before, while the two looked at the same page.
    for late in (
        lambda: roles.end(both[1], owner, timezone.now()),
        lambda: roles.change(both[1], role=Role.HEAD, cafe=cafe, by=owner, now=timezone.now()),
    ):
        with pytest.raises(Exception, match="only owner"):
            late()
    assert Membership.objects.active().get(role=Role.OWNER).user == second


def test_an_owner_who_brews_gives_themselves_a_further_role(cafe, owner):
    assert send(owner, "further", of(owner), role="head", cafe=cafe.pk).status_code == 302
    assert {one.role for one in make.places_of(owner)} == {Role.OWNER, Role.HEAD}


def test_a_link_for_a_password_opens_nothing_above_or_beyond_whoever_made_it(cafe, head, owner, barista):
    answer = send(head, "new_password", of(barista))
    assert joining.opened(key_in(answer), timezone.now()).for_user == barista
    Membership.objects.create(
        user=barista, company=cafe.company, cafe=make.cafe(cafe.company), role=Role.HEAD
    )
    here = barista.memberships.get(cafe=cafe)
    assert send(head, "new_password", here).status_code == 403
    assert send(owner, "new_password", here).status_code == 200
    abroad = make.cafe()
    Membership.objects.create(user=barista, company=abroad.company, cafe=abroad, role=Role.BARISTA)
    assert "changepassword" in send(owner, "new_password", here).content.decode()
    second = make.person(Role.OWNER, company=cafe.company)
    assert "new_owner_link" in send(owner, "new_password", of(second)).content.decode()
