"""A made-up report with everything in it that a page can hold, and one whose every text is hostile."""

import dataclasses
import math
from collections.abc import Callable
from datetime import date, timedelta
from typing import Any, cast

from benchwater import plots
from benchwater.analyse.report import (
    MonthVital,
    RankedAction,
    Report,
    ReportSection,
    SpanSection,
    VitalSeries,
)
from benchwater.plugin.bench import Bench
from benchwater.plugin.season import Span
from benchwater.plugin.section import (
    Action,
    Card,
    CardLine,
    Figure,
    Finding,
    Section,
    Table,
    TableColumn,
)
from benchwater.plugin_host.loaded import PluginProblem
from benchwater.read.outcome import NotRead, Repeat, SetAside, Source
from benchwater.render.html import render_paper
from benchwater.render.json_twin import render_json
from benchwater.render.pdf import AttachedLog, print_report

MAY = Span(name="period", label="2026-05", start=date(2026, 5, 1), end=date(2026, 6, 1))
SEASON = Span(
    name="season",
    label="season from 2026-03-01",
    start=date(2026, 3, 1),
    end=date(2026, 6, 1),
)
HOSTILE = (
    "<script>alert(1)</script><img src=\"http://evil.invalid/x.png\"><link rel=attachment href='file:///etc/passwd'>"
    '{{ 7*7 }}{% raw %}</style>"\x1b[31mred\x1b[0m \u202egnp.exe\u202c \x00\ud800 --> ]]> &amp; $x_1$ '
    "@import url(http://evil.invalid/)"
)
LONG_WORD = "W" * 10_000


def sample_report() -> Report:
    """Four sections (ok, thin, empty, failed), two spans, figures, long tables and mixed units."""
    bench = Bench(
        name="Alder Flat bench",
        fallbacks=(
            "No plan.service_level in bench.toml: 0.90 was taken.",
            "mold 'Ball jig, six cavities' has no price: its share of the cost is left out.",
        ),
    )
    sections = (_defects(), _mortality(), _balance(), _finishing(), _broken())
    actions = [
        RankedAction(
            action=action,
            section_id=section.id,
            section_title=section.title,
            state="new",
            since=MAY.start,
            span=MAY,
        )
        for section in sections
        for action in section.parts[-1].section.actions
    ]
    actions.sort(key=lambda ranked: (not ranked.action.urgent, -(ranked.action.worth or 0)))
    return Report(
        bench=bench,
        label="2026-05",
        period=MAY,
        season=SEASON,
        sections=sections,
        actions=tuple(actions),
        sources=(
            Source(
                file="pour-2026.csv",
                sha256="9f2b" * 16,
                log="pour",
                rows=412,
                used=406,
                repeated=3,
                set_aside=3,
            ),
            Source(
                file="trips.csv", sha256="07ac" * 16, log="trip", rows=58, used=58, repeated=0, set_aside=0
            ),
            Source(
                file="stock counts.csv",
                sha256="d41d" * 16,
                log="stock",
                rows=24,
                used=23,
                repeated=0,
                set_aside=1,
            ),
        ),
        set_aside=(
            SetAside(
                file="pour-2026.csv",
                line=17,
                column="mold_temp",
                value="hot",
                why="not a temperature: write a number and F or C",
                reason="quantity",
                log="pour",
            ),
            SetAside(
                file="pour-2026.csv",
                line=95,
                column="cavity",
                value="3/8 oz ",
                why="mold 'Ball jig, six cavities' has no cavity of that name; nearest: '3/8'",
                reason="unknown name",
                log="pour",
            ),
            SetAside(
                file="pour-2026.csv",
                line=96,
                column="castings",
                value="",
                why="needed, and blank",
                reason="missing",
                log="pour",
            ),
            SetAside(
                file="stock counts.csv",
                line=4,
                column="quantity",
                value="=1+1",
                why="not an amount",
                reason="quantity",
                log="stock",
            ),
        ),
        repeats=(Repeat(file="pour-2026.csv", lines="2-3, 17", rows=3, first_in="pour-may.csv"),),
        not_read=(
            NotRead(file="photo of the bench.heic", why="no log kind fits its name or its first line"),
        ),
        plugin_problems=(
            PluginProblem(
                origin="plugins/moon_phase.py",
                name="moon_phase",
                why="it needs 'ephem', which is not installed",
            ),
        ),
        version="0.1.0",
        vitals=_vitals(),
    )


