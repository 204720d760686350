"""The strength–yield chart: who sees what, what is drawn, and that figure, table and CSV say the same."""

from __future__ import annotations

import csv
import io
import re
from datetime import timedelta
from decimal import Decimal
from math import hypot
from statistics import NormalDist

import plotly.graph_objects as go
import pytest
from django.utils import timezone

from brewbar.crew.models import Role
from calibration import conventions, drift, judging, strength
from calibration.models import Reading
from recipes.brewing.bands import PUBLISHED_BANDS
from tests import factories as make

PAGE, FIGURE, TABLE = "/charts/strength/", "/charts/strength/figure.json", "/charts/strength/table.csv"
STANDARD = next(band for band in PUBLISHED_BANDS if band.key == "scaa-2015")
NOW = timezone.now()


@pytest.fixture
def bar(db):
    slot = make.live_slot(make.cafe(), at=NOW - timedelta(days=40))
    crew = [make.person(cafe=slot.board.cafe, name=f"Crew {letter}") for letter in "ABCDEF"]
    for days in range(3):
        for place, person in enumerate(crew):
            tds = f"1.{36 + place + days}"
            make.reading(slot, person, (tds, tds), brewed_at=NOW - timedelta(days=days))
    return slot, crew


@pytest.fixture
def choose(bar):
    cafe = bar[0].board.cafe
    return lambda band=STANDARD: conventions.choose(cafe.company, band, make.person(Role.HEAD, cafe))


def client_of(bar, role):
    slot, crew = bar
    return make.signed_in(crew[0] if role == Role.BARISTA else make.person(role, slot.board.cafe))


def figure_of(client):
    answer = client.get(FIGURE)
    assert answer.status_code == 200
    return go.Figure(answer.json())


def traces(figure, beginning):
    return [trace for trace in figure.data if trace.name.startswith(beginning)]


def rows_of(answer):
    return list(csv.reader(io.StringIO(answer.content.decode("utf-8-sig"))))


def seen_by(bar, role=Role.HEAD):
    slot, crew = bar
    member = make.member(crew[0] if role == Role.BARISTA else make.person(role, slot.board.cafe))
    today = slot.board.cafe.business_day(NOW)
    first = today - timedelta(days=20)
    recipe = slot.version.recipe
    return strength.look(
        member, drift.Asked(slot.board.cafe, recipe, drift.MEASURES["tds"], "check", first, today)
    )


@pytest.mark.parametrize(("role", "points"), [(Role.BARISTA, 3), (Role.HEAD, 18), (Role.OWNER, 3)])
@pytest.mark.parametrize("with_band", [False, True])
def test_every_figure_is_one_that_plotly_takes(bar, choose, role, points, with_band):
    if with_band:
        choose()
    figure = figure_of(client_of(bar, role))
    assert sum(len(trace.x) for trace in figure.data if trace.mode == "markers") == points
    assert len(traces(figure, "target of version 1")) == 1
    assert len(traces(figure, "band of the Specialty Coffee Association of America")) == with_band
    labels = [label.text for label in figure.layout.annotations]
    assert "1:16.7" in labels
    assert len(labels) > 1
    dashes = {t.name: t.line.dash for t in figure.data if t.name.startswith(("1:", "band", "target"))}
    assert dashes.pop("1:16.7") == "longdash"
    assert dashes.pop("target of version 1") == "solid"
    assert dashes.pop("band of the Specialty Coffee Association of America", "dash") == "dash"
    assert set(dashes.values()) == {"dot"}


def test_nobodys_band_is_drawn_or_named_until_one_is_chosen(bar, choose):
    head = client_of(bar, Role.HEAD)
    before = head.get(PAGE).content.decode()
    assert "None is chosen, so none is drawn." in before
    assert "Association" not in before
    choose()
    after = head.get(PAGE).content.decode()
    assert after.count(f"{STANDARD.body} ({STANDARD.document})") >= 2
    assert "A convention of this body, not a verdict on taste." in after
    assert not re.search(r"\bideal", after, re.IGNORECASE)
    (box,) = traces(figure_of(head), "band of")
    assert (min(box.x), max(box.x), min(box.y), max(box.y)) == (18, 22, 1.15, 1.35)
    choose(None)
    assert "Association" not in head.get(PAGE).content.decode()


def test_a_barista_gets_nobody_elses_name_or_brew(bar):
    _slot, crew = bar
    client = client_of(bar, Role.BARISTA)
    text = "".join(client.get(address).content.decode() for address in (PAGE, FIGURE, TABLE))
    assert not [other.name for other in crew[1:] if other.name in text]
    assert len(rows_of(client.get(TABLE))) == 1 + 3
    (box,) = traces(figure_of(client), "middle 80 %")
    assert box.line.dash == "dot"


