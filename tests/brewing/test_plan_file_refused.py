"""A plan file that is wrong is refused by its keys; whatever is let through can be reckoned with."""

import json

import pytest

from recipes.brewing.plan_answer import answer
from recipes.brewing.plan_file import BREW_TIME, MOST_BYTES, read
from recipes.brewing.strict_json import Malformed
from tests.brewing.plan_files import EVERYTHING, places, raw, with_value, without

MUST_BE_THERE = [
    "dose_g",
    "water_g",
    "temperature_C",
    "pours",
    "pours[1].starts_at_s",
    "pours[1].to_g",
    "pours[1].flow_g_s",
    "pours[1].spout_height_mm",
    "pours[1].pattern",
    "brewer.shape",
    "kettle.breakup_observations[0].flow_g_s",
    "kettle.breakup_observations[0].temperature_C",
    "kettle.breakup_observations[0].height_mm",
    "conductance.low_m2_s",
    "conductance.best_m2_s",
    "conductance.high_m2_s",
    "conductance.brews",
]
NEVER_MEANT = [True, -1000, float("nan"), float("inf"), 1e-300, 1e300, "five", [], [1], {}, {"a": 1}]
AT_AN_EDGE = [None, 0, 1e-9, 0.1, 1, 100, 1e4, 1e5]


def faults_of(file: bytes) -> tuple[str, ...]:
    with pytest.raises(Malformed) as refused:
        read(file)
    return refused.value.faults


@pytest.mark.parametrize("path", MUST_BE_THERE)
def test_a_missing_key_is_named(path):
    [fault] = faults_of(raw(without(path)))
    assert fault.startswith(f"{path} is missing: expected ")


def test_no_other_key_has_to_be_there():
    in_lists = [path for path in places() if path.endswith("]")]
    for path in places():
        if path not in MUST_BE_THERE and path not in in_lists and "pours[" not in path and "ns[" not in path:
            read(raw(without(path)))


@pytest.mark.parametrize("path", list(places()))
def test_any_value_anywhere_is_refused_by_its_path_or_can_be_reckoned_with(path):
    for value in NEVER_MEANT + AT_AN_EDGE:
        try:
            file = read(raw(with_value(path, value)))
        except Malformed as refused:
            blamed = [fault for fault in refused.faults if path.split(".")[-1] in fault]
        else:
            blamed = [json.dumps(answer(file), allow_nan=False)]
        assert blamed, value


@pytest.mark.parametrize("path", [path for path in places() if not path.endswith("]")])
def test_what_nobody_can_mean_is_refused(path):
    is_list = path in ("pours", "kettle.breakup_observations")
    for value in NEVER_MEANT:
        meant = (path.endswith("broken") and value is True) or (is_list and value == [])
        meant = meant or (value == {} and path in ("kettle", "targets"))
        if not meant:
            assert any(fault.startswith(path) for fault in faults_of(raw(with_value(path, value)))), value


@pytest.mark.parametrize(
    ("path", "value", "says"),
    [
        ("pours[1].flow_g_s", "five", ': expected a number from 0 to 100000 g/s, or null while open, not "five".'),
        ("dose_g", -15, ": expected a number from 0 to 100000 g, or null while open, not -15."),
        ("dose_g", True, ": expected a number from 0 to 100000 g, or null while open, not true."),
        ("temperature_C", "hot", ': expected a number from 0 to 150 °C, or null while open, or "at the boil"'),
        ("altitude_m", 9000, ": expected a number from -430 to 5000 m, not 9000."),
        ("pours", {}, ": expected a list of pours, not an object."),
        ("pours[0]", 45, ": expected an object with starts_at_s, to_g, flow_g_s, spout_height_mm,"),
        ("pours[0].then", "shake", ': expected one of "", "stir", "swirl", not "shake".'),
        ("brewer.shape", "wedge", ': expected one of "cone", "cylinder", "flat", not "wedge".'),
        ("brewer.shape", None, ': expected one of "cone", "cylinder", "flat", not null.'),
        ("kettle.flow_min_g_s", 12, ": expected no more than flow_max_g_s, 9, not 12."),
        ("kettle.breakup_observations[2].broken", 0, ": expected one of true, false, not 0."),
        ("kettle.breakup_observations[0].height_mm", None, ": expected a number from 1 to 1000 mm, not null."),
        ("conductance", "5", ": expected an object with low_m2_s, best_m2_s, high_m2_s, brews, brew_times_s"),
        ("conductance", 2.0, ": expected a number from 1e-09 to 0.01 m²/s, not 2."),
        ("conductance.best_m2_s", 5e-5, ": expected a number between low_m2_s and high_m2_s, not 5e-05."),
        ("conductance.brews", 5.5, ": expected a whole number, not 5.5."),
        ("doseg", 15, " is not a known key. Did you mean dose_g?"),
        ("pours[1].flow", 5, " is not a known key. Did you mean flow_g_s?"),
        ("colour", "red", " is not a known key. Known here: dose_g, water_g,"),
    ],
)  # fmt: skip
def test_what_is_said(path, value, says):
    assert faults_of(raw(with_value(path, value)))[0].startswith(path + says)


