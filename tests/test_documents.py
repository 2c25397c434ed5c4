"""The documents keep up with the program: DEVELOPERS.md with its contract, README.md with its commands."""

import inspect
import json
import re

import pytest

from benchwater.commands import COMMANDS
from benchwater.commands.report import report
from benchwater.plugin.hooks import CONTRACT_VERSION, Hooks
from benchwater.plugin.options import Option
from benchwater.render.json_twin import render_json
from benchwater.render.lock import LOCK_NAME
from benchwater.schedule.manifest import NAME, Manifest, manifest_text
from benchwater.testing.sections import _UNITS
from developers import DEVELOPERS, ROOT, part, rows, typed
from render.sample_report import sample_report
from tasks import TASKS

README = (ROOT / "README.md").read_text(encoding="utf-8")


def first_cells(document: str) -> list[str]:
    """What stands in the first column of every table."""
    rows = re.findall(r"^\| (.+?) \|", document, flags=re.MULTILINE)
    return [entry for row in rows for entry in re.findall(r"`([^`]+)`", row)]


@pytest.mark.parametrize("hook", [name for name in vars(Hooks) if not name.startswith("_")])
def test_every_hook_is_in_the_developers_document_with_its_exact_arguments(hook):
    arguments = list(inspect.signature(getattr(Hooks, hook)).parameters)[1:]
    assert f"`{hook}({', '.join(arguments)})`" in DEVELOPERS


def test_every_kind_of_option_is_in_the_developers_document():
    for kind in Option.__annotations__["kind"].__args__:
        assert f"`{kind}`" in DEVELOPERS, kind


def test_every_command_is_in_a_table_of_the_readme():
    listed = [cell.split()[0] for cell in first_cells(README)]
    assert [name for name in COMMANDS if name not in listed] == []


@pytest.mark.parametrize(
    "option",
    [option for parameter in report.params for option in parameter.opts if option.startswith("--")],
)
def test_every_option_of_report_is_in_a_table_of_the_readme(option):
    assert option in [cell.split()[0] for cell in first_cells(README)]


def test_the_contract_is_of_the_version_the_developers_document_says():
    assert f"## The plugin contract (version {CONTRACT_VERSION})" in DEVELOPERS


def test_every_key_of_the_json_twin_is_in_its_table():
    twin = json.loads(render_json(sample_report()))
    named = rows(part("The JSON twin"))
    assert [key for row in named for key in typed(row[0])] == list(twin)
    of_a_section = next(row[1] for row in named if row[0] == "`sections`")
    assert set(twin["sections"][0]) <= set(typed(of_a_section))


def test_what_is_left_beside_the_reports_is_named_as_it_is():
    assert f"`{LOCK_NAME}`" in part("Locks")
    remembered = part("What `due` remembers")
    for name in (NAME, *json.loads(manifest_text(Manifest())).keys() - {"format"}):
        assert f"`{name}`" in remembered, name


def test_every_unit_a_section_may_use_is_in_the_developers_document():
    told = {unit.partition("/")[0] for unit in typed(part("What an analysis may rely on, and what it owes"))}
    assert told >= _UNITS


def test_every_task_is_in_the_table_and_runs_files_that_are_there():
    named = [typed(row[0])[0] for row in rows(part("Working on it"))]
    assert named == list(TASKS)
    for command in (command for commands in TASKS.values() for command in commands):
        for word in command.split():
            assert not word.startswith("tests/") or (ROOT / word).exists(), command
