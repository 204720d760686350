"""A plan from a file at the command line: the published numbers of its stream, and the shape of the answer."""

import json
import os
import subprocess
import sys
from io import BytesIO, StringIO
from pathlib import Path
from types import SimpleNamespace
from typing import Any

import pytest
from django.core.management import CommandError, call_command
from django.core.management.base import CommandParser

from brewbar import bootstrap
from recipes.brewing.plan_file import KEYS
from recipes.brewing.safety import POURING
from recipes.management.commands import brew
from tests.brewing.plan_files import EVERYTHING, raw, with_value
from tests.published.checks import ROWS, agrees, given

README = (bootstrap.ROOT / "README.md").read_text("utf-8")
POUR = [
    "added_g",
    "ends_at_s",
    "exit_velocity_m_s",
    "impact_velocity_m_s",
    "stream_diameter_at_impact_mm",
    "reynolds",
    "weber",
    "ohnesorge",
    "regime",
    "breakup_height_mm",
    "recommended_height_mm",
    "energy_mJ",
    "momentum_mN_s",
]


@pytest.fixture
def run(tmp_path):
    def run(file: Any, *options: str) -> str:
        path, out = tmp_path / "plan.json", StringIO()
        path.write_bytes(file if isinstance(file, bytes) else raw(file))
        call_command("brew", str(path), *options, stdout=out)
        return out.getvalue()

    return run


@pytest.fixture
def told(run):
    return lambda file: json.loads(run(file, "--json"))


def published_stream() -> dict[str, Any]:
    """5 mL/s from a 6 mm bore, 93 °C, 200 mm up: the stream of the rows B-…-5-6-93."""
    spout = given("B-V-5-6-93")
    grams_per_mL = ROWS["A-rho-93"]["expected"] / 1e3
    pour = EVERYTHING["pours"][0] | {
        "flow_g_s": spout["Q_mL_s"] * grams_per_mL,
        "to_g": 100,
        "spout_height_mm": 1e3 * given("B-vimp-5-6-93")["height_m"],
    }
    return {
        "dose_g": 15,
        "water_g": 100,
        "temperature_C": spout["t_C"],
        "kettle": {"bore_mm": spout["D_mm"]},
        "pours": [pour],
    }


def test_published_numbers_of_a_stream(told):
    [pour] = told(published_stream())["pours"]
    agrees("B-V-5-6-93", pour["exit_velocity_m_s"])
    agrees("B-Re-5-6-93", pour["reynolds"])
    agrees("B-We-5-6-93", pour["weber"])
    agrees("B-Oh-5-6-93", pour["ohnesorge"])
    agrees("B-vimp-5-6-93", pour["impact_velocity_m_s"])
    agrees("B-dimp-5-6-93", pour["stream_diameter_at_impact_mm"])
    agrees("B-Lgrav-N6-5-6-93", pour["breakup_height_mm"]["low"] / 1e3)
    agrees("B-Lgrav-N12-5-6-93", pour["breakup_height_mm"]["high"] / 1e3)
    agrees("B-mom-5-6-93", pour["momentum_mN_s"] / 1e3 / pour["ends_at_s"])
    assert pour["regime"] == "transitional"
    assert pour["breakup_height_mm"]["measured"] is False


def test_published_power_on_a_bed_without_a_column(told):
    """P = rho Q v²/2 by the row's definition, at a height below breakup and with a pour that the bed takes up."""
    file = published_stream()
    file["pours"][0] |= {"spout_height_mm": 80, "to_g": 30}
    [pour] = told(file | {"water_g": 30})["pours"]
    at_200_mm = given("B-power-5-6-93")["height_m"]
    per_second = pour["energy_mJ"] / 1e3 / pour["ends_at_s"]
    fallen_W = 5e-6 * ROWS["A-rho-93"]["expected"] * 9.80665 * (at_200_mm - 0.08)
    agrees("B-power-5-6-93", per_second + fallen_W)


