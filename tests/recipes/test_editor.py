"""The editor as a head barista meets it: without JavaScript, with htmx, and when somebody else was quicker."""

import re
from decimal import Decimal

import pytest
from django.urls import reverse
from django.utils import timezone

from brewbar.crew.models import Role
from recipes import authoring
from recipes.models import RecipeVersion
from tests import factories as make

pytestmark = pytest.mark.django_db


class Desk:
    """A head barista with a draft open: what the page holds, ready to be changed and sent."""

    def __init__(self, **fields):
        self.cafe = make.cafe()
        self.head = make.person(Role.HEAD, self.cafe)
        self.client = make.signed_in(self.head)
        self.draft = make.version(make.recipe(self.cafe.company, by=self.head), **fields)
        self.at = reverse("recipes:version_edit", args=[self.draft.pk])
        self.typed = self.held(self.client.get(self.at))

    @staticmethod
    def held(answer):
        """Every field of the page and what stands in it, as a browser would send it."""
        context = answer.context
        held = {"revision": context["draft"].seen, "pour": [form.key for form in context["draft"].pours]}
        for form in context["draft"].forms:
            for field in form:
                value = field.value()
                if value not in (None, False):
                    held[field.html_name] = "on" if value is True else getattr(value, "pk", value)
        return held

    def send(self, do="save", htmx=False, at=None, **typed):
        headers = {"HX-Request": "true"} if htmx else {}
        return self.client.post(at or self.at, self.typed | typed | {"do": do}, headers=headers)

    def saved(self):
        return RecipeVersion.objects.get(pk=self.draft.pk)


@pytest.fixture
def desk(db):
    return Desk()


def keys(answer):
    return [form.key for form in answer.context["draft"].pours]


def told_beside(html, key):
    """What the page says beside one pour."""
    return re.search(rf'id="pour-{key}-says".*?</div>', html, re.S)[0]


def test_saving_takes_commas_and_clocks(desk):
    answer = desk.send(
        **{"dose_g": "15,5", "tds_target": "1,38", "brew_time_s": "2:50", "pour-2-starts_at_s": "45"}
    )
    assert answer.status_code == 302
    assert answer["Location"] == reverse("recipes:version", args=[desk.draft.pk])
    saved = desk.saved()
    assert (saved.dose_g, saved.tds_target, saved.brew_time_s) == (Decimal("15.5"), Decimal("1.38"), 170)
    assert [pour.starts_at_s for pour in saved.pours.all()] == [0, 45, 80]
    assert (saved.revision, saved.edited_by) == (1, desk.head)


def test_a_draft_with_errors_is_saved(desk):
    assert desk.send(**{"pour-3-to_g": "220", "dose_g": ""}).status_code == 302
    assert desk.saved().pours.last().to_g == 220
    assert desk.saved().dose_g is None


def test_thirty_missing_grams_stand_beside_the_last_pour():
    """40, 90 and 90 more against 250: refused with the missing 30 g, R15, common practice, no source."""
    desk = Desk(pours=((0, 40, 5), (40, 130, 5), (80, 220, 5)))
    html = desk.client.get(desk.at).content.decode()
    assert "30 g is missing" in told_beside(html, 3)
    assert 'id="pour-3-to_g-finding"' in told_beside(html, 3)
    assert (
        'aria-describedby="pour-3-to_g-finding"' in re.search(r'<input[^>]*name="pour-3-to_g"[^>]*>', html)[0]
    )
    assert "Error:" in told_beside(html, 3)
    for key in (1, 2):
        assert "missing" not in told_beside(html, key)


def test_what_cannot_be_read_is_kept_and_told_beside_the_field(desk):
    answer = desk.send(**{"dose_g": "fifteen", "pour-2-flow_g_s": "5 g/s", "pour-1-starts_at_s": "0.05"})
    assert answer.status_code == 422
    html = answer.content.decode()
    for typed in ("fifteen", "5 g/s", "0.05"):
        assert f'value="{typed}"' in html
    assert 'href="#id_pour-2-flow_g_s"' in html
    assert "without a unit" in told_beside(html, 2)
    assert desk.saved().revision == 0


