"""Imports against the order of the table in DEVELOPERS.md."""

import ast
import sys
from collections.abc import Iterator
from graphlib import TopologicalSorter
from pathlib import Path

from developers import part, rows, typed

ROOT = Path(__file__).parents[1]
HOST = ROOT / "src" / "benchwater"
PLUGINS = ROOT / "plugins"
HOUSE, AT_THE_TOP = part("The house").split("| at the top |")
ORDER = [typed(row[0])[0].rstrip("/").removesuffix(".py").replace("/", ".") for row in rows(HOUSE)]
OPEN_TO_PLUGINS = {"plugin", "units", "words", "statistics", "ledger", "plots"}
BELOW_PLUGINS = OPEN_TO_PLUGINS | {"text", "files", "drawing"}
ALONE = {
    "pint": {"units"},
    "pluggy": {"plugin", "plugin_host"},
    "jinja2": {"render"},
    "click": {"commands"},
    "watchfiles": {"schedule"},
    "pytest": {"testing"},
}


def imported(path: Path) -> Iterator[tuple[str, int]]:
    """Yield each module that a file imports, also inside functions and for types, with its line.

    Only the modules of a plugin folder may import each other with a dot.
    """
    for node in ast.walk(ast.parse(path.read_text(encoding="utf-8"))):
        if isinstance(node, ast.Import):
            yield from ((alias.name, node.lineno) for alias in node.names)
        elif isinstance(node, ast.ImportFrom) and node.level:
            beside = path.parent / f"{str(node.module).replace('.', '/')}.py"
            inside = path.is_relative_to(PLUGINS) and node.level == 1 and beside.exists()
            assert inside, f"{path}, line {node.lineno}: name the module in full"
            yield beside.relative_to(PLUGINS).with_suffix("").as_posix(), node.lineno
        elif isinstance(node, ast.ImportFrom):
            bare = node.module == "benchwater"
            names = [f"benchwater.{alias.name}" for alias in node.names] if bare else [str(node.module)]
            yield from ((name, node.lineno) for name in names)


def place_of(module: str) -> str:
    """Return the place in the table that holds a module of the host, else its package."""
    inside = [place for place in ORDER if f"{module}.".startswith(f"{place}.")]
    return max(inside, key=len, default=module.partition(".")[0])


def of_the_host(path: Path) -> Iterator[tuple[str, int]]:
    """Yield the places that a file imports, with lines; the root (version and `load`) is none."""
    for name, line in imported(path):
        top, _, rest = name.partition(".")
        if top == "benchwater" and rest not in {"", "__version__"}:
            yield place_of(rest), line


def files() -> Iterator[tuple[str, Path]]:
    for path in sorted(HOST.rglob("*.py")):
        module = ".".join(path.relative_to(HOST).with_suffix("").parts)
        if module not in {"__init__", "__main__"}:
            yield place_of(module), path


def test_each_place_has_a_row_in_the_table():
    assert {place for place, _ in files()} == set(ORDER)


def test_nothing_imports_upwards():
    upwards = [
        f"{path.relative_to(ROOT)}, line {line}: {place} imports {other}, which stands below it in the table"
        for place, path in files()
        for other, line in of_the_host(path)
        if {place, other} <= set(ORDER) and ORDER.index(other) > ORDER.index(place)
    ]
    assert upwards == []


def test_imports_have_no_cycle():
    graph: dict[str, set[str]] = {}
    for _, path in files():
        parts = path.relative_to(HOST.parent).with_suffix("").parts
        name = ".".join(parts[:-1] if parts[-1] == "__init__" else parts)
        graph[name] = {other for other, _ in imported(path) if other.startswith("benchwater.")} - {name}
    for path in sorted(PLUGINS.rglob("*.py")):
        name = path.relative_to(PLUGINS).with_suffix("").as_posix()
        graph[name] = {other for other, _ in imported(path)}
    TopologicalSorter(graph).prepare()


def test_shipped_plugins_import_only_what_is_open_to_them():
    beyond = [
        f"{path.relative_to(ROOT)}, line {line}: {other}"
        for path in sorted(PLUGINS.rglob("*.py"))
        for other, line in of_the_host(path)
        if other not in OPEN_TO_PLUGINS
    ]
    assert beyond == []


def test_plugins_need_only_the_lowest_places():
    imports: dict[str, set[str]] = {}
    for place, path in files():
        imports.setdefault(place, set()).update(other for other, _ in of_the_host(path))
    reached, ahead = set[str](), set(OPEN_TO_PLUGINS)
    while ahead:
        reached |= ahead
        ahead = set().union(*(imports[place] for place in ahead)) & set(ORDER) - reached
    assert reached <= BELOW_PLUGINS, reached - BELOW_PLUGINS
    assert set(ORDER[: len(BELOW_PLUGINS)]) == BELOW_PLUGINS


def test_each_library_is_imported_only_by_its_place():
    found: dict[str, set[str]] = {}
    for place, path in files():
        for name, _ in imported(path):
            found.setdefault(name.partition(".")[0], set()).add(place)
    assert {library: found[library] for library in ALONE} == ALONE
    contract = {library for library, places in found.items() if "plugin" in places}
    assert contract - set(sys.stdlib_module_names) == {"benchwater", "pandas", "pluggy"}


def test_only_the_command_line_prints():
    printing = [
        f"{path.relative_to(ROOT)}, line {node.lineno}"
        for place, path in files()
        for node in ast.walk(ast.parse(path.read_text(encoding="utf-8")))
        if isinstance(node, ast.Call) and ast.unparse(node.func) == "print" and place != "commands"
    ]
    assert printing == []


def test_top_level_has_only_what_its_table_names():
    named = {name.partition("/")[0] for row in rows(AT_THE_TOP) for name in typed(row[0])}
    ignored = {line.rstrip("/") for line in (ROOT / ".gitignore").read_text(encoding="utf-8").splitlines()}
    there = {path.name for path in ROOT.iterdir()} - ignored - {".git", "PKG-INFO"}
    assert there <= named, there - named
    assert {name for name in named if not (ROOT / name).exists()} <= {"sample_logs", "reports", ".ci"}