def _vitals() -> tuple[VitalSeries, ...]:
    """A count with a month without rows, a share, a running total, and a rate that fell."""
    spans = [
        Span(
            name="period", label=f"2026-{month:02}", start=date(2026, month, 1), end=date(2026, month + 1, 1)
        )
        for month in (3, 4, 5)
    ]
    told: tuple[tuple[str, str, str, Any, tuple[float | None, ...], float], ...] = (
        ("castings_made", "castings made", "pieces", None, (120, None, 96), 216),
        ("first_pass_yield", "first-pass yield", "1", "up", (0.71, 0.83, 0.91), 0.83),
        ("saved", "saved to date", "money", "up", (12.5, 48.25, 130.4), 130.4),
        ("fish_per_hour", "fish per hour", "fish/h", "up", (0.8, 1.31, 1.04), 1.05),
    )
    return tuple(
        VitalSeries(
            id=identity,
            label=label,
            unit=unit,
            better=better,
            section_id="defect_rate",
            months=tuple(
                MonthVital(span=span, value=value) for span, value in zip(spans, values, strict=True)
            ),
            season=MonthVital(span=SEASON, value=whole, n=9),
        )
        for identity, label, unit, better, values, whole in told
    )


def hostile_report(text: str = HOSTILE) -> Report:
    """The sample with every text in it replaced, ids and closed sets apart."""
    fixed = {
        "status",
        "origin",
        "id",
        "section_id",
        "unit",
        "unit_from",
        "system",
        "paper",
        "currency",
        "svg",
    }
    fixed |= {"worth_unit", "better", "name", "version", "label", "dialect"}

    def poison(value: Any, field: str = "") -> Any:
        if isinstance(value, str):
            return value if field in fixed else text
        if dataclasses.is_dataclass(value) and not isinstance(value, type):
            changes = {
                each.name: poison(getattr(value, each.name), each.name) for each in dataclasses.fields(value)
            }
            if isinstance(value, Bench):
                changes["name"] = text
                changes["date_order"] = "iso"
            if isinstance(value, VitalSeries):
                changes["label"] = text
            if isinstance(value, PluginProblem):
                changes |= {"name": text, "origin": text}
            return type(value)(**changes)
        if isinstance(value, tuple):
            return tuple(poison(each, field) for each in value)
        return value

    poisoned = cast("Report", poison(sample_report()))
    sections = tuple(
        _with_units_kept(new, old)
        for new, old in zip(poisoned.sections, sample_report().sections, strict=True)
    )
    return dataclasses.replace(poisoned, sections=sections)


def _with_units_kept(new: ReportSection, old: ReportSection) -> ReportSection:
    """Canonical units in a `unit_from` column are the host's own words, not a maker's."""
    parts = []
    for fresh, former in zip(new.parts, old.parts, strict=True):
        tables = []
        for table, original in zip(fresh.section.tables, former.section.tables, strict=True):
            sources = {column.unit_from for column in original.columns}
            kept = [index for index, column in enumerate(original.columns) if column.name in sources]
            rows = tuple(
                tuple(before[i] if i in kept else cell for i, cell in enumerate(row))
                for row, before in zip(table.rows, original.rows, strict=True)
            )
            tables.append(dataclasses.replace(table, rows=rows, print_units=original.print_units))
        parts.append(
            dataclasses.replace(fresh, section=dataclasses.replace(fresh.section, tables=tuple(tables)))
        )
    return dataclasses.replace(new, parts=tuple(parts))


def _section(
    identity: str,
    title: str,
    question: str,
    say: Callable[[Span], Section],
    spans: tuple[Span, ...] = (MAY, SEASON),
) -> ReportSection:
    parts = tuple(SpanSection(span=span, section=say(span)) for span in spans)
    last = parts[-1].section
    return ReportSection(
        id=identity,
        title=title,
        question=question,
        status=last.status,
        why=last.why,
        parts=parts,
        origin="plugins/" + identity + ".py",
    )


def _defects() -> ReportSection:
    return _section(
        "defect_rate",
        "Defects by mold temperature",
        "How hot must the mold be before I keep a pour?",
        _defects_of,
    )


