"""`benchwater start` and `benchwater new-analysis`: write files to edit, from templates."""

import json
import keyword
import re
import sys
from contextlib import suppress
from pathlib import Path
from typing import TYPE_CHECKING

import click

from benchwater.commands.terminal import DEBUG_OPTION, Folder, plain, plain_line
from benchwater.files import read_own_file, write_atomically

if TYPE_CHECKING:
    from collections.abc import Sequence

    from benchwater.plugin.logs import LogKind
    from benchwater.read.bench_text import Question

ANSWERS = ".benchwater-start.json"
"""Answers given so far, beside the bench.toml that is not written yet."""


@click.command()
@click.argument("folder", type=Folder())
@click.option(
    "--workbook", is_flag=True, help="One workbook with a sheet for each log, instead of CSV files."
)
@DEBUG_OPTION
def start(folder: Path, workbook: bool) -> None:
    """Make FOLDER a workspace: bench.toml to fill in, blank logs, folders for reports and plugins.

    It leaves existing files as they are. Where FOLDER holds logs and no bench.toml, it writes what they name,
    and on a terminal asks for the rest; stop when you like, and take it up again.

    The workbook has lists of the names in bench.toml to choose from: once these are yours, move it away and
    have it written again.
    """
    from benchwater.plugin_host.load import load_plugins
    from benchwater.read.bench_file import load_bench, parse_bench

    kept: list[Path] = []
    kinds = load_plugins(None).log_kinds
    text = _found_bench_toml(folder, kinds)
    contents = {"bench.toml": (_template("bench.toml") if text is None else text).encode()}
    if workbook:
        from benchwater.sheets.screens import blank_workbook

        has_bench = (folder / "bench.toml").exists()
        bench = load_bench(folder) if has_bench else parse_bench(contents["bench.toml"].decode())
        contents["logs/season.xlsx"] = blank_workbook(kinds, bench.bench)
    elif text is None:
        for kind in [each for each in kinds if not each.part_of]:
            heading = ",".join(column.name for column in kind.columns)
            contents[f"logs/{kind.name}.csv"] = f"{heading}\n".encode()
    for name, content in contents.items():
        path = folder / name
        path.parent.mkdir(parents=True, exist_ok=True)
        if path.exists():
            kept.append(path)
        else:
            write_atomically(path, content)
            click.echo(f"Wrote {plain(str(path))}")
    (folder / "plugins").mkdir(exist_ok=True)
    (folder / "reports").mkdir(exist_ok=True)
    for path in kept:
        click.echo(f"Left as it is: {plain(str(path))}")
    click.echo("Next: say what stands on your bench in bench.toml, add rows to the logs, then")
    click.echo(f"  benchwater check {plain(str(folder))}")


def _found_bench_toml(folder: Path, kinds: "Sequence[LogKind]") -> str | None:
    """The bench.toml of a folder that holds logs and no bench.toml: asks on a terminal.

    Answers are kept in a file until bench.toml is written, so that a stopped run can be taken up again.
    """
    if not folder.is_dir() or (folder / "bench.toml").exists():
        return None
    from benchwater.read.bench_file import parse_bench
    from benchwater.read.bench_table import BenchError
    from benchwater.read.bench_text import bench_toml, questions
    from benchwater.read.found_bench import bench_from_logs, first_month

    try:
        bench = bench_from_logs(folder, kinds)
    except BenchError:
        return None
    answers: dict[str, str] = {}
    if sys.stdin.isatty():
        answers = _asked(questions(bench, first_month(folder, kinds)), folder / ANSWERS)
    text = bench_toml(bench, answers)
    parse_bench(text)
    (folder / ANSWERS).unlink(missing_ok=True)
    return text


def _asked(open_questions: "Sequence[Question]", kept: Path) -> dict[str, str]:
    """The answers to all questions; each is kept as soon as it is given."""
    answers: dict[str, str] = {}
    if kept.exists():
        with suppress(OSError, ValueError):
            answers = dict(json.loads(read_own_file(kept).decode()))
        click.echo("Taking up where you stopped.")
    click.echo("Enter keeps what stands in brackets; `?` means you do not know yet; Ctrl-C stops for now.")
    for question in open_questions:
        while question.key not in answers:
            answer = click.prompt(plain(question.text), default=question.default, type=str)
            try:
                answers[question.key] = question.check(answer)
            except ValueError as refusal:
                click.echo(f"`{plain_line(answer)}` {plain_line(str(refusal))}")
        write_atomically(kept, json.dumps(answers).encode())
    return answers


@click.command("new-analysis")
@click.argument("name")
@click.option(
    "--in",
    "folder",
    type=Folder(exists=True),
    default=Path(),
    help="The workspace (left out: this folder).",
)
@DEBUG_OPTION
def new_analysis(name: str, folder: Path) -> None:
    """Write an analysis called NAME, its test and the rows for it into the workspace's plugins/.

    It works at once and appears in the next report; change it into your own question. NAME is a plain
    name such as rainy-days.
    """
    from benchwater.plugin_host.trust import trust

    identity = re.sub(r"[\s-]+", "_", name.strip()).lower()
    if not identity.isidentifier() or not identity.isascii() or keyword.iskeyword(identity):
        raise click.UsageError(f"`{plain(name)}` is not a plain name such as rainy-days")
    _refuse_taken(identity, folder)
    title = identity.replace("_", " ").capitalize()
    plugins = folder / "plugins"
    written = {
        plugins / f"{identity}.py": "analysis.py.txt",
        plugins / f"test_{identity}.py": "test_analysis.py.txt",
        plugins / f"test_{identity}.csv": "test_analysis.csv.txt",
    }
    for path in written:
        if path.exists():
            raise click.UsageError(f"{path} is already there: choose another name, or remove it first")
    plugins.mkdir(exist_ok=True)
    for path, template in written.items():
        text = _template(template).replace("@ID@", identity).replace("@TITLE@", title)
        write_atomically(path, text.encode())
        click.echo(f"Wrote {plain(str(path))}")
    trust(folder, [path.name for path in written])
    click.echo(
        "It is in the next `benchwater report`. Its test runs with `python -m pytest` (pip install pytest)."
    )


def _refuse_taken(identity: str, folder: Path) -> None:
    """Refuse a name that an analysis has already, or that bench.toml switches off."""
    from benchwater.plugin_host.load import load_plugins
    from benchwater.read.bench_file import load_bench

    off = load_bench(folder).plugins_off
    if identity in off:
        raise click.UsageError(
            f"`{identity}` is left out by `off` under [plugins] in bench.toml: choose another name"
        )
    for analysis, plugin in load_plugins(folder, off).analyses:
        if analysis.id == identity and plugin.origin != "workspace":
            raise click.UsageError(
                f"there is an analysis `{identity}` already ({plugin.origin}: {plain(plugin.where)}): "
                "choose another name"
            )


def _template(name: str) -> str:
    from importlib.resources import files

    return (files("benchwater.commands") / "templates" / name).read_text(encoding="utf-8")
