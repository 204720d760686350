"""The yield of one brew at the command line, against published values; every refusal names its option."""

import json
from io import StringIO
from typing import Any

import pytest
from django.core.management import CommandError, call_command

from tests.published.checks import agrees, given, keys

BREW = ("--dose=15", "--water=250", "--beverage=220", "--tds=1.40")


def said(*options: str) -> str:
    out = StringIO()
    call_command("extraction", *options, stdout=out, stderr=StringIO())
    return out.getvalue()


def told(*options: str) -> dict[str, Any]:
    answer: dict[str, Any] = json.loads(said(*options, "--json"))
    return answer


def options(key: str) -> list[str]:
    """Of a row of brewing_checks.json; water where it has none is any that gives its beverage."""
    row = {"water_g": 400, "beverage_g": 200, "TDS_pct": 1.3} | given(key)
    names = {
        "dose_g": "dose",
        "water_g": "water",
        "beverage_g": "beverage",
        "TDS_pct": "tds",
        "u_dose_g": "u-dose",
        "u_beverage_g": "u-beverage",
        "u_TDS_pct": "u-tds",
    }
    return [f"--{names[name]}={value}" for name, value in row.items()]


@pytest.mark.parametrize("key", keys("C-EY-"))
def test_published_yield(key):
    agrees(key, told(*options(key))["yield_pct"])


@pytest.mark.parametrize("key", keys("C-imm-"))
def test_published_yield_of_an_immersion(key):
    agrees(key, told(*options(key), "--immersion")["yield_pct"])


@pytest.mark.parametrize("key", keys("C-LRRs-"))
def test_published_simple_ratio(key):
    agrees(key, told(*options(key))["retained_simple_g_per_g"])


@pytest.mark.parametrize("key", keys("C-LRRw-"))
def test_published_water_retained(key):
    agrees(key, told(*options(key))["retained_water_g_per_g"])


@pytest.mark.parametrize("key", keys("C-u-"))
def test_uncertainty_by_the_gum(key):
    """JCGM 100:2008, equations 10 and 12, and U = k·u with k = 2, its 6.2.1."""
    agrees(key, told(*options(key))["U_pct"] / 2)


@pytest.mark.parametrize("key", keys("C-share-"))
def test_share_of_the_tds(key):
    shares = {line["source"]: line["share"] for line in told(*options(key))["budget"]}
    agrees(key, shares["tds_pct"])
    assert sum(shares.values()) == pytest.approx(1)


def test_the_answer_has_these_keys_and_no_other():
    answer = told(*BREW)
    assert list(answer) == [
        "yield_pct",
        "U_pct",
        "budget",
        "retained_simple_g_per_g",
        "retained_water_g_per_g",
    ]
    assert [list(line) for line in answer["budget"]] == [["source", "u", "share"]] * 3
    assert {line["source"]: line["u"] for line in answer["budget"]} == {
        "tds_pct": 0.026,
        "beverage_g": 0.5,
        "dose_g": 0.1,
    }


def test_an_immersion_needs_no_beverage():
    answer = told("--dose=15", "--water=250", "--tds=1.24", "--immersion", "--u-water=2")
    assert answer["retained_simple_g_per_g"] is answer["retained_water_g_per_g"] is None
    assert {line["source"]: line["u"] for line in answer["budget"]} == {
        "tds_pct": 0.026,
        "water_g": 2,
        "dose_g": 0.1,
    }


def test_nothing_uncertain():
    answer = told(*BREW, "--u-tds=0", "--u-beverage=0", "--u-dose=0")
    assert answer["U_pct"] == 0
    assert [line["share"] for line in answer["budget"]] == [0, 0, 0]


def test_for_people_one_decimal():
    lines = said(*BREW).splitlines()
    assert lines[0] == "Extraction yield 20.5 % ± 0.8 points (k = 2)"
    assert lines[1].split() == [
        "TDS",
        "1.40",
        "%",
        "u",
        "=",
        "0.026",
        "%",
        "87",
        "%",
        "of",
        "the",
        "variance",
    ]
    assert lines[-1] == "The bed kept 2.2 g of water per gram of dose; the trade's simple ratio is 2.0 g/g."
    assert max(map(len, lines)) <= 100


def test_a_comma_is_a_decimal_mark_too():
    assert said("--dose=15,0", "--water=250", "--beverage=220", "--tds=1,4") == said(*BREW)


@pytest.mark.parametrize(
    ("typed", "says"),
    [
        ("--dose=0", "--dose: a mass above 0 g is needed"),
        ("--dose=-15", "--dose: a mass above 0 g is needed, not -15 g"),
        ("--water=0", "--water: a mass above 0 g is needed"),
        ("--beverage=0", "--beverage: a mass above 0 g is needed"),
        ("--beverage=250.1", "--beverage: 250.1 g is more than the 250 g of water"),
        ("--water=200", "--beverage: 220 g is more than the 200 g of water"),
        ("--tds=0", "--tds: TDS lies above 0 %"),
        ("--tds=-1.4", "--tds: TDS lies above 0 %"),
        ("--tds=100", "--tds: TDS lies above 0 % and below 100 %"),
        ("--tds=14", "--tds: with these masses 14 % is a yield of 205.3 %"),
        ("--dose=1.5", "--tds: with these masses 1.4 % is a yield of 205.3 %"),
        ("--u-tds=-0.1", "--u-tds: an uncertainty is 0 or more"),
        ("--u-beverage=-1", "--u-beverage: an uncertainty is 0 or more"),
        ("--u-dose=-1", "--u-dose: an uncertainty is 0 or more"),
        ("--tds=nan", "argument --tds: Enter the number alone"),
        ("--tds=inf", "argument --tds: Enter the number alone"),
        ("--dose=15g", "argument --dose: Enter the number alone"),
        ("--water=1,250", "argument --water: 1,250 can be read in two ways"),
        ("--beverage=", "argument --beverage: Enter a number"),
    ],
)
def test_what_cannot_be_is_refused_by_its_option(typed, says):
    name = typed.split("=")[0]
    brew = [option for option in BREW if not option.startswith(f"{name}=")]
    out = StringIO()
    with pytest.raises(CommandError) as refused:
        call_command("extraction", *brew, typed, stdout=out)
    assert says in str(refused.value)
    assert out.getvalue() == ""
    # argparse ends the process with status 2 by itself, and only raises where a program has called
    assert refused.value.returncode == 2 or "argument" in str(refused.value)


def test_a_beverage_is_needed_but_for_an_immersion():
    with pytest.raises(CommandError, match="--beverage: the mass in the server is needed") as refused:
        said("--dose=15", "--water=250", "--tds=1.4")
    assert refused.value.returncode == 2


def test_more_than_a_bed_lets_through_is_asked_about():
    errors = StringIO()
    call_command(
        "extraction", *BREW[:2], "--beverage=240", "--tds=1.2", "--json", stdout=StringIO(), stderr=errors
    )
    assert "was rinse water left in the server?" in errors.getvalue()
    errors = StringIO()
    call_command("extraction", *BREW, stdout=StringIO(), stderr=errors)
    assert errors.getvalue() == ""
