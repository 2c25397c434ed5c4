import os
from pathlib import Path

import pytest

from benchwater.plugin_host.load import load_plugins

GOOD = """
from benchwater.plugin import Analysis, Section, hookimpl

@hookimpl
def analyses():
    return [Analysis(id="{id}", title="T", question="Q?", order=1, analyse=analyse)]

def analyse(season, span):
    return Section.empty("no")
"""

LOG = """
from benchwater.plugin import Column, LogKind, hookimpl

@hookimpl
def log_kinds():
    date = Column(name="{date}", meaning="", kind="date", needed=True)
    return [LogKind(name="{name}", title="T", columns=(date,))]
"""
COLUMN_OF_ANOTHER = LOG.format(name="weather", date="date").replace(
    "columns=(date,)",
    "columns=(date, *[Column(meaning='', **each) for each in ({columns})])",
)
WITHOUT_ITEM = COLUMN_OF_ANOTHER.format(columns="dict(name='used', kind='amount'),")
ANY_ITEM = COLUMN_OF_ANOTHER.format(
    columns="dict(name='used', kind='spread'), dict(name='item', kind='name', refers_to='item')"
)
WITHOUT_MOLD = COLUMN_OF_ANOTHER.format(columns="dict(name='slot', kind='name', refers_to='cavity'),")
POUR_AGAIN = LOG.format(name="pour", date="date")


def workspace(tmp_path, **plugins):
    folder = tmp_path / "plugins"
    folder.mkdir()
    for name, text in plugins.items():
        (folder / f"{name}.py").write_text(text)
    return tmp_path


def test_a_single_file_in_the_workspace_is_a_plugin_and_stands_where_its_order_says(tmp_path):
    found = load_plugins(workspace(tmp_path, mine=GOOD.format(id="mine"), _helper="1/0", test_mine="1/0"))
    assert not found.problems
    analysis, plugin = found.analyses[0]
    assert (analysis.id, plugin.origin, plugin.where) == ("mine", "workspace", "mine.py")


@pytest.mark.parametrize(
    ("text", "words"),
    [
        ("def broken(:\n", ["SyntaxError", "line 1"]),
        ("\n\n1 / 0\n", ["ZeroDivisionError", "line 3"]),
        ("raise SystemExit(3)\n", ["SystemExit"]),
        ("import no_such_module\n", ["no_such_module"]),
        ("x = 1\n", ["no hook", "@hookimpl"]),
        (
            GOOD.format(id="a").replace("def analyses", "def analysis"),
            ["`analysis`", "did you mean `analyses`?"],
        ),
        (GOOD.format(id="defect rate"), ["'defect rate'"]),
        (GOOD.format(id="a").replace("return [", "return 5 or ["), ["list of Analysis"]),
        (
            "CONTRACT_VERSION_NEEDED = 99\n" + GOOD.format(id="a"),
            ["version 99", "this is version 1", "newer benchwater", "say CONTRACT_VERSION_NEEDED = 1"],
        ),
        (
            "CONTRACT_VERSION_NEEDED = 0\n" + GOOD.format(id="a"),
            ["version 0", "DEVELOPERS.md", "say CONTRACT_VERSION_NEEDED = 1"],
        ),
        ("CONTRACT_VERSION_NEEDED = '1'\n" + GOOD.format(id="a"), ["'1'", "whole number"]),
        (LOG.format(name="weather", date="day"), ["`weather`", "name='date'", "needed=True"]),
        (
            GOOD.format(id="defect_rate"),
            ["`defect_rate`", "analyses/defect_rate", "off = ['defect_rate']"],
        ),
        (WITHOUT_ITEM, ["`weather`", "`used`", "name='item'", "refers_to='item'", "needed=True"]),
        (ANY_ITEM, ["`weather`", "`used`", "name='item'", "needed=True"]),
        (WITHOUT_MOLD, ["`weather`", "`slot`", "name='mold'", "refers_to='mold'"]),
        (GOOD.format(id="a").replace("@hookimpl", "@hookimpl(wrapper=True)"), ["`analyses`", "wrapper=True"]),
        (GOOD.format(id="a").replace("@hookimpl", "@hookimpl(hookwrapper=True)"), ["`analyses`", "wrapper"]),
        (POUR_AGAIN, ["`pour`", "ingest/pour.py", "off = ['ingest.pour']"]),
        (
            GOOD.format(id="a").replace('"T"', "None"),
            ["`Analysis.title` must be str, not None", "line 6"],
        ),
        (GOOD.format(id="a").replace("=1", '="950"'), ["`Analysis.order` must be int, not '950'", "line 6"]),
        (
            GOOD.format(id="a").replace("=1", '=1, needs=("pour")'),
            ["`Analysis.needs` must be a tuple of str, not 'pour'", "comma"],
        ),
        (
            LOG.format(name="weather", date="date").replace("(date,)", "(date)"),
            ["`LogKind.columns` must be a tuple of Column", "comma"],
        ),
    ],
)
def test_a_broken_plugin_is_told_by_name_and_its_neighbours_load(tmp_path, text, words):
    found = load_plugins(workspace(tmp_path, broken=text, neighbour=GOOD.format(id="neighbour")))
    (problem,) = found.problems
    assert (problem.origin, problem.name) == ("workspace", "broken.py")
    for word in words:
        assert word in problem.why
    assert "neighbour" in [analysis.id for analysis, _ in found.analyses]


