"""The page on which a kettle is measured: who reads it, who enters, what is refused beside the field."""

from datetime import timedelta

import plotly.graph_objects as go
import pytest
from django.urls import reverse
from django.utils import timezone

from brewbar.crew.models import Role
from recipes.brewing import safety, stream
from recipes.models import BreakupPoint
from tests import factories as make

pytestmark = pytest.mark.django_db

TYPED = {"flow_g_s": "4,5", "temperature_C": "18", "height_mm": "140", "outcome": "broke", "note": ""}


@pytest.fixture
def cafe():
    return make.cafe()


@pytest.fixture
def head(cafe):
    return make.person(Role.HEAD, cafe, name="Inés Faro")


@pytest.fixture
def client(head):
    return make.signed_in(head)


@pytest.fixture
def kettle(cafe):
    return make.kettle(cafe, name="The Heron")


def at(name, *args):
    return reverse(f"recipes:{name}", args=args)


def text(answer):
    return " ".join(answer.content.decode().split())


def measured(kettle, *points, **fields):
    for flow, height_mm in points:
        make.breakup_point(kettle, flow, height_mm, **fields)


def test_three_points_are_entered_and_the_page_knows_where_the_stream_breaks(client, head, kettle):
    page = at("kettle_measure", kettle.pk)
    assert "Not measured yet: three points make a fit." in text(client.get(page))
    told = []
    for flow, height, outcome in (("2", "75", "broke"), ("4,5", "140", "broke"), ("7", "200", "whole")):
        sent = TYPED | {"flow_g_s": flow, "height_mm": height, "outcome": outcome}
        answer = client.post(at("kettle_point_new", kettle.pk), sent, follow=True)
        assert answer.redirect_chain == [(page, 302)]
        told.append(text(answer))
    assert "Kept: 2 g/s, 18 °C: broke at 75 mm. 1 point so far. 2 more make a fit." in told[0]
    assert "2 points so far. 1 more makes a fit." in told[1]
    assert "3 points. At 4.5 g/s and 18 °C its stream breaks above about" in told[2]
    assert "At 93 °C it was not measured at" in told[2]
    assert "4.5 g/s, 18 °C: broke at 140 mm" in told[2]
    assert "7 g/s, 18 °C: still whole at 200 mm" in told[2]
    assert {point.measured_by for point in BreakupPoint.objects.all()} == {head}


def test_a_point_is_taken_back_and_stays_to_be_seen(client, kettle):
    point = make.breakup_point(kettle, 4, 14, note="a nought left out")
    page = client.post(at("kettle_point_take_back", point.pk), follow=True)
    assert "It is taken back." in text(page)
    assert "1 taken back" in text(page)
    assert "a nought left out" in text(page)
    assert "Not measured yet" in text(page)
    again = client.post(at("kettle_point_take_back", point.pk), follow=True)
    assert "This was taken back already." in text(again)


@pytest.mark.parametrize(
    ("wrong", "field", "said"),
    [
        ({"flow_g_s": ""}, "flow_g_s", "Enter the flow that was held."),
        ({"flow_g_s": "fast"}, "flow_g_s", "Enter the number alone"),
        ({"flow_g_s": "0,4"}, "flow_g_s", "Below 1 g/s there is no stream"),
        ({"flow_g_s": "400"}, "flow_g_s", "No kettle pours more than 50 g/s."),
        ({"temperature_C": "101"}, "temperature_C", "100"),
        ({"temperature_C": ""}, "temperature_C", "Enter how warm the water was"),
        ({"height_mm": "14.5"}, "height_mm", "Enter whole millimetres, such as 140."),
        ({"height_mm": "9"}, "height_mm", "Millimetres are meant: 10 or more."),
        ({"height_mm": "301"}, "height_mm", "Nothing is measured above 300 mm"),
        ({"outcome": ""}, "outcome", "Say whether it broke: both count."),
        ({"outcome": "perhaps"}, "outcome", "Please choose one of these."),
        ({"note": "漏"}, "note", "cannot print"),
    ],
)
def test_what_is_wrong_is_said_beside_the_field_and_nothing_typed_is_lost(client, kettle, wrong, field, said):
    sent = TYPED | {"note": "over the deep sink"} | wrong
    answer = client.post(at("kettle_point_new", kettle.pk), sent)
    assert answer.status_code == 422
    assert list(answer.context["form"].errors) == [field]
    assert said in answer.context["form"].errors[field][0]
    for typed in (sent[name] for name in sent if name != "outcome"):
        assert typed in answer.content.decode()
    assert not BreakupPoint.objects.exists()


