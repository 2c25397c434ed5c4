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
            ["`defect_rate`", "analyses/defect_rate.py", "off = ['defect_rate']"],
        ),
        (POUR_AGAIN, ["`pour`", "ingest/pour.py", "off = ['ingest.pour']"]),
    ],
)
def test_a_broken_plugin_is_told_by_name_and_its_neighbours_load(tmp_path, text, words):
    found = load_plugins(workspace(tmp_path, broken=text, neighbour=GOOD.format(id="neighbour")))
    (problem,) = found.problems
    assert (problem.origin, problem.name) == ("workspace", "broken.py")
    for word in words:
        assert word in problem.why
    assert "neighbour" in [analysis.id for analysis, _ in found.analyses]


def test_plugins_and_single_analyses_can_be_switched_off(tmp_path):
    folder = workspace(tmp_path, mine=GOOD.format(id="mine"), other=GOOD.format(id="another"))
    found = load_plugins(folder, off=("mine", "another"))
    assert not {"mine", "another"} & {analysis.id for analysis, _ in found.analyses}
    assert "mine" not in [plugin.name for plugin in found.loaded]


def test_without_a_workspace_only_what_is_shipped_and_installed_loads():
    assert {plugin.origin for plugin in load_plugins(None).loaded} <= {"shipped", "installed"}
    assert {kind.name for kind in load_plugins(None).log_kinds} >= {
        "pour",
        "inventory",
        "finishing",
        "fishing",
        "catch",
    }