def test_under_five_others_there_is_no_box_of_the_crew(bar):
    _slot, crew = bar
    Reading.objects.filter(barista=crew[5]).update(voided_at=NOW, voided_by=crew[0], void_reason="spilt")
    client = client_of(bar, Role.BARISTA)
    assert not traces(figure_of(client), "middle 80 %")
    assert "Fewer than 5 people" in client.get(PAGE).content.decode()


def test_an_owner_gets_days_and_neither_a_name_nor_a_single_brew(bar):
    _slot, crew = bar
    client = client_of(bar, Role.OWNER)
    text = "".join(client.get(address).content.decode() for address in (PAGE, FIGURE, TABLE))
    assert not [person.name for person in crew if person.name in text]
    assert "/readings/" not in text
    head, *rows = rows_of(client.get(TABLE))
    assert len(rows) == 3
    assert [row[head.index("brews")] for row in rows] == ["6", "6", "6"]


def test_a_head_barista_reads_whose_brew_a_point_is(bar):
    figure = figure_of(client_of(bar, Role.HEAD))
    (points,) = (trace for trace in figure.data if trace.mode == "markers")
    assert sum("Crew B" in text for text in points.text) == 3


def test_a_brew_that_was_not_weighed_has_another_shape(bar):
    slot, crew = bar
    make.reading(
        slot,
        crew[0],
        attempt=Reading.Attempt.REPEAT,
        beverage_source=Reading.Beverage.ESTIMATED,
        u_ey_relative=0.6,
    )
    client = client_of(bar, Role.HEAD)
    symbols = {t.name: t.marker.symbol for t in figure_of(client).data if t.mode == "markers"}
    assert symbols == {"a brew, weighed": "circle", "a brew, not weighed": "diamond-open"}
    assert "not weighed" in client.get(PAGE).content.decode()
    assert [row[5] for row in rows_of(client.get(TABLE))].count("not weighed") == 1


def test_ellipses_stop_at_the_newest_sixty_and_points_do_not(bar):
    slot, crew = bar
    for n in range(50):
        make.reading(
            slot, crew[0], attempt=Reading.Attempt.REPEAT, brewed_at=NOW - timedelta(days=5, minutes=n)
        )
    client = client_of(bar, Role.HEAD)
    figure = figure_of(client)
    (ellipses,) = traces(figure, "uncertainty")
    assert ellipses.x.count(None) == 60
    assert sum(len(trace.x) for trace in figure.data if trace.mode == "markers") == 68
    assert "The newest 60 have one; every point is there." in client.get(PAGE).content.decode()
    assert len(rows_of(client.get(TABLE))) == 1 + 68
    assert seen_by(bar).newest[0].reading.brewed_at > NOW - timedelta(days=1)


def test_an_ellipse_is_absolute_only_with_a_band(bar, choose):
    # make.reading saves u of TDS 0.02 and 0.026, of yield 0.3 and 0.4; 220 g from 15 g move it by 14.67 per %.
    point = seen_by(bar).points[0]
    assert (point.known.u_tds, point.known.u_ey) == pytest.approx((0.02, 0.3))
    assert point.known.covariance == pytest.approx(220 / 15 * 0.02**2)
    choose()
    point = seen_by(bar).points[0]
    assert (point.known.u_tds, point.known.u_ey) == pytest.approx((0.026, 0.4))
    head, row, *_rest = rows_of(client_of(bar, Role.HEAD).get(TABLE))
    told = dict(zip(head, row, strict=True))
    assert float(told["U of TDS % (absolute, k = 2)"]) == pytest.approx(0.052)
    assert float(told["U of yield % (absolute, k = 2)"]) == pytest.approx(0.8)
    assert float(told["covariance of TDS and yield, %²"]) == pytest.approx(220 / 15 * 0.026**2, abs=1e-6)


@pytest.mark.parametrize("tds", ["1.10", "1.16", "1.25", "1.34", "1.36", "1.38", "1.50"])
def test_the_zone_follows_the_chance_and_may_be_too_close_to_call(bar, choose, tds):
    # JCGM 106:2012, 7.4: the normal distribution's mass inside 1.15 to 1.35 % and 18 to 22 %, u 0.026 and 0.4.
    slot, crew = bar
    choose()
    reading = make.reading(slot, crew[0], (tds, tds), attempt=Reading.Attempt.REPEAT)

    def expected(value, u, low, high):
        around = NormalDist(value, u)
        chance = around.cdf(high) - around.cdf(low)
        side = "high" if value > (low + high) / 2 else "low"
        return "inside" if chance >= 0.8 else side if chance <= 0.2 else "close"

    point = next(point for point in seen_by(bar).points if point.reading == reading)
    assert point.band.strength == expected(float(tds), 0.026, 1.15, 1.35)
    assert point.band.extracted == expected(float(tds) * 220 / 15, 0.4, 18, 22)
    judged = [verdict.state for verdict in judging.against_band(reading, STANDARD)]
    assert [point.band.strength, point.band.extracted] == judged
    aimed = [verdict.state for verdict in judging.against_recipe(reading)[:2]]
    assert [point.target.strength, point.target.extracted] == aimed


