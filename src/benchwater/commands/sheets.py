"""`benchwater sheets`: blank log sheets to print, for the bench and the boat."""

from collections.abc import Callable, Iterator, Sequence
from pathlib import Path
from typing import TYPE_CHECKING

import click

from benchwater.commands.terminal import (
    DONE,
    INCOMPLETE,
    Folder,
    completed_by,
    plain,
    print_plugin_problem,
    progress,
    workspace_command,
)

if TYPE_CHECKING:
    from benchwater.pipeline import Workspace
    from benchwater.sheets.labels import Label

Made = Iterator[tuple[str, bytes, str] | str]
"""Files to write (name, content, what to say of it), and lines to print after them."""
Division = tuple[str, float, float]
"""Columns x rows of a page of labels, its margin, and the gap between labels."""


def _logs_to_print(_folder: Path) -> list[str]:
    from benchwater.plugin_host.load import load_plugins

    return [kind.name for kind in load_plugins(None).log_kinds if not kind.part_of]


@workspace_command(
    click.option("--out", type=Folder(), help="Where the sheets go (left out: reports/sheets/ in FOLDER)."),
    click.option(
        "--log",
        "logs",
        metavar="KIND",
        multiple=True,
        shell_complete=completed_by(_logs_to_print),
        help="Only the sheet of this log (may be repeated).",
    ),
    click.option("--page", "what", flag_value="page", help="Instead: log-page.html, logs to tap on a phone."),
    click.option(
        "--tally", "what", flag_value="tally", help="Instead: a line a fill, a box a cavity; a trip."
    ),
    click.option("--labels", "what", flag_value="labels", help="Instead: bag labels of finished batches."),
    click.option("--cards", "what", flag_value="cards", help="Instead: a card for each mold and build."),
    click.option("--tags", type=click.IntRange(1, 1000), help="Instead: so many numbered bait tags."),
    click.option("--first", type=click.IntRange(1), default=1, help="With --tags: which tag comes first."),
    click.option(
        "--trial", metavar="leader", help="Instead: a trial, its treatments drawn by lot in blocks."
    ),
    click.option("--arms", default="yes,no", metavar="yes,no", help="With --trial: what is compared."),
    click.option("--blocks", type=click.IntRange(1, 200), default=12, help="With --trial: how many blocks."),
    click.option(
        "--repeats", type=click.IntRange(1, 10), default=1, help="With --trial: lines an arm a block."
    ),
    click.option("--trip", metavar="WATER", help="Instead: what to take to a water, as a list to tick."),
    click.option(
        "--shopping",
        "what",
        flag_value="shopping",
        help="Instead: what to buy, and evenings of work, to tick.",
    ),
    click.option("--stock", metavar="3x8", help="Labels on a page: columns x rows."),
    click.option("--margin", type=click.FloatRange(0, 50), default=8.0, help="Of the label page, in mm."),
    click.option("--gap", type=click.FloatRange(0, 30), default=0.0, help="Between labels, in mm."),
)
def sheets(
    folder: Path,
    out: Path | None,
    logs: tuple[str, ...],
    what: str | None,
    tags: int | None,
    first: int,
    stock: str | None,
    margin: float,
    gap: float,
    trial: str | None,
    arms: str,
    blocks: int,
    repeats: int,
    trip: str | None,
    workspace_plugins: bool,
) -> int:
    """Print a blank sheet of every log of FOLDER (left out: this folder), as <log>.pdf.

    The molds, cavities, items and builds of bench.toml are boxes to tick. A line of a sheet is a row of the
    CSV, with its columns in the same order. Names that do not fit one page continue on the next: print the
    page you need. You can also fill in the fields on a screen. bench.toml names the paper; print without
    scaling. Logs of your own plugins get a sheet too.

    Labels, cards and tags fit any label paper: say how it is divided with --stock, --margin and --gap.

    Exit status: 0 written; 1 written, but a plugin could not be used; 2 nothing could be written.
    """
    from benchwater.files import only_writer, write_atomically
    from benchwater.pipeline import read_workspace

    out = out or folder / "reports" / "sheets"
    lines = []
    with progress() as step:
        workspace = read_workspace(folder, workspace_plugins=workspace_plugins, progress=step)
        if trip is not None:
            made = _trip_box(workspace, trip)
        elif trial is not None:
            made = _trial(workspace, trial, arms, blocks, repeats)
        elif what == "shopping":
            made = _work_lists(workspace)
        elif tags is not None:
            made = _tags(workspace, first, first + tags - 1, (stock or "8x20", margin, gap))
        elif what == "labels":
            made = _batch_labels(workspace, (stock or "2x7", margin, gap))
        elif what == "cards":
            made = _cards(workspace, (stock or "2x4", margin, gap))
        elif what is not None:
            made = _page(workspace) if what == "page" else _tally(workspace)
        else:
            made = _logs(workspace, logs, step)
        for each in made:
            if isinstance(each, str):
                lines.append(each)
            else:
                name, content, more = each
                out.mkdir(parents=True, exist_ok=True)
                with only_writer(out):
                    lines.append(f"Wrote {write_atomically(out / name, content)}{more}")
    for line in lines:
        click.echo(plain(line))
    for problem in workspace.plugins.problems:
        print_plugin_problem(problem, "Plugin ", err=True)
    return INCOMPLETE if workspace.plugins.problems else DONE