def test_published_boiling_point(told):
    file = with_value("altitude_m", given("A-boil-1500")["z_m"], with_value("temperature_C", "at the boil"))
    agrees("A-boil-1500", told(file)["pours"][0]["temperature_C"])


def test_the_answer_has_the_keys_that_are_promised(told):
    answer = told(EVERYTHING)
    assert list(answer)[:3] == ["findings", "pours", "curves"]
    assert list(answer["curves"]) == ["t_s", "poured_g", "column_mm", "slurry_temperature_C"]
    assert list(answer["curves"]["slurry_temperature_C"]) == ["low", "best", "high"]
    for pour in answer["pours"]:
        assert list(pour)[: len(POUR)] == POUR
        assert list(pour["breakup_height_mm"]) == ["low", "best", "high", "measured"]
        assert list(pour["recommended_height_mm"]) == ["low", "high"]
        assert pour["breakup_height_mm"]["measured"] is True
    assert answer["energy_mJ"] == pytest.approx(sum(pour["energy_mJ"] for pour in answer["pours"]))
    assert answer["complete"] is True


def test_curves_are_arrays_of_one_length(told):
    curves = told(EVERYTHING)["curves"]
    slurry = curves["slurry_temperature_C"]
    arrays = [
        curves["t_s"],
        curves["poured_g"],
        curves["column_mm"],
        slurry["low"],
        slurry["best"],
        slurry["high"],
    ]
    assert {len(array) for array in arrays} == {len(arrays[0])}
    assert curves["t_s"] == list(range(len(arrays[0])))
    assert curves["poured_g"][-1] == 250
    assert [line[0] for line in slurry.values()] == [None] * 3
    assert slurry["low"][60] < slurry["best"][60] < slurry["high"][60]


def test_findings_count_pours_from_one_and_name_their_rule(told):
    file = with_value("pours[1].spout_height_mm", 320, with_value("water_g", 260))
    found = told(with_value("pours[2].pattern", "wall", file))["findings"]
    assert all(list(one) == ["severity", "rule", "pour", "message", "remedy"] for one in found)
    said = {(one["severity"], one["rule"], one["pour"]) for one in found}
    # common practice, no source: R10, R15; the limit of height is the house's
    assert {("error", "R15", 3), ("error", "spout-too-high", 2), ("warning", "R10", 3)} <= said
    found = told(with_value("pours[1].spout_height_mm", 151, with_value("dose_g", 30)))["findings"]
    said = {(one["severity"], one["rule"], one["pour"]) for one in found}
    assert {("warning", "spout-high", 2), ("warning", "ratio-unusual", None)} <= said


def test_a_forecast_that_misses_its_target_is_a_finding(told):
    file = EVERYTHING | {"conductance": {"brew_times_s": [178, 185, 188, 182, 192]}}
    assert told(file)["findings"] == []
    late = told(with_value("targets.brew_time_s", 400, file))["findings"]
    assert [one["rule"] for one in late] == ["brew-time-forecast"]


def test_what_a_plan_cannot_say_is_null(told):
    answer = told(with_value("pours[1].flow_g_s", None))
    second = answer["pours"][1]
    assert second["added_g"] == 105
    assert all(second[key] is None for key in POUR if key != "added_g")
    assert answer["complete"] is False
    assert answer["energy_mJ"] is answer["brew_time_s"] is answer["outflow_temperature_C"] is None
    empty = told(with_value("pours", []))
    assert (empty["pours"], empty["curves"]["t_s"], empty["curves"]["slurry_temperature_C"]["best"]) == (
        [],
        [],
        [],
    )
    assert [one["rule"] for one in empty["findings"]] == ["no-pours"]


