"""`benchwater.load`: a maker's folder as pandas tables, for notebooks and other programs.

    import benchwater

    season = benchwater.load("my-bench")
    season["pour"].groupby("mold", observed=True)["count"].sum()
    season.section("cost").tables["per_build"]
    season.report("2026-07").findings

For Parquet install pyarrow; pandas' own `season.log("pour").to_parquet("pour.parquet")` then works.
"""

import json
import warnings
from collections.abc import Iterable, Mapping
from dataclasses import asdict, dataclass, fields
from datetime import date, timedelta
from pathlib import Path
from types import MappingProxyType
from typing import TYPE_CHECKING, Any

from benchwater.analyse.spans import last_day, month_spans, read_month
from benchwater.export import Descriptor, canonical_schema, csv_text, extra_columns, json_bytes
from benchwater.files import SKIPPED_FOLDERS, write_atomically
from benchwater.pipeline import Request, Workspace, make_report, read_workspace
from benchwater.plugin.logs import LogKind
from benchwater.plugin.season import Season, Span
from benchwater.plugin_host.loaded import PluginProblem
from benchwater.plugin_host.trust import trust as remember_trust
from benchwater.read.outcome import NotRead, Repeat, SetAside, Source
from benchwater.render.json_twin import render_json

if TYPE_CHECKING:
    import pandas as pd

_BEFORE_ANY_LOG = date(1950, 1, 1)
_OF_FINDINGS = "span id group text value low high level unit n".split()
_OF_ACTIONS = "id text because worth worth_unit urgent".split()


class SetAsideWarning(UserWarning):
    """Rows or cells are not used: `set_aside`, `cells_set_aside`, `not_read`, `plugin_problems` say which."""


class PlaceError(ValueError):
    """The folder must not be written to; the message says which may."""


@dataclass(frozen=True, slots=True, kw_only=True)
class SectionTables:
    """One section of a report. `findings`, `actions` and each of `tables` (by id) are data frames.

    Their columns are those of the report's JSON; `span` is `period` or `season`.
    """

    id: str
    title: str
    status: str
    why: str
    findings: "pd.DataFrame"
    tables: Mapping[str, "pd.DataFrame"]
    actions: "pd.DataFrame"


@dataclass(frozen=True, slots=True, kw_only=True)
class ReportTables:
    """A report without its pages: its sections by id, and all findings and the front page's actions."""

    label: str
    sections: Mapping[str, SectionTables]
    findings: "pd.DataFrame"
    actions: "pd.DataFrame"


