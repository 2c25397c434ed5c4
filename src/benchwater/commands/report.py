"""`benchwater report`: the season report as PDF, HTML and JSON."""

from datetime import date
from pathlib import Path
from typing import TYPE_CHECKING

import click

from benchwater.commands.terminal import (
    DONE,
    INCOMPLETE,
    OUT_OPTION,
    completed_by,
    debugging,
    plain,
    plain_line,
    print_plugin_problem,
    progress,
    workspace_command,
)

if TYPE_CHECKING:
    from benchwater.analyse.report import Report
    from benchwater.pipeline import Workspace
    from benchwater.plugin_host.loaded import PluginProblem


def _months(folder: Path) -> list[str]:
    """Return the months with rows, as `due` has found them."""
    from benchwater.schedule.manifest import read_manifest

    scan = read_manifest(folder / "reports").scan
    return [] if scan is None else [period.label for period in scan.periods if not period.whole_season]


def _analyses(_folder: Path) -> list[str]:
    """Return the analyses but those of the folder, whose code runs only when a command does."""
    from benchwater.plugin_host.load import load_plugins

    return [analysis.id for analysis, _ in load_plugins(None).analyses]


@workspace_command(
    click.option(
        "--month",
        metavar="YYYY-MM",
        shell_complete=completed_by(_months),
        help="The month to report on (left out: the latest with rows).",
    ),
    click.option(
        "--season",
        "whole_season",
        is_flag=True,
        help="The whole season to date instead of a month; with --month, the season that month lies in.",
    ),
    click.option(
        "--trip", metavar="NAME", help="A trip that bench.toml names under [trips], instead of a month."
    ),
    click.option(
        "--only",
        metavar="ID",
        multiple=True,
        shell_complete=completed_by(_analyses),
        help="Only this analysis (may be repeated); see `plugins`.",
    ),
    OUT_OPTION,
    click.option("--quiet", is_flag=True, help="Print only what went wrong."),
)
def report(
    folder: Path,
    month: str | None,
    whole_season: bool,
    trip: str | None,
    only: tuple[str, ...],
    out: Path | None,
    quiet: bool,
    workspace_plugins: bool,
) -> int:
    """Write the report of FOLDER (left out: this folder).

    It reads every log below FOLDER and writes season-report.pdf, .html and .json to reports/<period>/.
    Rows that it cannot read are set aside and listed in the report's appendix. As long as the logs hold no
    row, the report is of the current month.

    Exit status: 0 written; 1 written, but a file was refused whole, an analysis or plugin failed, or the
    PDF could not be printed; 2 nothing could be written.
    """
    from benchwater.worker_process import WorkerProcess

    traces: list[str] = []
    with WorkerProcess(prepare=_load_printer) as worker, progress() as step:
        from benchwater.pipeline import Request, make_report, read_workspace
        from benchwater.render.write import write_report
        from benchwater.schedule.catch_up import hand_on, manual_reports

        reports = manual_reports(folder, out, workspace_plugins=workspace_plugins)
        workspace = read_workspace(folder, workspace_plugins=workspace_plugins, progress=step)
        if month is None and not workspace.reading.holds_rows:
            month = f"{date.today():%Y-%m}"
        made = make_report(
            workspace,
            Request(month=month, whole_season=whole_season, trip=trip, only=only),
            progress=step,
            on_failure=lambda analysis, trace: traces.append(trace),
        )
        out = out or folder / "reports"
        refusals: tuple[PluginProblem, ...] = ()
        with reports.overwriting(made.label) as record:
            written = write_report(made, out, workspace=folder, progress=step, worker=worker)
            if not only:
                refusals = hand_on(workspace, out, made.label, written.files, failed=made.failed)
                record(workspace, made, written, not refusals)
    if not quiet:
        for path in written.files:
            click.echo(f"Wrote {plain(str(path))}")
        _print_rows(workspace, made)
    _print_problems(made, refusals, traces)
    if written.problem:
        click.echo(written.problem, err=True)
    incomplete = made.failed or made.not_read or written.problem or refusals
    return INCOMPLETE if incomplete else DONE


def _print_rows(workspace: "Workspace", made: "Report") -> None:
    from benchwater.analyse.spans import falls_in, last_day
    from benchwater.words import counted

    used, set_aside = sum(source.used for source in made.sources), len(made.set_aside)
    cells = f", {counted(len(made.cells_set_aside), 'cell')} set aside alone" if made.cells_set_aside else ""
    rows = f"{counted(used, 'row')} used, {set_aside} set aside{cells}"
    click.echo(f"{rows} (see the appendix, or `benchwater check`).")
    for question in workspace.reading.questions:
        click.echo(plain_line(question))
    latest = last_day(workspace.reading.tables)
    if latest is None:
        unread = set_aside or made.not_read
        click.echo("No row could be read." if unread else "The logs hold no row yet.")
    elif not falls_in(workspace.reading.tables, made.period):
        click.echo(f"No row is of {made.label}: the latest is of {latest}.")


def _print_problems(made: "Report", refusals: "tuple[PluginProblem, ...]", traces: list[str]) -> None:
    for file in made.not_read:
        click.echo(f"No row of {plain(file.file)} was read: it {plain(file.why)}.", err=True)
    for problem in (*made.plugin_problems, *refusals):
        print_plugin_problem(problem, "Plugin ", err=True)
    for section in made.sections:
        if section.status == "failed":
            click.echo(f"{section.id} failed. {plain(section.why)}", err=True)
    if debugging():
        for trace in traces:
            click.echo(trace, err=True)


def _load_printer() -> None:
    from benchwater.render import html, pdf

    pdf.weasyprint()
    html.compile_templates()
