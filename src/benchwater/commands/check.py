"""`benchwater check`: read everything, print what was understood and what was set aside."""

import sys
from pathlib import Path
from typing import TYPE_CHECKING

import click

from benchwater.commands.terminal import (
    DONE,
    INCOMPLETE,
    plain_line,
    print_plugin_problem,
    progress,
    workspace_command,
)

if TYPE_CHECKING:
    from collections.abc import Iterator, Sequence

    from benchwater.pipeline import Workspace
    from benchwater.read.outcome import Reading, SetAside
    from benchwater.read.own_words import WordQuestion

_MOST_LINES = 12


@workspace_command(
    click.option("--mend", is_flag=True, help="Ask what your own words mean, and write it into bench.toml."),
    click.option("--json", "as_json", is_flag=True, help="Print it as JSON, for other programs."),
    click.option("--strict", is_flag=True, help="End with status 1 if anything was not understood."),
)
def check(folder: Path, mend: bool, as_json: bool, strict: bool, workspace_plugins: bool) -> int:
    """Read FOLDER (left out: this folder); print what was understood and what was set aside.

    It lists every row and cell that cannot be used: file, line, column, the cell as written, and what would
    have been accepted. It writes nothing, except with --mend: then it asks about each word of yours that it
    does not know, the one with most rows first, and puts your answers into bench.toml.

    Exit status: 0 the logs were read; 1 a plugin could not be used, or (with --strict) something was set
    aside, not read or asked about; 2 bench.toml cannot be used.
    """
    from benchwater.pipeline import read_workspace
    from benchwater.read.bench_table import FILE_NAME
    from benchwater.read.own_words import lines_to_paste, word_questions

    with progress() as step:
        workspace = read_workspace(folder, workspace_plugins=workspace_plugins, progress=step)
    if as_json:
        click.echo(_as_json(workspace))
    else:
        _print_all(workspace)
    questions = word_questions(workspace.reading, workspace.plugins.log_kinds, workspace.bench)
    if mend and questions:
        _mend(folder / FILE_NAME, questions)
    elif questions and not as_json:
        click.echo(f"\nTo mend most of it, let `benchwater check --mend` ask, or put into {FILE_NAME}:")
        for line in lines_to_paste(questions[:_MOST_LINES]):
            click.echo(f"  {plain_line(line)}")
    reading = workspace.reading
    understood = not (
        reading.set_aside
        or reading.cells_set_aside
        or reading.not_read
        or reading.column_questions
        or reading.questions
    )
    return DONE if not workspace.plugins.problems and (understood or not strict) else INCOMPLETE


def _print_all(workspace: "Workspace") -> None:
    from benchwater.words import counted

    bench, reading = workspace.bench, workspace.reading
    click.echo(
        f"{plain_line(bench.name)}: {counted(len(bench.items), 'item')}, "
        f"{counted(len(bench.molds), 'mold')}, {counted(len(bench.builds), 'build')}"
    )
    for fallback in bench.fallbacks:
        click.echo(f"  note: {plain_line(fallback)}")
    _print_files(reading)
    for title, lines in _accounts(reading):
        if lines:
            click.echo(f"\n{title}")
        for line in lines:
            click.echo(f"  {plain_line(line)}")
    if workspace.plugins.problems:
        click.echo("\nPlugins that could not be used:")
    for problem in workspace.plugins.problems:
        print_plugin_problem(problem)


def _print_files(reading: "Reading") -> None:
    if not reading.sources:
        if not reading.not_read:
            click.echo("No logs yet: drop CSV files into this folder.")
        return
    table = [("file", "log", "rows", "used", "repeated", "set aside")]
    for each in reading.sources:
        rows, used, repeated, set_aside = map(str, (each.rows, each.used, each.repeated, each.set_aside))
        table.append((plain_line(each.file), each.log, rows, used, repeated, set_aside))
    widths = [max(map(len, column)) for column in zip(*table, strict=True)]
    head, *lines = (
        "  ".join(f"{cell:{side}{width}}" for cell, side, width in zip(row, "<<>>>>", widths, strict=True))
        for row in table
    )
    click.echo(f"\n{head}")
    for source, line in zip(reading.sources, lines, strict=True):
        click.echo(line)
        for unread in (each for each in reading.unread_columns if each.file == source.file):
            what = unread.question if unread.may_be else f"`{unread.column}` was not read"
            click.echo(f"  {plain_line(what)}")