def test_a_plugin_that_is_no_file_is_refused_and_not_waited_for(tmp_path):
    folder = workspace(tmp_path)
    os.mkfifo(folder / "plugins" / "mine.py")
    (problem,) = load_plugins(folder).problems
    assert "mine.py is not an ordinary file" in problem.why


def test_the_line_that_broke_is_told_also_where_the_folder_is_named_from_here(tmp_path, monkeypatch):
    workspace(tmp_path, broken="\n1 / 0\n")
    monkeypatch.chdir(tmp_path)
    (problem,) = load_plugins(Path()).problems
    assert "(line 2)" in problem.why


def packaged(folder, name, **modules):
    """A plugin as a folder; in the names of modules `__` stands for a folder of its own."""
    for module, text in modules.items():
        path = folder / name / f"{'/'.join(module.split('__'))}.py"
        path.parent.mkdir(parents=True, exist_ok=True)
        path.write_text(text)
    (folder / name / "__init__.py").write_text(GOOD.format(id=name) + "\nfrom .sums import total\n")


def test_a_folder_with_an_init_is_one_plugin_and_its_modules_import_from_each_other(tmp_path):
    folder = workspace(tmp_path, mine=GOOD.format(id="mine")) / "plugins"
    packaged(
        folder, "many", sums="from .deeper.steps import total\n", deeper__steps="total = 1\n", alone="1 / 0\n"
    )
    packaged(folder / "group", "other", sums="total = 2\n")
    found = load_plugins(tmp_path)
    assert not found.problems
    of_mine = [(plugin.id, plugin.where) for plugin in found.loaded if plugin.origin == "workspace"]
    assert of_mine == [("other", "group/other"), ("many", "many"), ("mine", "mine.py")]
    assert {"many", "other"} <= {analysis.id for analysis, _ in found.analyses}
    assert "many" not in {analysis.id for analysis, _ in load_plugins(tmp_path, off=("many",)).analyses}


def test_a_folder_is_loaded_afresh_with_all_its_modules(tmp_path):
    folder = workspace(tmp_path) / "plugins"
    packaged(folder, "many", sums="total = 1\n")
    assert not load_plugins(tmp_path).problems
    (folder / "many" / "sums.py").write_text("sum = 1\n")
    (problem,) = load_plugins(tmp_path).problems
    assert "'total'" in problem.why


@pytest.mark.parametrize(
    ("broken", "words"),
    [
        ("\n1 / 0\n", ["ZeroDivisionError", "(sums.py, line 2)"]),
        ("\n\ndef broken(:\n", ["SyntaxError: invalid syntax (sums.py, line 3)"]),
    ],
)
def test_what_is_broken_in_a_folder_is_told_by_module_and_line(tmp_path, broken, words):
    packaged(workspace(tmp_path) / "plugins", "many", sums=broken)
    (problem,) = load_plugins(tmp_path).problems
    assert problem.name == "many"
    for word in words:
        assert word in problem.why


def test_plugins_and_single_analyses_can_be_switched_off(tmp_path):
    folder = workspace(tmp_path, mine=GOOD.format(id="mine"), other=GOOD.format(id="another"))
    found = load_plugins(folder, off=("mine", "another"))
    assert not {"mine", "another"} & {analysis.id for analysis, _ in found.analyses}
    assert "mine" not in [plugin.name for plugin in found.loaded]


@pytest.mark.parametrize(
    ("file", "text", "name"),
    [
        ("mine", GOOD.format(id="catch_rate"), "catch_rate"),
        ("catch_rate", GOOD.format(id="catch_rate"), "catch_rate"),
        ("mine", POUR_AGAIN, "ingest.pour"),
    ],
)
def test_a_shipped_one_that_is_switched_off_is_replaced_by_the_workspaces_as_the_message_says(
    tmp_path, file, text, name
):
    folder = workspace(tmp_path, **{file: text})
    (problem,) = load_plugins(folder).problems
    assert f"off = ['{name}']" in problem.why
    found = load_plugins(folder, off=(name,))
    assert not found.problems
    (replacement,) = [plugin for plugin in found.loaded if plugin.origin == "workspace"]
    assert replacement.analyses or replacement.log_kinds
    ids = [analysis.id for analysis, _ in found.analyses]
    assert (ids.count("catch_rate"), [kind.name for kind in found.log_kinds].count("pour")) == (1, 1)


def test_without_a_workspace_only_what_is_shipped_and_installed_loads():
    assert {plugin.origin for plugin in load_plugins(None).loaded} <= {"shipped", "installed"}
    assert {kind.name for kind in load_plugins(None).log_kinds} >= {
        "pour",
        "inventory",
        "finishing",
        "fishing",
        "catch",
    }
