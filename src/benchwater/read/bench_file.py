"""Reads bench.toml into a Bench: checks every key, and names key and line in every message."""

import re
import tomllib
from collections.abc import Iterable, Mapping
from dataclasses import dataclass, field
from pathlib import Path as FilePath
from types import MappingProxyType
from typing import Any, cast

from benchwater.files import read_own_file
from benchwater.plugin.bench import Bench, Build, Cavity, CureWindow, Item, ItemKind, Mold, Plan
from benchwater.read.toml_lines import Path, key_lines, nearest_line
from benchwater.text import did_you_mean, near_names, quoted
from benchwater.units import QUANTITIES, Dimension, QuantityError, read_quantity
from benchwater.units.quantities import canonical_unit_name

_TABLE, _PART = re.compile(r"\('[^()]*'[^()]*\)"), re.compile("'([^']*)'")
FILE_NAME = "bench.toml"
_MOST_BYTES = 16 * 1024 * 1024
DEFAULT_TOLERANCE = 0.05
_COUNTED = ("insert", "fitting")
_DIMENSIONS: Mapping[str, Dimension] = {"g": "mass", "mL": "volume", "pieces": "pieces"}
_KINDS = ("metal", "insert", "coat", "plastic", "fitting")


class BenchError(ValueError):
    """bench.toml is missing, is not TOML, or says something that cannot be meant."""


@dataclass(frozen=True, slots=True, kw_only=True)
class BenchFile:
    """The bench, and the settings of bench.toml that are about the logs rather than the bench.

    `plugin_lines` holds the line of each key below `[plugins]`.
    """

    bench: Bench
    keep_repeats: tuple[str, ...] = ()
    plugins_off: tuple[str, ...] = ()
    plugin_lines: Mapping[tuple[str | int, ...], int] = field(default_factory=dict)


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
    return parse_bench(text)


def no_bench(folder: FilePath) -> BenchError:
    """The error for a folder without a bench.toml."""
    return BenchError(
        f"there is no {FILE_NAME} in {folder.resolve()}: `benchwater start FOLDER` writes one to begin from"
    )


def parse_bench(text: str) -> BenchFile:
    """The text of a bench.toml as a Bench; see `load_bench`."""
    try:
        data = tomllib.loads(text)
    except tomllib.TOMLDecodeError as error:
        message = _TABLE.sub(lambda found: f"[{'.'.join(_PART.findall(found[0]))}]", str(error))
        raise BenchError(f"{FILE_NAME} is not valid TOML: {message}") from None
    return _Reader(text).file(data)


