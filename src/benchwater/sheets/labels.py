"""Compose tags, labels and cards to cut out, and sheets to write on by hand: tallies, a day's, a trial's."""

import re
from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass
from datetime import date
from typing import TYPE_CHECKING, Any

from benchwater.ledger.labels import KNOWN_TRIALS, arm_name, trial_name
from benchwater.plugin.bench import Bench, Build, Item
from benchwater.plugin.logs import LogKind
from benchwater.read.names import find_name
from benchwater.sheets.compose import bare_unit
from benchwater.sheets.layout import PAPER_MM
from benchwater.statistics.permutations import draw_block
from benchwater.text import csv_lines, did_you_mean, near_names, quoted
from benchwater.units.quantities import QuantityError, read_quantity
from benchwater.words import MONTHS

if TYPE_CHECKING:
    import pandas as pd

_LEAD_WORDS = {
    True: "Holds lead: wash hands.",
    False: "Holds no lead. Wash hands.",
    None: "Lead not known: wash hands.",
}
LEAST_LABEL_MM = (12.0, 8.0)
_SIDE_BY_SIDE = 6
_LINE_MM, _HEAD_MM = 6.6, 62.0
POURED = "mold_temp"
_FISHED = ("build", "leader", "fished", "fate", "cause", "water", "angler", "note")
_POURED = ("mold", "cavity", "outcome", "count", "fill", "mold_temp", "flaw", "note")


@dataclass(frozen=True, slots=True, kw_only=True)
class Label:
    """One label: what is read first, and the lines below it."""

    title: str
    lines: tuple[str, ...] = ()


@dataclass(frozen=True, slots=True, kw_only=True)
class LabelStock:
    """How a sheet of labels is divided: `columns` by `rows` inside `margin_mm`, `gap_mm` between labels."""

    paper: str
    columns: int
    rows: int
    margin_mm: float
    gap_mm: float

    @property
    def label_mm(self) -> tuple[float, float]:
        height, width = PAPER_MM[self.paper]
        return (
            (width - 2 * self.margin_mm - (self.columns - 1) * self.gap_mm) / self.columns,
            (height - 2 * self.margin_mm - (self.rows - 1) * self.gap_mm) / self.rows,
        )


def label_stock(division: str, paper: str, margin_mm: float, gap_mm: float) -> LabelStock:
    """Return the stock of a division such as `3x8`. Raises ValueError where a label would be too small."""
    found = re.fullmatch(r"([1-9][0-9]?) ?[x×*] ?([1-9][0-9]?)", division.strip().lower())
    if found is None:
        raise ValueError(f"`{division}` does not divide a page (accepted: columns x rows, such as `3x8`)")
    stock = LabelStock(
        paper=paper, columns=int(found[1]), rows=int(found[2]), margin_mm=margin_mm, gap_mm=gap_mm
    )
    width, height = stock.label_mm
    if width < LEAST_LABEL_MM[0] or height < LEAST_LABEL_MM[1]:
        least = f"{LEAST_LABEL_MM[0]:g} by {LEAST_LABEL_MM[1]:g} mm"
        raise ValueError(f"`{division}` makes labels of {width:.0f} by {height:.0f} mm; the least is {least}")
    return stock


def batch_labels(finishing: "pd.DataFrame", bench: Bench) -> tuple[Label, ...]:
    """Return a label for each build that a batch of the finishing log went to, in the order of the log.

    A batch whose head and coat no build of the bench has is labelled by its mold and cavity.
    """
    return tuple(label for row in finishing.to_dict("records") for label in _of_batch(row, bench))


