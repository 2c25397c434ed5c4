"""`benchwater sheets`: blank log sheets to print, for the bench and the boat."""

from pathlib import Path

import click

from benchwater.commands.terminal import (
    DONE,
    INCOMPLETE,
    Folder,
    plain,
    print_plugin_problem,
    progress,
    workspace_command,
)


@workspace_command(
    click.option(
        "--out",
        type=Folder(),
        help="Where the sheets go (left out: reports/sheets/ in FOLDER).",
    ),
    click.option(
        "--log", "logs", metavar="KIND", multiple=True, help="Only the sheet of this log (may be repeated)."
    ),
    click.option(
        "--page", is_flag=True, help="Write log-page.html instead: logs to tap on a phone, tablet or laptop."
    ),
)
def sheets(folder: Path, out: Path | None, logs: tuple[str, ...], page: bool, workspace_plugins: bool) -> int:
    """Print a blank sheet of every log of FOLDER (left out: this folder), as <log>.pdf.

    The molds, cavities, items and builds of bench.toml are boxes to tick. A line of a sheet is a row of the
    CSV, with its columns in the same order. Names that do not fit one page continue on the next: print the
    page you need. You can also fill in the fields on a screen. bench.toml names the paper; print without
    scaling. Logs of your own plugins get a sheet too.

    Exit status: 0 written; 1 written, but a plugin could not be used; 2 nothing could be written.
    """
    from benchwater.files import write_atomically
    from benchwater.plugin_host.load import load_plugins
    from benchwater.read.bench_file import load_bench
    from benchwater.render.log_page import FILE_NAME, render_log_page
    from benchwater.render.sheet_pdf import file_name, print_sheet
    from benchwater.sheets.compose import choose_logs, sheet_of
    from benchwater.sheets.log_page import log_page_of
    from benchwater.words import counted

    bench_file = load_bench(folder)
    found = load_plugins(folder if workspace_plugins else None, bench_file.plugins_off)
    out = out or folder / "reports" / "sheets"
    if page:
        html = render_log_page(log_page_of(found.log_kinds, bench_file.bench))
        out.mkdir(parents=True, exist_ok=True)
        click.echo(f"Wrote {plain(str(write_atomically(out / FILE_NAME, html.encode())))}")
        click.echo("Copy it to the phone or tablet, and open it there in a browser.")
        return INCOMPLETE if found.problems else DONE
    kinds = choose_logs(found.log_kinds, logs)
    notes: list[str] = []
    written: list[tuple[Path, int]] = []
    with progress() as step:
        for kind in kinds:
            step(f"Printing the sheet of the {kind.name} log")
            sheet = sheet_of(kind, bench_file.bench)
            pdf = print_sheet(sheet)
            out.mkdir(parents=True, exist_ok=True)
            written.append((write_atomically(out / file_name(kind.name), pdf), len(sheet.pages)))
            if sheet.boxless:
                notes.append(
                    f"{kind.name}: {sheet.boxless} names of your bench have no box, as they are too many; "
                    f"write them out. Those that come first in bench.toml get the boxes."
                )
    for path, pages in written:
        click.echo(f"Wrote {plain(str(path))} ({counted(pages, 'page')})")
    for note in notes:
        click.echo(plain(note))
    for problem in found.problems:
        print_plugin_problem(problem, "Plugin ", err=True)
    return INCOMPLETE if found.problems else DONE