class _Reader:
    def __init__(self, text: str) -> None:
        self._lines = key_lines(text)
        self._fallbacks: list[str] = []

    def file(self, data: Mapping[str, Any]) -> BenchFile:
        top = self._table(data, ())
        bench = top.table("bench", required=True)
        currency = bench.text("currency")
        system = bench.choice("units", ("us", "metric"))
        paper = bench.choice("paper", ("letter", "a4"))
        season = bench.table("season")
        start = season.text("start")
        season.close()
        dates = bench.choice("dates", ("iso", "year first", "day first", "month first"))
        name = bench.text("name")
        bench.close()
        if currency is not None and not (len(currency) == 3 and currency.isascii() and currency.isupper()):
            raise bench.error(
                "currency", f"`{currency}` is not a currency code such as `USD` or `EUR` (ISO 4217)"
            )
        self._stand_in("name", name, "Bench")
        self._stand_in("currency", currency, "USD")
        self._stand_in("units", system, "us")
        self._stand_in("paper", paper, "letter")
        self._stand_in("season.start", start, "01-01")
        items = {key: self._item(key, top) for key in top.names("items")}
        molds = {key: self._mold(key, top, items) for key in top.names("molds")}
        builds = {key: self._build(key, top, items, molds) for key in top.names("builds")}
        plan = self._plan(top)
        default_units = self._default_units(top)
        logs = top.table("logs")
        keep_repeats = logs.texts("keep_repeats")
        logs.close()
        options, off = self._plugins(top)
        top.close()
        return BenchFile(
            bench=Bench(
                name=name or "Bench",
                currency=currency or "USD",
                system=cast(Any, system or "us"),
                paper=cast(Any, paper or "letter"),
                season_start=self._month_day(start) if start else (1, 1),
                items=MappingProxyType(items),
                molds=MappingProxyType(molds),
                builds=MappingProxyType(builds),
                plan=plan,
                default_units=MappingProxyType(default_units),
                date_order=cast(Any, "iso" if dates in {None, "year first"} else dates),
                fallbacks=tuple(self._fallbacks),
                plugin_options=MappingProxyType(options),
            ),
            keep_repeats=keep_repeats,
            plugins_off=off,
            plugin_lines={path[1:]: line for path, line in self._lines.items() if path[:1] == ("plugins",)},
        )

    def _table(self, data: Any, path: Path) -> "_Table":
        return _Table(data, path, self._lines)

    def _stand_in(self, key: str, value: str | None, default: str) -> None:
        if value is None:
            self._fallbacks.append(f"[bench] does not say `{key}`: `{default}` stood in")

    def _month_day(self, text: str) -> tuple[int, int]:
        parts = text.split("-")
        valid = len(parts) == 2 and all(part.isdigit() and len(part) == 2 for part in parts)
        month, day = (int(part) for part in parts) if valid else (0, 0)
        if not (1 <= month <= 12 and 1 <= day <= 28):
            raise self._table({}, ("bench", "season")).error(
                "start", f"`{text}` is not a month and day such as `03-01` (day 28 at most)"
            )
        return month, day

    def _item(self, name: str, top: "_Table") -> Item:
        table = top.entry("items", name)
        kind = table.choice("kind", _KINDS, required=True)
        stated_unit = table.text("unit")
        density = table.density("density")
        unit, print_unit = self._unit(table, str(kind), stated_unit, density)
        dimension = _DIMENSIONS[unit]
        scale = table.table("scale")
        resolution = scale.quantity("resolution", dimension, print_unit)
        scale.close()
        cure = self._cure(table)
        pack = table.quantity("pack", dimension, print_unit, density=density)
        item = Item(
            name=name,
            kind=cast(ItemKind, kind),
            unit=cast(Any, unit),
            print_unit=print_unit,
            pack=pack,
            price=table.number("price"),
            resolution=0.0 if unit == "pieces" else resolution,
            mass_g=table.quantity("mass", "mass", "g"),
            density_g_per_ml=density,
            melts_c=table.quantity("melts", "temperature", None),
            lead_time_d=_days(table.quantity("lead_time", "duration", "d")),
            cure=cure,
            lead=table.yes_or_no("lead"),
        )
        table.close()
        if item.price is not None and pack is None:
            raise table.error(
                "price", "is the price of a pack, and the item has no `pack`: say how much one holds"
            )
        return item

    def _unit(self, table: "_Table", kind: str, stated: str | None, density: float | None) -> tuple[str, str]:
        if kind in _COUNTED and (stated is None or _is_unit(stated, "pieces")):
            return "pieces", "pieces"
        if kind == "insert":
            raise table.error("unit", f"`{stated}`: an insert is counted in pieces")
        if stated is None:
            return "g", "g"
        try:
            canonical_unit_name(stated, "mass")
        except QuantityError:
            pass
        else:
            return "g", stated
        try:
            canonical_unit_name(stated, "volume")
        except QuantityError:
            raise table.error(
                "unit", f"`{stated}` is no unit of mass or volume (accepted: `g`, `oz`, `lb`, `mL`)"
            ) from None
        return ("g", "g") if density is not None else ("mL", stated)

    def _cure(self, item: "_Table") -> CureWindow | None:
        if not item.has("cure"):
            return None
        table = item.table("cure")
        window = CureWindow(
            min_temp_c=table.quantity("min_temp", "temperature", None),
            max_temp_c=table.quantity("max_temp", "temperature", None),
            min_time_h=table.quantity("min_time", "duration", None),
            max_time_h=table.quantity("max_time", "duration", None),
        )
        table.close()
        return window

    def _mold(self, name: str, top: "_Table", items: Mapping[str, Item]) -> Mold:
        table = top.entry("molds", name)
        material = table.known("material", items, "an item", required=True)
        cavities: dict[str, Cavity] = {}
        for cavity_table in table.tables("cavities"):
            cavity = self._cavity(cavity_table, items)
            if cavity.name in cavities:
                raise cavity_table.error("name", f"`{cavity.name}` is the name of two cavities of `{name}`")
            cavities[cavity.name] = cavity
        if not cavities:
            raise table.error(
                "cavities", f"`{name}` has no cavity: write [[molds.{name}.cavities]] for each kind"
            )
        mold = Mold(
            name=name,
            material=str(material),
            cavities=MappingProxyType(cavities),
            metal_mass_g=table.quantity("metal_mass", "mass", "g"),
            price=table.number("price"),
        )
        table.close()
        return mold

    def _cavity(self, table: "_Table", items: Mapping[str, Item]) -> Cavity:
        tolerance = table.share("tolerance")
        if tolerance is None:
            tolerance = DEFAULT_TOLERANCE
        mass = table.quantity("mass", "mass", "g", required=True)
        cavity = Cavity(
            name=str(table.text("name", required=True)),
            mass_g=float(mass or 0.0),
            tolerance=tolerance,
            insert=table.known("insert", items, "an item"),
            per_fill=table.whole("per_fill", default=1, least=1),
        )
        table.close()
        return cavity

    def _build(self, name: str, top: "_Table", items: Mapping[str, Item], molds: Mapping[str, Mold]) -> Build:
        table = top.entry("builds", name)
        coat_item, coat_mass = None, None
        if table.has("coat"):
            coat = table.table("coat")
            coat_item = coat.known("item", items, "an item", required=True)
            coat_mass = coat.quantity("mass", "mass", "g")
            coat.close()
        fittings: dict[str, float] = {}
        listed = table.table("fittings")
        for fitting in listed.written_keys():
            if fitting not in items:
                raise listed.error(fitting, _unknown(fitting, items, "an item"))
            fittings[fitting] = listed.quantity(fitting, *_kept_in(items[fitting])) or 0.0
        listed.close()
        build = Build(
            name=name,
            head=self._casting(table, "head", molds),
            trailer=self._casting(table, "trailer", molds),
            coat=coat_item,
            coat_mass_g=coat_mass,
            fittings=MappingProxyType(fittings),
            bought_price=table.number("bought_price"),
            planned_hours=table.number("planned_hours"),
        )
        table.close()
        return build

    def _casting(self, build: "_Table", key: str, molds: Mapping[str, Mold]) -> tuple[str, str] | None:
        if not build.has(key):
            return None
        table = build.table(key)
        mold = str(table.known("mold", molds, "a mold", required=True))
        cavity = str(table.known("cavity", molds[mold].cavities, f"a cavity of `{mold}`", required=True))
        table.close()
        return mold, cavity

    def _plan(self, top: "_Table") -> Plan:
        table = top.table("plan")
        standard = Plan()
        service, rejects = table.share("service_level"), table.share("target_reject_rate")
        table.close()
        return Plan(
            service_level=standard.service_level if service is None else service,
            target_reject_rate=standard.target_reject_rate if rejects is None else rejects,
        )

    def _default_units(self, top: "_Table") -> dict[str, str]:
        table = top.table("defaults")
        units = {key: str(table.text(key)) for key in table.written_keys()}
        table.close()
        for key, unit in units.items():
            if not any(_is_unit(unit, quantity) for quantity in QUANTITIES):
                raise table.error(key, f"`{unit}` is not a unit (such as `degF`, `g`, `min`, `in`)")
        return units

    def _plugins(self, top: "_Table") -> tuple[dict[str, Mapping[str, object]], tuple[str, ...]]:
        table = top.table("plugins")
        off = table.texts("off")
        options: dict[str, Mapping[str, object]] = {
            key: MappingProxyType(dict(table.table(key).take_all()))
            for key in table.written_keys()
            if key != "off"
        }
        table.close()
        return options, off


