"""Reads bench.toml into a Bench: checks every key, and tells everything that is wrong at once."""

import re
from collections import defaultdict
from collections.abc import Mapping
from dataclasses import dataclass, field, replace
from datetime import date
from pathlib import Path as FilePath
from types import MappingProxyType
from typing import Any, cast

from benchwater.files import read_own_file
from benchwater.ledger.labels import MOST_TAGS
from benchwater.plugin.bench import (
    Bench,
    Build,
    Cavity,
    Change,
    Item,
    Mold,
    Plan,
    Trip,
    Water,
)
from benchwater.read.bench_items import (
    DIMENSIONS,
    MASS_G,
    NOT_KNOWN,
    STAND_INS,
    TOLERANCE,
    material_kind,
    read_item,
    stand_in,
    with_unknown_uses,
)
from benchwater.read.bench_table import (
    FILE_NAME,
    BenchError,
    BenchTable,
    Faults,
    currency_code,
    parse_toml,
    to_toml,
)
from benchwater.read.names import find_name, find_place, same_spelling, words_of_name
from benchwater.read.own_words import OwnWords
from benchwater.units import QUANTITIES, QuantityError, read_quantity
from benchwater.units.quantities import is_unit

__all__ = ["FILE_NAME", "BenchError", "BenchFile", "load_bench", "no_bench", "parse_bench"]
_MOST_BYTES = 16 * 1024 * 1024
MOST_PLANNED_HOURS = 10_000.0
DEFAULT_TOLERANCE = 0.05
_OF_WORDS = ("columns", "values", "names")
_SYSTEMS = {"imperial": "us", "american": "us", "usa": "us", "inches": "us", "si": "metric"}
_SIZE = re.compile(r"(?:[0-9]+ )?[0-9]+/[0-9]+")
_NUMBERED = re.compile(r"(?:(?P<first>[0-9]+)\s*x?\s+)?(?P<name>.+?)(?:\s*x\s*(?P<last>[0-9]+))?")
_HOW_TO_READ = frozenset({"logs", "words"})
HIGHEST_LEVEL = 0.999
"""Certainty not to run out would take an endless stock."""


@dataclass(frozen=True, slots=True, kw_only=True)
class BenchFile:
    """The bench, and the settings of bench.toml that are about the logs rather than the bench.

    `plugin_lines` holds the line of each key below `[plugins]`. The bench is empty where the file says how to
    read logs, and nothing else (`names_bench` is false).
    """

    bench: Bench
    names_bench: bool = True
    keep_repeats: tuple[str, ...] = ()
    same_as_above: tuple[str, ...] = ()
    plugins_off: tuple[str, ...] = ()
    plugin_lines: Mapping[tuple[str | int, ...], int] = field(default_factory=dict)
    words: OwnWords = field(default_factory=OwnWords)


def load_bench(folder: FilePath) -> BenchFile:
    """Read bench.toml of a workspace. BenchError with one clear sentence for whatever is wrong."""
    path = folder / FILE_NAME
    try:
        text = read_own_file(path, _MOST_BYTES).decode("utf-8-sig").replace("\r\n", "\n")
    except FileNotFoundError:
        raise no_bench(folder) from None
    except UnicodeDecodeError:
        raise BenchError(f"{FILE_NAME} is not UTF-8 text: save it again as UTF-8") from None
    except OSError as error:
        raise BenchError(f"{FILE_NAME} cannot be opened: {error.strerror or error}") from None
    try:
        return parse_bench(text)
    except BenchError:
        raise
    except RecursionError:
        raise BenchError(f"{FILE_NAME}: brackets are nested too deep to be meant") from None
    except ValueError as error:  # a number of thousands of digits
        raise BenchError(f"{FILE_NAME} cannot be read: {error}") from None


def no_bench(folder: FilePath) -> BenchError:
    """The error for a folder without a bench.toml."""
    return BenchError(
        f"there is no {FILE_NAME} in {folder.resolve()}: `benchwater start FOLDER` writes one to begin from"
    )


