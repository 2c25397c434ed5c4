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
    out = out or folder / "reports" / "sheets"
    if trip is not None:
        return _print_trip_box(folder, out, trip, workspace_plugins)
    if trial is not None:
        return _print_trial(folder, out, trial, (arms, blocks, repeats))
    if what == "shopping":
        return _print_work_lists(folder, out, workspace_plugins)
    if tags is not None or what in {"labels", "cards"}:
        return _print_labels(folder, out, what, tags, first, (stock, margin, gap), workspace_plugins)
    if what is not None:
        return _write_page_or_tally(folder, out, what, workspace_plugins)
    return _print_logs(folder, out, logs, workspace_plugins)


def _print_logs(folder: Path, out: Path, logs: tuple[str, ...], workspace_plugins: bool) -> int:
    from benchwater.files import write_atomically
    from benchwater.plugin_host.load import load_plugins
    from benchwater.read.bench_file import load_bench
    from benchwater.render.sheet_pdf import file_name, print_sheet
    from benchwater.sheets.compose import choose_logs, sheet_of
    from benchwater.words import counted

    bench_file = load_bench(folder)
    found = load_plugins(folder if workspace_plugins else None, bench_file.plugins_off)
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


def _write_page_or_tally(folder: Path, out: Path, what: str, workspace_plugins: bool) -> int:
    from benchwater.files import write_atomically
    from benchwater.plugin_host.load import load_plugins
    from benchwater.read.bench_file import load_bench
    from benchwater.render.label_pdf import print_tallies
    from benchwater.render.log_page import FILE_NAME, render_log_page
    from benchwater.sheets.screens import log_page_of, needed_logs
    from benchwater.sheets.tally import mold_tallies, trip_sheet

    bench_file = load_bench(folder)
    bench = bench_file.bench
    found = load_plugins(folder if workspace_plugins else None, bench_file.plugins_off)
    kinds = needed_logs(found.log_kinds)
    if what == "page":
        content, name = render_log_page(log_page_of(kinds, bench)).encode(), FILE_NAME
        hint = "Copy it to the phone or tablet, and open it there in a browser."
    else:
        by_name = {kind.name: kind for kind in kinds}
        trip = trip_sheet(by_name["fishing"], by_name["catch"], bench)
        content, name = print_tallies(bench, mold_tallies(by_name["pour"], bench), trip), "tally.pdf"
        hint = "A page for each mold, and one for a day on the water."
    out.mkdir(parents=True, exist_ok=True)
    click.echo(f"Wrote {plain(str(write_atomically(out / name, content)))}")
    click.echo(hint)
    return INCOMPLETE if found.problems else DONE


def _print_labels(
    folder: Path,
    out: Path,
    what: str | None,
    count: int | None,
    first: int,
    division: tuple[str | None, float, float],
    workspace_plugins: bool,
) -> int:
    from benchwater.files import write_atomically
    from benchwater.ledger.tags import MOST_TAGS, tags
    from benchwater.pipeline import read_workspace
    from benchwater.render.label_pdf import print_labels
    from benchwater.sheets.labels import Label, batch_labels, label_stock, mold_cards, recipe_cards
    from benchwater.words import counted

    workspace = read_workspace(folder, workspace_plugins=workspace_plugins)
    bench = workspace.bench
    hint = ""
    if count is not None:
        last = first + count - 1
        if last > MOST_TAGS:
            raise click.UsageError(
                f"tags are numbered from 1 to {MOST_TAGS:,}: `--first {first}` is too far on"
            )
        name, title, usual = "tags.pdf", "Bait tags", "8x20"
        labels = tuple(Label(title=tag) for tag in tags(first, last))
        if bench.printed_tags < last:
            hint = (
                f"Write `[tags]` and `printed = {last}` in bench.toml: a tag typed wrong is then asked about."
            )
    elif what == "labels":
        name, title, usual = "labels.pdf", "Bag labels", "2x7"
        labels = batch_labels(workspace.reading.tables["finishing"], bench)
    else:
        name, title, usual = "cards.pdf", "Cards of molds and baits", "2x4"
        labels = mold_cards(bench) + recipe_cards(bench)
    if not labels:
        click.echo(
            "There is nothing to print yet: no batch is in the finishing log, or no mold in bench.toml."
        )
        return DONE
    columns_and_rows, margin, gap = division
    try:
        stock = label_stock(columns_and_rows or usual, bench.paper, margin, gap)
    except ValueError as error:
        raise click.UsageError(str(error)) from error
    pdf = print_labels(title, bench, labels, stock)
    out.mkdir(parents=True, exist_ok=True)
    path = write_atomically(out / name, pdf)
    click.echo(
        f"Wrote {plain(str(path))} ({counted(len(labels), 'label')}, {stock.columns} x {stock.rows} a page)"
    )
    if hint:
        click.echo(hint)
    return INCOMPLETE if workspace.plugins.problems else DONE