class _Table:
    """One table of the file: returns checked values, and refuses keys that were never asked for."""

    def __init__(self, data: Any, path: Path, lines: Mapping[Path, int]) -> None:
        self._path = path
        self._lines = lines
        if not isinstance(data, Mapping):
            raise self._error(path, f"is {data!r}, and a table `{{ ... }}` is needed")
        self._data = data
        self._asked: set[str] = set()

    def error(self, key: str, why: str) -> BenchError:
        """A BenchError about one key of this table."""
        return self._error((*self._path, key), why)

    def has(self, key: str) -> bool:
        """Whether the file says anything under this key."""
        return key in self._data

    def written_keys(self) -> list[str]:
        """The keys that are there."""
        return list(self._data)

    def names(self, key: str) -> list[str]:
        """The names of the entries under `[key.NAME]`."""
        return self.table(key).written_keys()

    def entry(self, key: str, name: str) -> "_Table":
        """The table `[key.name]`."""
        return _Table(self._data[key][name], (*self._path, key, name), self._lines)

    def take_all(self) -> Mapping[str, Any]:
        """Everything in this table, unchecked."""
        return cast(Mapping[str, Any], self._data)

    def table(self, key: str, *, required: bool = False) -> "_Table":
        """The table under a key; an empty one where the file has none."""
        self._asked.add(key)
        if required and key not in self._data:
            raise BenchError(f"{FILE_NAME} has no table [{key}]")
        return _Table(self._data.get(key, {}), (*self._path, key), self._lines)

    def tables(self, key: str) -> "list[_Table]":
        """The tables under `[[key]]`."""
        self._asked.add(key)
        entries = self._data.get(key, [])
        if not isinstance(entries, list):
            raise self.error(key, "is not a list of tables `[[...]]`")
        return [_Table(entry, (*self._path, key, index), self._lines) for index, entry in enumerate(entries)]

    def text(self, key: str, *, required: bool = False) -> str | None:
        """A text, or None where there is none."""
        value = self._get(key, required)
        if value is not None and not isinstance(value, str):
            raise self.error(key, f"is {value!r}, and a text in quotation marks is needed")
        return value

    def texts(self, key: str) -> tuple[str, ...]:
        """A list of texts, empty where there is none; a single text is a list of one."""
        value = self._get(key, False)
        if value is None:
            return ()
        values = [value] if isinstance(value, str) else value
        if not isinstance(values, list) or not all(isinstance(entry, str) for entry in values):
            raise self.error(key, f"is {value!r}, and a list of texts is needed")
        return tuple(values)

    def choice(self, key: str, allowed: Iterable[str], *, required: bool = False) -> str | None:
        """One of a few words."""
        value = self.text(key, required=required)
        words = list(allowed)
        if value is not None and value not in words:
            raise self.error(key, f"`{value}` is not one of {quoted(words)}")
        return value

    def number(self, key: str) -> float | None:
        """A number, 0 or more."""
        value = self._get(key, False)
        if value is None:
            return None
        if isinstance(value, bool) or not isinstance(value, int | float) or not 0 <= value < float("inf"):
            raise self.error(key, f"is {value!r}, and a number of 0 or more is needed")
        return float(value)

    def whole(self, key: str, *, default: int, least: int) -> int:
        """A whole number of at least `least`."""
        value = self._get(key, False)
        if value is None:
            return default
        if isinstance(value, bool) or not isinstance(value, int) or value < least:
            raise self.error(key, f"is {value!r}, and a whole number of {least} or more is needed")
        return value

    def yes_or_no(self, key: str) -> bool | None:
        """True or false, None where the file says neither."""
        value = self._get(key, False)
        if value is not None and not isinstance(value, bool):
            raise self.error(key, f"is {value!r}, and `true` or `false` is needed, without quotation marks")
        return value

    def share(self, key: str) -> float | None:
        """A share between 0 and 1, written `0.05` or `5 %`."""
        value = self._get(key, False)
        if value is None:
            return None
        if isinstance(value, str) and value.strip().endswith("%"):
            try:
                value = float(value.strip().removesuffix("%")) / 100
            except ValueError:
                raise self.error(key, f"`{value}` is not a share such as `5 %` or 0.05") from None
        if isinstance(value, bool) or not isinstance(value, int | float) or not 0 <= value <= 1:
            raise self.error(key, f"is {value!r}, and a share such as `5 %` or 0.05 is needed")
        return float(value)

    def quantity(
        self,
        key: str,
        dimension: Dimension,
        bare_unit: str | None,
        *,
        required: bool = False,
        density: float | None = None,
    ) -> float | None:
        """A quantity in its canonical unit; a bare number is in `bare_unit`."""
        value = self._get(key, required)
        if value is None:
            return None
        text = value if isinstance(value, str) else f"{value}"
        if isinstance(value, bool) or not isinstance(value, str | int | float):
            raise self.error(key, f"is {value!r}, and a quantity is needed")
        try:
            return read_quantity(text, dimension, default_unit=bare_unit)
        except QuantityError as refusal:
            if density is not None and dimension == "mass":
                try:
                    return read_quantity(text, "volume", default_unit=None) * density
                except QuantityError:
                    pass
            raise self.error(key, f"`{text}` {refusal}") from None

    def density(self, key: str) -> float | None:
        """A density in g/mL, written `1.08 g/mL` or as a bare number."""
        value = self._get(key, False)
        if value is None:
            return None
        text = str(value).lower().replace(" ", "").removesuffix("g/ml").removesuffix("g/cm3")
        try:
            density = float(text)
        except ValueError:
            density = 0.0
        if not 0.1 <= density <= 25:
            raise self.error(key, f"`{value}` is not a density such as `1.08 g/mL`")
        return density

    def known(self, key: str, known: Iterable[str], what: str, *, required: bool = False) -> str | None:
        """A name that must exist elsewhere on the bench."""
        value = self.text(key, required=required)
        if value is not None and value not in known:
            raise self.error(key, _unknown(value, known, what))
        return value

    def close(self) -> None:
        """Refuse keys that nobody asked for."""
        for key in self._data:
            if key not in self._asked:
                known = sorted(self._asked)
                hint = did_you_mean(str(key), known, f"known: {quoted(known)}")
                raise self.error(str(key), f"is not a key that benchwater knows here{hint}")

    def _get(self, key: str, required: bool) -> Any:
        self._asked.add(key)
        if required and key not in self._data:
            raise self._error(self._path, f"needs a key `{key}`")
        return self._data.get(key)

    def _error(self, path: Path, why: str) -> BenchError:
        line = nearest_line(self._lines, path)
        where = f", line {line}" if line is not None else ""
        return BenchError(f"{FILE_NAME}{where}: `{_dotted(path)}`{':' * why.startswith('`')} {why}")


def _dotted(path: Path) -> str:
    text = ""
    for part in path:
        text += f"[{part + 1}]" if isinstance(part, int) else f".{part}"
    return text.removeprefix(".")


def _unknown(name: str, known: Iterable[str], what: str) -> str:
    names = list(known)
    near = near_names(name, names, most=2)
    hint = f"nearest: {quoted(near)}" if near else f"there are {quoted(names)}" if names else "there are none"
    return f"names `{name}`, which is not {what} in this file ({hint})"


def _is_unit(unit: str, dimension: Dimension) -> bool:
    try:
        canonical_unit_name(unit, dimension)
    except QuantityError:
        return False
    return True


def _kept_in(item: Item) -> tuple[Dimension, str]:
    return _DIMENSIONS[item.unit], item.print_unit


def _days(hours: float | None) -> float | None:
    return None if hours is None else hours / 24