def test_what_is_shown_of_a_file_does_nothing_to_a_terminal():
    for key in ("\x1b[31m", "\u202e", "\ud800", "x" * 5000):
        [fault] = faults_of(raw(EVERYTHING | {key: 1}))
        assert fault.isprintable()
        [fault] = faults_of(raw(EVERYTHING | {"dose_g": key}))
        assert fault.isprintable()
        assert len(fault) < 200


def test_either_a_fit_or_brew_times():
    faults = faults_of(raw(with_value("conductance.brew_times_s", [180])))
    assert len(faults) == 4
    assert faults[0] == "conductance.low_m2_s: expected either a fit or brew_times_s, not 1.8e-05."


@pytest.mark.parametrize(
    ("file", "says"),
    [
        (b"", "Line 1, column 1 is not JSON: Expecting value."),
        (b"dose_g: 15", "Line 1, column 1 is not JSON: Expecting value."),
        (b'{"dose_g": 15,\n "water_g" 250}', "Line 2, column 12 is not JSON: Expecting ':' delimiter."),
        (b'{"dose_g": 15} {}', "Line 1, column 16 is not JSON: Extra data."),
        (b'{"dose_g": 1', "Line 1, column 13 is not JSON: Expecting ',' delimiter."),
        (b"{\"dose_g\": '15'}", "Line 1, column 12 is not JSON: Expecting value."),
        (b"[]", "The file: expected an object with dose_g, water_g,"),
        (b"null", "The file: expected an object with dose_g, water_g,"),
        (b"NaN", "The file: expected an object with dose_g, water_g,"),
        (b'{"dose_g": 15, "dose_g": 16}', "dose_g is there twice: keep one."),
        (b'{"dose_g": ' + b"9" * 5000 + b"}", "dose_g: expected a number from 0 to 100000 g, or null"),
        (b'{"dose_g": 1e999}', "dose_g: expected a number from 0 to 100000 g, or null while open, not inf."),
        (b'{"dose_g": -Infinity}', "dose_g: expected a number from 0 to 100000 g, or null while open, not -inf."),
        (b'{"dose_g": "\xff"}', "The file is not text in UTF-8: byte 13 cannot be read."),
        ('{"dose_g": 15}'.encode("utf-16"), "The file is not text in UTF-8: byte 1 cannot be read."),
        (b"\x00" * 20, "Line 1, column 1 is not JSON"),
        (b"[" * 50_000, "Lists and objects are nested too deeply."),
        (b'{"a":' * 20_000, "Lists and objects are nested too deeply."),
        (b" " * (MOST_BYTES + 1), "The file is larger than 100000 bytes."),
    ],
)  # fmt: skip
def test_a_file_that_is_no_plan(file, says):
    assert faults_of(file)[0].startswith(says)


def test_all_that_is_wrong_is_told_at_once_but_no_book():
    file = with_value("pours[0].to_g", "much", with_value("dose_g", "some", with_value("watr", 1)))
    assert [fault.split()[0].rstrip(":") for fault in faults_of(raw(file))] == [
        "watr",
        "dose_g",
        "pours[0].to_g",
    ]
    faults = faults_of(raw(EVERYTHING | {"pours": [1] * 500}))
    assert len(faults) == 21
    assert faults[-1] == "And 480 more."


@pytest.mark.parametrize(
    "changes",
    [
        {"pours[1].flow_g_s": None},
        {"dose_g": None},
        {"dose_g": 0},
        {"dose_g": 150},  # it would keep all of the water
        {"pours": []},
    ],
)
def test_brew_times_of_a_plan_that_cannot_be_followed(changes):
    file = EVERYTHING | {"conductance": {"brew_times_s": [180]}}
    for path, value in changes.items():
        file = with_value(path, value, file)
    [fault] = faults_of(raw(file))
    assert fault.startswith("conductance.brew_times_s: expected brews of a plan that is complete")


def test_brew_times_are_refused_one_by_one():
    file = EVERYTHING | {"conductance": {"brew_times_s": [180, "long", BREW_TIME.high + 1]}}
    first, second = faults_of(raw(file))
    assert first == 'conductance.brew_times_s[1]: expected a number from 1 to 1200 s, not "long".'
    assert second.startswith("conductance.brew_times_s[2]")
    [fault] = faults_of(raw(EVERYTHING | {"conductance": {"brew_times_s": 180}}))
    assert fault == "conductance.brew_times_s: expected a list of brew times, not 180."