def _logs(workspace: "Workspace", names: Sequence[str], step: Callable[[str], None]) -> Made:
    from benchwater.render.sheets import file_name, print_sheet
    from benchwater.sheets.compose import choose_logs, sheet_of
    from benchwater.words import counted

    notes = []
    for kind in choose_logs(workspace.plugins.log_kinds, names):
        step(f"Printing the sheet of the {kind.name} log")
        sheet = sheet_of(kind, workspace.bench)
        yield file_name(kind.name), print_sheet(sheet), f" ({counted(len(sheet.pages), 'page')})"
        if sheet.boxless:
            notes.append(
                f"{kind.name}: {sheet.boxless} names of your bench have no box, as they are too many; "
                f"write them out. Those that come first in bench.toml get the boxes."
            )
    yield from notes


def _page(workspace: "Workspace") -> Made:
    from benchwater.render.sheets import LOG_PAGE_NAME, render_log_page
    from benchwater.sheets.screens import log_page_of, needed_logs

    page = log_page_of(needed_logs(workspace.plugins.log_kinds), workspace.bench)
    yield LOG_PAGE_NAME, render_log_page(page).encode(), ""
    yield "Copy it to the phone or tablet, and open it there in a browser."


def _tally(workspace: "Workspace") -> Made:
    from benchwater.render.sheets import print_tallies
    from benchwater.sheets.labels import mold_tallies, trip_sheet
    from benchwater.sheets.screens import needed_logs

    bench, (pour, fishing, catch, _) = workspace.bench, needed_logs(workspace.plugins.log_kinds)
    pdf = print_tallies(bench, mold_tallies(pour, bench), trip_sheet(fishing, catch, bench))
    yield "tally.pdf", pdf, ""
    yield "A page for each mold, and one for a day on the water."


def _tags(workspace: "Workspace", first: int, last: int, division: Division) -> Made:
    from benchwater.ledger.labels import MOST_TAGS, tags
    from benchwater.sheets.labels import Label

    if last > MOST_TAGS:
        raise click.UsageError(f"tags are numbered from 1 to {MOST_TAGS:,}: `--first {first}` is too far on")
    yield _labels(
        "tags.pdf", "Bait tags", [Label(title=tag) for tag in tags(first, last)], workspace, division
    )
    if workspace.bench.printed_tags < last:
        yield f"Write `[tags]` and `printed = {last}` in bench.toml: a tag typed wrong is then asked about."


