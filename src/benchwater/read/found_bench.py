"""The bench of a folder without bench.toml: what its logs name, and what more bench.toml would add."""

import re
from collections import Counter, defaultdict
from collections.abc import Iterable, Iterator, Mapping, Sequence
from pathlib import Path
from statistics import median
from types import MappingProxyType
from typing import Literal

import numpy as np

from benchwater.plugin.bench import Bench, Build, Cavity, Item, ItemKind, Mold
from benchwater.plugin.logs import LogKind
from benchwater.read.bench_file import DEFAULT_TOLERANCE, no_bench, size_in_ounces
from benchwater.read.bench_items import (
    MASS_G,
    STAND_INS,
    TOLERANCE,
    kind_of_item,
    material_kind,
    stand_in,
    with_unknown_uses,
)
from benchwater.read.bench_table import CURRENCY_MARKS
from benchwater.read.coded import Coded
from benchwater.read.log_parts import LogPart, log_parts
from benchwater.read.names import is_like_a_date, same_spelling, words_of_name
from benchwater.read.outcome import FileError, NotRead
from benchwater.text import near_names, quoted
from benchwater.units import QuantityError, is_quantity, read_number, read_quantity
from benchwater.units.quantities import is_unit
from benchwater.words import counted

_NEAR = 0.85
_FEW = 0.1
_FEWEST_WEIGHED = 3
_HOT_MELT_F = 480.0
_MOST_SHOWN = 6
_US = re.compile(r"[0-9]\s*(?:°?\s*f|degf|oz|ozs|lbs?|in|inch(?:es)?|\")$", re.IGNORECASE)
_METRIC = re.compile(r"[0-9]\s*(?:°?\s*c|degc|kg|cm|mm|ml)$", re.IGNORECASE)
_ISO = re.compile(r"[0-9]{4}-(?:0[1-9]|1[0-2])-[0-9]{2}")


class _Named:
    """What the logs name, as written, with the number of rows that do."""

    def __init__(self) -> None:
        self.molds, self.items, self.builds = Counter[str](), Counter[str](), Counter[str]()
        self.cavities: defaultdict[str, Counter[str]] = defaultdict(Counter)
        self.poured: defaultdict[str, Counter[str]] = defaultdict(Counter)
        self.amounts: defaultdict[str, list[str]] = defaultdict(list)
        self.masses: defaultdict[tuple[str, str], list[float]] = defaultdict(list)
        self.systems, self.money = Counter[str](), Counter[str]()
        self.coats = set[str]()


def bench_from_logs(folder: Path, kinds: Sequence[LogKind]) -> Bench:
    """The bench that the logs of a folder name; what they leave open stands in its fallbacks.

    BenchError where the folder holds no log with a row. A name that a few rows spell nearly as many others
    do is left out, so that the maker is asked about it.
    """
    named = _Named()
    rows = 0
    for part in log_parts(folder, kinds, None):
        if not isinstance(part, NotRead):
            try:
                rows += _collect(part, named)
            except FileError:
                continue
    if not rows:
        raise no_bench(folder)
    baits = {words_of_name(text) for text in named.builds}
    for text in [each for each in named.items if words_of_name(each) in baits and each not in named.coats]:
        del named.items[text]
    return _bench(folder.resolve().name or "Bench", named)


def first_month(folder: Path, kinds: Sequence[LogKind]) -> int:
    """The month of the earliest day that a log names, January where none does."""
    days = [
        str(day)
        for part in log_parts(folder, kinds, None)
        if not isinstance(part, NotRead) and part.header.date_position is not None
        for day in part.body().columns[part.header.date_position].values
        if _ISO.match(str(day))
    ]
    return int(min(days)[5:7]) if days else 1