def test_csv_says_the_zone_in_words(bar, choose):
    slot, crew = bar
    choose()
    for tds in ("1.10", "1.25", "1.35", "1.60"):
        make.reading(slot, crew[0], (tds, tds), attempt=Reading.Attempt.REPEAT)
    head, *rows = rows_of(client_of(bar, Role.HEAD).get(TABLE))
    assert head[-1] == "marks"
    assert head[-2] == f"against the band of the {STANDARD.body} ({STANDARD.document}) (absolute)"
    zones = {Decimal(row[6]): row[-2] for row in rows[-4:]}
    assert zones == {
        Decimal("1.1"): "weaker, yield lower",
        Decimal("1.25"): "strength inside, yield too close to call",
        Decimal("1.35"): "strength too close to call, yield inside",
        Decimal("1.6"): "stronger, yield higher",
    }


def test_the_mean_of_a_day_shares_the_instruments_error(bar, choose):
    choose()
    point = seen_by(bar, Role.OWNER).points[0]
    drifted, own_error = 0.005, (0.026**2 - 0.02**2) ** 0.5
    shared = hypot(drifted, own_error)
    by_hand = hypot(((0.026**2 - shared**2) / 6) ** 0.5, shared)
    assert point.n == 6
    assert point.known.u_tds == pytest.approx(by_hand)
    assert 0.4 / 6**0.5 < point.known.u_ey < 0.4


def test_what_cannot_be_judged_is_left_out_and_said(bar):
    slot, crew = bar
    make.reading(slot, crew[0], attempt=Reading.Attempt.REPEAT, rinse_left_in=True)
    make.reading(slot, crew[0], attempt=Reading.Attempt.REPEAT, beverage_g=Decimal(245), rinse_left_in=False)
    seen = seen_by(bar)
    assert len(seen.points) == 18
    assert len(seen.left_out) == 2


def test_a_target_of_one_quantity_is_a_strip(bar):
    slot, crew = bar
    version = make.version(slot.version.recipe, ey_target=None)
    newer = make.live_slot(slot.board.cafe, version, at=NOW - timedelta(hours=1))
    make.reading(newer, crew[0], attempt=Reading.Attempt.REPEAT)
    figure = figure_of(client_of(bar, Role.HEAD))
    (strip,) = traces(figure, "target of version 2")
    assert (min(strip.x), max(strip.x)) == tuple(figure.layout.xaxis.range)
    point = next(point for point in seen_by(bar).points if point.version.number == 2)
    assert point.target.extracted == "none"
    assert "yield" not in point.target.says


@pytest.mark.parametrize("query", [{"first": "yesterday"}, {"recipe": "999999"}, {"kind": "all"}])
def test_a_question_that_makes_no_sense_is_told_kindly(bar, query):
    head = client_of(bar, Role.HEAD)
    assert head.get(PAGE, query).status_code == 422
    assert head.get(FIGURE, query).status_code == 400
    assert head.get(TABLE, query).status_code == 422


def test_an_empty_span_and_an_empty_bar_are_told_kindly(bar):
    page = client_of(bar, Role.HEAD).get(PAGE, {"kind": "served"})
    assert "Nothing to show" in page.content.decode()
    assert "plotly" not in page.content.decode()
    assert client_of(bar, Role.HEAD).get(FIGURE, {"kind": "served"}).status_code == 200
    nowhere = make.signed_in(make.person(Role.HEAD)).get(PAGE)
    assert "No readings yet" in nowhere.content.decode()


def test_the_chart_of_one_measure_leads_here_and_back(bar):
    head = client_of(bar, Role.HEAD)
    assert PAGE in head.get("/charts/", {"measure": "ey"}).content.decode()
    assert "/charts/?" in head.get(PAGE).content.decode()


def test_queries_do_not_grow_with_the_span(bar, choose, django_assert_max_num_queries):
    choose()
    head = client_of(bar, Role.HEAD)
    with django_assert_max_num_queries(16):
        head.get(PAGE)