def _batch_labels(workspace: "Workspace", division: Division) -> Made:
    from benchwater.sheets.labels import batch_labels

    labels = batch_labels(workspace.reading.tables["finishing"], workspace.bench)
    yield _labels("labels.pdf", "Bag labels", labels, workspace, division)


def _cards(workspace: "Workspace", division: Division) -> Made:
    from benchwater.sheets.labels import mold_cards, recipe_cards

    cards = mold_cards(workspace.bench) + recipe_cards(workspace.bench)
    yield _labels("cards.pdf", "Cards of molds and baits", cards, workspace, division)


def _labels(
    name: str, title: str, labels: "Sequence[Label]", workspace: "Workspace", division: Division
) -> tuple[str, bytes, str] | str:
    from benchwater.render.sheets import print_labels
    from benchwater.sheets.labels import label_stock
    from benchwater.words import counted

    if not labels:
        return "There is nothing to print yet: no batch is in the finishing log, or no mold in bench.toml."
    columns_and_rows, margin, gap = division
    try:
        stock = label_stock(columns_and_rows, workspace.bench.paper, margin, gap)
    except ValueError as error:
        raise click.UsageError(str(error)) from error
    pdf = print_labels(title, workspace.bench, labels, stock)
    return name, pdf, f" ({counted(len(labels), 'label')}, {stock.columns} x {stock.rows} a page)"


def _trial(workspace: "Workspace", name: str, arms: str, blocks: int, repeats: int) -> Made:
    from benchwater.render.sheets import file_name, print_trial
    from benchwater.sheets.labels import trial_csv, trial_sheet_of

    try:
        trial = trial_sheet_of(name, arms.split(","), blocks, repeats, workspace.bench)
    except ValueError as error:
        raise click.UsageError(str(error)) from error
    sheet = Path(file_name(f"trial-{trial.name}"))
    yield sheet.name, print_trial(workspace.bench, trial), ""
    after = ": copy it into your folder of logs, and fill it in there."
    yield sheet.with_suffix(".csv").name, trial_csv(trial).encode(), after


def _trip_box(workspace: "Workspace", water: str) -> Made:
    from benchwater.pipeline import Request, choose_spans, gather
    from benchwater.render.sheets import file_name, print_trip_box
    from benchwater.sheets.lists import trip_box, trip_csv

    if not len(workspace.reading.tables["fishing"]):
        yield "No bait was logged as fished yet, so there is nothing to plan a trip by."
        return
    spans = choose_spans(workspace, Request(whole_season=True))
    box = trip_box(gather(workspace.reading, workspace.bench, spans), water)
    sheet = Path(file_name(f"trip-{water}"))
    yield sheet.name, print_trip_box(workspace.bench, box), ""
    after = ": fill it in after the trip, in your folder of logs."
    if not box.known:
        from benchwater.text import did_you_mean

        waters = workspace.reading.tables["fishing"]["water"].dropna().astype("str").unique()
        near = did_you_mean(water, waters, "this goes by all waters together")
        yield f"No trip to `{water}` is logged{near}"
    yield sheet.with_suffix(".csv").name, trip_csv(box).encode(), after


def _work_lists(workspace: "Workspace") -> Made:
    from benchwater.pipeline import Request, make_report
    from benchwater.render.sheets import print_work_lists
    from benchwater.sheets.lists import work_lists

    section = None
    if any(map(len, workspace.reading.tables.values())):
        request = Request(whole_season=True, season_ahead=True, only=("season_ahead",))
        sections = make_report(workspace, request).sections
        section = sections[0].parts[-1].section if sections else None
    if section is None or section.status != "ok":
        why = section.why if section else "It takes a pour log, a fishing log and builds in bench.toml."
        yield f"No season ahead can be planned yet. {why}"
    else:
        yield "shopping.pdf", print_work_lists(workspace.bench, work_lists(section, workspace.bench)), ""
