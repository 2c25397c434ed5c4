import json
import re
from datetime import date

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from benchwater.export import canonical_schema, written_schema
from benchwater.read.bench_file import parse_bench
from benchwater.read.dates import DateHints, read_date
from benchwater.units import read_quantity
from command_line import run
from small_bench import SMALL_BENCH, read_files, shipped_kinds, small_bench
from table_schema_rules import cell_conforms, descriptor_faults, file_faults

KINDS = {kind.name: kind for kind in shipped_kinds()}
POUR = """\
date,mold,cavity,outcome,count,fill,mold_temp,melt_temp,mass,flaw,material,session,note
2026-04-04,round-jig,1/8,good,2,6,310 F,710 F,7.1 g,,,,
2026-04-04 19:30,round-jig,1/8,reject,,3,245,,1 1/2 oz,short fill,,,mold still cold
"""


@pytest.mark.parametrize("kind", shipped_kinds(), ids=lambda kind: kind.name)
def test_every_schema_is_a_table_schema_and_says_which_columns_are_needed(kind):
    for schema in (
        written_schema(kind),
        written_schema(kind, small_bench()),
        canonical_schema(kind, small_bench()),
    ):
        assert descriptor_faults(schema) == []
    fields = {field["name"]: field for field in written_schema(kind)["fields"]}
    assert list(fields) == [column.name for column in kind.columns]
    for column in kind.columns:
        assert fields[column.name].get("constraints", {}).get("required", False) is column.needed
        assert fields[column.name].get("constraints", {}).get("enum", []) == [
            word
            for word in (("yes", "no") if column.kind == "yes_no" else column.words)
            if "*" not in column.words
        ]


def test_a_written_log_conforms_and_a_bad_one_does_not(tmp_path):
    schema = written_schema(KINDS["pour"], small_bench())
    assert file_faults(schema, POUR) == []
    assert not read_files(tmp_path, {"pour.csv": POUR}).set_aside
    for written, spoilt in (
        ("310 F", "310 X"),
        ("2026-04-04,", "4 April,"),
        (",good,", ",fine,"),
        ("round-jig", "square-jig"),
        (",2,6,", ",2.5,6,"),
        ("7.1 g", "7.1 mm"),
        (",good,", ",,"),
    ):
        assert len(file_faults(schema, POUR.replace(written, spoilt, 1))) == 1, spoilt


QUANTITIES = [
    ("temperature", KINDS["pour"].column("mold_temp")),
    ("mass", KINDS["pour"].column("mass")),
    ("duration", KINDS["fishing"].column("fished")),
    ("length", KINDS["catch"].column("length")),
]


@pytest.mark.parametrize(
    ("dimension", "column"), QUANTITIES, ids=lambda value: str(getattr(value, "name", value))
)
@settings(max_examples=150, deadline=None)
@given(data=st.data())
def test_every_text_that_matches_a_quantity_pattern_is_read(dimension, column, data):
    field = next(
        f for kind in KINDS.values() for f in written_schema(kind)["fields"] if f["name"] == column.name
    )
    text = data.draw(st.from_regex(re.compile(field["constraints"]["pattern"], re.ASCII), fullmatch=True))
    read_quantity(
        text,
        dimension,
        default_unit={"temperature": "F", "mass": "g", "duration": "h", "length": "in"}[dimension],
    )


@pytest.mark.parametrize(
    ("column", "cells"),
    [
        ("mold_temp", ["350 F", "176 °C", "350", "-3.5 C", "20°C", "350 degF"]),
        ("mass", ["3/8 oz", "10.6 g", "1 1/2 lb", "2 lb 4 oz", "7"]),
        ("fished", ["1:30", "90 min", "1 h 30 min", "2.25"]),
        ("length", ["9 1/2 in", "24 cm", '9"', "1 ft 2 in"]),
        ("amount", ["50", "11 lb 4 oz", "8 fl oz", "250 mL", "100 pcs"]),
    ],
)
def test_quantities_as_the_handbook_writes_them_conform(column, cells):
    field = next(
        f
        for kind in KINDS.values()
        for f in written_schema(kind)["fields"]
        if f["name"] == column and not kind.part_of
    )
    assert [cell for cell in cells if not cell_conforms(field, cell)] == []


def test_dates_conform_in_the_order_that_the_bench_names():
    bench = parse_bench(SMALL_BENCH.replace("[bench]\n", '[bench]\ndates = "day first"\n', 1)).bench
    field = written_schema(KINDS["pour"], bench)["fields"][0]
    assert cell_conforms(field, "31/12/2026 09:40")
    assert read_date("31/12/2026 09:40", DateHints(order=bench.date_order)).date() == date(2026, 12, 31)
    assert not cell_conforms(field, "12/31/2026")
    assert not cell_conforms(written_schema(KINDS["pour"], small_bench())["fields"][0], "31/12/2026")


def test_the_command_writes_the_schemas_of_every_log_a_plugins_own_too(tmp_path):
    (tmp_path / "bench.toml").write_text(SMALL_BENCH)
    (tmp_path / "plugins").mkdir()
    (tmp_path / "plugins" / "weather.py").write_text(
        "from benchwater.plugin import Column, LogKind, hookimpl\n"
        "@hookimpl\ndef log_kinds():\n"
        "    return [LogKind(name='weather', title='W', columns=(\n"
        "        Column(name='date', meaning='day', kind='date', needed=True),\n"
        "        Column(name='wind', meaning='in knots', kind='number', needed=True)))]\n"
    )
    outcome = run("plugins", tmp_path, "--schema", tmp_path / "out")
    assert outcome.status == 0, outcome.err
    written = {path.name for path in (tmp_path / "out").iterdir()}
    assert written == {
        f"{kind}{end}" for kind in (*KINDS, "weather") for end in (".schema.json", ".canonical.schema.json")
    }
    for path in (tmp_path / "out").iterdir():
        assert descriptor_faults(json.loads(path.read_text(encoding="utf-8"))) == []
