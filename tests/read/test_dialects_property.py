"""One known log, written in a random mixture of habits, is read back as the same table."""

import csv
import io
from fractions import Fraction

import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from small_bench import read_files, shipped_kinds

NOTES = st.text(alphabet=st.characters(codec="cp1252", exclude_categories=("Cc", "Cf")), max_size=30).map(
    lambda text: " ".join(text.split())
)
# A cell of quotation marks or separators alone is read as a ditto mark.
NOTES = NOTES.filter(lambda text: not text or text.strip(",;|-' \"“”") != "")
ROWS = st.lists(
    st.fixed_dictionaries(
        {
            "day": st.integers(1, 28),
            "outcome": st.sampled_from(["good", "reject", "blank"]),
            "count": st.integers(1, 12),
            "fill": st.none() | st.integers(1, 40),
            "temp_f": st.none() | st.integers(60, 900).map(lambda tenths: tenths + 0.5),
            "mass_32nds": st.none() | st.integers(1, 200),
            "note": NOTES,
        }
    ),
    min_size=1,
    max_size=8,
)
HABITS = st.fixed_dictionaries(
    {
        "encoding": st.sampled_from(["utf-8", "utf-8-sig", "utf-16", "utf-16-le", "cp1252"]),
        "separator": st.sampled_from([",", ";", "\t"]),
        "line_end": st.sampled_from(["\n", "\r\n", "\r"]),
        "decimal_comma": st.booleans(),
        "header_case": st.sampled_from([str.lower, str.upper, str.title]),
        "header_gap": st.sampled_from(["_", " ", "  ", "-"]),
        "header_margin": st.sampled_from(["", " ", "   "]),
        "other_names": st.booleans(),
        "unit_in_heading": st.booleans(),
        "celsius": st.booleans(),
        "mass_style": st.sampled_from(["grams", "fraction", "mixed", "hyphen", "unicode"]),
        "quote_all": st.booleans(),
        "extra_column": st.booleans(),
        "empty_columns": st.integers(0, 2),
        "blank_lines": st.booleans(),
        "ragged": st.booleans(),
        "totals": st.booleans(),
        "hint": st.booleans(),
        "order": st.permutations(range(8)),
    }
)
OTHER_NAMES = {
    "mold": "mould",
    "count": "qty",
    "mold_temp": "mould temp",
    "mass": "weight",
    "note": "remarks",
}
UNICODE_EIGHTHS = {1: "⅛", 2: "¼", 3: "⅜", 4: "½", 5: "⅝", 6: "¾", 7: "⅞"}


def number(value, habits):
    text = f"{value:.10g}"
    return text.replace(".", ",") if habits["decimal_comma"] else text


def mass(thirty_seconds, habits):
    ounces = Fraction(thirty_seconds, 32)
    whole, rest = divmod(ounces.numerator, ounces.denominator)
    style = habits["mass_style"]
    fraction = f"{rest}/{ounces.denominator}"
    has_sign = ounces.denominator in ({2, 4} if habits["encoding"] == "cp1252" else {2, 4, 8})
    if style == "unicode" and has_sign and rest:
        return f"{whole or ''}{UNICODE_EIGHTHS[rest * 8 // ounces.denominator]} oz"
    if style == "grams" or not rest:
        return f"{number(float(ounces) * 28.349523125, habits)} g"
    if style == "fraction" or not whole:
        return f"{whole * ounces.denominator + rest}/{ounces.denominator}oz"
    return f"{whole}-{fraction} oz" if style == "hyphen" else f"{whole} {fraction} oz"


def temperature(fahrenheit, habits):
    value, unit = ((fahrenheit - 32) / 1.8, "C") if habits["celsius"] else (fahrenheit, "F")
    return number(value, habits) if habits["unit_in_heading"] else f"{number(value, habits)} {unit}"


def heading(name, habits):
    plain = OTHER_NAMES.get(name, name) if habits["other_names"] else name
    plain = plain.replace("_", habits["header_gap"]).replace(" ", habits["header_gap"])
    unit = (
        f" [{'C' if habits['celsius'] else 'F'}]" if name == "mold_temp" and habits["unit_in_heading"] else ""
    )
    return f"{habits['header_margin']}{habits['header_case'](plain)}{habits['header_margin']}{unit}"


