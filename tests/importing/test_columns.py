"""Which column is what, told by names in six languages and by the cells alone."""

import pytest

from calibration.importing.columns import guess
from calibration.importing.fields import FIELDS, Kind
from calibration.importing.headings import known_names, taken_apart
from calibration.importing.mapping import Chosen, Mapping
from calibration.importing.reading import open_sheet
from tests.importing.sheets import book_file, lines

BREW = (
    "2026-03-09",
    "7:45",
    "Mira",
    "House filter",
    "B12",
    "15.0",
    "250",
    "217.4",
    "2:45",
    "1.38",
    "1.40",
    "22.5",
    "clean",
)
KEYS = ["day", "time", "barista", "recipe", "batch", "dose_g", "water_g", "beverage_g", "brew_time_s", "tds", "tds",
        "sample_temperature_C", "taste"]  # fmt: skip
HEADS = {
    "English": (
        "Date|Time|Barista|Recipe|Batch|Dose (g)|Water (g)|Beverage mass|Brew time|TDS 1|"
        "TDS 2|Sample temp (°C)|Notes"
    ),
    "English, another": (
        "day|at|Brewed by|recipe_name|lot|coffee in|total water|Coffee out|duration|"
        "Drop 1|Drop 2|sample|comments"
    ),
    "as exported": (
        "date|time|barista|recipe|batch|dose_g|water_g|beverage_g|brew_time_s|tds1|tds2|"
        "sample_temperature_C|taste"
    ),
    "German": (
        "Datum|Uhrzeit|Wer|Rezept|Charge|Dosis [g]|Wasser|Getränk|Brühzeit|Stärke 1|"
        "Stärke 2|Probentemperatur|Geschmack"
    ),
    "French": (
        "Date|Heure|Qui|Recette|Lot|Dose|Eau|Boisson|Temps|TDS 1 (%)|TDS 2 (%)|"
        "Température échantillon|Commentaire"
    ),
    "Italian": (
        "Data|Ora|Chi|Ricetta|Lotto|Dose|Acqua (g)|Bevanda|Tempo|Goccia 1|Goccia 2|"
        "Temperatura campione|Assaggio"
    ),
    "Spanish": (
        "Fecha|Hora|Quién|Receta|Lote|Dosis|Agua|Bebida|Tiempo total|Gota 1|Gota 2|"
        "Temperatura de la muestra|Cata"
    ),
    "Portuguese": (
        "Data|Hora|Quem|Receita|Lote|Dose|Água|Peso da bebida|Tempo|TDS 1|TDS 2|Temperatura da amostra|Sabor"
    ),
    "capitals": (
        "DATE|TIME|BARISTA|RECIPE|BATCH|DOSE|WATER|BEVERAGE|BREW TIME|TDS 1|TDS 2|SAMPLE TEMP|NOTES"
    ),
    "slips of the finger": (
        "Date|Time|Barsita|Recipes|Batch|Dose|Watter|Beverage|Brew tme|TDS 1|TDS 2|Sample tempp|Notes"
    ),
}


def guessed(file, kind=Kind.READINGS, head_row=None):
    with open_sheet(file) as sheet:
        return guess(sheet, kind, head_row)


@pytest.mark.parametrize("name", HEADS)
def test_names(name):
    found = guessed(lines(HEADS[name].split("|"), BREW, BREW))
    assert [one.field for one in found.guesses] == KEYS
    assert min(one.sure for one in found.guesses) >= 0.6
    assert found.mapping.faults() == []


def test_names_of_lots():
    head = (
        "Sorte|Herkunft|Aufbereitung|Röstgrad|Charge|Röstdatum|Eingang|Geöffnet am|"
        "Eingefroren|Aufgetaut|Dichte (g/l)|Notiz"
    )
    row = "Guji|Äthiopien|gewaschen|hell|B12|2026-03-01|2026-03-04|2026-03-09|2026-03-10|2026-03-12|350|fein"
    found = guessed(lines(head.split("|"), row.split("|")), Kind.LOTS)
    assert [one.field for one in found.guesses] == [
        "coffee", "origin", "process", "roast_level", "batch", "roasted_on", "received_on", "opened_on", "frozen_on",
        "thawed_on", "density_g_l", "note",
    ]  # fmt: skip