def _defects_of(span: Span) -> Section:
    wide = span is SEASON
    temps = [120 + 10 * step for step in range(12)]
    rates = [1 / (1 + math.exp((temp - 150) / 12)) + 0.5 / (1 + math.exp((230 - temp) / 8)) for temp in temps]
    return Section(
        status="ok",
        findings=(
            Finding(
                id="target_temp",
                text="Keep the mold at 352 °F or hotter: there nine castings in ten first come out whole.",
                value=177.8,
                low=171.0,
                high=186.0,
                unit="degC",
                n=406 if wide else 96,
            ),
            Finding(
                id="reject_rate",
                text=f"{'14' if wide else '17'} % of castings were rejected.",
                value=0.143,
                low=0.11,
                high=0.18,
                unit="1",
                n=2214 if wide else 570,
            ),
            Finding(
                id="warm_up_fills",
                text="The first four fills of a cold mold are warm-up: pour them straight back.",
                value=4,
                low=3,
                high=6,
                unit="pieces",
                n=21,
            ),
            Finding(
                id="trend_p",
                text="Rejects fall as the mold warms, and chance alone would hardly do that.",
                value=0.0004,
                n=2214,
            ),
        ),
        figures=(
            Figure(
                id="curve",
                title="Share rejected by mold temperature",
                alt="The share of castings rejected falls from nine in ten at 250 °F to one in ten at 350 °F "
                "and rises again above 430 °F.",
                svg=_curve_svg(),
            ),
        ),
        tables=(
            Table(
                id="by_temperature",
                title="Rejects by mold temperature",
                columns=(
                    TableColumn(name="low_c", label="From", unit="degC"),
                    TableColumn(name="high_c", label="Below", unit="degC"),
                    TableColumn(name="castings", label="Castings"),
                    TableColumn(name="rejects", label="Rejects"),
                    TableColumn(name="rate", label="Rejected", unit="1"),
                    TableColumn(name="low", label="low", unit="1"),
                    TableColumn(name="high", label="high", unit="1"),
                ),
                rows=tuple(
                    (
                        float(temp),
                        float(temp + 10),
                        180,
                        round(180 * rate),
                        rate,
                        max(rate - 0.06, 0.004),
                        min(1.0, rate + 0.06),
                    )
                    for temp, rate in zip(temps, rates, strict=True)
                ),
                note="Wilson intervals; castings of one fill are counted as one cluster.",
            ),
            Table(
                id="curve",
                title="The fitted curve",
                columns=(
                    TableColumn(name="temp_c", label="Temperature", unit="degC"),
                    TableColumn(name="rate", label="Rate", unit="1"),
                ),
                rows=tuple((float(temp), rate) for temp, rate in zip(temps, rates, strict=True)),
                print_rows=0,
            ),
            *((_by_cavity(),) if wide else ()),
        ),
        actions=(
            Action(
                id="warm-up",
                text="Pour four warm-up fills before you keep a casting, and start at 352 °F.",
                because="Below that, one casting in three was short or cold shut; above it, one in ten.",
                worth=38.4,
                worth_unit="money",
            ),
            Action(
                id="cavity",
                text="Open the vent of cavity 5 in the six-cavity ball jig mold.",
                because="It is rejected three times as often as its neighbours at the same temperature.",
                worth=14.25,
                worth_unit="money",
            ),
        ),
        cards=(
            Card(
                id="mold:ball",
                title="Ball jig, six cavities",
                order=30,
                lines=(
                    CardLine(label="Start at", text="352 °F (340 to 367)", findings=("target_temp",)),
                    CardLine(label="Blank fills", text="4 from cold", findings=("warm_up_fills",)),
                ),
                tables=(_by_cavity(),),
            ),
        ),
        methods=(
            "Two penalised logistic curves, one for cold flaws and one for hot ones, added; "
            "each fill is a cluster (Firth 1993; Heinze and Schemper 2002).",
            "Binned rates carry Wilson intervals (Wilson 1927). The trend is Cochran and Armitage's.",
        ),
    )


def _by_cavity() -> Table:
    return Table(
        id="by_cavity",
        title="Cavities at equal temperature",
        columns=(
            TableColumn(name="mold", label="Mold"),
            TableColumn(name="cavity", label="Cavity"),
            TableColumn(name="castings", label="Castings"),
            TableColumn(name="rejects", label="Rejects"),
            TableColumn(name="rate", label="Rejected", unit="1", digits=1),
            TableColumn(name="p_adjusted", label="p, adjusted", digits=3),
            TableColumn(name="differs", label="Differs"),
        ),
        rows=tuple(
            (
                "Ball jig, six cavities",
                f"{number}",
                368,
                30 + 9 * number,
                (30 + 9 * number) / 368,
                0.6 / number,
                number == 5,
            )
            for number in range(1, 7)
        ),
    )