def test_for_people(run):
    lines = run(with_value("pours[1].spout_height_mm", 320)).splitlines()
    assert max(map(len, lines)) <= 100
    text = " ".join(" ".join(lines).split())
    assert "15.0 g of coffee, 250.0 g of water (1:16.7) at 93 °C" in text
    assert "Error: Pour 2 holds the spout 320 mm up: from there hot water splashes and scalds." in text
    assert all(caution in text for caution in POURING)


@pytest.mark.parametrize(
    "open_", ["dose_g", "water_g", "temperature_C", "pours[0].to_g", "pours[2].spout_height_mm"]
)
def test_for_people_with_an_open_number(run, open_):
    text = run(with_value(open_, None))
    assert "–" in text
    assert "None" not in text


def test_a_file_that_is_no_plan_ends_with_status_2(run):
    for file, says in (
        (b"{", "Line 1, column 2 is not JSON"),
        (raw(with_value("pours[1].flow_g_s", "five")), "pours[1].flow_g_s: expected a number"),
    ):
        with pytest.raises(CommandError) as refused:
            run(file)
        assert says in str(refused.value)
        assert refused.value.returncode == 2


@pytest.mark.parametrize("name", ["nowhere.json", "."])
def test_what_is_no_file_ends_with_status_2(name, tmp_path):
    with pytest.raises(CommandError, match="cannot be read: ") as refused:
        call_command("brew", str(tmp_path / name))
    assert refused.value.returncode == 2


def test_from_standard_input(run, monkeypatch):
    monkeypatch.setattr(sys, "stdin", SimpleNamespace(buffer=BytesIO(raw(EVERYTHING))))
    out = StringIO()
    call_command("brew", "-", stdout=out)
    assert out.getvalue() == run(EVERYTHING)


def test_help_names_every_key(told):
    parser = CommandParser(prog="brew")
    brew.Command().add_arguments(parser)
    said = parser.format_help()
    asked = [key for keys in KEYS.values() for key in keys]
    given_ = [
        key
        for answer in (told(EVERYTHING),)
        for part in (answer, answer["pours"][0], answer["curves"])
        for key in part
    ]
    assert [key for key in (*asked, *given_) if key not in said] == []


def readme_blocks() -> list[str]:
    section = README.split("## At the command line", 1)[1].split("\n## ", 1)[0]
    return section.split("```")[1::2]


def test_the_example_of_the_readme_is_true(run):
    plan, what_it_says, yields = readme_blocks()
    said = run(plan.removeprefix("json").encode())
    for passage in what_it_says.strip("\n").split("…\n"):
        assert passage.strip("\n") in said
    command, *lines = yields.strip("\n").splitlines()
    out = StringIO()
    call_command(*command.split("manage.py ")[1].split(), stdout=out)
    assert out.getvalue().splitlines() == lines


def test_in_a_process_of_its_own_without_a_database(tmp_path):
    path = tmp_path / "plan.json"
    path.write_bytes(raw(EVERYTHING))
    environment = os.environ | {
        "DATABASE_URL": "postgresql://nobody@127.0.0.1:1/nothing",
        "BREWBAR_DATA": str(tmp_path / "data"),
    }

    def ran(*words: str) -> subprocess.CompletedProcess[str]:
        return subprocess.run(
            [sys.executable, Path("manage.py"), *words],
            cwd=bootstrap.ROOT,
            env=environment,
            capture_output=True,
            text=True,
        )

    done = ran("brew", str(path), "--json")
    assert (done.returncode, done.stderr) == (0, "")
    assert json.loads(done.stdout)["complete"] is True
    done = ran("extraction", "--dose=15", "--water=250", "--beverage=220", "--tds=1.40")
    assert (done.returncode, done.stderr) == (0, "")
    path.write_bytes(b'{"dose_g": NaN}')
    for words in (
        ("brew", str(path), "--json"),
        ("brew",),
        ("extraction", "--dose=0", "--water=1", "--tds=1"),
    ):
        done = ran(*words)
        assert (done.returncode, done.stdout) == (2, "")
        assert "Traceback" not in done.stderr