def test_titles_and_blank_lines_above_the_headings():
    file = lines(
        ["Brew log of the spring"],
        [],
        ["Who may write: everybody", "", "Date: today"],
        [],
        HEADS["English"].split("|"),
        BREW,
    )
    assert guessed(file).mapping.head_row == 5


def test_a_head_row_in_a_language_nobody_knows_is_still_none_of_the_data():
    head = [f"столбец {letter}" for letter in "абвгдежзиклмн"]
    found = guessed(lines(["заголовок"], head, BREW, BREW))
    assert found.mapping.head_row == 2
    assert {"day", "brew_time_s", "tds", "water_g"} <= {one.field for one in found.guesses}


def test_without_headings_the_cells_tell_what_they_can():
    found = guessed(lines(BREW, [*BREW[:1], "14:05", "Ana", *BREW[3:]]))
    fields = [one.field for one in found.guesses]
    assert found.mapping.head_row == 0
    assert fields[0] == "day"
    assert fields[1] == "time"
    assert fields[6] == "water_g"
    assert fields[8:11] == ["brew_time_s", "tds", "tds"]
    assert max(one.sure for one in found.guesses) < 0.7
    assert "between 1.38 and 1.38" in found.guesses[9].why


def test_a_name_that_means_two_things_is_decided_by_the_cells():
    def fields(head, *cells):
        return [one.field for one in guessed(lines(head, *([cell] for cell in cells))).guesses]

    assert fields(["Time", "Dose"], "14:05", "8:30") == ["time", "dose_g"]
    assert guessed(lines(["Time", "Dose"], ["2:45", "15"], ["3:10", "15"])).guesses[0].field == "brew_time_s"
    assert guessed(lines(["Date", "Dose"], ["9/3/2026 14:05", "15"])).guesses[0].field == "moment"
    assert guessed(lines(["Coffee", "TDS"], ["15.0", "1.38"])).guesses[0].field == "dose_g"
    assert guessed(lines(["Coffee", "TDS"], ["Guji", "1.38"])).guesses[0].field == "coffee"
    assert guessed(lines(["Yield", "TDS"], ["217.4", "1.38"])).guesses[0].field == "beverage_g"
    assert guessed(lines(["Yield", "TDS"], ["20.1", "1.38"])).guesses[0].field == "yield_pct"
    assert guessed(lines(["Temp", "TDS"], ["92", "1.38"])).guesses[0].field == "slurry_temperature_C"
    assert guessed(lines(["Temp", "TDS"], ["22", "1.38"])).guesses[0].field == "sample_temperature_C"
    assert guessed(lines(["Server", "TDS"], ["Blue", "1.38"])).guesses[0].field == "server"
    assert guessed(lines(["Server", "TDS"], ["512.3", "1.38"])).guesses[0].field == "gross_g"


def test_means_and_ratios_are_not_taken_for_drops_or_doses():
    head = ("Date", "Dose", "Water", "Ratio", "TDS 1", "TDS 2", "TDS mean", "Mittelwert TDS")
    found = guessed(lines(head, ("2026-03-09", "15", "250", "16.7", "1.38", "1.40", "1.39", "1.39")))
    assert [one.field for one in found.guesses] == ["day", "dose_g", "water_g", "", "tds", "tds", "", ""]


def test_one_heading_over_two_columns():
    def merge(sheet):
        sheet.merge_cells("C1:D1")

    found = guessed(book_file([["Date", "Dose", "TDS", None], ["2026-03-09", 15, 1.38, 1.4]], merge))
    assert [one.field for one in found.guesses] == ["day", "dose_g", "tds", "tds"]


