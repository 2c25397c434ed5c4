"""Which reports are owed, and why: by the periods that have rows, and by what each report was made from.

The imports at the top are light, so that `due` with nothing to do is quick.
"""

from collections.abc import Callable, Iterator, Mapping, Sequence
from dataclasses import dataclass
from datetime import date, timedelta
from pathlib import Path
from typing import TYPE_CHECKING

from benchwater.files import UNKNOWN_CONTENT
from benchwater.schedule.manifest import (
    UNTRUSTED,
    Inputs,
    MadeFrom,
    Manifest,
    Period,
    Scan,
    WrittenReport,
    hash_inputs,
)
from benchwater.text import first_few

if TYPE_CHECKING:
    from benchwater.pipeline import Workspace

NO_REPORT = "no report yet"
_MOST_REASONS = 3


@dataclass(frozen=True, slots=True, kw_only=True)
class State:
    """Whether the report of one period is owed. `period` is None where the logs as read have no rows.

    `kept` says why a report stays though its rows changed: some of them are in logs that cannot be read now.
    """

    label: str
    what: str
    period: Period | None = None
    owed: str = ""
    to_hand_on: bool = False
    kept: str = ""


def scan_folder(
    folder: Path,
    manifest: Manifest,
    *,
    inputs: Inputs,
    workspace_plugins: bool = True,
    progress: Callable[[str], None] = lambda step: None,
) -> "tuple[Scan, Workspace | None]":
    """Return the scan of the folder, and the workspace if its logs were read for it.

    The manifest's scan still holds if `inputs` have not changed since. BenchError if bench.toml cannot be
    used. What changes while it is read is marked as unknown.
    """
    if manifest.scan is not None and inputs.same_as(manifest.scan.inputs):
        return manifest.scan, None
    from benchwater.pipeline import read_workspace
    from benchwater.schedule.periods import periods_with_rows, with_digests

    workspace = read_workspace(folder, workspace_plugins=workspace_plugins, progress=progress)
    reading = workspace.reading
    periods = with_digests(periods_with_rows(reading.tables, workspace.bench), folder, reading)
    marked = inputs.mark_changes(hash_inputs(folder, workspace_plugins=workspace_plugins))
    return Scan(inputs=marked, periods=periods), workspace


def states(
    scan: Scan,
    reports: Mapping[str, WrittenReport],
    out: Path,
    today: date,
    *,
    can_print: bool = False,
    unreadable: Sequence[str] = (),
) -> tuple[State, ...]:
    """Return the state of every period with rows, in order, and of the months without rows between and after.

    A report whose PDF could not be printed is owed again once `can_print` is true. A report made from logs
    that are `unreadable` now, or lie in a folder that is, is kept; those without any row left come last. So
    is one made with plugins of the workspace that are not trusted now.
    """
    plugins = scan.inputs.plugins
    kept = {label: _kept(label, report, out, unreadable, plugins) for label, report in reports.items()}
    found = [
        _state(
            period,
            made_from(period, scan.inputs),
            reports.get(period.label),
            out,
            today,
            can_print,
            kept.pop(period.label, ""),
        )
        for period in scan.periods
    ]
    without_rows = [State(label=label, what=why, kept=why) for label, why in sorted(kept.items()) if why]
    return (*_with_gaps(found, today), *without_rows)


def nothing_to_do(manifest: Manifest, inputs: Inputs, out: Path, today: date) -> bool:
    """Return whether nothing changed since the last scan, and no report is owed or waits to be handed on."""
    scan = manifest.scan
    if scan is None or not inputs.same_as(scan.inputs):
        return False
    found = states(scan, manifest.reports, out, today, can_print=True)
    return not any(state.owed or state.to_hand_on for state in found)


def made_from(period: Period, inputs: Inputs) -> MadeFrom:
    """Return what the period's report would be made from now."""
    return MadeFrom(
        rows=period.rows,
        files=period.files,
        bench=inputs.bench,
        plugins=inputs.plugins,
        version=inputs.version,
    )