def _print_trial(folder: Path, out: Path, name: str, design: tuple[str, int, int]) -> int:
    from benchwater.files import write_atomically
    from benchwater.read.bench_file import load_bench
    from benchwater.render.label_pdf import print_trial
    from benchwater.render.sheet_pdf import file_name
    from benchwater.sheets.tally import trial_csv, trial_sheet_of

    arms, blocks, repeats = design
    try:
        trial = trial_sheet_of(name, arms.split(","), blocks, repeats)
    except ValueError as error:
        raise click.UsageError(str(error)) from error
    pdf = print_trial(load_bench(folder).bench, trial)
    out.mkdir(parents=True, exist_ok=True)
    sheet = write_atomically(out / file_name(f"trial-{name}"), pdf)
    log = write_atomically(sheet.with_suffix(".csv"), trial_csv(trial).encode())
    click.echo(f"Wrote {plain(str(sheet))}")
    click.echo(f"Wrote {plain(str(log))}: copy it into your folder of logs, and fill it in there.")
    return DONE


def _print_trip_box(folder: Path, out: Path, water: str, workspace_plugins: bool) -> int:
    from benchwater.files import write_atomically
    from benchwater.pipeline import Request, choose_spans, gather, read_workspace
    from benchwater.render.label_pdf import print_trip_box
    from benchwater.render.sheet_pdf import file_name
    from benchwater.sheets.lists import trip_box, trip_csv

    workspace = read_workspace(folder, workspace_plugins=workspace_plugins)
    spans = choose_spans(workspace, Request(whole_season=True))
    box = trip_box(gather(workspace.reading, workspace.bench, spans), water)
    pdf = print_trip_box(workspace.bench, box)
    out.mkdir(parents=True, exist_ok=True)
    sheet = write_atomically(out / file_name(f"trip-{water}"), pdf)
    log = write_atomically(sheet.with_suffix(".csv"), trip_csv(box).encode())
    click.echo(f"Wrote {plain(str(sheet))}")
    click.echo(f"Wrote {plain(str(log))}: fill it in after the trip, in your folder of logs.")
    return INCOMPLETE if workspace.plugins.problems else DONE


def _print_work_lists(folder: Path, out: Path, workspace_plugins: bool) -> int:
    from benchwater.files import write_atomically
    from benchwater.pipeline import Request, make_report, read_workspace
    from benchwater.render.label_pdf import print_work_lists
    from benchwater.sheets.lists import work_lists

    workspace = read_workspace(folder, workspace_plugins=workspace_plugins)
    report = make_report(workspace, Request(whole_season=True, season_ahead=True, only=("season_ahead",)))
    section = report.sections[0].parts[-1].section if report.sections else None
    if section is None or section.status != "ok":
        why = section.why if section else "It takes a pour log, a fishing log and builds in bench.toml."
        click.echo(f"No season ahead can be planned yet. {plain(why)}")
        return DONE
    pdf = print_work_lists(workspace.bench, work_lists(section, workspace.bench))
    out.mkdir(parents=True, exist_ok=True)
    click.echo(f"Wrote {plain(str(write_atomically(out / 'shopping.pdf', pdf)))}")
    return INCOMPLETE if workspace.plugins.problems else DONE