def test_a_person_may_say_which_row_has_the_headings():
    file = lines(["Date", "Dose"], ["Datum", "Dosis"], ["2026-03-09", "15"])
    assert guessed(file).mapping.head_row == 1
    assert guessed(file, head_row=2).mapping.head_row == 2
    assert guessed(file, head_row=0).guesses[0].heading == ""


@pytest.mark.parametrize("heading", ["Brix", "°Bx", "TDS (°Brix)", "Strength in Brix"])
def test_degrees_brix_are_not_taken_for_tds(heading):
    found = guessed(lines(["Date", heading], ["2026-03-09", "1.62"], ["2026-03-10", "1.66"]))
    assert [one.field for one in found.guesses] == ["day", ""]


def test_cells_that_contradict_their_heading_are_told():
    found = guessed(lines(["Date", "Dose"], ["soon", "a spoonful"], ["later", "two"]))
    assert all("look like something else" in one.why for one in found.guesses if one.field)


def test_headings_are_taken_apart():
    found = {
        text: taken_apart(text)
        for text in ("Dose (g)", "TDS 2 [%]", "brew_time_s", "density_g_l", "Drop #3", "2. Tropfen")
    }
    assert [(one.name, one.unit, one.number) for one in found.values()] == [
        ("dose", "g", None), ("tds", "%", 2), ("brew time", "s", None), ("density", "g/l", None), ("drop", "", 3),
        ("tropfen", "", 2),
    ]  # fmt: skip


def test_every_name_leads_to_a_field():
    for kind in Kind:
        names = known_names(kind)
        assert set(FIELDS[kind]) == {key for keys in names.values() for key in keys}


def test_a_mapping_survives_its_json():
    columns = (
        Chosen(0, "day", date_order="mdy", turned="no"),
        Chosen(3, "dose_g", "kg", ","),
        Chosen(5, "tds"),
    )
    mapping = Mapping(Kind.READINGS, columns, 4, fill_merged=True, keep_repeats=True)
    assert Mapping.from_json(mapping.to_json()) == mapping


BROKEN = [
    "",
    "[]",
    "{}",
    '{"kind": "cups", "columns": [], "head_row": 0, "fill_merged": false, "leave_out_hidden": false, '
    '"keep_repeats": false}',
]
CHANGES = [
    ('"dose_g"', '"cups"'),
    ('"unit": "kg"', '"unit": "°C"'),
    ('"place": 3', '"place": -3'),
    ('"place": 3', '"place": "D"'),
    ('"head_row": 4', '"head_row": -1'),
    ('"head_row": 4', '"head_row": true'),
    ('"mdy"', '"ydm"'),
    ('"fill_merged": true', '"fill_merged": 1'),
    ('"field"', '"feld"'),
]


@pytest.mark.parametrize("text", BROKEN)
def test_what_is_no_mapping(text):
    with pytest.raises(ValueError, match="Choose them anew"):
        Mapping.from_json(text)


@pytest.mark.parametrize(("old", "new"), CHANGES)
def test_a_mapping_that_somebody_bent(old, new):
    columns = (Chosen(0, "day", date_order="mdy"), Chosen(3, "dose_g", "kg"))
    text = Mapping(Kind.READINGS, columns, 4, fill_merged=True).to_json()
    assert old in text
    with pytest.raises(ValueError, match="Choose them anew"):
        Mapping.from_json(text.replace(old, new))


def test_what_a_mapping_lacks_is_said():
    faults = Mapping(
        Kind.READINGS, (Chosen(0, "dose_g"), Chosen(2, "dose_g"), Chosen(3, "tds"), Chosen(4, "tds"))
    ).faults()
    assert faults[0] == "dose is in more than one column: A, C. Choose one."
    assert "Say which column holds the day of the brew or the day and time of the brew." in faults
    assert len(faults) == 1 + 5