def _state(
    period: Period,
    now: MadeFrom,
    report: WrittenReport | None,
    out: Path,
    today: date,
    can_print: bool,
    kept: str,
) -> State:
    if period.ended_on > today:
        return State(label=period.label, what="not ended", period=period)
    if kept:
        return State(label=period.label, what=kept, period=period, kept=kept)
    why = _why_owed(period.label, now, report, out)
    if not why and can_print and report is not None and not report.printed:
        why = "its PDF could not be printed"
    if why:
        return State(label=period.label, what=f"owed: {why}", period=period, owed=why)
    assert report is not None
    notes = [*(f"{name} failed" for name in report.failed)]
    if not report.printed:
        notes.append("without its PDF, which could not be printed")
    if not report.handed_on:
        notes.append("not handed on yet")
    what = f"written ({', '.join(notes)})" if notes else "written"
    return State(label=period.label, what=what, period=period, to_hand_on=not report.handed_on)


def _kept(
    label: str, report: WrittenReport, out: Path, unreadable: Sequence[str], plugins: Mapping[str, str]
) -> str:
    """Return why the report stays as it is, empty where it does not."""
    if not all((out / label / name).is_file() for name in report.files):
        return ""
    if UNTRUSTED in plugins and any(
        name.startswith(UNTRUSTED) and name != UNTRUSTED for name in report.made_from.plugins
    ):
        return "kept as it was: it was made with plugins of this folder, which you do not trust as they are"
    lost = next(
        (
            name
            for name in unreadable
            if name == "." or any(f"{file}/".startswith(f"{name}/") for file in report.made_from.files)
        ),
        None,
    )
    if lost is None:
        return ""
    return f"kept as it was: `{lost}` cannot be read now, and this report was made from rows in it"


def _why_owed(label: str, now: MadeFrom, report: WrittenReport | None, out: Path) -> str:
    folder = out / label
    if report is None:
        known = folder.is_dir() and any(path.name.startswith("season-report.") for path in folder.iterdir())
        return "there is no record of what its report was made from" if known else NO_REPORT
    missing = [name for name in report.files if not (folder / name).is_file()]
    if missing:
        return NO_REPORT if len(missing) == len(report.files) else f"{missing[0]} is missing"
    return first_few(_changes(report.made_from, now), _MOST_REASONS)


def _changes(before: MadeFrom, now: MadeFrom) -> Iterator[str]:
    if before.version != now.version:
        yield f"benchwater {before.version} became {now.version}"
    if before.bench != now.bench or now.bench == UNKNOWN_CONTENT:
        yield "bench.toml changed"
    for name in sorted({*before.plugins, *now.plugins}):
        if name not in before.plugins:
            yield f"{name} is new"
        elif name not in now.plugins:
            yield f"{name} is gone"
        elif before.plugins[name] != now.plugins[name] or now.plugins[name] == UNKNOWN_CONTENT:
            yield f"{name} changed"
    if before.rows != now.rows:
        changed = [
            name
            for name in sorted({*before.files, *now.files})
            if before.files.get(name) != now.files.get(name)
        ]
        yield from (f"{name} changed" for name in changed)
        if not changed:
            yield "the logs changed"


def _with_gaps(found: Sequence[State], today: date) -> Iterator[State]:
    """Yield the states, and one for each run of months without rows, up to the last month that has ended."""
    expected: date | None = None
    for state in found:
        period = state.period
        if period is not None and not period.whole_season:
            month = date.fromisoformat(f"{period.month}-01")
            if expected is not None and expected < month:
                yield _gap(expected, month - timedelta(days=1))
            expected = period.rows_until
        yield state
    if expected is not None and expected < today.replace(day=1):
        yield _gap(expected, today.replace(day=1) - timedelta(days=1))


def _gap(first: date, last: date) -> State:
    one = (first.year, first.month) == (last.year, last.month)
    return State(label=f"{first:%Y-%m}" if one else f"{first:%Y-%m} to {last:%Y-%m}", what="no rows")