def parse_bench(text: str) -> BenchFile:
    """The text of a bench.toml as a Bench; see `load_bench`."""
    data, corrected, refusals = parse_toml(text)
    faults = Faults(corrected)
    for line, why in refusals:
        faults.add_message(f"{FILE_NAME}, line {line}: {why}", line)
    found = _Reader(faults).file(data) if data is not None else None
    faults.refuse()
    assert found is not None
    return found


def size_in_ounces(name: str) -> float | None:
    """The mass in g that a size such as `1/8` or `7 g` names: a bare fraction is of an ounce."""
    try:
        return read_quantity(name, "mass", default_unit="oz" if _SIZE.fullmatch(name.strip()) else None)
    except QuantityError:
        return None


class _Reader:
    def __init__(self, faults: Faults) -> None:
        self._faults = faults
        self._fallbacks: list[str] = []
        self._hooks_unknown = False
        self._castings: dict[str, tuple[str, str]] = {}
        self._castings_of_words: defaultdict[object, list[tuple[str, str]]] = defaultdict(list)

    def file(self, data: Mapping[str, Any]) -> BenchFile:
        top = BenchTable(data, (), self._faults)
        names_bench = not data or not _HOW_TO_READ.issuperset(data) or "names" in data.get("words", {})
        table = top.table("bench", required=names_bench)
        currency = self._currency(table)
        system = table.choice("units", ("us", "metric"), also=_SYSTEMS)
        paper = table.choice("paper", ("letter", "a4"))
        start = self._season_start(table)
        dates = table.choice("dates", ("iso", "year first", "day first", "month first"))
        name = table.text("name")
        self._stand_in("name", name, "Bench")
        self._stand_in("currency", currency, "USD")
        self._stand_in("units", system, "us")
        self._stand_in("paper", paper, "letter")
        self._stand_in("season.start", start, "01-01")
        items = {key: read_item(top.entry("items", key), key) for key in top.names("items")}
        molds = {key: self._mold(key, top, items) for key in top.names("molds")}
        items = with_unknown_uses(items, molds, hooks=self._hooks_unknown)
        self._name_castings(molds)
        builds = {key: self._build(key, top, items, molds) for key in top.names("builds")}
        logs, plugins, own = top.table("logs"), top.table("plugins"), top.table("words")
        for further in logs.texts("also"):
            if not further.strip() or FilePath(further).is_absolute():
                raise BenchError(
                    f"{FILE_NAME}: `logs.also` names `{further}`: write a path from this folder on: ../shared"
                )
        plugins_off = plugins.texts("off")
        options = {
            key: MappingProxyType(plugins.table(key).take_all())
            for key in plugins.written_keys()
            if key != "off"
        }
        bench = Bench(
            name=name or "Bench",
            currency=currency or "USD",
            system=cast(Any, system or "us"),
            paper=cast(Any, paper or "letter"),
            season_start=start or (1, 1),
            items=MappingProxyType(items),
            molds=MappingProxyType(molds),
            builds=MappingProxyType(builds),
            plan=self._plan(top.table("plan")),
            printed_tags=min(top.table("tags").whole("printed", default=0, least=0), MOST_TAGS),
            changes=tuple(self._change(each) for each in top.tables("changes")),
            waters=MappingProxyType({key: self._water(key, top) for key in top.names("waters")}),
            trips=MappingProxyType({key: self._trip(key, top) for key in top.names("trips")}),
            default_units=MappingProxyType(self._default_units(top.table("defaults"))),
            date_order=cast(Any, "iso" if dates in {None, "year first"} else dates),
            fallbacks=tuple(self._fallbacks),
            plugin_options=MappingProxyType(options),
        )
        return BenchFile(
            names_bench=names_bench,
            bench=self._with_names(own.table("names"), bench),
            words=self._own_words(own),
            keep_repeats=logs.texts("keep_repeats"),
            same_as_above=logs.texts("same_as_above"),
            plugins_off=plugins_off,
            plugin_lines=self._lines_below("plugins"),
        )

    def _lines_below(self, name: str) -> dict[tuple[str | int, ...], int]:
        return {path[1:]: line for path, line in self._faults.lines.items() if path[:1] == (name,)}

    def _own_words(self, own: BenchTable) -> OwnWords:
        pairs: dict[str, dict[tuple[str, str], str]] = {"columns": {}, "values": {}}
        tables = {"": own, **{log: own.table(log) for log in own.written_keys() if log not in _OF_WORDS}}
        for log, table in tables.items():
            for what, found in pairs.items():
                texts = table.table(what)
                found |= {(log, key): str(texts.text(key)) for key in texts.written_keys() if texts.text(key)}
        return OwnWords(columns=pairs["columns"], values=pairs["values"], lines=self._lines_below("words"))

    def _with_names(self, names: BenchTable, bench: Bench) -> Bench:
        """The bench with the maker's own names for what stands on it."""
        found: dict[str, str] = {}
        for key in names.written_keys():
            meant = names.text(key)
            if meant is None:
                continue
            exact = [find_name(meant, each, bench) for each in ("item", "mold", "build")]
            place = find_place(meant, bench) if not any(exact) else None
            name = next((each for each in exact if each), None) or (" ".join(place) if place else None)
            if name is None:
                names.fault(key, f"`{meant}` is no item, mold, cavity of a mold or build in {FILE_NAME}")
            else:
                found[same_spelling(key)] = name
        return replace(bench, names=MappingProxyType(found))

    def _stand_in(self, key: str, value: object, default: str) -> None:
        if value is None:
            self._fallbacks.append(f"[bench] does not say `{key}`: `{default}` stood in")

    def _currency(self, bench: BenchTable) -> str | None:
        text = bench.text("currency")
        if text is None:
            return None
        code = currency_code(text)
        if code is None:
            why = f"`{text}` is not a currency code such as `USD` or `EUR` (ISO 4217)"
            bench.fault("currency", why, to_toml("USD"))
        return code

    def _season_start(self, bench: BenchTable) -> tuple[int, int] | None:
        """The first day of the season: `season = "03-01"` or `{ start = "03-01" }`."""
        if isinstance(bench.value("season"), str):
            table, key = bench, "season"
        else:
            table, key = bench.table("season"), "start"
        text = table.text(key)
        if text is None:
            return None
        parts = text.split("-")
        valid = len(parts) == 2 and all(part.isdigit() and len(part) == 2 for part in parts)
        month, day = (int(part) for part in parts) if valid else (0, 0)
        if not (1 <= month <= 12 and 1 <= day <= 28):
            table.fault(key, f"`{text}` is not a month and day such as `03-01` (day 28 at most)")
            return None
        return month, day

    def _mold(self, name: str, top: BenchTable, items: dict[str, Item]) -> Mold:
        table = top.entry("molds", name)
        is_known = table.value("material") != NOT_KNOWN
        material = table.known("material", items, "an item", required=True) if is_known else None
        cavities: dict[str, Cavity] = {}
        listed = table.value("cavities")
        if isinstance(listed, list) and listed and all(isinstance(each, str) for each in listed):
            for size in listed:
                self._add(self._cavity_of_size(table, size), cavities, table, "cavities")
        else:
            for cavity_table in table.tables("cavities"):
                self._add(self._cavity(cavity_table, items), cavities, cavity_table, "name")
        if not listed:
            table.fault("cavities", f"`{name}` has no cavity: write [[molds.{name}.cavities]] for each kind")
        if not is_known:
            kind = material_kind(name, cavities)
            material = STAND_INS[kind]
            items.setdefault(material, stand_in(kind))
            self._fallbacks.append(f"[molds.{name}] does not know its `material` yet: no {kind} is balanced")
        return Mold(
            name=name,
            material=str(material),
            cavities=MappingProxyType(cavities),
            metal_mass_g=table.quantity("metal_mass", "mass", "g"),
            price=table.number("price"),
        )

    def _add(self, cavity: Cavity, cavities: dict[str, Cavity], table: BenchTable, key: str) -> None:
        if cavity.name in cavities:
            table.fault(key, f"`{cavity.name}` is the name of two cavities of `{table.path[1]}`")
        cavities[cavity.name] = cavity

    def _cavity_of_size(self, table: BenchTable, size: str) -> Cavity:
        mass = size_in_ounces(size)
        if mass is None:
            why = f"`{size}` is no size that says the mass of a casting"
            example = f"[[molds.{table.path[1]}.cavities]]"
            table.fault("cavities", f"{why}: write {example} with a `name` and a `mass`")
        return Cavity(name=size, mass_g=mass or 0.0, tolerance=DEFAULT_TOLERANCE)

    def _cavity(self, table: BenchTable, items: Mapping[str, Item]) -> Cavity:
        tolerance = table.share("tolerance", DEFAULT_TOLERANCE)
        name = str(table.text("name", required=True))
        size = None if table.has("mass") else size_in_ounces(name)
        if table.value("mass") == NOT_KNOWN:
            self._fallbacks.append(f"the mass of `{name}` of `{table.path[1]}` is not known yet")
            size, tolerance, mass = MASS_G, TOLERANCE, None
        else:
            mass = table.quantity("mass", "mass", "g", required=size is None)
        insert = None
        if table.value("insert") == NOT_KNOWN:
            self._hooks_unknown = True
        else:
            insert = table.known("insert", items, "an item")
        return Cavity(
            name=name,
            mass_g=float(mass or size or 0.0),
            tolerance=tolerance,
            insert=insert,
            per_fill=table.whole("per_fill", default=1, least=1),
        )

    def _build(
        self, name: str, top: BenchTable, items: Mapping[str, Item], molds: Mapping[str, Mold]
    ) -> Build:
        table = top.entry("builds", name)
        coat_item, coat_mass = None, None
        if isinstance(table.value("coat"), str):
            coat_item = table.known("coat", items, "an item")
        elif table.has("coat"):
            coat = table.table("coat")
            coat_item = coat.known("item", items, "an item", required=True)
            coat_mass = coat.quantity("mass", "mass", "g")
        return Build(
            name=name,
            head=self._casting(table, "head", molds),
            trailer=self._casting(table, "trailer", molds),
            coat=coat_item,
            coat_mass_g=coat_mass,
            fittings=MappingProxyType(self._fittings(table, items)),
            bought_price=table.number("bought_price"),
            planned_hours=table.number("planned_hours", most=MOST_PLANNED_HOURS),
            length_mm=table.quantity("length", "length", None),
        )

    def _fittings(self, build: BenchTable, items: Mapping[str, Item]) -> dict[str, float]:
        """`{ skirt = 1, eye = 2 }`, `"skirt"`, or `["skirt", "2 eye"]`."""
        fittings: dict[str, float] = {}
        written = build.value("fittings")
        if isinstance(written, str | list):
            texts = build.texts("fittings")
            for text in texts:
                number, name = 1.0, text
                if text not in items and (match := _NUMBERED.fullmatch(text)):
                    number, name = float(match["first"] or match["last"] or 1), match["name"]

                def with_name(better: str, text: str = text, name: str = name) -> str:
                    fitted = [text.replace(name, better) if each == text else each for each in texts]
                    return f"[{', '.join(map(to_toml, fitted))}]"

                found = build.known_name("fittings", name, items, "an item", with_name)
                if found is not None:
                    fittings[found] = fittings.get(found, 0.0) + number
            return fittings
        listed = build.table("fittings")
        for key in listed.written_keys():
            fitting = listed.known_name(key, key, items, "an item")
            amount = listed.value(key)
            if fitting is not None and amount is not None:
                item = items[fitting]
                fittings[fitting] = listed.quantity(key, DIMENSIONS[item.unit], item.print_unit) or 0.0
        return fittings

    def _name_castings(self, molds: Mapping[str, Mold]) -> None:
        """Note what a build may call each casting: mold and cavity, or a mold of one cavity alone."""
        for mold in molds.values():
            self._castings |= {f"{mold.name} {cavity}": (mold.name, cavity) for cavity in mold.cavities}
        for mold in molds.values():
            if len(mold.cavities) == 1:
                self._castings[mold.name] = (mold.name, next(iter(mold.cavities)))
        for text, casting in self._castings.items():
            self._castings_of_words[words_of_name(text)].append(casting)

    def _casting(self, build: BenchTable, key: str, molds: Mapping[str, Mold]) -> tuple[str, str] | None:
        """`{ mold = "round-jig", cavity = "1/8" }` or `"round-jig 1/8"`."""
        value = build.value(key)
        if value is None:
            return None
        if isinstance(value, str):
            alike = set(self._castings_of_words.get(words_of_name(value), ()))
            if len(alike) == 1:
                return alike.pop()
            found = build.known_name(key, value, self._castings, "a mold and its cavity")
            return None if found is None else self._castings[found]
        if not isinstance(value, Mapping):
            example = next(iter(self._castings), "MOLD CAVITY")
            build.fault(key, f"is {value!r}, and a mold with its cavity is needed", to_toml(example))
            return None
        table = build.table(key)
        mold = table.known("mold", molds, "a mold", required=True)
        cavity = table.text("cavity", required=True)
        if mold is not None and cavity is not None:
            cavity = table.known_name("cavity", cavity, molds[mold].cavities, f"a cavity of `{mold}`")
        return None if mold is None or cavity is None else (mold, cavity)

    def _water(self, name: str, top: BenchTable) -> Water:
        """`lead = "not allowed"` or `no_lead_up_to` a mass or length; where and when that was read."""
        table = top.entry("waters", name)
        table.choice("lead", ("not allowed",))
        limit = table.text("no_lead_up_to")
        mass = length = None
        if limit is not None:
            try:
                mass = read_quantity(limit, "mass")
            except QuantityError:
                length = table.quantity("no_lead_up_to", "length", None)
        elif not table.has("lead"):
            table.fault("lead", 'says nothing: write `lead = "not allowed"` or `no_lead_up_to = "1 oz"`')
        rule, read_on = table.text("rule", required=True), table.day("read_on", required=True)
        return Water(
            name=name,
            rule=rule or "",
            read_on=read_on or date.min,
            no_lead_up_to_g=mass,
            no_lead_up_to_mm=length,
        )

    def _trip(self, name: str, top: BenchTable) -> Trip:
        table = top.entry("trips", name)
        first, last = table.day("on", required=True), table.day("to")
        if first and last and last < first:
            table.fault("to", f"is {last}, before the trip's first day {first}")
        return Trip(name=name, first=first or date.min, last=last or first or date.min)

    def _change(self, table: BenchTable) -> Change:
        on, what = table.day("on", required=True), table.text("what", required=True)
        return Change(on=on or date.min, what=what or "", groups=table.texts("groups"))

    def _plan(self, table: BenchTable) -> Plan:
        standard = Plan()
        level = table.share("service_level", standard.service_level)
        if level == 0:
            table.fault("service_level", "is 0, and must be more", "0.90")
        return Plan(
            service_level=min(level, HIGHEST_LEVEL),
            target_reject_rate=table.share("target_reject_rate", standard.target_reject_rate),
            until=table.day("until"),
        )

    def _default_units(self, table: BenchTable) -> dict[str, str]:
        units = {key: str(table.text(key)) for key in table.written_keys()}
        for key, unit in units.items():
            if not any(is_unit(unit, quantity) for quantity in QUANTITIES):
                table.fault(key, f"`{unit}` is not a unit (such as `degF`, `g`, `min`, `in`)")
        return units