def _collect(part: LogPart, named: _Named) -> int:
    """Add what one log names; the number of its records."""
    body = part.body()
    kind = part.header.kind
    headings = [heading for heading in part.header.headings if heading.column is not None]
    columns = {heading.column.name: heading.column for heading in headings if heading.column is not None}
    texts = dict(zip(columns, (body.columns[heading.position] for heading in headings), strict=True))
    for heading in headings:
        if heading.unit:
            named.systems[_system_of(f"1 {heading.unit}")] += len(body.lines)
    for name, column in columns.items():
        counts = _counts(texts[name])
        if column.refers_to == "mold":
            named.molds.update(counts)
        elif column.refers_to == "build":
            named.builds.update(counts)
        elif column.refers_to == "item":
            named.items.update(counts)
            if kind.name == "finishing":
                named.coats.update(counts)
        if is_quantity(column.kind) or column.kind == "amount":
            for text, count in counts.items():
                named.systems[_system_of(text)] += count
            if column.kind == "temperature" and name == "melt_temp":
                _note_bare_temperatures(counts, named)
        if column.kind == "money":
            for mark, code in CURRENCY_MARKS.items():
                named.money[code] += sum(rows for text, rows in counts.items() if mark in text)
    for mold, cavity in _pairs(texts, "mold", "cavity"):
        named.cavities[mold][cavity] += 1
    for mold, material in _pairs(texts, "mold", "material"):
        named.poured[mold][material] += 1
    for item, amount in _pairs(texts, "item", "amount"):
        named.amounts[item].append(amount)
    _note_masses(texts, part, named)
    return len(body.lines)


def _note_bare_temperatures(counts: Mapping[str, int], named: _Named) -> None:
    """A melt that reads above 480 without a unit is in °F: lead melts at 327 °C."""
    for text, count in counts.items():
        if text.replace(".", "").isdigit():
            named.systems["us" if float(text) > _HOT_MELT_F else ""] += count


def _note_masses(texts: Mapping[str, Coded], part: LogPart, named: _Named) -> None:
    units = {h.column.name: h.unit for h in part.header.headings if h.column is not None}
    if not {"mold", "cavity", "mass"} <= texts.keys():
        return
    count = texts.get("count")
    for row in range(len(texts["mass"].codes)):
        mass = str(texts["mass"].value(row))
        if not mass:
            continue
        try:
            grams = read_quantity(mass, "mass", default_unit=units.get("mass") or "g")
            number = read_number(str(count.value(row)) or "1", decimal_comma=False) if count else 1.0
        except QuantityError:
            continue
        if number:
            named.masses[str(texts["mold"].value(row)), str(texts["cavity"].value(row))].append(
                grams / number
            )


def _counts(texts: Coded) -> dict[str, int]:
    found: Counter[str] = Counter()
    rows = np.bincount(texts.codes, minlength=len(texts.values)).tolist()
    for text, count in zip(texts.values, rows, strict=True):
        if count and str(text).strip():
            found[" ".join(str(text).split())] += count
    return dict(found)


def _pairs(texts: Mapping[str, Coded], first: str, second: str) -> Iterator[tuple[str, str]]:
    """Yield what each row says in two columns, where it says both."""
    if first in texts and second in texts:
        for row in range(len(texts[first].codes)):
            one, other = (" ".join(str(texts[name].value(row)).split()) for name in (first, second))
            if one and other:
                yield one, other


def _system_of(text: str) -> str:
    return "us" if _US.search(text) else "metric" if _METRIC.search(text) else ""