class LoadedSeason(Season):
    """The `Season` of a folder, up to its last row, with an account of what is not in it.

    `season[kind]` is a table of every row of one log: `log(kind)` with whole numbers as `Int64` and yes or no
    as `boolean`. `describe(kind)` describes its columns, and `kinds` maps the names of all logs to their
    declarations. `report` and `section` give what the analyses make of it.

    Data frames tell what is not in the tables: `set_aside` the rows that could not be used, `cells_set_aside`
    the cells of other rows whose values are unknown, `repeats` the rows that another file holds too,
    `not_read` the files that are no logs, `plugin_problems` the plugins that could not be loaded, `sources`
    the files read, with counts of rows used, repeated and set aside.

    `start` is the first day of the season of the last row, `end` the day after that row (or after the month
    asked for), and `span` both of them, as `rows(kind, span)` takes it. While no row is used both are
    1950-01-01.
    """

    def __init__(self, workspace: Workspace, month: str | None = None) -> None:
        """Take a folder as read, up to the end of a month."""
        reading = workspace.reading
        last = last_day(reading.tables)
        start = workspace.bench.season_of(last)[0] if last is not None else _BEFORE_ANY_LOG
        end = last + timedelta(days=1) if last is not None else _BEFORE_ANY_LOG
        if month is not None:
            whole = month_spans(read_month(month), workspace.bench).season
            start, end = whole.start, whole.end
        tables = dict(reading.tables)
        if month is not None:
            everything = Season(workspace.bench, tables, start, end)
            tables = {kind: everything.before(kind, end) for kind in tables}
        super().__init__(workspace.bench, tables, start, end, reading.tables_set_aside)
        self.kinds: Mapping[str, LogKind] = MappingProxyType(
            {kind.name: kind for kind in workspace.plugins.log_kinds}
        )
        self.span = Span(name="season", label=f"season from {start.isoformat()}", start=start, end=end)
        self.sources = _frame(reading.sources, Source)
        self.set_aside = _frame(reading.set_aside, SetAside).drop(columns="values")
        self.cells_set_aside = _frame(reading.cells_set_aside, SetAside).drop(columns="values")
        self.repeats = _frame(reading.repeats, Repeat)
        self.not_read = _frame(reading.not_read, NotRead)
        self.plugin_problems = _frame(workspace.plugins.problems, PluginProblem)
        self._workspace = workspace
        self._month = month
        self._folder = workspace.folder.resolve()

    def __repr__(self) -> str:
        """Return the rows of each log, and how many are not among them."""
        held = ", ".join(f"{name} {len(self._logs[name])}" for name in self.kinds)
        left = f"{len(self.set_aside)} rows set aside, {len(self.not_read)} files not read"
        return f"<{self.bench.name}, {self.start} to {self.end}: {held}; {left}>"

    def __getitem__(self, kind: str) -> "pd.DataFrame":
        """Return every row of one log. KeyError names the logs there are."""
        rows = self.log(kind)
        for column in self.kinds[kind].columns:
            if column.kind == "count":
                rows[column.frame_name] = rows[column.frame_name].astype("Int64")
            elif column.kind == "yes_no" and not column.words:
                answers = rows[column.frame_name].astype("object")
                rows[column.frame_name] = answers.map({"yes": True, "no": False}).astype("boolean")
        return rows

    def report(self, month: str | None = None, *, only: Iterable[str] = ()) -> ReportTables:
        """Run the analyses (or `only` those ids) for a month, such as `2026-07`; left out: the whole season.

        SpanError for what is no month, UnknownAnalysisError for an id that there is not.
        """
        month = month or self._month
        request = Request(month=month, whole_season=month is None, only=tuple(only))
        return _report_tables(json.loads(render_json(make_report(self._workspace, request))))

    def section(self, id: str, month: str | None = None) -> SectionTables:
        """Return one section of `report(month)`, from running that analysis alone.

        KeyError where the analysis has no section in it, such as a trial that the logs do not name.
        """
        sections = self.report(month, only=(id,)).sections
        if id not in sections:
            raise KeyError(
                f"{id} has no section in this report: the logs and bench.toml give it nothing to do"
            )
        return sections[id]

    def describe(self, kind: str) -> "pd.DataFrame":
        """Return one row for each column of a log: `column`, `type`, `unit` and `meaning`."""
        import pandas as pd

        fields = self._schema(kind)["fields"]
        rows = [(f["name"], f["type"], f.get("unit"), f["description"]) for f in fields]
        return pd.DataFrame(rows, columns=["column", "type", "unit", "meaning"])

    def to_csv(self, folder: str | Path) -> tuple[Path, ...]:
        """Write every log as `<log>.csv` in canonical units, and a `datapackage.json` that describes them.

        UTF-8, commas between cells, points in numbers, missing cells empty. Text that a spreadsheet would run
        as a formula gets a leading apostrophe. Each file is written atomically. PlaceError for a folder whose
        files benchwater would read as logs.
        """
        out = Path(folder)
        self._refuse_among_logs(out)
        out.mkdir(parents=True, exist_ok=True)
        written = []
        for name, kind in self.kinds.items():
            text = csv_text(self._logs[name], kind, self.bench.items)
            written.append(write_atomically(out / f"{name}.csv", text.encode("utf-8", "replace")))
        package = write_atomically(out / "datapackage.json", json_bytes(self._package()))
        return (*written, package)

    def _refuse_among_logs(self, out: Path) -> None:
        try:
            inside = out.resolve().relative_to(self._folder).parts
        except ValueError:
            return
        if not inside or not (inside[0] in SKIPPED_FOLDERS or any(part.startswith(".") for part in inside)):
            raise PlaceError(
                f"{out} lies among the logs, where these files would be read as logs once more: "
                f"name a folder outside {self._folder}, or below its reports/"
            )

    def _package(self) -> Descriptor:
        return {
            "$schema": "https://datapackage.org/profiles/2.0/datapackage.json",
            "name": "benchwater-logs",
            "title": self.bench.name,
            "resources": [
                {
                    "name": name.lower(),
                    "path": f"{name}.csv",
                    "type": "table",
                    "format": "csv",
                    "encoding": "utf-8",
                    "schema": self._schema(name),
                }
                for name in self.kinds
            ],
        }

    def _schema(self, kind: str) -> Descriptor:
        declared = self.kinds[kind]
        return canonical_schema(declared, self.bench, extra_columns(self._logs[kind], declared))


def _frame(entries: Iterable[Any], kind: type[Any]) -> "pd.DataFrame":
    """Return one row for each dataclass instance, and a column for each field of their class."""
    import pandas as pd

    return pd.DataFrame([asdict(entry) for entry in entries], columns=[each.name for each in fields(kind)])


def _report_tables(twin: Mapping[str, Any]) -> ReportTables:
    import pandas as pd

    sections = {
        each["id"]: SectionTables(
            id=each["id"],
            title=each["title"],
            status=each["status"],
            why=each["why"],
            findings=pd.DataFrame(each["findings"], columns=_OF_FINDINGS),
            tables={
                table["id"]: pd.DataFrame(table["rows"], columns=table["columns"]) for table in each["tables"]
            },
            actions=pd.DataFrame(each["actions"], columns=_OF_ACTIONS),
        )
        for each in twin["sections"]
    }
    listed = [
        {"section": id, **row} for id, each in sections.items() for row in each.findings.to_dict("records")
    ]
    return ReportTables(
        label=twin["period"]["label"],
        sections=sections,
        findings=pd.DataFrame(listed, columns=["section", *_OF_FINDINGS]),
        actions=pd.DataFrame(twin["actions"], columns=["section", *_OF_ACTIONS]),
    )


def load(
    folder: str | Path, month: str | None = None, *, workspace_plugins: bool = True, trust: bool = False
) -> LoadedSeason:
    """Read a maker's folder: its bench, and every row of its logs up to the last, or up to a month's end.

    The folder's own plugins run as your own code, once you have said yes to them: `trust` says so, and it is
    remembered until one of them changes. `workspace_plugins` False leaves them out. BenchError if
    bench.toml is missing or wrong. SetAsideWarning if rows, cells, files or plugins are not used.
    """
    if trust:
        remember_trust(Path(folder))
    season = LoadedSeason(read_workspace(Path(folder), workspace_plugins=workspace_plugins), month)
    missing = {
        "row{} set aside (see .set_aside)": len(season.set_aside),
        "cell{} set aside (see .cells_set_aside)": len(season.cells_set_aside),
        "file{} not read (see .not_read)": len(season.not_read),
        "plugin{} not loaded (see .plugin_problems)": len(season.plugin_problems),
    }
    lacking = [f"{count} {what.format('s' * (count > 1))}" for what, count in missing.items() if count]
    if lacking:
        warnings.warn(f"{folder}: {', '.join(lacking)}", SetAsideWarning, stacklevel=2)
    return season