def _curve_svg() -> str:
    figure, axes = plots.new_figure(170, 62)
    temps = [250 + 2 * step for step in range(100)]
    rate = [1 / (1 + math.exp((temp - 302) / 20)) + 0.5 / (1 + math.exp((446 - temp) / 14)) for temp in temps]
    plots.window(axes, 352, 418, "working window")
    plots.band(axes, temps, [max(0, each - 0.06) for each in rate], [min(1, each + 0.06) for each in rate])
    plots.line(axes, temps, rate, label="any flaw")
    cold = [1 / (1 + math.exp((temp - 302) / 20)) for temp in temps]
    plots.line(axes, temps, cold, series=1, label="cold flaws")
    binned = [260.0, 290, 320, 350, 380, 410, 440]
    shares = [0.88, 0.66, 0.27, 0.1, 0.05, 0.08, 0.2]
    plots.interval_points(
        axes,
        binned,
        shares,
        [each - 0.04 for each in shares],
        [each + 0.05 for each in shares],
        label="as logged",
    )
    plots.reference_line(axes, "target 10 %", y=0.1)
    axes.set_xlabel("Mold temperature, °F")
    axes.set_ylabel("Share rejected")
    plots.legend(axes)
    return plots.to_svg(figure)


def _mortality() -> ReportSection:
    return _section(
        "bait_mortality", "Bait mortality", "How long does a bait last, and what takes it?", _mortality_of
    )


def _mortality_of(span: Span) -> Section:
    thin = span is MAY
    hours = [0.5 * step for step in range(30)]
    return Section(
        status="thin" if thin else "ok",
        why="Nine losses are too few to compare leaders." if thin else "",
        findings=(
            Finding(
                id="median_life",
                text="Half of all baits were gone after 6.2 hours in the water.",
                value=6.2,
                low=4.4,
                high=9.0,
                unit="h",
                n=14 if thin else 58,
            ),
            Finding(
                id="loss_rate",
                text="One bait is lost every 9 hours fished, with or without a leader.",
                value=0.11,
                low=0.08,
                high=0.16,
                unit="1/h",
                n=14 if thin else 58,
            ),
        ),
        figures=()
        if thin
        else (
            Figure(
                id="survival",
                title="Baits still fishing",
                alt="Steps falling from all baits at the start to half after 6.2 hours "
                "and one in five after 14.",
                svg=_survival_svg(),
            ),
        ),
        tables=()
        if thin
        else (
            Table(
                id="survival",
                title="Survival by hours in use",
                columns=(
                    TableColumn(name="group", label="Group"),
                    TableColumn(name="time_h", label="Hours in use", digits=1),
                    TableColumn(name="at_risk", label="At risk"),
                    TableColumn(name="lost", label="Lost"),
                    TableColumn(name="survival", label="Surviving", unit="1"),
                    TableColumn(name="low", label="low", unit="1"),
                    TableColumn(name="high", label="high", unit="1"),
                    TableColumn(name="key", label="Key", hidden=True),
                ),
                rows=tuple(
                    (
                        "all",
                        hour,
                        58 - round(2 * hour),
                        1,
                        math.exp(-hour / 9),
                        math.exp(-hour / 7),
                        math.exp(-hour / 12),
                        7,
                    )
                    for hour in hours
                ),
                print_rows=12,
            ),
        ),
        actions=()
        if thin
        else (
            Action(
                id="leader",
                text="Tie a leader on the weed-edge baits.",
                because="Without one they were lost 2.1 times as fast (1.2 to 3.9).",
                worth=6,
                worth_unit="baits",
            ),
        ),
        methods=("Kaplan and Meier (1958) with log-log intervals; kept baits are censored.",),
    )


def _survival_svg() -> str:
    figure, axes = plots.new_figure(170, 55)
    hours = [0.7 * step for step in range(20)]
    for series, (name, scale) in enumerate((("leader", 13.0), ("no leader", 7.0))):
        curve = [math.exp(-hour / scale) for hour in hours]
        plots.steps(
            axes,
            hours,
            curve,
            low=[each * 0.85 for each in curve],
            high=[min(1, each * 1.15) for each in curve],
            series=series,
            label=name,
        )
    axes.set_xlabel("Hours in use")
    axes.set_ylabel("Share still fishing")
    axes.set_ylim(0, 1.02)
    plots.legend(axes)
    return plots.to_svg(figure)


def _balance() -> ReportSection:
    return _section(
        "material_balance", "Material balance", "Does what I hold agree with what I logged?", _balance_of
    )


