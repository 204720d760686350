"""Values written in any style people use are read back as the same values."""

from datetime import date, time
from decimal import Decimal

from hypothesis import given, settings
from hypothesis import strategies as st

from calibration.importing.mapping import Chosen
from tests.importing.sheets import HEAD, answering, book_file, csv_file, judged

MONTHS = "January February March April May June July August September October November December".split()  # noqa: SIM905
brews = st.lists(
    st.tuples(
        st.dates(date(2020, 1, 1), date(2026, 10, 31)),
        st.sampled_from(["Mira Demo", "Jürgen Demo", "O'Neil; Demo", 'Zoë "Z" Demo']),
        st.integers(100, 400),  # dose in 0.1 g
        st.integers(1000, 12_000),  # water in 0.1 g
        st.integers(60, 600),  # brew time in s
        st.tuples(st.integers(90, 180), st.integers(90, 180)),  # drops in 0.01 % TDS
    ),
    min_size=1,
    max_size=5,
    unique=True,
)
ORDERS = {
    "dmy": "{d:02d}.{m:02d}.{y}",
    "mdy": "{m}/{d}/{y}",
    "iso": "{y}-{m:02d}-{d:02d}",
    "named": "{d} {name} {y}",
}
CLOCKS = {
    "m:ss": lambda s: f"{s // 60}:{s % 60:02d}",
    "seconds": lambda s: str(s),
    "s": lambda s: f"{s} s",
    "words": lambda s: f"{s // 60} min {s % 60} s",
    "hours": lambda s: f"00:{s // 60:02d}:{s % 60:02d}",
}
styles = st.fixed_dictionaries(
    {
        "order": st.sampled_from(list(ORDERS)),
        "clock": st.sampled_from(list(CLOCKS)),
        "mark": st.sampled_from(".,"),
        "unit": st.booleans(),
        "delimiter": st.sampled_from(";\t"),
        "encoding": st.sampled_from(["utf-8", "utf-8-sig", "utf-16", "cp1252"]),
        "end": st.sampled_from(["\n", "\r\n", "\r"]),
        "blank": st.booleans(),
    }
)


def expected(brew):
    day, who, dose, water, seconds, drops = brew
    return {
        "day": day,
        "barista": who,
        "recipe": "House filter",
        "dose_g": Decimal(dose) / 10,
        "water_g": Decimal(water) / 10,
        "brew_time_s": seconds,
        "tds": tuple(Decimal(drop) / 100 for drop in drops),
    }


def written(brew, style):
    day, who, dose, water, seconds, drops = brew
    mark = lambda text: text.replace(".", style["mark"])  # noqa: E731
    grams = " g" if style["unit"] else ""
    return [
        ORDERS[style["order"]].format(d=day.day, m=day.month, y=day.year, name=MONTHS[day.month - 1]),
        who,
        "House filter",
        mark(f"{dose / 10:.1f}") + grams,
        mark(f"{water / 10:.1f}") + grams,
        CLOCKS[style["clock"]](seconds),
        *(mark(f"{drop / 100:.2f}") for drop in drops),
    ]


def quoted(cell, delimiter):
    return '"' + cell.replace('"', '""') + '"' if delimiter in cell or '"' in cell else cell


@settings(max_examples=40, deadline=None)
@given(brews, styles)
def test_csv(rows, style):
    table = [HEAD, *(written(row, style) for row in rows)]
    end = style["end"] * (2 if style["blank"] else 1)
    text = end.join(
        style["delimiter"].join(quoted(cell, style["delimiter"]) for cell in row) for row in table
    )

    order = style["order"] if style["order"] in ("dmy", "mdy") else ""
    answered = answering(Chosen(0, "day", date_order=order))
    found, _verdicts = judged(csv_file(text, style["encoding"]), edit=answered)
    assert [row.values for row in found] == [expected(row) for row in rows], [row.problems for row in found]
    assert all(row.is_good for row in found)
    first, every = (3, 2) if style["blank"] else (2, 1)
    assert [row.number for row in found] == list(range(first, first + every * len(rows), every))


@settings(max_examples=12, deadline=None)
@given(brews, st.sampled_from(["time", "seconds", "m:ss"]))
def test_xlsx(rows, clock):
    def cells(brew):
        day, who, dose, water, seconds, drops = brew
        shown = {
            "time": time(0, seconds // 60, seconds % 60),
            "seconds": seconds,
            "m:ss": CLOCKS["m:ss"](seconds),
        }
        return [
            day,
            who,
            "House filter",
            dose / 10,
            water / 10,
            shown[clock],
            *(drop / 100 for drop in drops),
        ]

    found, _verdicts = judged(book_file([HEAD, *(cells(row) for row in rows)]))
    assert [row.values for row in found] == [expected(row) for row in rows], [row.problems for row in found]


@settings(max_examples=25, deadline=None)
@given(brews, st.sampled_from(["dmy", "mdy"]), styles)
def test_an_order_is_never_guessed(rows, order, style):
    """Without an answer every day is either right or a problem, whatever the other days of its column are."""
    style = {**style, "order": order, "blank": False}
    text = "\n".join("\t".join(row) for row in [HEAD, *(written(row, style) for row in rows)])
    found, _verdicts = judged(csv_file(text.replace('"', "")))
    for row, brew in zip(found, rows, strict=True):
        assert row.values.get("day") == brew[0] or (row.problems and "day" not in row.values)