def written(rows, habits):
    columns = ["date", "mold", "cavity", "outcome", "count", "fill", "mold_temp", "mass"]
    columns = [*(columns[index] for index in habits["order"]), "note"]
    out = io.StringIO()
    dialect = "unix" if habits["quote_all"] else "excel"
    writer = csv.writer(out, dialect, delimiter=habits["separator"], lineterminator=habits["line_end"])
    if habits["hint"]:
        out.write(f"sep={habits['separator']}{habits['line_end']}")
    extra = ["weather"] if habits["extra_column"] else []
    empty = [""] * habits["empty_columns"]
    writer.writerow([heading(name, habits) for name in columns] + extra + empty)
    for row in rows:
        cells = {
            "date": f"2026-05-{row['day']:02}",
            "mold": "Round-Jig",
            "cavity": "1/8",
            "outcome": row["outcome"].upper(),
            "count": str(row["count"]),
            "fill": "" if row["fill"] is None else str(row["fill"]),
            "mold_temp": "" if row["temp_f"] is None else temperature(row["temp_f"], habits),
            "mass": "" if row["mass_32nds"] is None else mass(row["mass_32nds"], habits),
            "note": row["note"],
        }
        line = [cells[name] for name in columns] + (["05"] if extra else []) + empty
        if habits["ragged"]:
            while line and line[-1] == "":
                line.pop()
        writer.writerow(line)
        if habits["blank_lines"]:
            out.write(habits["line_end"])
    if habits["totals"]:
        writer.writerow(["Total" if name == "mold" else "99" if name == "count" else "" for name in columns])
    return out.getvalue().encode(habits["encoding"])


@pytest.mark.slow
@settings(
    max_examples=400,
    derandomize=True,
    deadline=None,
    suppress_health_check=[HealthCheck.function_scoped_fixture, HealthCheck.too_slow],
)
@given(rows=ROWS, habits=HABITS)
def test_any_mixture_of_habits_is_read_back_as_the_season_that_was_written(tmp_path, rows, habits):
    if habits["totals"] and habits["order"][0] != 1:
        habits = {**habits, "totals": False}
    shipped_kinds()
    reading = read_files(tmp_path, {"log.csv": written(rows, habits)})
    (source,) = reading.sources
    assert source.rows == len(rows) + habits["totals"]
    assert source.set_aside == habits["totals"], reading.set_aside
    table = reading.tables["pour"].sort_values("line")
    assert table["date"].dt.day.tolist() == [row["day"] for row in rows]
    assert table["outcome"].tolist() == [row["outcome"] for row in rows]
    assert table["count"].tolist() == [row["count"] for row in rows]
    assert [None if value != value else value for value in table["fill"]] == [row["fill"] for row in rows]
    expected_c = [float("nan") if row["temp_f"] is None else (row["temp_f"] - 32) / 1.8 for row in rows]
    assert table["mold_temp_c"].tolist() == pytest.approx(expected_c, nan_ok=True, abs=1e-6)
    expected_g = [
        float("nan") if row["mass_32nds"] is None else row["mass_32nds"] / 32 * 28.349523125 for row in rows
    ]
    assert table["mass_g"].tolist() == pytest.approx(expected_g, nan_ok=True, rel=1e-8)
    assert [note if isinstance(note, str) else "" for note in table["note"]] == [row["note"] for row in rows]


@pytest.mark.slow
@settings(
    max_examples=300,
    derandomize=True,
    deadline=None,
    suppress_health_check=[HealthCheck.function_scoped_fixture, HealthCheck.too_slow],
)
@given(
    data=st.binary(max_size=400)
    | st.text(alphabet='date,mold;cavity\toutcome"\n\r 1/8½°F-', max_size=300).map(
        lambda text: b"date,mold,cavity,outcome,mold_temp,mass\n" + text.encode()
    )
)
def test_no_bytes_at_all_make_the_reader_fail_or_lose_count(tmp_path, data):
    reading = read_files(tmp_path, {"log.csv": data})
    assert len(reading.sources) + len(reading.not_read) == 1
    for source in reading.sources:
        assert source.rows == source.used + source.set_aside
