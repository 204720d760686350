"""What the checks of an instrument were wrong by: its chart, the limits of its own scatter, its table and its CSV."""

import csv
import io
from datetime import timedelta
from decimal import Decimal

import pytest
from django.urls import reverse
from django.utils import timezone
from plotly.graph_objects import Figure

from brewbar.crew.models import Role
from calibration import check_errors, check_errors_figure, instruments
from tests import factories as make

pytestmark = pytest.mark.django_db
READ = ("1.50", "1.52", "1.49", "1.50", "1.51", "1.49", "1.50", "1.52", "1.48", "1.50")


@pytest.fixture
def glass():
    return make.refractometer(make.cafe(time_zone="Europe/Lisbon"), name="Glass one")


@pytest.fixture
def head(glass):
    return make.person(Role.HEAD, glass.cafe)


def standards(glass, head, *reads):
    for days_ago, read in zip(range(len(reads), 0, -1), reads, strict=True):
        at = timezone.now() - timedelta(days=days_ago)
        instruments.check(glass, "standard", Decimal("1.50"), Decimal(read), head, at)


def test_limits_are_those_of_single_readings_and_their_moving_range(glass, head):
    """NIST/SEMATECH e-Handbook, 6.3.2.2: mean ± 3·MR̄/1.128, here by hand: mean 0.001, MR̄ = 0.18/9; 1.128 is rounded."""
    standards(glass, head, *READ)
    errors = check_errors.look(glass, timezone.now())
    chart = errors.limits
    assert (chart.centre, chart.low, chart.high) == pytest.approx(
        (0.001, 0.001 - 3 * (0.18 / 9) / 1.128, 0.001 + 3 * (0.18 / 9) / 1.128), abs=3e-5
    )
    assert errors.too_few == 0
    assert errors.beyond == []


def test_a_failure_lies_beyond_limits_that_it_does_not_widen(glass, head):
    standards(glass, head, *READ, "1.60")
    errors = check_errors.look(glass, timezone.now())
    assert [point.check.read_tds for point in errors.beyond] == [Decimal("1.60")]
    assert errors.limits.high < 0.06


def test_too_few_say_how_many_are_wanting_and_water_counts_for_nothing(glass, head):
    standards(glass, head, *READ[:4])
    instruments.check(glass, "zero", Decimal(0), Decimal("0.01"), head, timezone.now())
    errors = check_errors.look(glass, timezone.now())
    assert (errors.limits, errors.too_few) == (None, 6)
    assert len(errors.waters) == 1


def test_where_failing_begins_is_by_the_uncertainty_of_the_newest_standard(glass, head):
    standards(glass, head, "1.50")
    errors = check_errors.look(glass, timezone.now())
    assert errors.unclear_to == pytest.approx(0.0416, abs=5e-5)
    assert pytest.approx(0.0289, abs=5e-5) == errors.points[0].U


def test_a_year_is_shown(glass, head):
    for days in (20, 400):
        at = timezone.now() - timedelta(days=days)
        instruments.check(glass, "zero", Decimal(0), Decimal(0), head, at)
    assert len(check_errors.look(glass, timezone.now()).points) == 1


def test_the_figure_is_one_and_has_every_check_once(glass, head):
    standards(glass, head, *READ, "1.54", "1.60")
    instruments.check(glass, "zero", Decimal(0), Decimal("0.02"), head, timezone.now())
    drawn = check_errors_figure.over_time(check_errors.look(glass, timezone.now()))
    Figure(drawn)  # refuses what plotly does not know
    assert sum(len(trace["x"]) for trace in drawn["data"]) == len(READ) + 3
    assert len({(t["marker"]["symbol"], t["marker"]["color"]) for t in drawn["data"]}) == 4
    assert len({t["marker"]["symbol"] for t in drawn["data"]}) == 4, (
        "shapes tell the verdicts apart, not colour alone"
    )
    low, high = drawn["layout"]["yaxis"]["range"]
    assert low == -high
    assert all(abs(y) < high for trace in drawn["data"] for y in trace["y"])


def test_an_instrument_without_checks_has_an_empty_figure(glass):
    assert check_errors_figure.over_time(check_errors.look(glass, timezone.now()))["data"] == []


def test_page_figure_and_csv_agree(glass, head):
    standards(glass, head, *READ, "1.54")
    client = make.signed_in(head)
    html = client.get(reverse("calibration:instrument_checks", args=[glass.pk])).content.decode()
    address = reverse("calibration:instrument_figure", args=[glass.pk])
    assert f'data-figure="{address}"' in html
    shown = client.get(address).json()
    answer = client.get(reverse("calibration:instrument_csv", args=[glass.pk]))
    rows = list(csv.DictReader(io.StringIO(answer.content.decode("utf-8-sig"))))
    assert [row["reads %"] for row in rows] == [*READ, "1.54"]
    assert [row["verdict"] for row in rows] == ["passed"] * len(READ) + ["unclear"]
    assert sum(len(trace["x"]) for trace in shown["data"]) == len(rows)
    assert html.count("<tr>") == len(rows) + 1


@pytest.mark.parametrize("n", [1, 12])
def test_the_page_asks_as_often_however_many_checks_there_are(glass, head, n, django_assert_num_queries):
    standards(glass, head, *(READ + READ)[:n])
    client = make.signed_in(head)
    # session, person, places; instrument with plan; spans; plans, newest, spans, this instrument's checks; badge
    with django_assert_num_queries(9):
        client.get(reverse("calibration:instrument_checks", args=[glass.pk]))
