"""The tables say no more than the references they were taken from."""

import re

import pytest

from bench_safety.compute import bench_cautions, exposure_limits, tackle_rules
from reference_cases import TRADE, read_table

REFERENCES = {row["quantity"]: row for row in read_table(TRADE / "safety.csv")}
LIMITS = {
    ("Lead in air, 8-hour mean", "OSHA limit"): "OSHA permissible exposure limit, lead in air",
    ("Lead in air, 8-hour mean", "OSHA action level"): "OSHA action level, lead in air",
    ("Lead in air, 8-hour mean", "NIOSH advice"): "NIOSH recommended exposure limit, lead",
    ("Lead in air, 8-hour mean", "ACGIH advice"): "ACGIH TLV, lead",
    ("Lead in air, 8-hour mean", "UK limit"): "UK occupational exposure limit, lead",
    ("Lead in blood, ages 1 to 5", "CDC reference"): "CDC child blood lead reference value",
    ("HCl in air, ceiling", "OSHA and NIOSH"): "hydrogen chloride ceiling",
}


@pytest.mark.parametrize(("key", "quantity"), LIMITS.items())
def test_limits_are_those_of_the_references(key, quantity):
    (limit,) = [each for each in exposure_limits() if (each["what"], each["whose"]) == key]
    reference = REFERENCES[quantity]
    assert limit["value"] == float(reference["value"])
    assert limit["unit"].replace("µ", "u").replace("³", "3") == reference["unit"]
    assert limit["checked"] == reference["verified"]


def test_the_other_limits_are_read_in_pairs_and_conditions():
    air = {
        each["whose"]: each["value"]
        for each in exposure_limits()
        if each["what"].startswith(("Lead in air", "HCl"))
    }
    pair = REFERENCES["California PEL / action level, lead"]["value"]
    assert f"{air['California limit']:g} / {air['California action level']:g}" == pair
    hcl = [
        each
        for each in exposure_limits()
        if each["what"].startswith("HCl") and each["whose"] == "ACGIH advice"
    ]
    assert f"ceiling {hcl[0]['value']:g} ppm" in REFERENCES["hydrogen chloride ceiling"]["condition"]
    assert len(exposure_limits()) == len(LIMITS) + 3


def test_nothing_from_memory_stands_unmarked():
    told = [(row["checked"], row["source"]) for row in exposure_limits()]
    told += [(row["checked"], row["source"]) for row in tackle_rules()]
    for checked, source in told:
        assert checked in {"page", "page-secondary"}
        assert source
    assert all(each["source"] for each in bench_cautions())


def test_rules_differ_in_kind():
    said = " ".join(each["rule"] for each in tackle_rules())
    assert "≤" in said
    assert "<" in said
    assert " in" in said
    assert " oz" in said
    assert {each["jig_heads"].split(",")[0] for each in tackle_rules()} >= {"in", "out"}
    assert any("painted" in each["jig_heads"] for each in tackle_rules())
    assert all(re.search(r"\d{4}", each["dated"]) for each in tackle_rules())


def test_every_usual_caution_is_there():
    about = {each["about"] for each in bench_cautions()}
    assert about >= {"Air", "Hands and food", "Children", "Cleaning", "Water", "Fire", "Burns", "Blood test"}


def test_a_limit_prints_as_one_word():
    assert exposure_limits()[0]["limit"] == "50\u00a0µg\u00a0per\u00a0m³"


def test_no_published_limit_is_from_memory():
    assert not [
        limit["what"] for limit in exposure_limits() if "memory" in f"{limit['source']} {limit['checked']}"
    ]