def test_above_200_mm_and_outside_of_the_kettles_flows_is_kept_with_a_caution(client, kettle):
    sent = TYPED | {"flow_g_s": "10", "height_mm": "300", "outcome": "whole"}
    page = text(client.post(at("kettle_point_new", kettle.pk), sent, follow=True))
    assert page.count("Measuring ends at 200 mm: higher up water splashes past the vessel.") == 2
    assert page.count("10 g/s is outside of what this kettle is said to hold, 2 to 9 g/s.") == 2
    assert BreakupPoint.objects.get().height_mm == 300


def test_a_point_is_typed_and_shown_in_the_readers_own_unit(client, head, kettle):
    head.temperature_unit = "F"
    head.save()
    page = text(
        client.post(at("kettle_point_new", kettle.pk), TYPED | {"temperature_C": "199.4"}, follow=True)
    )
    assert BreakupPoint.objects.get().temperature_C == 93
    assert "4.5 g/s, 199.4 °F: broke at 140 mm" in page
    assert "At 199 °F, in mm (any hand-held kettle, not measured)" in page


def test_the_safe_way_comes_before_the_form_and_local_rules_are_deferred_to(client, kettle):
    html = client.get(at("kettle_measure", kettle.pk)).content.decode()
    places = [html.index(f'id="{part}"') for part in ("how", "enter", "points", "known", "plans")]
    assert places == sorted(places)
    steps = html[places[0] : places[1]]
    for sentence in (*safety.MEASURING_A_KETTLE, *safety.POURING):
        assert sentence.replace("'", "&#x27;") in steps


def test_where_theory_and_trade_part_ways_no_side_is_taken(client, kettle):
    page = text(client.get(at("kettle_measure", kettle.pk)))
    assert "The trade says sooner." in page
    assert "common practice, no source" in page
    assert "Theory says a little later" in page
    assert "No side is taken here. Measure at brewing temperature too" in page


def test_plans_it_cannot_pour_are_named_with_a_way_to_each(client, head, kettle):
    assert "None: every plan" in text(client.get(at("kettle_measure", kettle.pk)))
    recipe = make.recipe(kettle.cafe.company, by=head, name="Ferry")
    version = make.version(recipe, ((0, 250, 12),), kettle=kettle)
    page = text(client.get(at("kettle_measure", kettle.pk)))
    assert f'<a href="{at("version", version.pk)}">Ferry, version 1</a>' in page
    assert "Pour 1 asks for 12 g/s, but this kettle pours no faster than 9 g/s." in page


# --- who


@pytest.mark.parametrize("role", [Role.BARISTA, Role.OWNER])
def test_the_crew_reads_and_does_not_enter(role, cafe, kettle):
    point = make.breakup_point(kettle, 4, 120)
    reader = make.signed_in(make.person(role, cafe))
    html = text(reader.get(at("kettle_measure", kettle.pk)))
    assert "4 g/s, 18 °C: broke at 120 mm" in html
    assert "<form" not in html.split('id="how"')[1]
    assert reader.get(at("kettle_figure", kettle.pk)).status_code == 200
    assert reader.post(at("kettle_point_new", kettle.pk), TYPED).status_code == 403
    assert reader.post(at("kettle_point_take_back", point.pk)).status_code == 403


def test_another_cafes_kettle_is_not_found(cafe, kettle):
    point = make.breakup_point(kettle, 4, 120)
    for stranger in (make.cafe(cafe.company), make.cafe()):
        other = make.signed_in(make.person(Role.HEAD, stranger))
        assert other.get(at("kettle_measure", kettle.pk)).status_code == 404
        assert other.get(at("kettle_figure", kettle.pk)).status_code == 404
        assert other.post(at("kettle_point_new", kettle.pk), TYPED).status_code == 404
        assert other.post(at("kettle_point_take_back", point.pk)).status_code == 404
    assert BreakupPoint.objects.standing().count() == 1