def _balance_of(span: Span) -> Section:
    items = [
        ("Soft lead", "g", "lb", 11340.0),
        ("Bismuth-tin", "g", "lb", 2268.0),
        ("Hook 32798 4/0", "pieces", None, 300.0),
        ("Powder coat, chartreuse", "g", "oz", 226.8),
        ("Plastisol, medium", "mL", "fl oz", 946.0),
        ("Split ring 3", "pieces", None, 120.0),
    ]
    names = (
        "opening",
        "received",
        "recovered",
        "in_castings",
        "used",
        "discarded",
        "book_closing",
        "counted_closing",
        "unaccounted",
        "std_uncertainty",
    )
    labels = (
        "Opening",
        "Received",
        "Recovered",
        "In castings",
        "Used",
        "Discarded",
        "Book",
        "Counted",
        "Unaccounted",
        "Std. unc.",
    )
    return Section(
        status="ok",
        findings=(
            Finding(
                id="unaccounted",
                text="1.3 lb of soft lead is not accounted for, more than the scale can explain.",
                value=590.0,
                low=340.0,
                high=840.0,
                unit="g",
                n=14,
                group="Soft lead",
            ),
            Finding(
                id="unaccounted",
                text="Hook 32798 4/0 balances to the piece.",
                value=0.0,
                unit="pieces",
                n=6,
                group="Hook 32798 4/0",
            ),
        ),
        tables=(
            Table(
                id="balance",
                title="The books of each item",
                columns=(
                    TableColumn(name="item", label="Item"),
                    *(
                        TableColumn(name=name, label=label, unit_from="unit")
                        for name, label in zip(names, labels, strict=True)
                    ),
                    TableColumn(name="verdict", label="Verdict"),
                    TableColumn(name="unit", label="Unit", hidden=True),
                ),
                rows=tuple(
                    (
                        name,
                        opening,
                        0.4 * opening,
                        0.0,
                        0.8 * opening,
                        0.1 * opening,
                        0.05 * opening,
                        0.45 * opening,
                        0.43 * opening if number != 3 else None,
                        0.02 * opening,
                        0.004 * opening,
                        "short" if number == 0 else "within the scale",
                        unit,
                    )
                    for number, (name, unit, _, opening) in enumerate(items)
                ),
                print_units=tuple(print_unit for _, _, print_unit, _ in items),
            ),
            Table(
                id="counts",
                title="Counts by date",
                columns=(
                    TableColumn(name="date", label="Date"),
                    TableColumn(name="item", label="Item"),
                    TableColumn(name="measured", label="Counted", unit_from="unit"),
                    TableColumn(name="unit", label="Unit", hidden=True),
                    TableColumn(name="checked", label="Checked"),
                ),
                rows=tuple(
                    (
                        date(2026, 5, 1) + timedelta(days=number),
                        "Soft lead",
                        9000.0 - 55 * number,
                        "g",
                        number % 3 == 0,
                    )
                    for number in range(30)
                ),
                print_units=("lb",) * 30,
                print_rows=8,
            ),
            Table(
                id="purchases",
                title="Purchases not logged",
                columns=(TableColumn(name="item", label="Item"),),
                rows=(),
            ),
        ),
        actions=(
            Action(
                id="weigh",
                text="Weigh the soft lead again before you order.",
                because="1.3 lb is missing from the books since the count of 2 May; "
                "a mistyped count is the likeliest reason.",
                worth=4.1,
                worth_unit="money",
            ),
            Action(
                id="vent",
                text="Keep the pot below 750 °F, and open the door.",
                because="It stood at 812 °F on 9 May, where fume rises fast.",
                urgent=True,
            ),
        ),
        cards=(
            Card(
                id="warnings",
                title="Before you melt",
                order=10,
                wide=True,
                warning=True,
                lines=(CardLine(label="Water", text="No wet scrap: steam throws molten metal."),),
            ),
            Card(
                id="mold:ball",
                title="Another title",
                order=30,
                lines=(CardLine(label="Metal", text="Holds lead."),),
            ),
        ),
        methods=("Law of propagation of uncertainty, k = 2 (JCGM 100:2008).",),
    )


def _finishing() -> ReportSection:
    return _section(
        "finishing",
        "Finishing",
        "Did the coat cure as its maker asks?",
        lambda _span: Section.empty("The coat log holds no row up to 31 May 2026."),
    )


def _broken() -> ReportSection:
    return _section(
        "moon",
        "Moon phase",
        "Does the moon matter?",
        lambda _span: Section(status="failed", why="ZeroDivisionError: division by zero, in moon.py line 31"),
    )


def pdf_of(report: Report, html: str | None = None, logs: tuple[AttachedLog, ...] = ()) -> bytes:
    """The PDF of a report, or of other HTML with the report's numbers."""
    page = render_paper(report) if html is None else html
    return print_report(page, render_json(report), report.period.end, logs)
