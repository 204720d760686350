"""The report's figures: plotly takes them, nothing is told by colour alone, and screen and paper share their axes."""

from __future__ import annotations

from datetime import date

import plotly.graph_objects as go
import pytest

from brewbar.units import Style, written_as
from calibration import report_axes, report_figures
from calibration.reporting.result import Bar, Bars, Days
from tests.reporting import sample

FIGURES = [section.figure for section in sample.report().sections if section.figure]
BY_KEY = {figure.key: figure for figure in FIGURES}


@pytest.mark.parametrize("figure", [*FIGURES, sample.days(is_time=True).figure], ids=lambda f: f.key)
def test_plotly_takes_every_figure(figure):
    drawn = report_figures.drawn(figure)
    assert go.Figure(drawn).data


def test_what_a_colour_tells_a_shape_tells_too():
    drawn = report_figures.drawn(BY_KEY["inside"])
    shapes = [trace["marker"]["symbol"] for trace in drawn["data"]]
    assert len(set(shapes)) == len(shapes) == 4


def test_every_value_and_interval_is_drawn_as_it_is():
    figure = BY_KEY["inside"]
    drawn = report_figures.drawn(figure)
    found = {}
    for trace in drawn["data"]:
        for x, up, down in zip(
            trace["x"], trace["error_x"]["array"], trace["error_x"]["arrayminus"], strict=True
        ):
            found[round(x, 6)] = (round(x - down, 6), round(x + up, 6))
    for bar in figure.bars:
        assert found[bar.value] == (bar.low, bar.high)
        assert found[bar.before[0]] == bar.before[1:]


def test_a_line_without_a_value_has_a_dash_and_no_dot():
    drawn = report_figures.drawn(BY_KEY["cafes"])
    assert [note["text"] for note in drawn["layout"]["annotations"]] == ["–"]
    assert sum(len(trace["x"]) for trace in drawn["data"]) == len(BY_KEY["cafes"].bars) - 1


def test_words_of_a_cafe_are_words_and_no_markup():
    figure = Bars("k", "t", "a < b", 0, (Bar("<b>Bold & co</b>", 1.0),))
    drawn = report_figures.drawn(figure)
    assert drawn["layout"]["yaxis"]["ticktext"] == ["&lt;b&gt;Bold &amp; co&lt;/b&gt;"]
    assert "<b>" not in drawn["data"][0]["text"][0]


def test_nothing_at_all_is_drawn_too():
    for figure in (Bars("k", "t", "a", 1, ()), Days("k", "t", "a", 1, False, (), (), ())):
        assert go.Figure(report_figures.drawn(figure)) is not None


@pytest.mark.parametrize(
    ("low", "high", "decimals", "written"),
    [
        (-12.0, 3.0, 0, ["−10", "−5", "0"]),
        (0.2, 0.21, 3, ["0.200", "0.202", "0.204", "0.206", "0.208", "0.210"]),
        (1.0, 1.4, 1, ["1.0", "1.1", "1.2", "1.3", "1.4"]),
    ],
)
def test_ticks_are_round_and_few(low, high, decimals, written):
    axis = report_axes.of_bars(Bars("k", "t", "a", decimals, (Bar("x", low),), span=(low, high)))
    assert [text for _value, text in axis.ticks] == written


def test_a_bar_begins_at_zero_and_a_change_shows_where_zero_is():
    assert report_axes.of_bars(BY_KEY["spread"]).low == 0
    axis = report_axes.of_bars(Bars("k", "t", "a", 1, (Bar("x", 4.0, 3.0, 5.0),), zero=True))
    assert axis.low < 0 < axis.high


def test_times_are_written_as_times_and_decimals_as_the_reader_likes():
    times = report_axes.of_values(sample.days(is_time=True).figure)
    assert {":" in text for _value, text in times.ticks} == {True}
    with written_as(Style(decimal_mark=",")):
        assert report_axes.of_values(BY_KEY["days"]).ticks[0][1].startswith("1,")


def test_what_was_changed_has_a_number_for_each_day():
    figure = Days(
        "d",
        "t",
        "a",
        1,
        False,
        (),
        (),
        ((date(2026, 1, 5), "b"), (date(2026, 1, 2), "a"), (date(2026, 1, 5), "c")),
    )
    assert [(mark.number, mark.says) for mark in report_axes.marks_of(figure)] == [(1, "a"), (2, "b; c")]