def test_a_retired_kettle_is_read_and_not_measured(client, kettle):
    make.breakup_point(kettle, 4, 120)
    kettle.retire()
    html = text(client.get(at("kettle_measure", kettle.pk)))
    assert "broke at 120 mm" in html
    assert 'id="enter"' not in html
    answer = client.post(at("kettle_point_new", kettle.pk), TYPED)
    assert "The Heron is retired. Bring it back first." in text(answer)


def test_whoever_reloads_a_refused_form_finds_the_page(client, kettle):
    assert client.get(at("kettle_point_new", kettle.pk)).url == at("kettle_measure", kettle.pk)


def test_the_kettle_and_the_list_of_equipment_lead_there(client, cafe, kettle):
    measured(kettle, (3, 90), (5, 130))
    make.kettle(cafe)
    thing = text(client.get(at("kettle", kettle.pk)))
    assert at("kettle_measure", kettle.pk) in thing
    assert "2 points so far. 1 more makes a fit." in thing
    for role in Role.values:
        listed = text(make.signed_in(make.person(role, cafe)).get(at("equipment")))
        assert at("kettle_measure", kettle.pk) in listed
        assert "Its stream: 2 points" in listed
        assert "Its stream: not measured" in listed
    refused = client.post(at("kettle", kettle.pk), {"name": "", "flow_min_g_s": "9", "flow_max_g_s": "x"})
    assert refused.status_code == 422
    assert "2 points so far." in text(refused)


def test_the_page_asks_as_often_however_much_was_measured(
    client, head, kettle, django_assert_max_num_queries
):
    counts = []
    for _round in range(2):
        measured(kettle, (2, 75), (4, 130), (5, 160))
        make.version(make.recipe(kettle.cafe.company, by=head), ((0, 250, 12),), kettle=kettle)
        with django_assert_max_num_queries(10) as asked:
            client.get(at("kettle_measure", kettle.pk))
        counts.append(len(asked.captured_queries))
    assert counts[0] == counts[1]


# --- the figure


def figure(client, kettle):
    return go.Figure(client.get(at("kettle_figure", kettle.pk)).json())


def test_before_a_fit_the_figure_is_the_wide_band_and_says_so(client, kettle):
    measured(kettle, (5, 140))
    drawn = figure(client, kettle)
    band, _line, point = drawn.data
    assert band.name == "93 °C: any hand-held kettle, not measured"
    assert band.fillpattern.shape == "/"
    assert (point.name, point.marker.symbol, list(point.y)) == ("18 °C: broke", "circle", [140])
    for height in (min(band.y), max(band.y)):
        n = stream.N_LOW if height == min(band.y) else stream.N_HIGH
        flow = 2 if height == min(band.y) else 9
        assert height == pytest.approx(stream.breakup_height_mm(flow, 93, n=n), rel=1e-4)
    assert max(drawn.layout.yaxis.range) > max(band.y)


def test_a_figure_of_a_fitted_kettle_tells_points_bands_and_temperatures_apart_without_colour(client, kettle):
    measured(kettle, (2, 75), (5, 150), (7, 190))
    make.breakup_point(kettle, 8, 200, broke=False)
    make.breakup_point(kettle, 3, 105, temperature_C=92)
    make.breakup_point(
        kettle, 3, 10, taken_back_at=timezone.now() - timedelta(1), taken_back_by=make.person()
    )
    drawn = figure(client, kettle)
    shown = {trace.name: trace for trace in drawn.data if trace.mode == "markers"}
    assert {name: trace.marker.symbol for name, trace in shown.items()} == {
        "18 °C: broke": "circle",
        "18 °C: still whole": "triangle-up-open",
        "92 °C: broke": "circle",
    }
    assert [len(trace.x) for trace in shown.values()] == [3, 1, 1]
    lines = [trace for trace in drawn.data if trace.name.endswith("breaks above about")]
    assert {trace.line.dash for trace in lines} == {"solid", "dash"}
    bands = {trace.name for trace in drawn.data if trace.fill == "toself"}
    assert bands == {"93 °C: measured", "93 °C: not measured", "18 °C: measured"}


def test_a_figure_has_no_word_that_somebody_typed(client, kettle):
    make.breakup_point(kettle, 4, 120, note="<b>bold</b>")
    assert "bold" not in client.get(at("kettle_figure", kettle.pk)).content.decode()