def test_characters_that_the_card_cannot_print_are_refused_beside_the_field(desk):
    answer = desk.send(**{"pour-1-note": "low \N{SNOWMAN}", "intended_cup": "\N{GRAPES}, plum"})
    assert answer.status_code == 422
    for form, name in ((answer.context["draft"].pours[0], "note"), (answer.context["form"], "intended_cup")):
        assert "cannot print" in str(form.errors[name])
    assert "\N{SNOWMAN}" in told_beside(answer.content.decode(), 1)


@pytest.mark.parametrize(
    ("do", "order"),
    [
        ("up-2", ["2", "1", "3"]),
        ("down-1", ["2", "1", "3"]),
        ("up-1", ["1", "2", "3"]),
        ("down-3", ["1", "2", "3"]),
        ("copy-1", ["1", "4", "2", "3"]),
        ("delete-2", ["1", "3"]),
        ("add", ["1", "2", "3", "4"]),
        ("up-99", ["1", "2", "3"]),
        ("fill", ["1", "2", "3"]),
        ("nonsense", ["1", "2", "3"]),
    ],
)
@pytest.mark.parametrize("htmx", [False, True])
def test_the_buttons_of_a_pour_keep_everything_typed(desk, do, order, htmx):
    answer = desk.send(do, htmx, **{"pour-2-to_g": "a hundred", "pour-3-note": "low"})
    assert answer.status_code == 200
    assert keys(answer) == order
    rows = {form.key: form for form in answer.context["draft"].pours}
    assert "2" not in rows or rows["2"]["to_g"].value() == "a hundred"
    assert rows["3"]["note"].value() == "low"
    assert ("<html" in answer.content.decode()) is not htmx
    assert desk.saved().revision == 0


def test_a_copy_is_like_its_pour_and_a_new_pour_like_the_last_one(desk):
    copied = desk.send("copy-1").context["draft"].pours[1]
    assert (copied["to_g"].value(), copied["flow_g_s"].value()) == ("45", "5")
    added = desk.send("add", **{"pour-3-pattern": "centre"}).context["draft"].pours[3]
    assert [added[name].value() or "" for name in ("to_g", "flow_g_s", "pattern")] == ["", "5", "centre"]


def test_a_form_that_was_tampered_with_is_no_trouble(desk):
    wild = {"pour": ["9" * 5000, "-1", "x", "2", "2"], "revision": "9" * 5000, "pour-2-pattern": "zigzag"}
    assert keys(desk.send("add", **wild)) == ["2", "3"]
    assert desk.send(**wild).status_code == 422
    assert desk.send(revision="9" * 5000).status_code == 409


def test_twelve_pours_are_the_most(desk):
    twelve = [str(key) for key in range(1, 13)]
    for do in ("add", "copy-1"):
        assert keys(desk.send(do, pour=twelve)) == twelve
    html = desk.send("", pour=twelve).content.decode()
    assert 'value="add"' not in html


def test_the_usual_trial_fills_an_empty_draft_only(desk):
    """15 g to 250 g, a bloom and two equal pours: R2, common practice, no source."""
    answer = desk.send("fill", **{"dose_g": "", "water_g": "", "pour": ["1"], "pour-1-to_g": ""})
    draft = answer.context["draft"]
    weights = [float(form["to_g"].value()) for form in draft.pours]
    assert (draft.version["dose_g"].value(), draft.version["water_g"].value()) == ("15", "250")
    assert weights[2] - weights[1] == weights[1] - weights[0]
    assert weights[2] == 250
    assert answer.context["counts"].error == 0


def test_a_preview_holds_the_computed_parts_and_no_field(desk):
    at = reverse("recipes:version_preview", args=[desk.draft.pk])
    html = desk.send(
        htmx=True, at=at, **{"pour-3-to_g": "300", "water_g": "300", "dose_g": "18,5"}
    ).content.decode()
    assert set(re.findall(r'id="([\w-]+)" hx-swap-oob="true"', html)) == {
        "brief",
        "sums",
        "starter",
        "counts",
        "moments",
        *(f"pour-{key}-{part}" for key in (1, 2, 3) for part in ("says", "figures")),
    }
    assert re.findall(r"<(?:input|select|textarea)[^>]*>", html) == [
        '<input type="hidden" name="said" value="0-0-0">'
    ]
    assert "1:16.2" in html
    assert "+150" in told_beside(html, 3)