def _bench(name: str, named: _Named) -> Bench:
    notes = ["There is no bench.toml: molds, cavities, items and builds are what the logs name"]
    system: Literal["us", "metric"] = "metric" if named.systems["metric"] > named.systems["us"] else "us"
    currency = max(CURRENCY_MARKS.values(), key=lambda code: (named.money[code], code == "USD"))
    if not any(named.money.values()):
        notes.append("no cost names its currency: `USD` stood in")
    if not (named.systems["us"] or named.systems["metric"]):
        notes.append("no cell names a unit that tells US from metric: `us` stood in")
    molds, builds, items = (_spellings(each) for each in (named.molds, named.builds, named.items))
    kinds = ((molds, named.molds, "mold"), (builds, named.builds, "build"), (items, named.items, "item"))
    asked = [question for spelt, of, what in kinds for question in _set_apart(spelt, of, what)]
    found = {item: _item(item, items, named, notes) for item in dict.fromkeys(items.values())}
    made = {mold: _mold(mold, found, molds, named, notes) for mold in dict.fromkeys(molds.values())}
    found = with_unknown_uses(found, made, hooks=bool(made))
    return Bench(
        name=name,
        currency=currency,
        system=system,
        items=MappingProxyType(dict(sorted(found.items()))),
        molds=MappingProxyType(dict(sorted(made.items()))),
        builds=MappingProxyType({each: Build(name=each) for each in sorted(set(builds.values()))}),
        names=MappingProxyType(
            {same_spelling(text): text for spelt, of, _ in kinds for text in sorted(of) if text not in spelt}
        ),
        fallbacks=(*notes, *asked, *_wishes(made, found, builds)),
    )


def _spellings(written: Counter[str]) -> dict[str, str]:
    """Each name as written, with the commonest spelling of the same words."""
    best: dict[tuple[str, tuple[str, ...]], str] = {}
    keys = {text: (words_of_name(text)[0], tuple(words_of_name(text)[1]) or (text,)) for text in written}
    for text, _ in sorted(written.items(), key=lambda pair: (-pair[1], pair[0])):
        best.setdefault(keys[text], text)
    return {text: best[keys[text]] for text in sorted(written)}


def _set_apart(spelt: dict[str, str], written: Counter[str], what: str) -> list[str]:
    """Remove names that a few rows spell nearly as many others do, and return the question about each."""
    rows: Counter[str] = Counter()
    for text, name in spelt.items():
        rows[name] += written[text]
    questions = []
    for name in sorted(rows, key=lambda each: (rows[each], each)):
        usual = [each for each in rows if each != name and rows[name] <= max(1, _FEW * rows[each])]
        near = near_names(name, [each for each in usual if _digits(each) == _digits(name)], least=_NEAR)
        if near and rows[near[0]] > rows[name]:
            questions.append(
                f"{counted(rows[name], 'row')} {'names' if rows[name] == 1 else 'name'} the {what} `{name}` "
                f"and {rows[near[0]]} `{near[0]}`: is it the same? Then correct the spelling; if not, name "
                "both in bench.toml"
            )
            for text in [text for text, of in spelt.items() if of == name]:
                del spelt[text]
            del rows[name]
    return questions


def _digits(text: str) -> list[str]:
    return re.findall(r"[0-9]+", text)


def _item(name: str, items: Mapping[str, str], named: _Named, notes: list[str]) -> Item:
    same = {text for text, of in items.items() if of == name}
    amounts = [amount for text in sorted(same) for amount in named.amounts[text]]
    is_poured = any(text in poured for text in same for poured in named.poured.values())
    kind = kind_of_item(name)
    if kind is None or (kind == "fitting" and (same & named.coats or is_poured)):
        kind = "coat" if same & named.coats else "metal" if is_poured else kind
    if kind is None:
        kind = "fitting"
        notes.append(f"`{name}` was taken for a fitting: say under [items] what it is")
    unit, shown = _unit(name, kind, amounts, notes)
    return Item(name=name, kind=kind, unit=unit, print_unit=shown)


def _unit(
    name: str, kind: ItemKind, amounts: Iterable[str], notes: list[str]
) -> tuple[Literal["g", "mL", "pieces"], str]:
    if kind == "insert":
        return "pieces", "pieces"
    units: Counter[tuple[Literal["g", "mL"], str]] = Counter()
    bare = False
    for amount in amounts:
        written = re.sub(r"^[\s0-9.,/½¼¾~±+-]+", "", amount).strip()
        bare |= not written
        for text in (written, *written.split()[-1:]):
            if is_unit(text, "mass") or is_unit(text, "volume"):
                units["g" if is_unit(text, "mass") else "mL", text] += 1
                break
    if units:
        return max(units, key=lambda unit: (units[unit], unit))
    if kind == "fitting":
        return "pieces", "pieces"
    if bare:
        notes.append(f"bare amounts of `{name}` were read as g")
    return "g", "g"


