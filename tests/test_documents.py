"""The documents keep up with the program: hooks in DEVELOPERS.md, commands and options in README.md."""

import inspect
import re
from pathlib import Path

import pytest

from benchwater.commands import cli
from benchwater.plugin.hooks import Hooks
from benchwater.plugin.options import Option

ROOT = Path(__file__).parents[1]
README = (ROOT / "README.md").read_text(encoding="utf-8")
DEVELOPERS = (ROOT / "DEVELOPERS.md").read_text(encoding="utf-8")


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
    assert [name for name in cli.commands if name not in listed] == []


@pytest.mark.parametrize(
    "option",
    [
        option
        for parameter in cli.commands["report"].params
        for option in parameter.opts
        if option.startswith("--")
    ],
)
def test_every_option_of_report_is_in_a_table_of_the_readme(option):
    assert option in [cell.split()[0] for cell in first_cells(README)]