def _of_batch(row: Mapping[Any, object], bench: Bench) -> Iterator[Label]:
    mold, cavity, coat = str(row["mold"]), str(row["cavity"]), str(row["coat"])
    names = [
        name for name, build in bench.builds.items() if build.head == (mold, cavity) and build.coat == coat
    ]
    temp, hours = row["cure_temp_c"], row["cure_time_h"]
    cure = [bench.show(temp, "degC")] if isinstance(temp, float) and temp == temp else []
    cure += [bench.show(hours, "h")] if isinstance(hours, float) and hours == hours else []
    when = row["date"]
    assert isinstance(when, date)
    lines = (
        f"{coat} on {mold} {cavity}",
        f"cured {' for '.join(cure)}" if cure else "cure not written",
        f"finished {when.day} {MONTHS[when.month - 1]} {when.year}",
        _LEAD_WORDS[_holds_lead(bench, mold)],
    )
    for name in names or [f"{mold} {cavity}"]:
        yield Label(title=name, lines=lines)


def mold_cards(bench: Bench) -> tuple[Label, ...]:
    """Return a card for each mold: what it takes, its cavities, inserts, and whether it holds lead."""
    cards = []
    for name, mold in bench.molds.items():
        cavities = [
            f"{each.name}: {each.per_fill} a fill, {bench.show(each.mass_g, 'g')}"
            + (f", {each.insert}" if each.insert else "")
            for each in mold.cavities.values()
        ]
        lines = (f"takes {mold.material}", *cavities, _LEAD_WORDS[_holds_lead(bench, name)])
        cards.append(Label(title=name, lines=lines))
    return tuple(cards)


def recipe_cards(bench: Bench) -> tuple[Label, ...]:
    """Return a card for each build: head, coat and its cure window, fittings and trailer."""
    return tuple(
        Label(title=name, lines=tuple(_recipe(build, bench))) for name, build in bench.builds.items()
    )


def _recipe(build: Build, bench: Bench) -> Iterator[str]:
    if build.head:
        yield f"head: {' '.join(build.head)}"
    if build.coat:
        yield f"coat: {build.coat}"
        if cure := _cure(bench.items.get(build.coat), bench):
            yield f"cure: {cure}"
    for item, count in build.fittings.items():
        yield f"{count:g} × {item}"
    if build.trailer:
        yield f"trailer: {' '.join(build.trailer)}"
    if build.head:
        yield _LEAD_WORDS[_holds_lead(bench, build.head[0])]


def _cure(coat: Item | None, bench: Bench) -> str:
    if coat is None or coat.cure is None:
        return ""
    temps = [bench.show(each, "degC") for each in (coat.cure.min_temp_c, coat.cure.max_temp_c) if each]
    times = [bench.show(each, "h") for each in (coat.cure.min_time_h, coat.cure.max_time_h) if each]
    return ", ".join(" to ".join(part) for part in (temps, times) if part)


def _holds_lead(bench: Bench, mold: str) -> bool | None:
    item = bench.items.get(bench.molds[mold].material) if mold in bench.molds else None
    return item.holds_lead if item else None


@dataclass(frozen=True, slots=True, kw_only=True)
class MoldTally:
    """One page: `blocks` lie side by side, each with a line for each of its fills and a box for each place.

    `places` are the cavities of one fill, a cavity of which it makes two there twice.
    """

    mold: str
    places: tuple[str, ...]
    blocks: tuple[range, ...]
    temperature: str


@dataclass(frozen=True, slots=True, kw_only=True)
class TripSheet:
    """One page for a day: lines for baits, and for fish; the words of the log that a line can hold."""

    baits: int
    fish: int
    fates: tuple[str, ...]
    causes: tuple[str, ...]
    length: str


def mold_tallies(pour: LogKind, bench: Bench) -> tuple[MoldTally, ...]:
    """Return a sheet for each mold of the bench."""
    lines = int((PAPER_MM[bench.paper][0] - _HEAD_MM) / _LINE_MM)
    unit = next((bare_unit(each, pour, bench) for each in pour.columns if each.name == "mold_temp"), "")
    sheets = []
    for name, mold in bench.molds.items():
        places = tuple(cavity.name for cavity in mold.cavities.values() for _ in range(cavity.per_fill))
        blocks = 2 if len(places) <= _SIDE_BY_SIDE else 1
        fills = tuple(range(1 + lines * block, 1 + lines * (block + 1)) for block in range(blocks))
        sheets.append(MoldTally(mold=name, places=places, blocks=fills, temperature=unit))
    return tuple(sheets)