def _accounts(reading: "Reading") -> "Iterator[tuple[str, Sequence[str]]]":
    """Yield each account of what was not taken as it stands: its title and its lines, maybe none."""
    from benchwater.words import counted

    yield "Not read:", [f"{each.file} {each.why}" for each in reading.not_read]
    yield "Read as:", [f"{each.file}: `{each.written}` as `{each.read_as}`" for each in reading.read_as]
    yield "To be answered:", reading.questions
    repeats = [
        f"{each.file}, line{'' if each.lines.isdecimal() else 's'} {each.lines}: already in {each.first_in}"
        for each in reading.repeats
    ]
    yield "Taken as repeats (say otherwise with `keep_repeats` under [logs] in bench.toml):", repeats
    yield f"Set aside: {counted(len(reading.set_aside), 'row')}", [*map(_entry, reading.set_aside)]
    cells = counted(len(reading.cells_set_aside), "cell")
    yield f"Set aside alone: {cells} of rows that count", [*map(_entry, reading.cells_set_aside)]


def _entry(entry: "SetAside") -> str:
    column = f", column `{entry.column}`" if entry.column else ""
    return f"{entry.file}, line {entry.line}{column}: {f'`{entry.value}` ' if entry.value else ''}{entry.why}"


def _as_json(workspace: "Workspace") -> str:
    """Return what was read and what was not, under the names that a report's JSON has for it."""
    import json
    from dataclasses import asdict

    reading = workspace.reading
    names = "sources read_as unread_columns set_aside cells_set_aside repeats not_read"
    found: dict[str, object] = {
        name: [
            {key: value for key, value in asdict(each).items() if key != "values"}
            for each in getattr(reading, name)
        ]
        for name in names.split()
    }
    found["fallbacks"] = list(workspace.bench.fallbacks)
    found["questions"] = [*reading.column_questions, *reading.questions]
    found["plugin_problems"] = [asdict(each) for each in workspace.plugins.problems]
    return json.dumps({"bench": workspace.bench.name, **found}, indent=1)


def _mend(path: Path, questions: "Sequence[WordQuestion]") -> None:
    """Ask each question on a terminal, and write the answers; elsewhere say what would be asked."""
    import tomlkit

    from benchwater.files import only_writer, write_atomically
    from benchwater.read.own_words import write_answer

    if not path.exists():
        click.echo(f"\nThere is no {path.name} to put your words into: `benchwater start` writes one.")
        return
    if not sys.stdin.isatty():
        click.echo("\nOn a terminal this would ask:")
        for question in questions:
            click.echo(f"  {plain_line(question.text)}")
        return
    document = tomlkit.parse(path.read_bytes().decode("utf-8-sig"))
    answered = 0
    click.echo("\nWhat do you mean by these words? A number, or nothing to leave a word as it is.")
    for question in questions:
        click.echo(f"\n{plain_line(question.text)}")
        for number, choice in enumerate(question.choices, start=1):
            click.echo(f"  {number}  {plain_line(choice)}")
        default = question.choices.index(question.guess) + 1 if question.guess in question.choices else 0
        answer = click.prompt(
            "  number (0: leave it)", type=click.IntRange(0, len(question.choices)), default=default
        )
        if answer:
            write_answer(document, question, question.choices[answer - 1])
            answered += 1
    if answered:
        with only_writer(path.parent):
            write_atomically(path, tomlkit.dumps(document).encode())
        click.echo(f"\nWrote {answered} of your words into {plain_line(str(path))}. Run check again.")
