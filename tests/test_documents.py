"""DEVELOPERS.md and README.md against the program."""

import json
import re

import pytest

from benchwater.commands import COMMANDS
from benchwater.commands.report import report
from benchwater.files import LOCK_NAME
from benchwater.plugin.hooks import CONTRACT_VERSION
from benchwater.plugin.section_check import UNITS
from benchwater.render.json_twin import render_json
from benchwater.schedule.manifest import NAME, Manifest, manifest_text
from developers import DEVELOPERS, ROOT, part, rows, typed
from render.sample_report import sample_report
from tasks import TASKS

README = (ROOT / "README.md").read_text(encoding="utf-8")


def first_cells(document: str) -> list[str]:
    """Return the code words in the first column of every table."""
    return [word for row in rows(document) for word in typed(row[0])]


def test_developers_document_has_at_most_300_lines():
    assert DEVELOPERS.count("\n") <= 300


@pytest.mark.parametrize("document", [README, DEVELOPERS], ids=["README", "DEVELOPERS"])
def test_each_link_leads_to_a_file_or_a_heading(document):
    headings = re.findall(r"^#+ (.+)$", document, flags=re.MULTILINE)
    anchors = {re.sub(r"[^\w -]", "", heading.lower()).replace(" ", "-") for heading in headings}
    for target in re.findall(r"\]\((?!https?:)([^)]+)\)", document):
        assert target[1:] in anchors if target.startswith("#") else (ROOT / target).exists(), target


def test_each_command_is_in_a_table_of_the_readme():
    listed = [cell.split()[0] for cell in first_cells(README)]
    assert [name for name in COMMANDS if name not in listed] == []


@pytest.mark.parametrize(
    "option",
    [option for parameter in report.params for option in parameter.opts if option.startswith("--")],
)
def test_each_option_of_report_is_in_a_table_of_the_readme(option):
    assert option in [cell.split()[0] for cell in first_cells(README)]


def test_contract_version_is_in_its_heading():
    assert f"## The plugin contract (version {CONTRACT_VERSION})" in DEVELOPERS


def test_each_key_of_the_json_is_in_its_table():
    twin = json.loads(render_json(sample_report()))
    named = {key: row for row in rows(part("What is written")) for key in typed(row[0])}
    assert set(named) == set(twin)
    assert set(twin["sections"][0]) <= set(typed(named["sections"][1]))


def test_files_beside_the_reports_are_named():
    written = typed(part("What is written"))
    assert {LOCK_NAME, NAME, *json.loads(manifest_text(Manifest())).keys() - {"format"}} <= set(written)


def test_each_unit_that_a_section_may_use_is_listed():
    listed = {unit.partition("/")[0] for unit in typed(part("What an analysis gets and returns"))}
    assert listed >= UNITS


def test_each_task_is_in_the_table_and_its_files_exist():
    assert [typed(row[0])[0] for row in rows(part("Working on it"))] == list(TASKS)
    for command in (command for commands in TASKS.values() for command in commands):
        for word in command.split():
            assert not word.startswith("tests/") or (ROOT / word).exists(), command