def trip_sheet(fishing: LogKind, catch: LogKind, bench: Bench) -> TripSheet:
    """Return the sheet of a day on the water."""
    words = {column.name: column.words for column in fishing.columns}
    unit = next((bare_unit(each, catch, bench) for each in catch.columns if each.name == "length"), "")
    return TripSheet(baits=18, fish=12, fates=words["fate"], causes=words["cause"], length=unit)


@dataclass(frozen=True, slots=True, kw_only=True)
class TrialSheet:
    """A trial: `blocks` holds the arm of each place of each block.

    `columns` are the columns of its log that are written by hand.
    """

    name: str
    arms: tuple[str, ...]
    blocks: tuple[tuple[str, ...], ...]
    columns: tuple[str, ...]


def trial_sheet_of(trial: str, arms: Sequence[str], blocks: int, repeats: int, bench: Bench) -> TrialSheet:
    """Return the sheet of a trial whose blocks give each arm `repeats` times.

    The same name, arms and size give the same lot. Raises ValueError where there are not two arms, where one
    is no temperature, build or coat of the bench and the trial is one of these, and for a name that is nearly
    `leader` or the like.
    """
    name = trial_name(trial)
    if not name:
        raise ValueError("say what is tried, such as `--trial leader`")
    near = near_names(name, KNOWN_TRIALS, least=0.75)
    if near and not name.startswith(near[0]):
        raise ValueError(f"`{name}`: did you mean `--trial {near[0]}`? If not, choose a name less like it")
    found = {arm_name(arm): _arm(name, arm.strip(), bench) for arm in arms if arm.strip()}
    if len(found) < 2:
        raise ValueError("a trial compares at least two arms: name them with commas, such as `yes,no`")
    names = [found[key] for key in sorted(found)]
    places = len(names) * repeats
    lots = [draw_block(name, block, len(names), places) for block in range(1, blocks + 1)]
    return TrialSheet(
        name=name,
        arms=tuple(names),
        blocks=tuple(tuple(names[kind] for kind in lot) for lot in lots),
        columns=_POURED if name == POURED else _FISHED,
    )


def _arm(trial: str, arm: str, bench: Bench) -> str:
    """An arm as the sheet writes it: a temperature with its unit, or a name of the bench."""
    if trial == POURED:
        usual = "degC" if bench.system == "metric" else "degF"
        stated = [bench.default_units.get(name) for name in ("pour.mold_temp", "mold_temp")]
        unit = (stated[0] or stated[1] or usual).removeprefix("deg") if arm.replace(".", "").isdigit() else ""
        try:
            read_quantity(f"{arm} {unit}", "temperature")
        except QuantityError as error:
            example = '--arms "150 C,180 C"' if bench.system == "metric" else '--arms "300 F,350 F"'
            raise ValueError(f"`{arm}` is no temperature of a mold: write `{example}`") from error
        return f"{arm} {unit}".strip()
    names = {"build": list(bench.builds), "coat": [n for n, i in bench.items.items() if i.kind == "coat"]}
    known = names.get(trial, [])
    if not known or (trial == "coat" and arm_name(arm) in {"no", "bare"}):
        return arm_name(arm) if arm_name(arm) in {"yes", "no"} else arm
    meant = find_name(arm, "build" if trial == "build" else "item", bench)
    if meant is None or meant not in known:
        near = did_you_mean(arm, known, f"there are: {quoted(known)}")
        raise ValueError(f"`{arm}` is no {trial} of bench.toml{near}")
    return meant


def trial_csv(trial: TrialSheet) -> str:
    """Return the log of a trial as CSV, a line for each place, with the lot filled in."""
    rows: list[tuple[object, ...]] = [("date", "trial", "block", "slot", "arm", *trial.columns)]
    for block, arms in enumerate(trial.blocks, start=1):
        for place, arm in enumerate(arms, start=1):
            given = (arm if column == trial.name else "" for column in trial.columns)
            rows.append(("", trial.name, block, place, arm, *given))
    return csv_lines(rows, end="\r\n")
