"""Write `src/benchwater/plugin/REFERENCE.md` from the docstrings of the contract.

Run `python tests/docs/write_reference.py`. A class gives its docstring, fields and methods; a
module gives its functions.
"""

import ast
from collections.abc import Iterable, Iterator
from pathlib import Path
from typing import get_args

from benchwater.units import Quantity

ROOT = Path(__file__).parents[2]
HOST = ROOT / "src" / "benchwater"
REFERENCE = HOST / "plugin" / "REFERENCE.md"
HEAD = (
    "# Reference of the plugin contract",
    "",
    "`python tests/docs/write_reference.py` writes this page from docstrings. See also DEVELOPERS.md.",
    "",
)
PARTS = (
    ("Hooks, what they return, and options", "plugin/hooks.py"),
    ("Logs", "plugin/logs.py"),
    ("The season", "plugin/season.py"),
    ("The section", "plugin/section.py"),
    ("The bench", "plugin/bench.py"),
    ("Plots: `benchwater.plots`", "plots.py"),
    ("Words: `benchwater.words`", "words.py"),
    ("Test kit: seasons and sections", "testing/__init__.py"),
    ("Test kit: the fixture `run_report`", "testing/pytest_plugin.py"),
)


OPEN = ("statistics", "ledger")
SLIPS = """## Common slips

- `methods=("Counts, as written.")` is a text: a tuple of one needs its comma, `("Counts, as
  written.",)`. So do `needs`, `findings`, `tables`, `figures` and `actions`. The dataclass says so
  when it is made.
- A column carries its unit: `season.rows("pour", span)["mold_temp_c"]`, not `"mold_temp"`.
  `benchwater plugins` lists the headings of a log, and `Season.log` says what its columns are
  called.
- A missing number is `None`, never NaN; a cell of a table is a text, a number, a day or `None`,
  never a list.
- Columns of words are categories: `.astype("str")` before filling in, joining or comparing;
  `groupby(observed=True)`.
- Values are in canonical units (degC, g, h, mm, mL): the host converts what it prints. In a
  sentence write `season.bench.show(value, "degC")`; read a quantity by
  `benchwater.units.read_quantity("350 F", "temperature")`.
- `status="ok"` needs no `why`; `thin`, `empty` and `failed` need one.
- `RowProblem.why` is printed after the cell: ``is above what a thermometer shows``, without the
  cell's own text.
- A file whose name begins with `_`, `test_` or `conftest` is not loaded; a name that is taken is
  refused.
- After an edit your plugin is held back until you say yes once more: `benchwater plugins FOLDER
  --trust`.
"""


def _index(place: str) -> Iterator[str]:
    """A line for each public function of the modules of a place: where it is, and what it returns."""
    yield from (f"## Index of `benchwater.{place}`", "", "| function | |", "| --- | --- |")
    for file in sorted((HOST / place).glob("*.py")):
        module = f"{place}.{file.stem}".removesuffix(".__init__")
        for node in ast.parse(file.read_text(encoding="utf-8")).body:
            if isinstance(node, ast.FunctionDef) and not node.name.startswith("_"):
                told = (ast.get_docstring(node) or "").split("\n\n")[0].replace("\n", " ").replace("|", "\\|")
                yield f"| `{module}.{node.name}` | {told} |"
    yield ""


def reference() -> str:
    """Every class and function of the contract as Markdown, in source order."""
    lines = list(HEAD)
    for title, file in PARTS:
        body = ast.parse((HOST / file).read_text(encoding="utf-8")).body
        lines += [f"## {title}", "", *_aliases(body), *_functions("function", body)]
        for node in body:
            if isinstance(node, ast.ClassDef) and "Protocol" not in map(ast.unparse, node.bases):
                lines += _class(node)
    for place in OPEN:
        lines += _index(place)
    return "\n".join([*lines, SLIPS]).rstrip() + "\n"


def _aliases(body: Iterable[ast.stmt]) -> Iterator[str]:
    """A line for each type alias."""
    for node in body:
        if isinstance(node, ast.Assign) and isinstance(node.value, ast.Subscript | ast.BinOp):
            yield from (f"`{ast.unparse(node.targets[0])}` is {_type(node.value)}.", "")


def _class(node: ast.ClassDef) -> Iterator[str]:
    yield from (f"### `{node.name}`", "", ast.get_docstring(node) or "", "")
    fields = [each for each in node.body if isinstance(each, ast.AnnAssign)]
    if fields:
        yield from ("| field | type | left out |", "| --- | --- | --- |")
        for each in fields:
            yield f"| `{ast.unparse(each.target)}` | {_type(each.annotation)} | {_default(each.value)} |"
        yield ""
    yield from _functions("method", node.body)


def _functions(what: str, body: Iterable[ast.stmt]) -> list[str]:
    rows = []
    for node in body:
        if isinstance(node, ast.FunctionDef) and not node.name.startswith("_"):
            not_called = {ast.unparse(each) for each in node.decorator_list} & {"property", "pytest.fixture"}
            called = node.name if not_called else f"{node.name}({_arguments(node.args)})"
            docstring = " ".join((ast.get_docstring(node) or "").split()).replace("|", "\\|")
            rows.append(f"| `{called}` | {docstring} |")
    return [f"| {what} | |", "| --- | --- |", *rows, ""] if rows else []


def _arguments(arguments: ast.arguments) -> str:
    """Names and defaults as a call is written, without types."""
    first = len(arguments.args) - len(arguments.defaults)
    words = [
        each.arg if at < first else f"{each.arg}={ast.unparse(arguments.defaults[at - first])}"
        for at, each in enumerate(arguments.args)
        if each.arg not in {"self", "cls"}
    ]
    if arguments.vararg is not None:
        words.append(f"*{arguments.vararg.arg}")
    elif arguments.kwonlyargs:
        words.append("*")
    for each, default in zip(arguments.kwonlyargs, arguments.kw_defaults, strict=True):
        words.append(each.arg if default is None else f"{each.arg}={ast.unparse(default)}")
    return ", ".join(words)


def _type(node: ast.expr) -> str:
    if isinstance(node, ast.Subscript) and ast.unparse(node.value) == "Literal":
        parts = node.slice.elts if isinstance(node.slice, ast.Tuple) else [node.slice]
        words = [
            get_args(Quantity) if isinstance(each, ast.Name) else [ast.literal_eval(each)] for each in parts
        ]
        *others, last = [f"`{word}`" for several in words for word in several]
        return f"{', '.join(others)} or {last}" if others else last
    if isinstance(node, ast.BinOp):
        return f"{_type(node.left)} or {_type(node.right)}"
    return ast.unparse(node).replace(" | ", " or ")


def _default(node: ast.expr | None) -> str:
    if node is None:
        return "must be given"
    text = ast.unparse(node)
    return "empty" if text in {"()", "''"} or "default_factory=dict" in text else f"`{text}`"


if __name__ == "__main__":
    REFERENCE.write_text(reference(), encoding="utf-8", newline="\n")