def test_a_preview_says_the_counts_only_when_they_changed(desk):
    at = reverse("recipes:version_preview", args=[desk.draft.pk])
    assert 'id="counts"' not in desk.send(at=at, said="0-0-0").content.decode()
    assert "1 error" in desk.send(at=at, said="0-0-0", water_g="260").content.decode()


def test_at_the_boil_needs_no_temperature(desk):
    assert desk.send(at_the_boil="on", water_temperature_C="hot").status_code == 302
    saved = desk.saved()
    assert (saved.at_the_boil, saved.water_temperature_C) == (True, None)
    assert not any(
        f.field == "water_temperature_C" for f in authoring.findings_at(saved.plan(), None, desk.cafe)
    )


def test_somebody_else_was_quicker(desk):
    colleague = make.person(Role.HEAD, desk.cafe, name="Ines Varga")
    authoring.save_draft(make.member(colleague), desk.draft, [], seen=0)
    answer = desk.send(**{"dose_g": "17", "pour-1-note": "mine"})
    html = answer.content.decode()
    assert answer.status_code == 409
    assert "Ines Varga saved it" in html
    assert 'value="17"' in html
    assert 'value="mine"' in html
    assert desk.saved().pours.count() == 0
    desk.typed = Desk.held(answer)
    assert desk.send().status_code == 302
    assert (desk.saved().dose_g, desk.saved().pours.count()) == (17, 3)


def test_a_published_version_is_not_edited(desk):
    RecipeVersion.objects.filter(pk=desk.draft.pk).update(published_at=timezone.now(), published_by=desk.head)
    answer = desk.client.get(desk.at, follow=True)
    assert answer.redirect_chain == [(reverse("recipes:version", args=[desk.draft.pk]), 302)]
    assert "published, so it is frozen" in answer.content.decode()


def test_what_was_typed_into_a_draft_published_meanwhile_becomes_the_next_version(desk):
    RecipeVersion.objects.filter(pk=desk.draft.pk).update(published_at=timezone.now(), published_by=desk.head)
    answer = desk.send(dose_g="17")
    assert answer.status_code == 409
    assert 'value="17"' in answer.content.decode()
    assert desk.send("next", dose_g="17").status_code == 302
    following = RecipeVersion.objects.get(recipe=desk.draft.recipe, number=2)
    assert (following.dose_g, following.based_on, following.pours.count()) == (17, desk.draft, 3)
    assert desk.saved().dose_g == 15
    assert desk.send("next").status_code == 409


@pytest.mark.parametrize("name", ["brewer", "paper", "kettle"])
def test_what_belongs_to_another_company_cannot_be_chosen(desk, name):
    elsewhere = make.cafe()
    theirs = getattr(make, name)(elsewhere if name == "kettle" else elsewhere.company)
    answer = desk.send(**{name: theirs.pk})
    assert answer.status_code == 422
    assert "valid choice" in str(answer.context["form"].errors[name])


def test_a_kettle_of_another_cafe_stays_but_is_not_offered(desk):
    sister = make.cafe(desk.cafe.company)
    theirs, another = make.kettle(sister), make.kettle(sister)
    RecipeVersion.objects.filter(pk=desk.draft.pk).update(kettle=theirs)
    offered = desk.client.get(desk.at).context["form"].fields["kettle"].queryset
    assert list(offered) == [theirs]
    assert desk.send(kettle=another.pk).status_code == 422
    assert desk.send(kettle=theirs.pk).status_code == 302


def test_queries_of_the_editor(desk, django_assert_num_queries):
    preview = reverse("recipes:version_preview", args=[desk.draft.pk])
    with django_assert_num_queries(12):
        desk.client.get(desk.at)
    for pours in (["1"], ["1", "2", "3"]):
        with django_assert_num_queries(9):
            desk.send(at=preview, pour=pours)