def _mold(
    name: str, items: dict[str, Item], molds: Mapping[str, str], named: _Named, notes: list[str]
) -> Mold:
    same = [text for text, of in molds.items() if of == name]
    written: Counter[str] = Counter()
    for text in same:
        cavities = named.cavities[text].items()
        written.update({each: rows for each, rows in cavities if not is_like_a_date(each)})
    spelt, made = _spellings(written), dict[str, Cavity]()
    for cavity in dict.fromkeys(spelt.values()):
        ways = [(text, each) for text in same for each, of in spelt.items() if of == cavity]
        grams, tolerance = _mass(cavity, [mass for way in ways for mass in named.masses.get(way, [])])
        made[cavity] = Cavity(name=cavity, mass_g=grams, tolerance=tolerance)
    material = _material(name, material_kind(name, made), items, named, notes)
    if not made:
        made["one"] = Cavity(name="one", mass_g=MASS_G, tolerance=TOLERANCE)
    unknown = [cavity for cavity, each in made.items() if each.tolerance == TOLERANCE]
    if unknown:
        notes.append(
            f"the mass of {quoted(unknown, _MOST_SHOWN)} of `{name}` is not known: anything from nothing "
            f"to {2 * MASS_G:g} g was allowed for"
        )
    return Mold(name=name, material=material, cavities=MappingProxyType(made))


def _material(
    mold: str, kind: Literal["metal", "plastic"], items: dict[str, Item], named: _Named, notes: list[str]
) -> str:
    candidates = [item.name for item in items.values() if item.kind == kind and item.name in named.items]
    if len(candidates) == 1:
        return candidates[0]
    items.setdefault(STAND_INS[kind], stand_in(kind))
    if candidates:
        notes.append(f"which of {quoted(candidates, _MOST_SHOWN)} `{mold}` takes is not known")
    return STAND_INS[kind]


def _mass(cavity: str, weighed: Sequence[float]) -> tuple[float, float]:
    """The mass of a casting and its tolerance: by the size that names the cavity, else by what was weighed.

    Jig heads are named by their nominal weight in ounces (common practice, no source).
    """
    size = size_in_ounces(cavity)
    if size is not None:
        return size, DEFAULT_TOLERANCE
    if len(weighed) >= _FEWEST_WEIGHED and (middle := median(weighed)) > 0:
        return middle, min(1.0, max(abs(mass - middle) for mass in weighed) / middle + DEFAULT_TOLERANCE)
    return MASS_G, TOLERANCE


def _wishes(molds: Mapping[str, Mold], items: Mapping[str, Item], builds: Mapping[str, str]) -> list[str]:
    """What more bench.toml would let a report say, most worth first."""
    wishes = []
    if builds:
        wishes.append(
            "say what each build is made of (head, coat, fittings), and the report says what a bait costs, "
            "how many are on hand and what to pour"
        )
    if items:
        wishes.append("give each item its `pack` and `price`, and costs and what to buy can be said")
    hooks = [name for name, item in items.items() if item.kind == "insert"]
    if hooks and molds:
        wishes.append(
            f"name the `insert` of each cavity ({quoted(hooks, _MOST_SHOWN)}), and hooks are balanced"
        )
    if any(item.kind in {"metal", "plastic"} and not item.use_known for item in items.values()):
        wishes.append("name the `material` of each mold, and metal and plastic are balanced")
    if molds:
        mold, cavity = next((mold.name, name) for mold in molds.values() for name in mold.cavities)
        wishes.append(
            f"weigh ten castings of `{cavity}` of `{mold}` in the pour log, and metal closes to about 1 %"
        )
    if wishes:
        first, *others = wishes
        wishes = [f"What bench.toml would add (`benchwater start` writes it): {first}", *others]
    return wishes
